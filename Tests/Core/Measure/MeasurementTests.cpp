#include "Core/Measure/Measurement.h"

#include "Core/Dsp/Units.h"
#include "Core/Signals/ShapedNoise.h"
#include "Support/SimulatedBike.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

/** A recording of a track on the simulated bike with white noise at an SNR re the sweep's RMS. */
measure::Recording recordOnBike(const signals::Signal& track, test::RecorderModel recorder,
                                double snrDb)
{
    const test::SimulatedBike bike;
    const auto sound = bike.play(track.audio.channels.front(), track.audio.sampleRate);
    if (snrDb < 200.0)
        recorder.noiseRms = recorder.gain * test::activeRms(sound) * std::pow(10.0, -snrDb / 20.0);
    return {"take.wav",
            {recorder.sampleRate, {test::record(sound, track.audio.sampleRate, recorder)}}};
}

measure::MeasurementRequest requestFor(const signals::Signal& track,
                                       std::vector<measure::Recording> recordings)
{
    measure::MeasurementRequest request;
    request.track = track.description;
    request.recordings = std::move(recordings);
    return request;
}

std::vector<double> logGrid(double fromHz, double toHz, int perOctave)
{
    std::vector<double> grid;
    for (double frequencyHz = fromHz; frequencyHz <= toHz * 1.0001;
         frequencyHz *= std::exp2(1.0 / perOctave))
        grid.push_back(frequencyHz);
    return grid;
}

std::string refusalOf(const signals::Signal& track, measure::Recording recording)
{
    const auto response = measure::measureResponse(requestFor(track, {std::move(recording)}));
    REQUIRE_FALSE(response);
    CHECK(response.error().code == dsp::ErrorCode::notTrustworthy);
    return response.error().message;
}

void clip(std::vector<float>& samples, float level)
{
    for (float& sample : samples)
        sample = std::clamp(sample, -level, level);
}

} // namespace

TEST_CASE("Without noise and drift the complex response is exact to -80 dB", "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto response =
        measure::measureResponse(requestFor(track, {recordOnBike(track, {}, 1000.0)}));
    REQUIRE(response);

    // The start of the track is not known to the analyser, so a delay remains free: it is taken as
    // the whole number of frames that fits best.
    const test::SimulatedBike bike;
    const auto grid = logGrid(40.0, 16000.0, 48);
    const auto measured = response->at(grid);
    double best = 1e9;
    for (int shift = -300; shift <= 300; ++shift) {
        double largest = 0.0;
        for (std::size_t index = 0; index < grid.size() && largest < best; ++index) {
            const auto truth =
                bike.response(grid[index])
                * std::polar(1.0, 2.0 * std::numbers::pi * grid[index] * shift / 48000.0);
            largest = std::max(largest, std::abs(measured[index] - truth) / std::abs(truth));
        }
        best = std::min(best, largest);
    }
    INFO("largest relative error " << 20.0 * std::log10(best) << " dB");
    CHECK(best < 1e-4);
    CHECK(std::abs(response->clockPpm) < 0.001);
}

TEST_CASE("At 40 dB signal-to-noise and 200 ppm the magnitude is right to 0.1 dB and the clock to "
          "0.5 ppm",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto response = measure::measureResponse(requestFor(
        track, {recordOnBike(track, {.clockPpm = 200.0, .startSeconds = 1.2345}, 40.0)}));
    REQUIRE(response);
    const double error = test::largestErrorDb(*response, 40.0, 16000.0);
    INFO("largest error " << error << " dB, clock " << response->clockPpm << " ppm");
    CHECK(error < 0.1);
    CHECK(response->clockPpm == Approx(200.0).margin(0.5));
}

TEST_CASE("A 44.1 kHz recorder and any clock within 500 ppm measure a 48 kHz track",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    for (const double clockPpm : {-500.0, -37.0, 500.0}) {
        const auto response =
            measure::measureResponse(requestFor(track, {recordOnBike(track,
                                                                     {.sampleRate = 44100.0,
                                                                      .clockPpm = clockPpm,
                                                                      .startSeconds = 0.777,
                                                                      .gain = 0.5,
                                                                      .seed = 3},
                                                                     40.0)}));
        REQUIRE(response);
        const double error =
            test::largestErrorDb(*response, 40.0, 16000.0, dsp::amplitudeToDb(0.5));
        INFO("clock " << clockPpm << " ppm: error " << error << " dB, found "
                      << response->clockPpm);
        CHECK(error < 0.1);
        CHECK(response->clockPpm == Approx(clockPpm).margin(0.5));
        CHECK(response->toHz <= 0.45 * 44100.0 + 1.0);
    }
}

