#include "Core/Files/Resampler.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include <soxr.h>

using namespace saddletone;

namespace {

double sineAt(double frequencyHz, double seconds)
{
    return std::sin(2.0 * std::numbers::pi * frequencyHz * seconds + 0.3);
}

std::vector<double> sine(double frequencyHz, double sampleRate, std::size_t numFrames)
{
    std::vector<double> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = sineAt(frequencyHz, static_cast<double>(frame) / sampleRate);
    return samples;
}

std::complex<double> responseAt(const std::vector<double>& impulse, double frequencyHz,
                                double sampleRate)
{
    std::complex<double> sum;
    for (std::size_t n = 0; n < impulse.size(); ++n)
        sum += impulse[n]
               * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz * static_cast<double>(n)
                                     / sampleRate);
    return sum;
}

/** More than fits into the parts that are converted at once. */
std::vector<double> longNoise(std::size_t numFrames)
{
    dsp::RandomSource random(7);
    std::vector<double> samples(numFrames);
    for (double& sample : samples)
        sample = static_cast<double>(static_cast<float>(random.nextUniform() - 0.5));
    return samples;
}

/** What the library makes of all of it in one go. */
std::vector<double> resampledAtOnce(const std::vector<double>& samples, double ratio)
{
    const auto wanted =
        static_cast<std::size_t>(std::llround(static_cast<double>(samples.size()) * ratio));
    std::vector<double> output(wanted + 64);
    const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, SOXR_ROLLOFF_NONE);
    std::size_t produced = 0;
    REQUIRE(soxr_oneshot(1.0, ratio, 1, samples.data(), samples.size(), nullptr, output.data(),
                         output.size(), &produced, &io, &quality, nullptr)
            == nullptr);
    output.resize(produced);
    output.resize(wanted, 0.0);
    return output;
}

} // namespace

TEST_CASE("A resampled sine is the same sine at the new rate, without delay", "[core][files]")
{
    struct Case {
        double sampleRate;
        double ratio;
    };
    for (const Case& conversion :
         {Case {44100.0, 48000.0 / 44100.0}, Case {48000.0, 44100.0 / 48000.0}, Case {48000.0, 2.0},
          Case {96000.0, 0.5}, Case {48000.0, 1.0 + 200e-6}, Case {48000.0, 1.0 - 37.5e-6}}) {
        const double topHz = 0.5 * conversion.sampleRate * std::min(1.0, conversion.ratio);
        for (const double frequencyHz : {40.0, 997.0, 10000.0, 0.9 * topHz}) {
            CAPTURE(conversion.sampleRate, conversion.ratio, frequencyHz);
            constexpr std::size_t numFrames = 48000;
            const auto result = files::resample(sine(frequencyHz, conversion.sampleRate, numFrames),
                                                conversion.ratio);
            REQUIRE(result.size()
                    == static_cast<std::size_t>(std::llround(numFrames * conversion.ratio)));
            // The ends, where the filter reaches past the signal, are left out.
            double error = 0.0;
            std::size_t count = 0;
            for (std::size_t frame = 2000; frame + 2000 < result.size(); ++frame, ++count) {
                const double seconds =
                    static_cast<double>(frame) / (conversion.sampleRate * conversion.ratio);
                const double difference = result[frame] - sineAt(frequencyHz, seconds);
                error += difference * difference;
            }
            // A sine's mean square is 1/2. libsoxr promises 28 bits at this quality.
            CHECK(dsp::powerToDb(2.0 * error / static_cast<double>(count)) < -100.0);
        }
    }
}

TEST_CASE("Resampling there and back gives the signal again", "[core][files]")
{
    const auto samples = sine(3000.0, 48000.0, 20000);
    const auto there = files::resample(samples, 1.0 + 300e-6);
    const auto back = files::resample(there, 1.0 / (1.0 + 300e-6));
    for (std::size_t frame = 2000; frame < 18000; ++frame)
        REQUIRE(back[frame] == Approx(samples[frame]).margin(1e-5));
}

