#include "Core/Dsp/Convolution.h"

#include "Core/Dsp/RandomSource.h"

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Convolution by transform equals the direct sum", "[core][dsp]")
{
    dsp::RandomSource random(3);
    std::vector<double> signal(301);
    std::vector<double> impulse(77);
    for (auto* samples : {&signal, &impulse})
        for (double& sample : *samples)
            sample = random.nextGaussian();
    const auto result = dsp::convolve(signal, impulse);
    REQUIRE(result.size() == 377);
    for (std::size_t n = 0; n < result.size(); ++n) {
        double sum = 0.0;
        for (std::size_t tap = 0; tap < impulse.size(); ++tap)
            if (n >= tap && n - tap < signal.size())
                sum += impulse[tap] * signal[n - tap];
        CHECK(result[n] == Approx(sum).margin(1e-11));
    }
}

TEST_CASE("A single tap scales", "[core][dsp]")
{
    const std::vector<double> signal {1.0, -2.0};
    const std::vector<double> impulse {0.5};
    const auto result = dsp::convolve(signal, impulse);
    REQUIRE(result.size() == 2);
    CHECK(result[0] == Approx(0.5));
    CHECK(result[1] == Approx(-1.0));
}
