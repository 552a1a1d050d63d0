#include "Core/Dsp/FractionalDelay.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace saddletone;

TEST_CASE("A delay of parts of a sample is flat and linear in phase up to 20 kHz", "[core][dsp]")
{
    constexpr std::size_t size = 4096;
    constexpr double sampleRate = 44100.0;
    constexpr std::size_t place = 100;
    for (const double delaySamples : {0.01, 0.25, 0.5, 0.77, 40.5, 1234.4}) {
        dsp::RealFft<double> fft(size);
        std::vector<double> samples(size, 0.0);
        samples[place] = 1.0;
        dsp::delaySamplesInPlace(delaySamples, samples);
        std::ranges::copy(samples, fft.time().begin());
        fft.forward();
        for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
            const double frequencyHz = static_cast<double>(bin) * sampleRate / size;
            if (frequencyHz > 20000.0)
                break;
            const auto gain = fft.spectrum()[bin]
                              * std::polar(1.0, 2.0 * std::numbers::pi * frequencyHz / sampleRate
                                                    * (delaySamples + static_cast<double>(place)));
            CAPTURE(delaySamples, frequencyHz);
            // The window's 80 dB leave 0.0012 dB; the bar of the audition is 0.05 dB.
            REQUIRE(std::abs(dsp::amplitudeToDb(std::abs(gain))) < 0.0015);
            // 1e-4 rad at 20 kHz is a nanosecond.
            REQUIRE(std::abs(std::arg(gain)) < 2e-4);
        }
    }
}

TEST_CASE("A delay of whole samples is an exact shift", "[core][dsp]")
{
    const std::vector<double> original {0.1, -0.2, 0.3, 0.4, -0.5};
    for (const double delaySamples : {0.0, 2.0, 2.0 + 1e-9, 2.0 - 1e-9}) {
        auto samples = original;
        dsp::delaySamplesInPlace(delaySamples, samples);
        const auto shift = static_cast<std::size_t>(std::lround(delaySamples));
        for (std::size_t frame = 0; frame < samples.size(); ++frame)
            CHECK(samples[frame] == (frame < shift ? 0.0 : original[frame - shift]));
    }
}

TEST_CASE("A delay beyond the room for it leaves silence", "[core][dsp]")
{
    for (const double delaySamples : {10.0, 42.3, 74.5, 1e9}) {
        std::vector<double> samples(10, 1.0);
        dsp::delaySamplesInPlace(delaySamples, samples);
        CHECK(samples == std::vector<double>(10, 0.0));
    }
    dsp::delaySamplesInPlace(3.5, {});
}

TEST_CASE("Two delays add up", "[core][dsp]")
{
    std::vector<double> twice(400, 0.0);
    twice[60] = 1.0;
    auto once = twice;
    dsp::delaySamplesInPlace(3.3, twice);
    dsp::delaySamplesInPlace(4.7, twice);
    dsp::delaySamplesInPlace(8.0, once);
    // A pulse holds what lies above 20 kHz as well, where both interpolations are not flat.
    std::vector<double> smooth(400, 0.0);
    for (std::size_t frame = 0; frame < smooth.size(); ++frame)
        for (std::size_t other = 0; other < smooth.size(); ++other) {
            const double distance = (static_cast<double>(frame) - static_cast<double>(other)) / 3.0;
            smooth[frame] += (twice[other] - once[other]) * std::exp(-distance * distance);
        }
    for (const double value : smooth)
        CHECK(std::abs(value) < 1e-4);
}