TEST_CASE("All channels of a buffer are converted alike", "[core][files]")
{
    dsp::AudioBuffer audio = dsp::makeSilence(44100.0, 2, 44100);
    for (std::size_t frame = 0; frame < 44100; ++frame) {
        audio.channels[0][frame] =
            static_cast<float>(sineAt(500.0, static_cast<double>(frame) / 44100.0));
        audio.channels[1][frame] = -audio.channels[0][frame];
    }
    const auto result = files::resample(audio, 48000.0);
    CHECK(result.sampleRate == 48000.0);
    REQUIRE(result.numChannels() == 2);
    REQUIRE(result.numFrames() == 48000);
    for (std::size_t frame = 2000; frame < 46000; ++frame) {
        REQUIRE(result.channels[0][frame] == -result.channels[1][frame]);
        REQUIRE(static_cast<double>(result.channels[0][frame])
                == Approx(sineAt(500.0, static_cast<double>(frame) / 48000.0)).margin(1e-5));
    }
    CHECK(files::resample(audio, 44100.0) == audio);
}

TEST_CASE("A resampled impulse response keeps its frequency response", "[core][files]")
{
    // A band-limited impulse response, so that neither rate cuts any of it.
    for (const double newRate : {44100.0, 48000.0, 192000.0}) {
        constexpr double sampleRate = 96000.0;
        std::vector<double> impulse(16384, 0.0);
        impulse[4000] = 1.0;
        for (const auto& section :
             {dsp::bilinearBiquad(dsp::analoguePeaking(1000.0, 2.0, 9.0), sampleRate),
              dsp::designHighPass(60.0, 0.7, sampleRate),
              dsp::designLowPass(9000.0, 0.54, sampleRate),
              dsp::designLowPass(9000.0, 1.3, sampleRate)})
            dsp::filterInPlace(section, impulse);
        const auto converted = files::resampleImpulse(impulse, sampleRate, newRate);
        for (const double frequencyHz : {30.0, 100.0, 1000.0, 5000.0, 12000.0, 18000.0}) {
            CAPTURE(newRate, frequencyHz);
            const auto before = responseAt(impulse, frequencyHz, sampleRate);
            const auto after = responseAt(converted, frequencyHz, newRate);
            // Magnitude and phase: within 0.01 dB and a tenth of a degree.
            CHECK(std::abs(after / before - 1.0) < 1e-3);
        }
    }
}

TEST_CASE("Nothing in gives nothing out and silence stays silent", "[core][files]")
{
    CHECK(files::resample(std::vector<double> {}, 1.5).empty());
    const auto silence = files::resample(std::vector<double>(1000, 0.0), 1.5);
    CHECK(silence == std::vector<double>(1500, 0.0));
    const std::vector<double> impulse {1.0, 0.5};
    CHECK(files::resampleImpulse(impulse, 48000.0, 48000.0) == impulse);
}

TEST_CASE("Audio converted in parts is to the bit what it is converted at once", "[core][files]")
{
    const double rateRatio = GENERATE(48000.0 / 44100.0, 44100.0 / 48000.0, 2.0, 0.5,
                                      192000.0 / 44100.0, 8000.0 / 48000.0, 1.0 + 37.5e-6);
    for (const std::size_t numFrames : {std::size_t {1}, std::size_t {700}, std::size_t {65536},
                                        std::size_t {65537}, std::size_t {300001}}) {
        CAPTURE(rateRatio, numFrames);
        const auto samples = longNoise(numFrames);
        const auto inParts = files::resample(samples, rateRatio);
        const auto atOnce = resampledAtOnce(samples, rateRatio);
        REQUIRE(inParts.size() == atOnce.size());
        std::size_t numDifferent = 0;
        for (std::size_t frame = 0; frame < atOnce.size(); ++frame)
            numDifferent += inParts[frame] != atOnce[frame] ? 1 : 0;
        CHECK(numDifferent == 0);
    }
}

TEST_CASE("A conversion tells how far it is, changes nothing by that, and can be ended",
          "[core][files]")
{
    const auto samples = longNoise(300001);
    const std::vector<float> channel(samples.begin(), samples.end());
    const dsp::AudioBuffer audio {44100.0, {channel, channel}};
    std::vector<double> shares;
    const auto told = files::resample(audio, 48000.0, [&](double share) {
        shares.push_back(share);
        return true;
    });
    REQUIRE(told.has_value());
    CHECK(*told == files::resample(audio, 48000.0));
    const auto atOnce = resampledAtOnce(samples, 48000.0 / 44100.0);
    CHECK(told->channels[1] == std::vector<float>(atOnce.begin(), atOnce.end()));
    REQUIRE(shares.size() >= 8);
    CHECK(shares.front() > 0.0);
    CHECK(std::is_sorted(shares.begin(), shares.end()));
    CHECK(shares.back() == Approx(1.0));

    std::size_t numCalls = 0;
    CHECK_FALSE(files::resample(audio, 48000.0, [&](double) { return ++numCalls < 3; }));
    CHECK(numCalls == 3);
}
