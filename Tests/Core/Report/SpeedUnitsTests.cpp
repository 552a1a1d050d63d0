#include "Core/Report/SpeedUnits.h"

#include "Core/Report/BlindWords.h"
#include "Core/Report/Wording.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using report::SpeedUnits;

TEST_CASE("A speed is said in the units that are asked for", "[core][report]")
{
    // 1 mile is 1.609344 km.
    CHECK(report::speedWords(120.7008) == "75 mph (121 km/h)");
    CHECK(report::speedWords(120.7008, SpeedUnits::mph) == "75 mph");
    CHECK(report::speedWords(120.7008, SpeedUnits::kmh) == "121 km/h");
    CHECK(report::speedWords(0.0, SpeedUnits::kmh) == "parked");
    const measure::BikeState state {"", measure::EngineState::running, 80.0, "", ""};
    CHECK(report::conditionWords(state, SpeedUnits::kmh) == "engine running, 80 km/h");
    CHECK(report::verdictSentence(state, {}, SpeedUnits::mph).starts_with("At 50 mph nothing"));
    audition::BlindConditions conditions;
    conditions.speedKmh = 80.0;
    CHECK(report::conditionWords(conditions, SpeedUnits::mph).find("; 50 mph; ")
          != std::string::npos);
}

TEST_CASE("The words for units of speed read back", "[core][report]")
{
    for (const SpeedUnits units : {SpeedUnits::both, SpeedUnits::mph, SpeedUnits::kmh})
        CHECK(*report::parseSpeedUnits(report::speedUnitsName(units)) == units);
    CHECK(report::parseSpeedUnits("knots").error().message.find("mph, kmh or both")
          != std::string::npos);
}
