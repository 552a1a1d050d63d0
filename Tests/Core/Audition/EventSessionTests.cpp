#include "Core/Audition/EventSession.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using audition::EventSession;

namespace {

/** A session and the clock it is told of, in steps of a tenth of a second. */
struct Booth {
    EventSession session {3};
    double nowSeconds = 5000.0; // a clock starts anywhere

    bool pass(double seconds, std::optional<std::size_t> playing = std::nullopt)
    {
        bool hasEnded = false;
        const double end = nowSeconds + seconds;
        while (nowSeconds + 0.05 < end) {
            nowSeconds += 0.1;
            hasEnded = session.advance(nowSeconds, playing) || hasEnded;
        }
        return hasEnded;
    }
    bool touch() { return session.touch(nowSeconds); }
};

} // namespace

TEST_CASE("A listener is counted once, after ten seconds of music", "[core][audition][event]")
{
    Booth booth;
    CHECK_FALSE(booth.pass(20.0, 0)); // nobody has touched anything
    CHECK(booth.session.numListeners() == 0);
    CHECK(booth.touch());
    CHECK_FALSE(booth.touch());
    booth.pass(60.0); // touched, but nothing played
    CHECK(booth.session.numListeners() == 0);
    booth.pass(9.5, 0);
    CHECK(booth.session.numListeners() == 0);
    booth.pass(1.0, 1);
    CHECK(booth.session.numListeners() == 1);
    booth.pass(30.0, 1);
    CHECK(booth.session.numListeners() == 1);
}

TEST_CASE("A turn ends two minutes after the last touch, with half a minute counted down",
          "[core][audition][event]")
{
    Booth booth;
    booth.touch();
    CHECK_FALSE(booth.pass(60.0, 0));
    booth.touch();
    CHECK_FALSE(booth.pass(89.5, 0));
    CHECK_FALSE(booth.session.countdownSeconds());
    CHECK_FALSE(booth.pass(1.0, 0));
    REQUIRE(booth.session.countdownSeconds());
    CHECK(*booth.session.countdownSeconds() == Approx(29.5).margin(0.15));
    CHECK_FALSE(booth.pass(29.0, 0));
    CHECK_FALSE(booth.session.isWaiting());
    CHECK(booth.pass(1.0, 0));
    CHECK(booth.session.isWaiting());
    CHECK_FALSE(booth.session.countdownSeconds());
    // The next touch is the next listener's.
    CHECK(booth.touch());
    booth.pass(11.0, 0);
    CHECK(booth.session.numListeners() == 2);
}

TEST_CASE("A clock that jumps ends no turn early and makes no listener", "[core][audition][event]")
{
    Booth booth;
    booth.touch();
    booth.pass(5.0, 0);
    // Back by a day: no time has passed, and none does until the clock has caught up.
    CHECK_FALSE(booth.session.advance(booth.nowSeconds - 86400.0, 0));
    CHECK_FALSE(booth.session.isWaiting());
    CHECK(booth.session.numListeners() == 0);
    // A gap, as when the program was held up, is not music.
    booth.nowSeconds += 20.0;
    CHECK_FALSE(booth.session.advance(booth.nowSeconds, 0));
    CHECK(booth.session.numListeners() == 0);
    booth.pass(4.5, 0);
    CHECK(booth.session.numListeners() == 1);
}

TEST_CASE("Only a listener who has heard two candidates can prefer one of them",
          "[core][audition][event]")
{
    Booth booth;
    booth.touch();
    CHECK_FALSE(booth.session.prefer(0));
    booth.pass(12.0, 0);
    CHECK_FALSE(booth.session.prefer(0)); // against what?
    booth.pass(1.0, 1);
    CHECK_FALSE(booth.session.canPrefer(1)); // too short to have heard it
    booth.pass(1.5, 1);
    CHECK(booth.session.canPrefer(0));
    CHECK(booth.session.canPrefer(1));
    CHECK_FALSE(booth.session.canPrefer(2));
    CHECK_FALSE(booth.session.canPrefer(3)); // there is none
    CHECK(booth.session.prefer(1));
    CHECK(booth.session.timesPreferred() == std::vector<std::size_t> {0, 1, 0});
}

TEST_CASE("An answer can be changed and taken back until the turn is over",
          "[core][audition][event]")
{
    Booth booth;
    const auto listen = [&] {
        booth.touch();
        for (std::size_t candidate = 0; candidate < 3; ++candidate)
            booth.pass(5.0, candidate);
    };
    listen();
    booth.session.prefer(0);
    booth.session.prefer(2);
    CHECK(booth.session.timesPreferred() == std::vector<std::size_t> {0, 0, 1});
    booth.session.prefer(2);
    CHECK(booth.session.timesPreferred() == std::vector<std::size_t> {0, 0, 0});
    CHECK_FALSE(booth.session.preferred());
    booth.session.prefer(1);
    booth.session.endTurn();
    CHECK_FALSE(booth.session.preferred());
    CHECK_FALSE(booth.session.prefer(1)); // nobody is there
    // The next listener has heard nothing yet.
    booth.touch();
    CHECK_FALSE(booth.session.canPrefer(1));
    booth.session.endTurn();
    listen();
    booth.session.prefer(1);
    CHECK(booth.session.timesPreferred() == std::vector<std::size_t> {0, 2, 0});
    CHECK(booth.session.numListeners() == 2);
}
