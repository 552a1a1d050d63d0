#include "Core/Hearing/SessionExposure.h"

#include <catch2/catch.hpp>

#include <limits>

using namespace saddletone;
using hearing::SessionExposure;

TEST_CASE("A session's dose is the one NIOSH's table allows", "[core][hearing]")
{
    // NIOSH 98-126, table 1-1: 85 dB(A) for 8 h, 88 for 4 h, 91 for 2 h, 94 for 1 h, 100 for 15 min.
    struct Allowed {
        double levelDba;
        double seconds;
    };
    for (const Allowed& allowed :
         {Allowed {85.0, 28800.0}, Allowed {88.0, 14400.0}, Allowed {91.0, 7200.0},
          Allowed {94.0, 3600.0}, Allowed {100.0, 900.0}}) {
        CAPTURE(allowed.levelDba);
        SessionExposure session;
        for (int part = 0; part < 300; ++part)
            session.add(allowed.levelDba, allowed.seconds / 300.0);
        CHECK(session.nioshDosePercent() == Approx(100.0).epsilon(1e-6));
        CHECK(session.seconds() == Approx(allowed.seconds));
        CHECK(session.averageDba() == Approx(allowed.levelDba));
    }
}

TEST_CASE("A session's average is the equivalent continuous level", "[core][hearing]")
{
    // IEC 61672-1, 3.9: the mean of the squared pressure. Half the time at 80 and half at 70 dB is
    // 80 + 10 lg(0.55) = 77.404 dB.
    SessionExposure session;
    session.add(80.0, 30.0);
    session.add(70.0, 30.0);
    CHECK(session.averageDba() == Approx(77.404).margin(0.001));
}

TEST_CASE("Silence and what is no level count nothing", "[core][hearing]")
{
    SessionExposure session;
    session.add(dsp::silenceDb, 100.0);
    session.add(SessionExposure::quietDba - 0.1, 100.0);
    session.add(std::numeric_limits<double>::quiet_NaN(), 100.0);
    session.add(90.0, -1.0);
    session.add(90.0, std::numeric_limits<double>::quiet_NaN());
    CHECK(session == SessionExposure {});
    CHECK(session.averageDba() == dsp::silenceDb);
}

TEST_CASE("What came after an earlier state of a session stands alone", "[core][hearing]")
{
    SessionExposure session;
    session.add(95.0, 600.0);
    const SessionExposure before = session;
    session.add(85.0, 2880.0);
    const SessionExposure part = session.since(before);
    CHECK(part.seconds() == Approx(2880.0));
    CHECK(part.averageDba() == Approx(85.0));
    CHECK(part.nioshDosePercent() == Approx(10.0)); // a tenth of 8 h
    CHECK(session.since(session) == SessionExposure {});
}
