#include "Core/Ride/RideParameters.h"

#include "Core/Dsp/Units.h"
#include "Core/Ride/RideFigures.h"
#include "Core/Ride/RideSpectrum.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

using namespace saddletone;
using ride::RideParameters;

namespace {

ride::RideState stateAt(double speedKmh, const RideParameters& others = {})
{
    RideParameters parameters = others;
    parameters.speedKmh = speedKmh;
    return ride::rideState(parameters);
}

} // namespace

TEST_CASE("Engine speed follows road speed, gear, final drive and tyre radius", "[core][ride]")
{
    // rpm = v / (2 pi r) 60 times the overall ratio.
    ride::Drivetrain drivetrain;
    drivetrain.primaryRatio = 1.6;
    drivetrain.gearRatios = {3.0, 2.0, 1.0};
    drivetrain.numGears = 3;
    drivetrain.finalRatio = 2.5;
    drivetrain.tyreRadiusMetres = 0.3;
    const double wheelRpm = 100.0 / 3.6 / (2.0 * std::numbers::pi * 0.3) * 60.0;
    CHECK(drivetrain.rpmAt(100.0, 1) == Approx(wheelRpm * 1.6 * 3.0 * 2.5));
    CHECK(drivetrain.rpmAt(100.0, 3) == Approx(wheelRpm * 1.6 * 1.0 * 2.5));
    // Judgement: a big touring twin turns at 2400 to 2800 rpm at 105 km/h in top gear.
    const ride::Drivetrain twin;
    CHECK(twin.rpmAt(105.0, twin.numGears) > 2400.0);
    CHECK(twin.rpmAt(105.0, twin.numGears) < 2800.0);
}

TEST_CASE("A rider cruises in the highest gear that does not labour", "[core][ride]")
{
    for (const ride::DrivetrainEntry& entry : ride::drivetrainTable) {
        CAPTURE(entry.name);
        const ride::Drivetrain& bike = entry.drivetrain;
        CHECK(bike.cruiseGear(5.0) == 1);
        CHECK(bike.cruiseGear(200.0) == bike.numGears);
        for (double speedKmh = 30.0; speedKmh < 160.0; speedKmh += 5.0) {
            const std::size_t gear = bike.cruiseGear(speedKmh);
            if (gear > 1)
                CHECK(bike.rpmAt(speedKmh, gear) >= bike.lowestCruiseRpm);
            if (gear < bike.numGears)
                CHECK(bike.rpmAt(speedKmh, gear + 1) < bike.lowestCruiseRpm);
        }
    }
}

TEST_CASE("Engine level is 82 dB at 40 mph and rises 20 dB a decade of engine speed",
          "[core][ride]")
{
    for (const ride::DrivetrainEntry& entry : ride::drivetrainTable) {
        RideParameters parameters;
        parameters.drivetrain = entry.drivetrain;
        const ride::RideState cruise = stateAt(64.4, parameters);
        CHECK(cruise.engineDba == Approx(82.0).margin(1e-9));
        parameters.measuredRpm = 2.0 * cruise.rpm;
        CHECK(stateAt(64.4, parameters).engineDba == Approx(82.0 + 6.0206).margin(1e-3));
        CHECK(stateAt(64.4, parameters).rpm == 2.0 * cruise.rpm);
    }
}

TEST_CASE("Vehicle noise and wind cross between 20 and 40 mph", "[core][ride]")
{
    // Binnington, McCombe and Harris 1993: vehicle noise dominates below 20 mph, wind above 40.
    RideParameters parameters;
    const auto differenceAt = [&](double speedMph) {
        parameters.speedKmh = dsp::mphToKmh(speedMph);
        const ride::RideSpectrum spectrum = ride::rideSpectrum(parameters);
        return spectrum.windDba
               - dsp::powerToDb(dsp::dbToPower(spectrum.engineDba)
                                + dsp::dbToPower(spectrum.tyreDba));
    };
    CHECK(differenceAt(18.0) < 0.0);
    CHECK(differenceAt(41.0) > 0.0);
}

TEST_CASE("Parked a running engine idles and one that is off is silent", "[core][ride]")
{
    RideParameters parameters;
    ride::RideState state = stateAt(0.0, parameters);
    CHECK(state.rpm == 950.0);
    CHECK(state.engineDba == 74.0);
    CHECK(state.windDba == dsp::silenceDb);
    CHECK(state.tyreDba == dsp::silenceDb);
    parameters.engineState = ride::EngineState::off;
    state = stateAt(0.0, parameters);
    CHECK(state.engineDba == dsp::silenceDb);
    CHECK(ride::rideSpectrum(parameters).totalDba == dsp::silenceDb);
}

TEST_CASE("Screens move the wind by their figures and no other source", "[core][ride]")
{
    RideParameters parameters;
    const ride::RideState clean = stateAt(100.0, parameters);
    CHECK(clean.wakeDepthDb == 0.0);
    parameters.screen = ride::Screen::low;
    const ride::RideState low = stateAt(100.0, parameters);
    CHECK(low.windDba - clean.windDba == Approx(3.0));
    CHECK(low.wakeDepthDb == 3.0);
    parameters.screen = ride::Screen::tall;
    parameters.wind.tallScreenOffsetDb = -12.0;
    const ride::RideState tall = stateAt(100.0, parameters);
    CHECK(tall.windDba - clean.windDba == Approx(-12.0));
    CHECK(tall.wakeDepthDb == 0.0);
    CHECK(tall.tyreDba == clean.tyreDba);
    CHECK(tall.engineDba == clean.engineDba);
}

