#include "Core/Measure/Takes.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/Measurement.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

std::vector<double> bikeSound(const signals::Signal& track)
{
    return test::SimulatedBike().play(track.audio.channels.front(), track.audio.sampleRate);
}

measure::Recording recorded(const std::vector<double>& sound, const test::RecorderModel& recorder,
                            const std::string& name = "take.wav")
{
    return {name, {48000.0, {test::record(sound, 48000.0, recorder)}}};
}

/** Something falls beside the microphone: half a second of decaying noise. */
void addBang(std::vector<float>& samples, double seconds, double level)
{
    dsp::RandomSource random(11);
    const auto begin = static_cast<std::size_t>(seconds * 48000.0);
    for (std::size_t frame = 0; frame < 24000; ++frame)
        samples[begin + frame] += static_cast<float>(
            level * std::exp(-static_cast<double>(frame) / 4800.0) * random.nextGaussian());
}

std::string joined(const std::vector<std::string>& texts)
{
    std::string all;
    for (const std::string& text : texts)
        all += text + "\n";
    return all;
}

} // namespace

TEST_CASE("Student's t follows its table", "[core][measure]")
{
    // Two-sided 95 % points, any table of the distribution.
    CHECK(measure::studentT95(1.0) == Approx(12.706));
    CHECK(measure::studentT95(7.0) == Approx(2.365));
    CHECK(measure::studentT95(30.0) == Approx(2.042));
    CHECK(measure::studentT95(60.0) == Approx(2.000).margin(0.002));
    CHECK(measure::studentT95(120.0) == Approx(1.980).margin(0.002));
    CHECK(measure::studentT95(1e9) == Approx(1.960).margin(0.001));
    for (double degrees = 1.0; degrees < 50.0; degrees += 0.25)
        CHECK(measure::studentT95(degrees + 0.25) < measure::studentT95(degrees));
}

TEST_CASE("Takes are aligned before they are averaged", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = bikeSound(track);
    std::vector<measure::Recording> takes;
    for (int take = 0; take < 4; ++take)
        takes.push_back(recorded(sound, {.clockPpm = 30.0 * take,
                                         .startSeconds = 1.0 + 0.0131 * take,
                                         .noiseRms = 1e-5,
                                         .seed = static_cast<std::uint64_t>(take + 1)}));
    const auto response = test::measureTakes(track, takes);
    CHECK(response.numTakes == 4);
    // Half a frame of misalignment would take 1.2 dB at 16 kHz.
    CHECK(test::largestErrorDb(response, 40.0, 16000.0) < 0.02);
    for (const auto& band : response.bands)
        if (band.trusted)
            CHECK(band.spreadDb < 0.01);
}

TEST_CASE("Noise falls with the number of takes of one place", "[core][measure]")
{
    const auto track = test::makeSweepTrack(3.0);
    const auto sound = bikeSound(track);
    std::vector<measure::Recording> takes;
    double squaresOfOne = 0.0;
    for (std::uint64_t seed = 1; seed <= 9; ++seed) {
        takes.push_back(recorded(sound, {.noiseRms = 3e-3, .seed = seed}));
        const auto one = test::measureTakes(track, {takes.back()});
        for (const auto& band : one.bands)
            if (band.frequencyHz > 90.0 && band.frequencyHz < 13000.0)
                squaresOfOne +=
                    std::pow(band.levelDb - test::bikeBandDb(band.frequencyHz), 2.0) / 9.0;
    }
    const auto nine = test::measureTakes(track, takes);
    double squares = 0.0;
    for (const auto& band : nine.bands)
        if (band.frequencyHz > 90.0 && band.frequencyHz < 13000.0)
            squares += std::pow(band.levelDb - test::bikeBandDb(band.frequencyHz), 2.0);
    INFO("one " << std::sqrt(squaresOfOne / 22.0) << " dB, nine " << std::sqrt(squares / 22.0));
    // A third, with room for the scatter of some 22 bands (15 %).
    CHECK(std::sqrt(squares) < 0.48 * std::sqrt(squaresOfOne));
}

TEST_CASE("A bang during one of several takes is left out and named", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = bikeSound(track);
    std::vector<measure::Recording> takes;
    for (std::uint64_t seed = 1; seed <= 4; ++seed)
        takes.push_back(recorded(
            sound, {.clockPpm = 10.0 * static_cast<double>(seed), .noiseRms = 3e-4, .seed = seed},
            "take-" + std::to_string(seed) + ".wav"));
    // The track's sweep starts 2.15 s into it, the recording 1 s before: half-way, near 660 Hz.
    addBang(takes[2].audio.channels.front(), 1.0 + 2.15 + 3.0, 0.6);

    const auto hit = test::measureTakes(track, {takes[2]});
    const auto response = test::measureTakes(track, takes);
    INFO("hit take " << test::largestErrorDb(hit, 100.0, 14000.0) << " dB, average "
                     << test::largestErrorDb(response, 100.0, 14000.0) << " dB\n"
                     << joined(response.remarks));
    CHECK(test::largestErrorDb(hit, 100.0, 14000.0) > 0.3);
    CHECK(test::largestErrorDb(response, 100.0, 14000.0) < 0.1);
    CHECK_THAT(joined(response.remarks), Contains("'take-3.wav' was disturbed"));
    CHECK_THAT(joined(response.remarks),
               !Contains("'take-1.wav'") && !Contains("'take-2.wav'") && !Contains("'take-4.wav'"));
}

