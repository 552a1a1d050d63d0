#include "Core/Measure/BandAnalysis.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Signals/Signal.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Pink noise reads flat in every fraction of an octave", "[core][measure]")
{
    signals::SignalRequest request;
    request.repetition = signals::Repetition::periodic;
    const auto pink = signals::makeSignal(request);
    REQUIRE(pink);
    for (const int bandsPerOctave : {3, 6, 12, 24}) {
        const auto analysis = measure::analyseBands(pink->audio, bandsPerOctave, dsp::Weighting::z);
        double mean = 0.0;
        for (const double level : analysis.levelsDbfs)
            mean += level / static_cast<double>(analysis.levelsDbfs.size());
        // A band that holds n lines of the periodic noise may hold one more or less at its edges.
        const double lineHz = 48000.0 / static_cast<double>(pink->description.periodFrames);
        for (std::size_t band = 0; band < analysis.bands.size(); ++band) {
            const double lines =
                (analysis.bands[band].upperHz - analysis.bands[band].lowerHz) / lineHz;
            if (analysis.bands[band].centreHz > 24.0)
                CHECK(analysis.levelsDbfs[band]
                      == Approx(mean).margin(0.03 + 10.0 * std::log10(1.0 + 1.0 / lines)));
        }
        CHECK(analysis.totalDbfs == Approx(-20.0).margin(0.01));
    }
}

TEST_CASE("No band reads low for want of sample rate", "[core][measure]")
{
    for (const double sampleRate : {8000.0, 16000.0, 32000.0, 44100.0}) {
        CAPTURE(sampleRate);
        dsp::RandomSource random(7);
        std::vector<float> white(static_cast<std::size_t>(20.0 * sampleRate));
        for (float& sample : white)
            sample = static_cast<float>(0.1 * random.nextGaussian());
        const auto analysis = measure::analyseBands({sampleRate, {white}}, 3, dsp::Weighting::z);
        const dsp::Band& top = analysis.bands.back();
        CHECK(top.upperHz > 0.4 * sampleRate);
        // White noise: ten times the frequency, ten times the power; 0.3 dB for what is missing and
        // twice a standard deviation of 0.11 dB.
        const double below = analysis.levelsDbfs[analysis.levelsDbfs.size() - 11];
        CHECK(analysis.levelsDbfs.back() == Approx(below + 10.0).margin(0.6));
    }
}

TEST_CASE("A weighting takes 19.1 dB off a tone of 100 Hz", "[core][measure]")
{
    // IEC 61672-1, table of weightings.
    std::vector<float> tone(48000);
    for (std::size_t frame = 0; frame < tone.size(); ++frame)
        tone[frame] = static_cast<float>(
            0.5 * std::sin(2.0 * std::numbers::pi * 100.0 / 48000.0 * static_cast<double>(frame)));
    const dsp::AudioBuffer audio {48000.0, {tone}};
    CHECK(measure::analyseBands(audio, 3, dsp::Weighting::z).totalDbfs
          == Approx(-6.02).margin(0.01));
    CHECK(measure::analyseBands(audio, 3, dsp::Weighting::a).totalDbfs
          == Approx(-6.02 - 19.1).margin(0.06));
}

TEST_CASE("A recording too long for one transform reads as a short one does", "[core][measure]")
{
    // 50 s: five segments of 10 s. Tones in whole cycles a segment fill one line each, whatever the
    // number of segments: 0.25 sine is -12.04 dBFS, 0.1 sine -20 dBFS.
    const auto tones = [](std::size_t numFrames) {
        std::vector<float> samples(numFrames);
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            const double turn = 2.0 * std::numbers::pi * static_cast<double>(frame) / 48000.0;
            samples[frame] =
                static_cast<float>(0.25 * std::sin(100.0 * turn) + 0.1 * std::sin(3150.0 * turn));
        }
        return samples;
    };
    dsp::AudioBuffer audio {48000.0, {tones(50 * 48000)}};
    audio.channels.emplace_back(50 * 48000, 0.0F); // mean power of the channels: 3.01 dB less
    const auto analysis = measure::analyseBands(audio, 3, dsp::Weighting::z);
    for (std::size_t band = 0; band < analysis.bands.size(); ++band) {
        const double centreHz = analysis.bands[band].centreHz;
        if (std::abs(centreHz - 100.0) < 1.0)
            CHECK(analysis.levelsDbfs[band] == Approx(-12.041 - 3.010).margin(0.002));
        else if (std::abs(centreHz - 3162.0) < 1.0)
            CHECK(analysis.levelsDbfs[band] == Approx(-20.0 - 3.010).margin(0.002));
        else
            CHECK(analysis.levelsDbfs[band] < -110.0);
    }
    CHECK(analysis.totalDbfs == Approx(10.0 * std::log10(0.0625 + 0.01) - 3.010).margin(0.002));

    // A burst of 3 s in 60 s of silence counts with its energy, wherever it stands in a segment.
    audio = dsp::makeSilence(48000.0, 1, 60 * 48000 + 1);
    const auto burst = tones(3 * 48000);
    std::copy(burst.begin(), burst.end(), audio.channels[0].begin() + 19 * 48000 + 12345);
    CHECK(measure::analyseBands(audio, 24, dsp::Weighting::z).totalDbfs
          == Approx(10.0 * std::log10((0.0625 + 0.01) * 3.0 / 60.0)).margin(0.002));
}
