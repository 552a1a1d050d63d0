#include "Core/Measure/TrustLimit.h"

#include "Core/Measure/Measurement.h"
#include "Core/Signals/ShapedNoise.h"
#include "Support/SweepTakes.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>
#include <sndfile.h>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

/** The samples after an MP3 encoder and decoder at a constant bit rate of two equal channels; empty
    if this libsndfile does not write MP3. */
std::vector<float> throughMp3(const std::vector<float>& samples, int sampleRate, int kilobits)
{
    const test::TemporaryFolder folder;
    const std::string file = (folder / "track.mp3").string();
    SF_INFO info {};
    info.samplerate = sampleRate;
    info.channels = 2;
    info.format = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
    if (sf_format_check(&info) == 0)
        return {};
    SNDFILE* writer = sf_open(file.c_str(), SFM_WRITE, &info);
    if (writer == nullptr)
        return {};
    int mode = SF_BITRATE_MODE_CONSTANT;
    // libsndfile maps 0 to 1 onto 320 down to 32 kb/s.
    double level = (320.0 - kilobits) / 288.0;
    REQUIRE(sf_command(writer, SFC_SET_COMPRESSION_LEVEL, &level, sizeof(level)) == SF_TRUE);
    REQUIRE(sf_command(writer, SFC_SET_BITRATE_MODE, &mode, sizeof(mode)) == SF_TRUE);
    std::vector<float> both;
    for (const float sample : samples)
        both.insert(both.end(), 2, sample);
    const auto numFrames = static_cast<sf_count_t>(samples.size());
    REQUIRE(sf_writef_float(writer, both.data(), numFrames) == numFrames);
    sf_close(writer);

    SF_INFO found {};
    SNDFILE* reader = sf_open(file.c_str(), SFM_READ, &found);
    REQUIRE(reader != nullptr);
    REQUIRE(found.channels == 2);
    both.resize(2 * static_cast<std::size_t>(found.frames));
    const auto numRead =
        static_cast<std::size_t>(sf_readf_float(reader, both.data(), found.frames));
    sf_close(reader);
    std::vector<float> decoded(numRead);
    for (std::size_t frame = 0; frame < numRead; ++frame)
        decoded[frame] = both[2 * frame];
    return decoded;
}

/** A track that was played through an MP3 file, measured on the simulated bike. */
std::optional<measure::Response> measureMp3(int kilobits, double clockPpm)
{
    const auto track = test::makeSweepTrack(12.0);
    const auto decoded = throughMp3(track.audio.channels.front(), 48000, kilobits);
    if (decoded.empty()) {
        WARN("this libsndfile does not write MP3; not tested");
        return std::nullopt;
    }
    const auto sound = test::SimulatedBike().play(decoded, 48000.0);
    const auto recording =
        test::record(sound, 48000.0, {.clockPpm = clockPpm, .noiseRms = 5e-5, .seed = 4});
    return test::measureTakes(track, {{"take.wav", {48000.0, {recording}}}});
}

std::string joined(const std::vector<std::string>& texts)
{
    std::string all;
    for (const std::string& text : texts)
        all += text + "\n";
    return all;
}

/** A zero-phase low-pass, cut between two frequencies, by direct convolution with a windowed sinc. */
std::vector<double> lowPassed(const std::vector<double>& sound, double sampleRate, double cutHz)
{
    constexpr int half = 255;
    std::vector<double> kernel;
    for (int tap = -half; tap <= half; ++tap) {
        const double x = 2.0 * cutHz / sampleRate;
        const double sinc =
            tap == 0 ? x : std::sin(std::numbers::pi * x * tap) / (std::numbers::pi * tap);
        kernel.push_back(sinc * (0.5 + 0.5 * std::cos(std::numbers::pi * tap / (half + 1.0))));
    }
    std::vector<double> result(sound.size(), 0.0);
    for (std::size_t frame = 0; frame < sound.size(); ++frame)
        for (std::size_t tap = 0; tap < kernel.size(); ++tap)
            if (frame + half >= tap && frame + half - tap < sound.size())
                result[frame] += kernel[tap] * sound[frame + half - tap];
    return result;
}

const measure::BandConfidence& bandNearest(const measure::Response& response, double frequencyHz)
{
    return *std::ranges::min_element(response.bands, {}, [&](const measure::BandConfidence& band) {
        return std::abs(std::log(band.frequencyHz / frequencyHz));
    });
}

} // namespace

TEST_CASE("A track from an MP3 file at 320 kb/s measures, and says where it ends",
          "[core][measure]")
{
    const auto response = measureMp3(320, 35.0);
    if (!response)
        return;
    INFO("to " << response->toHz << " Hz, least SNR " << response->snrDb << " dB, error "
               << test::largestErrorDb(*response, 40.0, 16000.0) << " dB\n"
               << joined(response->remarks));
    CHECK(test::largestErrorDb(*response, 40.0, 16000.0) < 0.02);
    // The encoder (LAME) passes up to 20 kHz at this rate.
    CHECK(response->toHz > 18500.0);
    CHECK(response->toHz < 20700.0);
    CHECK(bandNearest(*response, 16000.0).trusted);
    CHECK_THAT(joined(response->remarks), Contains("to be trusted up to"));
    CHECK(response->clockPpm == Approx(35.0).margin(0.5));
}