TEST_CASE("Undisturbed takes are not left out", "[core][measure]")
{
    const auto track = test::makeSmallSweepTrack(3.0);
    const auto sound =
        test::SimulatedBike().play(track.audio.channels.front(), track.audio.sampleRate);
    std::size_t numRejections = 0;
    for (std::uint64_t run = 0; run < 40; ++run) {
        std::vector<measure::Recording> takes;
        for (std::uint64_t take = 0; take < 5; ++take) {
            auto recording = test::asRecording(sound, 4000.0);
            dsp::RandomSource random(dsp::mixSeed(run, take));
            for (float& sample : recording.audio.channels.front())
                sample += static_cast<float>(0.004 * random.nextGaussian());
            takes.push_back(std::move(recording));
        }
        for (const std::string& remark : test::measureTakes(track, takes).remarks)
            numRejections += remark.find("disturbed") != std::string::npos ? 1U : 0U;
    }
    // Of 200 takes in 17 bands each.
    CHECK(numRejections <= 2);
}

TEST_CASE("Takes of several head places are averaged in power", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = bikeSound(track);
    // At each place another reflection: 1 + r e^(-j w d).
    const std::vector<std::size_t> delays {40, 61, 97};
    std::vector<measure::Recording> takes;
    for (const std::size_t delay : delays) {
        auto place = sound;
        for (std::size_t frame = place.size() - 1; frame >= delay; --frame)
            place[frame] += 0.8 * sound[frame - delay];
        takes.push_back(test::asRecording(place, 48000.0));
    }
    const auto response = test::measureTakes(track, takes);
    const test::SimulatedBike bike;
    for (const auto& band : response.bands) {
        if (!band.trusted || band.frequencyHz < 100.0)
            continue;
        double power = 0.0;
        constexpr int points = 3000;
        const double half = std::pow(10.0, 0.05);
        for (int point = 0; point < points; ++point) {
            const double frequencyHz =
                band.frequencyHz / half
                + (point + 0.5) / points * band.frequencyHz * (half - 1.0 / half);
            for (const std::size_t delay : delays)
                power +=
                    std::norm(bike.response(frequencyHz)
                              * (1.0
                                 + std::polar(0.8, -2.0 * 3.14159265358979 * frequencyHz
                                                       * static_cast<double>(delay) / 48000.0)))
                    / 3.0 / points;
        }
        INFO(band.frequencyHz << " Hz");
        // Where the places are alike to 5 % of the power the mean is complex, 0.22 dB less at most.
        CHECK(band.levelDb == Approx(10.0 * std::log10(power)).margin(0.3));
    }
    CHECK_THAT(joined(response.remarks), !Contains("disturbed"));
}

TEST_CASE("The spread of takes enters the stated uncertainty", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = bikeSound(track);
    std::vector<measure::Recording> takes;
    for (const double gainDb : {0.0, 0.5, -0.5})
        takes.push_back(recorded(sound, {.gain = std::pow(10.0, gainDb / 20.0), .noiseRms = 1e-5}));
    const auto response = test::measureTakes(track, takes);
    for (const auto& band : response.bands) {
        if (!band.trusted || band.frequencyHz < 60.0)
            continue;
        CHECK(band.spreadDb == Approx(0.5).margin(0.02));
        CHECK(band.uncertaintyDb == Approx(0.5 / std::sqrt(3.0)).margin(0.02));
        // Student's t for two degrees of freedom: 4.303.
        CHECK(band.interval95Db == Approx(4.303 * 0.5 / std::sqrt(3.0)).margin(0.06));
    }
}

TEST_CASE("A recording of several repeats is split into takes", "[core][measure]")
{
    const auto track = test::makeSweepTrack(3.0);
    const auto& samples = track.audio.channels.front();
    std::vector<float> played;
    for (int repeat = 0; repeat < 3; ++repeat) {
        played.insert(played.end(), samples.begin(), samples.end());
        played.insert(played.end(), static_cast<std::size_t>(repeat) * 7777, 0.0F);
    }
    const auto sound = test::SimulatedBike().play(played, 48000.0);
    auto recording = recorded(sound, {.clockPpm = -150.0, .noiseRms = 3e-4, .seed = 3});
    SECTION("all good")
    {
        const auto response = test::measureTakes(track, {recording});
        CHECK(response.numTakes == 3);
        CHECK(response.clockPpm == Approx(-150.0).margin(0.5));
        CHECK(test::largestErrorDb(response, 60.0, 16000.0) < 0.1);
    }
    SECTION("a bang during the second")
    {
        const double second = static_cast<double>(samples.size()) / 48000.0;
        addBang(recording.audio.channels.front(), 1.0 + second + 2.15 + 1.5, 0.3);
        const auto response = test::measureTakes(track, {recording});
        CHECK(response.numTakes == 3);
        CHECK(test::largestErrorDb(response, 100.0, 14000.0) < 0.15);
        CHECK_THAT(joined(response.remarks), Contains("repeat 2' was disturbed"));
    }
    SECTION("the last one cut off")
    {
        auto& whole = recording.audio.channels.front();
        whole.resize(whole.size() - 48000 * 5);
        CHECK(test::measureTakes(track, {recording}).numTakes == 2);
    }
    SECTION("the volume turned during the first")
    {
        auto& whole = recording.audio.channels.front();
        for (std::size_t frame = 0; frame < 48000 * 4; ++frame)
            whole[frame] *= 0.7F;
        const auto response = test::measureTakes(track, {recording});
        CHECK(response.numTakes == 2);
        CHECK_THAT(joined(response.remarks), Contains("left out"));
    }
}
