#include "Core/Dsp/SignalSums.h"

#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Peak, energy and sum of any number of samples equal those found one by one",
          "[core][dsp]")
{
    dsp::RandomSource random(4);
    for (std::size_t numFrames = 0; numFrames < 40; ++numFrames) {
        std::vector<float> samples(numFrames);
        double peak = 0.0;
        double energy = 0.0;
        std::vector<double> values;
        double sum = 0.0;
        for (float& sample : samples) {
            sample = static_cast<float>(random.nextGaussian());
            peak = std::max(peak, std::abs(static_cast<double>(sample)));
            energy += static_cast<double>(sample) * static_cast<double>(sample);
            values.push_back(static_cast<double>(sample));
            sum += values.back();
        }
        CHECK(dsp::peakOf(samples) == peak);
        CHECK(dsp::energyOf(samples) == Approx(energy).epsilon(1e-14));
        CHECK(dsp::sumOf(values) == Approx(sum).margin(1e-13));
    }
}
