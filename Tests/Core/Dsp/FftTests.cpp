#include "Core/Dsp/Fft.h"

#include "Core/Dsp/RandomSource.h"
#include "Support/AllocationCounter.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <thread>
#include <utility>
#include <vector>

using namespace saddletone;

namespace {

std::vector<double> noise(std::size_t size)
{
    dsp::RandomSource random(size);
    std::vector<double> samples(size);
    for (double& sample : samples)
        sample = 2.0 * random.nextUniform() - 1.0;
    return samples;
}

std::complex<double> directTransform(const std::vector<double>& samples, std::size_t bin)
{
    std::complex<double> sum;
    for (std::size_t n = 0; n < samples.size(); ++n) {
        // The angle is reduced first, so that it stays exact.
        const auto turn =
            static_cast<double>((n * bin) % samples.size()) / static_cast<double>(samples.size());
        sum += samples[n] * std::polar(1.0, -2.0 * std::numbers::pi * turn);
    }
    return sum;
}

template <typename Sample>
void fill(dsp::RealFft<Sample>& fft, const std::vector<double>& samples)
{
    for (std::size_t n = 0; n < samples.size(); ++n)
        fft.time()[n] = static_cast<Sample>(samples[n]);
}

bool isSmooth(std::size_t number)
{
    for (const std::size_t prime : {std::size_t {2}, std::size_t {3}, std::size_t {5}})
        while (number % prime == 0)
            number /= prime;
    return number == 1;
}

} // namespace

TEMPLATE_TEST_CASE("The transform equals the direct sum", "[core][dsp]", float, double)
{
    // Rounding grows about as the root of the number of additions.
    const double tolerance = std::is_same_v<TestType, float> ? 2e-5 : 2e-13;
    for (const std::size_t size : {2U, 6U, 30U, 64U, 98U, 240U, 1000U}) {
        CAPTURE(size);
        const auto samples = noise(size);
        dsp::RealFft<TestType> fft(size);
        REQUIRE(fft.size() == size);
        REQUIRE(fft.numBins() == size / 2 + 1);
        REQUIRE(fft.spectrum().size() == fft.numBins());
        fill(fft, samples);
        fft.forward();
        for (std::size_t bin = 0; bin < fft.numBins(); ++bin)
            CHECK(
                std::abs(std::complex<double>(fft.spectrum()[bin]) - directTransform(samples, bin))
                < tolerance * static_cast<double>(size));
    }
}

TEMPLATE_TEST_CASE("Forward and inverse undo each other", "[core][dsp]", float, double)
{
    const double tolerance = std::is_same_v<TestType, float> ? 1e-6 : 1e-14;
    for (const std::size_t size : {2U, 10U, 4096U, 6000U}) {
        const auto samples = noise(size);
        dsp::RealFft<TestType> fft(size);
        fill(fft, samples);
        fft.forward();
        fft.inverse();
        double largest = 0.0;
        for (std::size_t n = 0; n < size; ++n)
            largest = std::max(largest, std::abs(static_cast<double>(fft.time()[n]) - samples[n]));
        CHECK(largest < tolerance);
    }
}

TEST_CASE("The spectrum holds the signal's energy", "[core][dsp]")
{
    // Parseval: the sum of squares is the sum of |X|^2 over all bins, divided by the size.
    const auto samples = noise(3000);
    dsp::RealFft<double> fft(samples.size());
    fill(fft, samples);
    fft.forward();
    double energy = 0.0;
    for (const double sample : samples)
        energy += sample * sample;
    double spectral = std::norm(fft.spectrum().front()) + std::norm(fft.spectrum().back());
    for (std::size_t bin = 1; bin + 1 < fft.numBins(); ++bin)
        spectral += 2.0 * std::norm(fft.spectrum()[bin]);
    CHECK(spectral / 3000.0 == Approx(energy).epsilon(1e-12));
}

TEST_CASE("A moved transform keeps its plan and its data", "[core][dsp]")
{
    const auto samples = noise(128);
    dsp::RealFft<double> first(128);
    fill(first, samples);
    dsp::RealFft<double> second(std::move(first));
    second.forward();
    CHECK(std::abs(second.spectrum()[5] - directTransform(samples, 5)) < 1e-12);
    dsp::RealFft<double> third(16);
    third = std::move(second);
    CHECK(third.size() == 128);
    third.inverse();
    CHECK(third.time()[7] == Approx(samples[7]).epsilon(1e-12));
}

TEST_CASE("Two transforms of the same samples agree to the bit", "[core][dsp]")
{
    const auto samples = noise(1920);
    dsp::RealFft<float> first(1920);
    dsp::RealFft<float> second(1920);
    fill(first, samples);
    fill(second, samples);
    first.forward();
    second.forward();
    CHECK(std::equal(first.spectrum().begin(), first.spectrum().end(), second.spectrum().begin()));
}

