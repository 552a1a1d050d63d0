#include "Core/Measure/HarmonicImpulses.h"

#include "Core/Files/Resampler.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Measure/Measurement.h"
#include "Support/SweepTakes.h"
#include "Support/TemporaryFolder.h"

#include <array>
#include <cmath>
#include <complex>
#include <filesystem>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

constexpr double amplitude = 0.251188643; // -12 dBFS, the track's level
constexpr std::array coefficients {1.0, 0.2, 0.35, 0.9, 2.5};

double speaker(double x)
{
    double power = x;
    double sum = 0.0;
    for (const double coefficient : coefficients) {
        sum += coefficient * power;
        power *= x;
    }
    return sum;
}

/** Harmonic re the sine, with its phase, by the multiple-angle formulas. */
std::complex<double> theory(int order)
{
    std::complex<double> sum;
    for (int power = order; power <= 5; power += 2)
        sum += measure::harmonicOfPower(order, power)
               * coefficients[static_cast<std::size_t>(power - 1)] * std::pow(amplitude, power - 1);
    return sum;
}

/** The track through the speaker, at four times its rate so that no harmonic folds back. */
std::vector<double> distorted(const signals::Signal& track)
{
    const std::vector<double> samples(track.audio.channels.front().begin(),
                                      track.audio.channels.front().end());
    auto sound = files::resample(samples, 4.0);
    for (double& sample : sound)
        sample = speaker(sample);
    return sound;
}

std::complex<double> responseAt(const std::vector<float>& impulse, std::size_t arrivalFrame,
                                double sampleRate, double frequencyHz)
{
    std::complex<double> sum;
    for (std::size_t frame = 0; frame < impulse.size(); ++frame)
        sum += std::polar(static_cast<double>(impulse[frame]),
                          -2.0 * std::numbers::pi * frequencyHz / sampleRate
                              * (static_cast<double>(frame) - static_cast<double>(arrivalFrame)));
    return sum;
}

} // namespace

TEST_CASE("The power of a sine holds its harmonics by the multiple-angle formulas",
          "[core][measure][overdrive]")
{
    // Fourier coefficients by summing over a period, exact for so few harmonics.
    constexpr int points = 64;
    for (int power = 1; power <= 5; ++power)
        for (int order = 1; order <= 5; ++order) {
            std::complex<double> sum;
            for (int point = 0; point < points; ++point) {
                const double angle = 2.0 * std::numbers::pi * point / points;
                // 2 j times the coefficient of exp(j k t): 1 for sin kt.
                sum += std::pow(std::sin(angle), power) * std::polar(1.0, -order * angle)
                       * std::complex<double>(0.0, 2.0) / static_cast<double>(points);
            }
            INFO("order " << order << " of power " << power);
            CHECK(std::abs(sum - measure::harmonicOfPower(order, power)) < 1e-12);
        }
}

