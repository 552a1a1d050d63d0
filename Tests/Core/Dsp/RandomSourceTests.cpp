#include "Core/Dsp/RandomSource.h"

#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstdint>
#include <set>
#include <vector>

using namespace saddletone;

TEST_CASE("The generator gives the published numbers of SplitMix64", "[core][dsp]")
{
    // Test vector of the generator for the seed 1234567, carried by several public
    // implementations of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
    constexpr std::array<std::uint64_t, 5> published {
        6457827717110365317ULL, 3203168211198807973ULL, 9817491932198370423ULL,
        4593380528125082431ULL, 16408922859458223821ULL};
    dsp::RandomSource random(1234567);
    for (const std::uint64_t expected : published)
        CHECK(random.nextBits() == expected);
}

TEST_CASE("One seed gives one sequence and another seed another", "[core][dsp]")
{
    dsp::RandomSource first(42);
    dsp::RandomSource second(42);
    dsp::RandomSource other(43);
    bool differs = false;
    for (int draw = 0; draw < 100; ++draw) {
        const std::uint64_t bits = first.nextBits();
        CHECK(bits == second.nextBits());
        differs = differs || bits != other.nextBits();
    }
    CHECK(differs);
}

TEST_CASE("Uniform numbers fill 0 to 1 evenly", "[core][dsp]")
{
    dsp::RandomSource random(5);
    constexpr int count = 1000000;
    std::array<int, 100> cells {};
    double sum = 0.0;
    double product = 0.0;
    double previous = 0.5;
    for (int draw = 0; draw < count; ++draw) {
        const double value = random.nextUniform();
        REQUIRE(value >= 0.0);
        REQUIRE(value < 1.0);
        sum += value;
        product += (value - 0.5) * (previous - 0.5);
        previous = value;
        ++cells[static_cast<std::size_t>(value * 100.0)];
    }
    // Five standard deviations: of the mean 1 / sqrt(12 n), of the lag-one product 1 / (12 sqrt n).
    CHECK(sum / count == Approx(0.5).margin(5.0 / std::sqrt(12.0 * count)));
    CHECK(product / count == Approx(0.0).margin(5.0 / (12.0 * std::sqrt(double {count}))));
    double chiSquare = 0.0;
    for (const int cell : cells)
        chiSquare += (cell - count / 100.0) * (cell - count / 100.0) / (count / 100.0);
    // 99 degrees of freedom: mean 99, standard deviation 14.1.
    CHECK(chiSquare > 99.0 - 4.0 * 14.1);
    CHECK(chiSquare < 99.0 + 5.0 * 14.1);
}

TEST_CASE("Gaussian numbers have mean 0, variance 1 and the normal distribution", "[core][dsp]")
{
    dsp::RandomSource random(6);
    std::vector<float> samples(400000);
    double sum = 0.0;
    for (float& sample : samples) {
        sample = static_cast<float>(random.nextGaussian());
        REQUIRE(std::isfinite(sample));
        sum += static_cast<double>(sample);
    }
    const auto count = static_cast<double>(samples.size());
    CHECK(sum / count == Approx(0.0).margin(5.0 / std::sqrt(count)));
    CHECK(test::meanSquare(samples) == Approx(1.0).margin(5.0 * std::sqrt(2.0 / count)));
    // Kolmogorov-Smirnov at a chance of 1 in 10^5: 2.47 / sqrt n.
    CHECK(test::distanceFromNormal(samples) < 2.47 / std::sqrt(count));
}

TEST_CASE("Streams of one seed and seeds of one stream are unrelated", "[core][dsp]")
{
    std::set<std::uint64_t> seeds;
    for (std::uint64_t seed = 0; seed < 100; ++seed)
        for (std::uint64_t stream = 0; stream < 100; ++stream)
            seeds.insert(dsp::mixSeed(seed, stream));
    CHECK(seeds.size() == 10000);

    dsp::RandomSource first(dsp::mixSeed(1, 0));
    dsp::RandomSource second(dsp::mixSeed(1, 1));
    double product = 0.0;
    constexpr int count = 100000;
    for (int draw = 0; draw < count; ++draw)
        product += (first.nextUniform() - 0.5) * (second.nextUniform() - 0.5);
    CHECK(product / count == Approx(0.0).margin(5.0 / (12.0 * std::sqrt(double {count}))));
}