TEST_CASE("Transforms may be made and used on several threads at once", "[core][dsp]")
{
    const auto samples = noise(512);
    const auto expected = directTransform(samples, 9);
    std::vector<std::thread> threads;
    std::vector<double> errors(4, 1.0);
    for (double& error : errors)
        threads.emplace_back([&samples, &error, expected] {
            error = 0.0;
            for (int round = 0; round < 50; ++round) {
                dsp::RealFft<double> fft(512);
                fill(fft, samples);
                fft.forward();
                error = std::max(error, std::abs(fft.spectrum()[9] - expected));
            }
        });
    for (auto& thread : threads)
        thread.join();
    for (const double error : errors)
        CHECK(error < 1e-11);
}

TEST_CASE("Transforming allocates nothing", "[core][dsp]")
{
    dsp::RealFft<float> fft(2048);
    const test::AllocationCounter counter;
    fft.forward();
    fft.inverse();
    CHECK(counter.numHeapCalls() == 0);
}

TEST_CASE("The fast size is the smallest even product of 2, 3 and 5 that suffices", "[core][dsp]")
{
    CHECK(dsp::fastFftSize(0) == 2);
    std::size_t expected = 2;
    for (std::size_t minimum = 1; minimum <= 20000; ++minimum) {
        while (expected < minimum || expected % 2 != 0 || !isSmooth(expected))
            ++expected;
        if (dsp::fastFftSize(minimum) != expected)
            FAIL("for " << minimum << " the size is " << dsp::fastFftSize(minimum) << " instead of "
                        << expected);
    }
    CHECK(dsp::fastFftSize(2880000) == 2880000);
    CHECK(dsp::fastFftSize(2880001) == 2916000);
}

TEST_CASE("A size for large transforms is hardly larger than need be and has few threes",
          "[core][dsp]")
{
    // 2^8 3^5 5^2 takes FFTW six passes, 2^9 5^5 four.
    CHECK(dsp::fastFftSize(1551950) == 1555200);
    CHECK(dsp::largeFftSize(1551950) == 1600000);
    for (std::size_t minimum = 100; minimum < 4000000; minimum += 1 + minimum / 7) {
        const std::size_t size = dsp::largeFftSize(minimum);
        const std::size_t smallest = dsp::fastFftSize(minimum);
        INFO("for " << minimum);
        CHECK(size >= smallest);
        CHECK(size <= smallest + smallest / 25);
        std::size_t rest = size;
        for (const std::size_t factor : {2U, 3U, 5U})
            while (rest % factor == 0)
                rest /= factor;
        CHECK(rest == 1);
    }
}

TEST_CASE("A twin transforms alike in buffers of its own", "[core][dsp]")
{
    const auto samples = noise(240);
    dsp::RealFft<float> fft(samples.size());
    auto twin = fft.twin();
    fill(fft, samples);
    fill(twin, samples);
    CHECK(fft.time().data() != twin.time().data());
    fft.forward();
    twin.forward();
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin)
        CHECK(fft.spectrum()[bin] == twin.spectrum()[bin]);
}

TEST_CASE("The complex inverse transform equals the direct sum", "[core][dsp]")
{
    constexpr std::size_t size = 90;
    const auto parts = noise(2 * size);
    dsp::ComplexInverseFft original(size);
    auto fft = original.twin();
    std::vector<std::complex<double>> values;
    for (std::size_t bin = 0; bin < size; ++bin) {
        values.emplace_back(parts[2 * bin], parts[2 * bin + 1]);
        fft.values()[bin] = std::complex<float>(values.back());
    }
    fft.inverse();
    for (std::size_t n = 0; n < size; ++n) {
        std::complex<double> sum;
        for (std::size_t bin = 0; bin < size; ++bin)
            sum += values[bin]
                   * std::polar(1.0, 2.0 * std::numbers::pi * static_cast<double>((n * bin) % size)
                                         / static_cast<double>(size));
        // Single precision: 6e-8 of values near 0.1, times a few roundings.
        CHECK(std::abs(std::complex<double>(fft.values()[n]) - sum / static_cast<double>(size))
              < 1e-7);
    }
}

TEST_CASE("A transform planned in one direction gives the same spectrum", "[core][dsp]")
{
    for (const std::size_t size : {std::size_t {2}, std::size_t {480}, std::size_t {480000}}) {
        CAPTURE(size);
        dsp::RealFft<float> both(size);
        dsp::RealFft<float> forwardOnly(size, dsp::FftDirections::forwardOnly);
        dsp::RealFft<float> twin = forwardOnly.twin();
        const auto samples = noise(size);
        for (dsp::RealFft<float>* fft : {&both, &forwardOnly, &twin}) {
            fill(*fft, samples);
            fft->forward();
        }
        CHECK(std::ranges::equal(both.spectrum(), forwardOnly.spectrum()));
        CHECK(std::ranges::equal(both.spectrum(), twin.spectrum()));
    }
}