TEST_CASE("Inverted polarity and a recording of several channels are measured", "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    auto recording = recordOnBike(track, {.gain = -1.0}, 50.0);
    const std::vector<float> faint(recording.audio.numFrames(), 1e-5F);
    recording.audio.channels.insert(recording.audio.channels.begin(), faint);
    const auto response = measure::measureResponse(requestFor(track, {std::move(recording)}));
    REQUIRE(response);
    CHECK(test::largestErrorDb(*response, 40.0, 16000.0) < 0.1);
}

TEST_CASE("Kept transforms do not change what is measured", "[core][measure]")
{
    const auto track = test::makeSweepTrack(8.0);
    const auto loud = requestFor(track, {recordOnBike(track, {.clockPpm = 90.0}, 40.0)});
    const auto quiet = requestFor(track, {recordOnBike(track, {.gain = 0.1}, 30.0)});
    const auto expected = measure::measureResponse(loud);
    REQUIRE(expected);
    dsp::FftStore transforms;
    // Of another recording, so that what is left in the memory differs.
    REQUIRE(measure::measureResponse(quiet, transforms));
    const std::size_t numTransforms = transforms.numTransforms();
    const auto measured = measure::measureResponse(loud, transforms);
    REQUIRE(measured);
    CHECK(measured->impulse == expected->impulse);
    CHECK(measured->bands == expected->bands);
    CHECK(measured->distortion == expected->distortion);
    CHECK(measured->clockPpm == expected->clockPpm);
    CHECK(numTransforms > 3);
}

TEST_CASE("Averaging four takes brings the error down", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    std::vector<measure::Recording> takes;
    for (std::uint64_t seed = 1; seed <= 4; ++seed)
        takes.push_back(recordOnBike(
            track, {.clockPpm = 20.0 * static_cast<double>(seed), .seed = seed}, 26.0));
    const auto one = measure::measureResponse(requestFor(track, {takes.front()}));
    const auto four = measure::measureResponse(requestFor(track, takes));
    REQUIRE(one);
    REQUIRE(four);
    CHECK(four->numTakes == 4);
    CHECK(test::largestErrorDb(*four, 40.0, 16000.0) < test::largestErrorDb(*one, 40.0, 16000.0));
    CHECK(test::largestErrorDb(*four, 40.0, 16000.0) < 0.25);
}

TEST_CASE("The stated SNR of a band follows the noise", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto quiet =
        measure::measureResponse(requestFor(track, {recordOnBike(track, {.seed = 5}, 50.0)}));
    const auto loud =
        measure::measureResponse(requestFor(track, {recordOnBike(track, {.seed = 5}, 30.0)}));
    REQUIRE(quiet);
    REQUIRE(loud);
    for (std::size_t band = 3; band < 29; ++band)
        CHECK(quiet->bands[band].snrDb - loud->bands[band].snrDb == Approx(20.0).margin(2.5));
}

TEST_CASE("Stated uncertainties match the scatter of repeated measurements", "[core][measure]")
{
    const auto track = test::makeSweepTrack(3.0);
    std::size_t inside = 0;
    std::size_t total = 0;
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const auto response = measure::measureResponse(
            requestFor(track, {recordOnBike(track, {.seed = seed}, 26.0)}));
        REQUIRE(response);
        for (const auto& band : response->bands) {
            if (band.frequencyHz < 60.0 || band.frequencyHz > 14000.0)
                continue;
            const double errorDb = band.levelDb - test::bikeBandDb(band.frequencyHz);
            // Two standard deviations cover 95 %; a hundredth of a dB is the method's own error.
            inside += std::abs(errorDb) <= 2.0 * band.uncertaintyDb + 0.01 ? 1U : 0U;
            ++total;
        }
    }
    INFO(inside << " of " << total);
    CHECK(static_cast<double>(inside) >= 0.90 * static_cast<double>(total));
}