TEST_CASE("Plugs act on every source and a helmet on all but wind", "[core][ride]")
{
    RideParameters parameters;
    parameters.speedKmh = 70.0;
    parameters.helmet = ride::Helmet::none;
    const ride::RideSpectrum bare = ride::rideSpectrum(parameters);
    parameters.helmet = ride::Helmet::fullFace;
    const ride::RideSpectrum full = ride::rideSpectrum(parameters);
    CHECK(bare.windDba - full.windDba == Approx(18.0).margin(1e-6));
    for (std::size_t band = 0; band < bare.frequencyHz.size(); ++band) {
        const double lossDb = ride::insertionLossDb(ride::Helmet::fullFace, bare.frequencyHz[band]);
        CHECK(bare.tyreDb[band] - full.tyreDb[band] == Approx(lossDb).margin(0.35));
    }
    parameters.earPlugs = ride::EarPlugs::nominal;
    const ride::RideSpectrum nominal = ride::rideSpectrum(parameters);
    parameters.earPlugs = ride::EarPlugs::cautious;
    parameters.plugs.cautiousLossDb = 12.0;
    const ride::RideSpectrum cautious = ride::rideSpectrum(parameters);
    for (const auto level : {&ride::RideSpectrum::windDba, &ride::RideSpectrum::tyreDba,
                             &ride::RideSpectrum::engineDba, &ride::RideSpectrum::totalDba}) {
        CHECK(full.*level - nominal.*level == Approx(25.0).margin(1e-6));
        CHECK(full.*level - cautious.*level == Approx(12.0).margin(1e-6));
    }
}

TEST_CASE("The bands of a ride hold its weighted level", "[core][ride]")
{
    RideParameters parameters;
    parameters.speedKmh = 100.0;
    const ride::RideSpectrum spectrum = ride::rideSpectrum(parameters);
    REQUIRE(spectrum.frequencyHz.size() == 31);
    CHECK(spectrum.windDba
          == Approx(parameters.wind.levelDba(100.0, ride::Helmet::fullFace)).margin(1e-6));
    double total = 0.0;
    for (const double levelDb : spectrum.totalDb)
        total += dsp::dbToPower(levelDb);
    // Unweighted, the wind is 12.9 dB above its A-weighted level (sum of the octave table); weighted
    // at every frequency the same shape has 0.3 dB more, and the bands begin at 18 Hz.
    CHECK(dsp::powerToDb(total) - spectrum.totalDba == Approx(12.9).margin(0.8));
    CHECK(spectrum.totalDbc > spectrum.totalDba + 8.0);
}

TEST_CASE("Numbers out of range are held and those that are none are replaced", "[core][ride]")
{
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double infinity = std::numeric_limits<double>::infinity();
    RideParameters parameters;
    parameters.speedKmh = infinity;
    parameters.measuredRpm = nan;
    parameters.gear = 99;
    parameters.wind.tallScreenOffsetDb = -100.0;
    parameters.wind.gustTimeSeconds = 0.0;
    parameters.engine.firing.numCylinders = 100;
    parameters.engine.timingJitterDegrees = 1e9;
    parameters.drivetrain.numGears = 0;
    parameters.drivetrain.tyreRadiusMetres = 0.0;
    parameters.tyre.treadPitchMetres = -1.0;
    parameters.windTrimDb = nan;
    const RideParameters held = ride::withinRange(parameters);
    CHECK(held.speedKmh == 300.0);
    CHECK(held.measuredRpm == 0.0);
    CHECK(held.wind.tallScreenOffsetDb == -15.0);
    CHECK(held.engine.firing.numCylinders == 2);
    CHECK(held.windTrimDb == 0.0);
    const ride::RideState state = ride::rideState(held);
    for (const double number : {state.rpm, state.windDba, state.tyreDba, state.engineDba})
        CHECK(std::isfinite(number));
    CHECK(ride::withinRange({}) == RideParameters {});
    CHECK(ride::withinRange(held) == held);
}

TEST_CASE("Every figure of a ride has a status and a source", "[core][ride]")
{
    RideParameters parameters;
    const auto figures = ride::rideFigures(parameters);
    CHECK(figures.size() > 20);
    std::size_t numSourced = 0;
    for (const dsp::ModelFigure& figure : figures) {
        CAPTURE(figure.name);
        CHECK_FALSE(figure.name.empty());
        CHECK_FALSE(figure.value.empty());
        CHECK_FALSE(figure.source.empty());
        if (figure.status == dsp::FigureStatus::sourced) {
            ++numSourced;
            CHECK(figure.source != "no source");
        }
    }
    CHECK(numSourced >= 6);

    // What somebody changed is no longer the source's.
    const auto statusOf = [](const auto& list, const std::string& name) {
        return std::ranges::find(list, name, &dsp::ModelFigure::name)->status;
    };
    CHECK(statusOf(figures, "bare head") == dsp::FigureStatus::sourced);
    parameters.wind.bareHeadOffsetDb = 12.0;
    CHECK(statusOf(ride::rideFigures(parameters), "bare head") == dsp::FigureStatus::judgement);
}

TEST_CASE("Names of screens and plugs round trip and others are refused", "[core][ride]")
{
    for (const ride::Screen screen : ride::allScreens) {
        const auto parsed = ride::parseScreen(ride::screenName(screen));
        REQUIRE(parsed);
        CHECK(*parsed == screen);
        CHECK_FALSE(ride::screenLabel(screen).empty());
    }
    for (const ride::EarPlugs plugs : ride::allEarPlugs) {
        const auto parsed = ride::parseEarPlugs(ride::earPlugsName(plugs));
        REQUIRE(parsed);
        CHECK(*parsed == plugs);
    }
    CHECK_FALSE(ride::parseScreen("round"));
    CHECK_FALSE(ride::parseEarPlugs("wax"));
}