TEST_CASE("Harmonic impulses have magnitude and phase, whatever the recorder's clock and rate",
          "[core][measure][overdrive]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto sound = distorted(track);
    struct Recorder {
        double rate;
        double clockPpm;
    };
    for (const Recorder recorder :
         {Recorder {48000.0, 0.0}, Recorder {48000.0, 180.0}, Recorder {44100.0, -60.0}}) {
        const auto recording = test::record(
            sound, 192000.0, {.sampleRate = recorder.rate, .clockPpm = recorder.clockPpm});
        const auto response =
            test::measureTakes(track, {{"take.wav", {recorder.rate, {recording}}}});
        REQUIRE(response.harmonics);
        CHECK(response.harmonics->driveDbfs == Approx(-12.0).margin(0.01));
        REQUIRE(response.harmonics->orders.size() == 4);
        REQUIRE(response.distortion.size() == 4);
        const double fundamental = std::abs(theory(1));
        for (int order = 2; order <= 5; ++order) {
            const auto index = static_cast<std::size_t>(order - 2);
            for (const double fundamentalHz : {50.0, 100.0, 300.0, 1000.0, 2000.0}) {
                const double outputHz = order * fundamentalHz;
                const auto found =
                    responseAt(response.harmonics->orders[index], response.harmonics->arrivalFrame,
                               response.sampleRate, outputHz);
                // The linear response at the same frequency carries the arrival's part of a frame.
                const auto linear = responseAt(response.impulse, response.arrivalFrame,
                                               response.sampleRate, outputHz);
                const auto ratio = (found / linear) / (theory(order) / fundamental);
                INFO("order " << order << " of " << fundamentalHz << " Hz, " << recorder.rate
                              << " Hz, " << recorder.clockPpm << " ppm");
                CHECK(20.0 * std::log10(std::abs(ratio)) == Approx(0.0).margin(0.1));
                CHECK(std::arg(ratio) == Approx(0.0).margin(0.02));
            }
            // The distortion curve tells the same level, at every recorder rate.
            for (const measure::HarmonicLevel& level : response.distortion[index].levels)
                if (level.frequencyHz > 90.0 && level.frequencyHz < 1500.0)
                    CHECK(level.levelDb
                          == Approx(20.0 * std::log10(std::abs(theory(order)) / fundamental))
                                 .margin(0.5));
        }
    }
}

TEST_CASE("Takes of one place share their harmonics and a state keeps them",
          "[core][measure][overdrive]")
{
    const auto track = test::makeSweepTrack(8.0);
    const auto sound = distorted(track);
    const auto first = test::record(sound, 192000.0, {.noiseRms = 1e-4, .seed = 1});
    const auto second = test::record(
        sound, 192000.0, {.clockPpm = 90.0, .startSeconds = 1.37, .noiseRms = 1e-4, .seed = 2});
    const auto response = test::measureTakes(
        track, {{"one.wav", {48000.0, {first}}}, {"two.wav", {48000.0, {second}}}});
    REQUIRE(response.harmonics);
    const auto third = responseAt(response.harmonics->orders[1], response.harmonics->arrivalFrame,
                                  48000.0, 3000.0);
    CHECK(std::abs(third) == Approx(std::abs(theory(3))).epsilon(0.01));

    const test::TemporaryFolder folder;
    const auto file = folder.path() / "state.json";
    REQUIRE(measure::saveResponse(response, file));
    const auto loaded = measure::loadResponse(file);
    REQUIRE(loaded);
    REQUIRE(loaded->harmonics);
    CHECK(loaded->harmonics->driveDbfs == response.harmonics->driveDbfs);
    CHECK(loaded->harmonics->arrivalFrame == response.harmonics->arrivalFrame);
    CHECK(loaded->harmonics->orders == response.harmonics->orders);

    // A state without them removes what an earlier one left in its place.
    auto without = response;
    without.harmonics.reset();
    CHECK(std::filesystem::exists(measure::harmonicsPath(file)));
    REQUIRE(measure::saveResponse(without, file));
    CHECK_FALSE(std::filesystem::exists(measure::harmonicsPath(file)));
    CHECK_FALSE(measure::loadResponse(file)->harmonics);

    // One that was damaged is refused, one that was left behind only missed.
    REQUIRE(measure::saveResponse(response, file));
    test::writeBytes(measure::harmonicsPath(file), "not audio");
    CHECK(measure::loadResponse(file).error().message.find("harmonics") != std::string::npos);
    std::filesystem::remove(measure::harmonicsPath(file));
    const auto alone = measure::loadResponse(file);
    REQUIRE(alone);
    CHECK_FALSE(alone->harmonics);
}

TEST_CASE("A sweep too short to tell orders apart keeps no harmonics", "[core][measure][overdrive]")
{
    const auto track = test::makeSweepTrack(1.5);
    const auto recording = test::record(distorted(track), 192000.0, {});
    CHECK_FALSE(test::measureTakes(track, {{"take.wav", {48000.0, {recording}}}}).harmonics);
}