TEST_CASE("Noise does not raise the level of a band", "[core][measure]")
{
    // At 20 dB over all, the top bands stand some 15 dB above the noise, whose power alone would
    // read 10 log10(1 + 0.03) = 0.13 dB.
    const auto track = test::makeSweepTrack(3.0);
    constexpr double centreHz = 15848.9;
    const double truthDb = test::bikeBandDb(centreHz);
    double meanError = 0.0;
    constexpr int runs = 6;
    for (std::uint64_t seed = 1; seed <= runs; ++seed) {
        const auto response = measure::measureResponse(
            requestFor(track, {recordOnBike(track, {.seed = seed}, 20.0)}));
        REQUIRE(response);
        for (const auto& band : response->bands)
            if (std::abs(band.frequencyHz / centreHz - 1.0) < 1e-3) {
                CHECK(band.snrDb < 22.0);
                meanError += (band.levelDb - truthDb) / runs;
            }
    }
    INFO("mean error " << meanError << " dB");
    CHECK(std::abs(meanError) < 0.03);
}

TEST_CASE("Recordings that cannot be trusted are refused with their own reason", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto good = recordOnBike(track, {.seed = 2}, 50.0);

    SECTION("clipped at full scale")
    {
        auto recording = recordOnBike(track, {.gain = 6.0}, 60.0);
        clip(recording.audio.channels.front(), 1.0F);
        CHECK_THAT(refusalOf(track, std::move(recording)), Contains("clipped"));
    }
    SECTION("clipped by half a decibel, below full scale")
    {
        auto recording = good;
        float peak = 0.0F;
        for (const float sample : recording.audio.channels.front())
            peak = std::max(peak, std::abs(sample));
        clip(recording.audio.channels.front(), 0.944F * peak);
        CHECK_THAT(refusalOf(track, std::move(recording)), Contains("clipped"));
    }
    SECTION("cut off before the end marker")
    {
        auto recording = good;
        recording.audio.channels.front().resize(recording.audio.numFrames() * 6 / 10);
        CHECK_THAT(refusalOf(track, std::move(recording)), Contains("cut off"));
    }
    SECTION("started too late")
    {
        auto recording = good;
        auto& samples = recording.audio.channels.front();
        samples.erase(samples.begin(), samples.begin() + 48000 * 4);
        CHECK_THAT(refusalOf(track, std::move(recording)), Contains("start is missing"));
    }
    SECTION("without markers")
    {
        const auto noise = signals::makeShapedNoise({.rms = 0.1}, 48000 * 12);
        CHECK_THAT(refusalOf(track, {"noise.wav", {48000.0, {noise}}}), Contains("no marker"));
    }
    SECTION("silent")
    {
        CHECK_THAT(refusalOf(track, {"nothing.wav", dsp::makeSilence(48000.0, 1, 48000 * 12)}),
                   Contains("silent"));
        auto faint = good;
        for (float& sample : faint.audio.channels.front())
            sample *= 1e-3F;
        CHECK_THAT(refusalOf(track, std::move(faint)), Contains("too quiet"));
    }
    SECTION("of a track of another length")
    {
        CHECK_THAT(refusalOf(test::makeSweepTrack(8.0), good), Contains("wrong track"));
    }
    SECTION("of a track of another range")
    {
        signals::SignalRequest request;
        request.type = signals::SignalType::sweep;
        request.seconds = 6.0;
        request.levelDbfs = -12.0;
        request.fromHz = 100.0;
        request.toHz = 8000.0;
        const auto other = signals::makeSignal(request);
        REQUIRE(other);
        CHECK_THAT(refusalOf(*other, good), Contains("wrong track"));
    }
    SECTION("with automatic gain")
    {
        auto recording = good;
        auto& samples = recording.audio.channels.front();
        for (std::size_t frame = 0; frame < samples.size(); ++frame)
            samples[frame] *= static_cast<float>(std::pow(
                10.0, -0.2 * static_cast<double>(frame) / static_cast<double>(samples.size())));
        CHECK_THAT(refusalOf(track, std::move(recording)), Contains("automatic gain"));
    }
    SECTION("drowned in noise")
    {
        // Enough for the markers, which correlation digs out, but not for a response.
        CHECK_THAT(refusalOf(track, recordOnBike(track, {.seed = 9}, -8.0)), Contains("noise"));
    }
    SECTION("shorter than a marker")
    {
        CHECK_THAT(refusalOf(track, {"short.wav", {48000.0, {std::vector<float>(4800, 0.3F)}}}),
                   Contains("cut off"));
    }
}