TEST_CASE("A track from an MP3 file at 128 kb/s is trusted up to the encoder's cut only",
          "[core][measure]")
{
    const auto response = measureMp3(128, -60.0);
    if (!response)
        return;
    // The encoder takes 5 % off at this rate (LAME's scale of 0.95), alike at all frequencies.
    const double gainDb = bandNearest(*response, 1000.0).levelDb - test::bikeBandDb(1000.0);
    CHECK(gainDb == Approx(-0.446).margin(0.5));
    const double errorDb = test::largestErrorDb(*response, 40.0, response->toHz, gainDb);
    INFO("to " << response->toHz << " Hz, least SNR " << response->snrDb << " dB, error " << errorDb
               << " dB\n"
               << joined(response->remarks));
    CHECK(response->toHz > 14000.0);
    CHECK(response->toHz < 17600.0);
    CHECK(errorDb < 0.1);
    CHECK_FALSE(bandNearest(*response, 20000.0).trusted);
    CHECK(bandNearest(*response, 10000.0).trusted);
    CHECK_THAT(joined(response->remarks), Contains("to be trusted up to"));
}

TEST_CASE("A hard low-pass at 15 kHz is found, and error while the track plays marks its bands",
          "[core][measure]")
{
    const auto track = test::makeSweepTrack(12.0);
    const auto& layout = *track.description.sweepLayout;
    const auto bikeSound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    auto sound = lowPassed(bikeSound, 48000.0, 15000.0);
    const auto addWhilePlaying = [&](double fromHz, double toHz, double rms) {
        const auto noise = signals::makeShapedNoise(
            {.colour = signals::NoiseColour::white, .fromHz = fromHz, .toHz = toHz, .rms = rms},
            layout.sweep.numFrames);
        for (std::size_t frame = 0; frame < noise.size(); ++frame)
            sound[layout.sweepFrame + frame] += static_cast<double>(noise[frame]);
    };

    SECTION("the low-pass alone")
    {
        const auto response = test::measureTakes(track, {test::asRecording(sound, 48000.0)});
        INFO("to " << response.toHz << "\n" << joined(response.remarks));
        CHECK(response.toHz > 13800.0);
        CHECK(response.toHz < 15100.0);
        CHECK(test::largestErrorDb(response, 40.0, 13800.0) < 0.1);
        CHECK_FALSE(bandNearest(response, 16000.0).trusted);
        CHECK(bandNearest(response, 10000.0).trusted);
    }
    SECTION("with a rattle between 1 and 2 kHz")
    {
        addWhilePlaying(1000.0, 2000.0, 0.05);
        const auto response = test::measureTakes(track, {test::asRecording(sound, 48000.0)});
        INFO("SNR " << bandNearest(response, 1600.0).snrDb << "\n" << joined(response.remarks));
        CHECK_FALSE(bandNearest(response, 1600.0).trusted);
        CHECK(bandNearest(response, 630.0).trusted);
        CHECK(bandNearest(response, 4000.0).trusted);
        CHECK(response.toHz > 13800.0);
        CHECK_THAT(joined(response.remarks),
                   Contains("1600 Hz") && Contains("while the track plays"));
    }
    SECTION("with error that drowns the top")
    {
        addWhilePlaying(8000.0, 16000.0, 0.25);
        const auto response = test::measureTakes(track, {test::asRecording(sound, 48000.0)});
        INFO("to " << response.toHz << "\n" << joined(response.remarks));
        CHECK(response.toHz < 9000.0);
        CHECK(response.toHz > 6000.0);
        CHECK(bandNearest(response, 6300.0).trusted);
        CHECK_FALSE(bandNearest(response, 10000.0).trusted);
        CHECK_THAT(joined(response.remarks), Contains("error drowns the top"));
    }
}

TEST_CASE("The error while the track plays has the size of the noise added", "[core][measure]")
{
    // In a band of the third octave, white noise of mean square s per frame over a sweep of
    // constant power density in time: what the band states must fit the error it really has.
    const auto track = test::makeSweepTrack(12.0);
    const auto& layout = *track.description.sweepLayout;
    auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    auto everywhere = sound;
    const auto noise = signals::makeShapedNoise(
        {.colour = signals::NoiseColour::white, .rms = 0.01, .seed = 7}, sound.size());
    for (std::size_t frame = 0; frame < sound.size(); ++frame) {
        everywhere[frame] += static_cast<double>(noise[frame]);
        if (frame >= layout.sweepFrame && frame < layout.sweepFrame + layout.sweep.numFrames)
            sound[frame] += static_cast<double>(noise[frame]);
    }
    const auto hidden = test::measureTakes(track, {test::asRecording(sound, 48000.0)});
    const auto open = test::measureTakes(track, {test::asRecording(everywhere, 48000.0)});
    // The same noise, seen in the pause or only beside the response; the top octave is left out,
    // since what follows its response is no longer covered by the sweep.
    for (std::size_t band = 7; band < 27; ++band) {
        INFO(open.bands[band].frequencyHz << " Hz");
        CHECK(hidden.bands[band].snrDb == Approx(open.bands[band].snrDb).margin(3.0));
    }
}

TEST_CASE("A whole response has no cut, and neither has one with a notch", "[core][measure]")
{
    const auto track = test::makeSweepTrack(6.0);
    const auto sound = test::SimulatedBike().play(track.audio.channels.front(), 48000.0);
    const auto response = test::measureTakes(track, {test::asRecording(sound, 48000.0)});
    dsp::FftStore transforms;
    CHECK_FALSE(measure::findCutHz(response, transforms));
    CHECK(response.toHz == Approx(22000.0 / 1.02).margin(5.0));

    auto notched = response;
    // A reflection of nearly full strength: deep notches every 2 kHz.
    for (std::size_t frame = notched.impulse.size() - 1; frame >= 24; --frame)
        notched.impulse[frame] += 0.95F * response.impulse[frame - 24];
    CHECK_FALSE(measure::findCutHz(notched, transforms));
}
