#include "Core/Signals/PolarityPulse.h"

#include "Core/Dsp/Biquad.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

/** Sign of the first excursion beyond half of the largest. */
int firstSign(const std::vector<double>& samples)
{
    double largest = 0.0;
    for (const double sample : samples)
        largest = std::max(largest, std::abs(sample));
    for (const double sample : samples)
        if (std::abs(sample) > 0.5 * largest)
            return sample > 0.0 ? 1 : -1;
    return 0;
}

} // namespace

TEST_CASE("The polarity pulse never goes below zero and peaks on a sample", "[core][signals]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        const signals::PulseShape shape {.amplitude = 0.25};
        const auto pulse = signals::makePulse(shape, sampleRate);
        CHECK(std::ranges::min(pulse) >= 0.0);
        CHECK(std::ranges::max(pulse) == 0.25);
        CHECK(pulse[signals::numRiseFrames(shape, sampleRate)] == 0.25);
        // Rises in a tenth of a millisecond, falls within three.
        CHECK(static_cast<double>(pulse.size()) / sampleRate == Approx(0.0031).margin(0.0001));
        CHECK(pulse.front() == 0.0);
        CHECK(pulse.back() < 1e-3);
    }
}

TEST_CASE("The polarity pulse keeps its sign behind the band of any speaker", "[core][signals]")
{
    struct Edges {
        double fromHz;
        double toHz;
    };
    // Subwoofer to tweeter, and the whole range; second-order Butterworth at both edges.
    for (const Edges& band :
         {Edges {40.0, 120.0}, Edges {60.0, 300.0}, Edges {100.0, 500.0}, Edges {100.0, 8000.0},
          Edges {300.0, 3000.0}, Edges {500.0, 2500.0}, Edges {1000.0, 8000.0},
          Edges {3000.0, 10000.0}, Edges {5000.0, 16000.0}, Edges {40.0, 16000.0}})
        for (const double sampleRate : {44100.0, 48000.0, 96000.0})
            for (const double sign : {1.0, -1.0}) {
                CAPTURE(band.fromHz, band.toHz, sampleRate, sign);
                std::vector<double> samples(static_cast<std::size_t>(0.4 * sampleRate), 0.0);
                const auto pulse = signals::makePulse({.amplitude = 0.25}, sampleRate);
                std::ranges::transform(pulse, samples.begin() + 1000,
                                       [sign](double sample) { return sign * sample; });
                const double q = std::numbers::sqrt2 / 2.0;
                dsp::filterInPlace(dsp::designHighPass(band.fromHz, q, sampleRate), samples);
                dsp::filterInPlace(dsp::designLowPass(band.toHz, q, sampleRate), samples);
                CHECK(firstSign(samples) == static_cast<int>(sign));
            }
}