TEST_CASE("A good recording is not taken for a clipped one", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0, 44100.0);
    // 16-bit steps make the tops of slow waves flat; that is not clipping.
    auto recording = recordOnBike(track, {.sampleRate = 44100.0, .gain = 1.0}, 70.0);
    for (float& sample : recording.audio.channels.front())
        sample = std::round(sample * 32768.0F) / 32768.0F;
    CHECK(measure::measureResponse(requestFor(track, {std::move(recording)})));
}

TEST_CASE("Only a sweep's description is taken", "[core][measure]")
{
    const auto noise = signals::makeSignal({});
    REQUIRE(noise);
    measure::MeasurementRequest request;
    request.track = noise->description;
    request.recordings.push_back({"any.wav", dsp::makeSilence(48000.0, 1, 1000)});
    const auto response = measure::measureResponse(request);
    REQUIRE_FALSE(response);
    CHECK_THAT(response.error().message, Contains("sweep"));
}

TEST_CASE("The microphone's response is taken out", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    auto request = requestFor(track, {recordOnBike(track, {}, 60.0)});
    const auto plain = measure::measureResponse(request);
    files::FrequencyTable curve;
    curve.frequenciesHz = {20.0, 1000.0, 10000.0, 20000.0};
    curve.levelsDb = {-3.0, 0.0, 2.0, 2.0};
    request.microphone = curve;
    const auto corrected = measure::measureResponse(request);
    REQUIRE(plain);
    REQUIRE(corrected);
    const std::vector<double> grid {100.0, 1000.0, 5000.0, 12000.0};
    const auto before = plain->magnitudeDb(grid, 24);
    const auto after = corrected->magnitudeDb(grid, 24);
    for (std::size_t index = 0; index < grid.size(); ++index)
        CHECK(before[index] - after[index] == Approx(curve.levelDbAt(grid[index])).margin(0.03));
}

TEST_CASE("A calibrator's tone sets what full scale stands for", "[core][measure]")
{
    std::vector<float> tone(48000 * 5);
    for (std::size_t frame = 0; frame < tone.size(); ++frame)
        tone[frame] = static_cast<float>(
            0.05
            * std::sin(2.0 * std::numbers::pi * 1000.0 / 48000.0 * static_cast<double>(frame)));
    const auto calibration = measure::readCalibration({"tone.wav", {48000.0, {tone}}}, 94.0);
    REQUIRE(calibration);
    // AES17: a sine of amplitude 0.05 reads 20 log10 0.05 = -26.02 dBFS.
    CHECK(calibration->toneDbfs == Approx(-26.0206).margin(0.02));
    CHECK(calibration->splAtFullScaleDb() == Approx(120.02).margin(0.03));

    const auto noise = signals::makeShapedNoise({.rms = 0.05}, 48000 * 5);
    const auto refused = measure::readCalibration({"noise.wav", {48000.0, {noise}}}, 94.0);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Contains("no steady tone"));
}

TEST_CASE("A measurement tells how far it is and ends when told to", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto take = recordOnBike(track, {}, 60.0);
    auto request = requestFor(track, {take, take, take});
    std::vector<double> told;
    request.onProgress = [&](double share) {
        told.push_back(share);
        return true;
    };
    const auto whole = measure::measureResponse(request);
    REQUIRE(whole);
    CHECK(told == std::vector<double> {0.0, 0.25, 0.5, 0.75});
    for (const double last : {0.0, 0.5, 0.75}) {
        request.onProgress = [last](double share) { return share < last; };
        const auto ended = measure::measureResponse(request);
        REQUIRE_FALSE(ended);
        CHECK(ended.error().message == measure::measurementCancelledMessage);
    }
}
