#include "Core/Dsp/LinearRamp.h"

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("A ramp reaches its target in a straight line after its length", "[core][dsp]")
{
    dsp::LinearRamp ramp;
    ramp.prepare(8);
    ramp.jumpTo(1.0);
    ramp.setTarget(3.0);
    for (int sample = 1; sample <= 8; ++sample) {
        CHECK(ramp.isMoving());
        CHECK(ramp.next() == Approx(1.0 + 0.25 * sample).epsilon(1e-14));
    }
    CHECK_FALSE(ramp.isMoving());
    // Exactly, not merely to rounding.
    CHECK(ramp.next() == 3.0);
    CHECK(ramp.current() == 3.0);
}

TEST_CASE("A ramp that is turned round starts from where it stands", "[core][dsp]")
{
    dsp::LinearRamp ramp;
    ramp.prepare(10);
    ramp.jumpTo(0.0);
    ramp.setTarget(1.0);
    for (int sample = 0; sample < 5; ++sample)
        (void)ramp.next();
    CHECK(ramp.current() == Approx(0.5).epsilon(1e-14));
    ramp.setTarget(0.0);
    CHECK(ramp.finalValue() == 0.0);
    CHECK(ramp.next() == Approx(0.45).epsilon(1e-14));
    for (int sample = 0; sample < 9; ++sample)
        (void)ramp.next();
    CHECK(ramp.current() == 0.0);
    CHECK_FALSE(ramp.isMoving());
}

TEST_CASE("Setting the same target again does not start the ramp anew", "[core][dsp]")
{
    dsp::LinearRamp ramp;
    ramp.prepare(4);
    ramp.setTarget(4.0);
    for (int sample = 1; sample <= 4; ++sample) {
        ramp.setTarget(4.0);
        CHECK(ramp.next() == Approx(sample).epsilon(1e-14));
    }
    CHECK_FALSE(ramp.isMoving());
}

TEST_CASE("A jump ends a ramp and a ramp of no length is a jump", "[core][dsp]")
{
    dsp::LinearRamp ramp;
    ramp.prepare(100);
    ramp.setTarget(1.0);
    (void)ramp.next();
    ramp.jumpTo(-2.0);
    CHECK_FALSE(ramp.isMoving());
    CHECK(ramp.next() == -2.0);

    dsp::LinearRamp immediate;
    immediate.setTarget(5.0);
    CHECK_FALSE(immediate.isMoving());
    CHECK(immediate.next() == 5.0);
}
