#include "Core/Dsp/SlicedTransform.h"

#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstring>
#include <numbers>
#include <set>
#include <vector>

using namespace saddletone;
using dsp::SlicedTransform;
using dsp::tileBins;
using dsp::tileFloats;

namespace {

std::vector<float> spectrumOf(const SlicedTransform& transform, std::span<const float> real,
                              std::span<const float> imag)
{
    std::vector<float> tiles(2 * transform.size());
    transform.forward(real, imag, tiles, tileFloats);
    return tiles;
}

std::complex<double> binOf(std::span<const float> tiles, std::size_t bin)
{
    const std::size_t place = bin / tileBins * tileFloats + bin % tileBins;
    return {static_cast<double>(tiles[place]), static_cast<double>(tiles[place + tileBins])};
}

std::vector<float> inverseImagOf(const SlicedTransform& transform, std::span<const float> tiles)
{
    dsp::AlignedFloats work(2 * transform.size());
    dsp::AlignedFloats other(2 * transform.size());
    for (const SlicedTransform::Step& what : transform.inverseSteps()) {
        const float* const tile = tiles.data() + what.tile * tileFloats;
        transform.runInverse(what, {tile, other.data()}, {tile, work.data()});
    }
    const auto middle = static_cast<std::ptrdiff_t>(transform.size());
    CHECK(std::equal(work.begin() + middle, work.end(), other.begin() + middle));
    return {work.begin() + middle, work.end()};
}

} // namespace

TEST_CASE("A sliced transform evaluates its polynomial at each root of t^size = i once",
          "[core][dsp]")
{
    const std::size_t size = GENERATE(64U, 128U, 256U, 512U, 1024U, 4096U);
    CAPTURE(size);
    const SlicedTransform transform(size);
    const std::vector<float> zero(size);

    // The spectrum of t is the roots themselves.
    std::vector<float> unit(size);
    unit[1] = 1.0F;
    const auto roots = spectrumOf(transform, unit, zero);
    std::set<long> turns;
    std::vector<double> angles(size);
    for (std::size_t bin = 0; bin < size; ++bin) {
        REQUIRE(std::abs(binOf(roots, bin)) == Approx(1.0).epsilon(1e-6));
        // Roots are exp(2 pi i (k + 1/4) / size).
        const double turn =
            std::arg(binOf(roots, bin)) / (2.0 * std::numbers::pi) * static_cast<double>(size)
            - 0.25;
        REQUIRE(std::abs(turn - std::round(turn)) < 1e-2);
        turns.insert(std::lround(turn + static_cast<double>(size)) % static_cast<long>(size));
        angles[bin] =
            2.0 * std::numbers::pi * (std::round(turn) + 0.25) / static_cast<double>(size);
    }
    CHECK(turns.size() == size);

    // By definition, in double precision.
    const auto real = test::gaussianNoise(size, 1.0, 1);
    const auto imag = test::gaussianNoise(size, 1.0, 2);
    const auto tiles = spectrumOf(transform, real, imag);
    double error = 0.0;
    double power = 0.0;
    for (std::size_t bin = 0; bin < size; bin += 1 + size / 128) {
        std::complex<double> sum;
        for (std::size_t index = 0; index < size; ++index)
            sum += std::complex(static_cast<double>(real[index]), static_cast<double>(imag[index]))
                   * std::polar(1.0, angles[bin] * static_cast<double>(index));
        error += std::norm(binOf(tiles, bin) - sum);
        power += std::norm(sum);
    }
    // Single precision: some units of the last place for each of log2(size) levels.
    CHECK(10.0 * std::log10(error / power) < -130.0);
}

// Negacyclic: what passes the end comes back with its sign turned. So the imaginary parts, the upper
// half, are free of it when one factor is no longer than half.
TEST_CASE("The product of two spectra is the negacyclic convolution", "[core][dsp]")
{
    const std::size_t size = GENERATE(64U, 128U, 512U, 1024U, 2048U, 8192U);
    CAPTURE(size);
    const SlicedTransform transform(size);
    const auto lower = test::gaussianNoise(size, 1.0, 3);
    const auto upper = test::gaussianNoise(size, 1.0, 4);
    const auto taps = test::decayingNoise(size, 5);
    const std::vector<float> zero(size);
    const auto one = spectrumOf(transform, lower, upper);
    const auto other = spectrumOf(transform, taps, zero);
    std::vector<float> product(2 * size);
    for (std::size_t bin = 0; bin < size; ++bin) {
        const std::complex<double> value = binOf(one, bin) * binOf(other, bin);
        const std::size_t place = bin / tileBins * tileFloats + bin % tileBins;
        product[place] = static_cast<float>(value.real() / static_cast<double>(size));
        product[place + tileBins] = static_cast<float>(value.imag() / static_cast<double>(size));
    }
    const auto result = inverseImagOf(transform, product);
    std::vector<float> both = lower;
    both.insert(both.end(), upper.begin(), upper.end());
    const auto whole = test::directConvolution(both, taps);
    CHECK(test::relativeErrorDb(result, std::span(whole).subspan(size)) < -130.0);
}

TEST_CASE("Every instruction set gives the same bits", "[core][dsp]")
{
    const auto sets = dsp::availableSpectralKernels();
    REQUIRE(!sets.empty());
    const auto noise = test::gaussianNoise(20000, 1.0, 6);
    const std::span<const float> source(noise);

    const auto resultsOf = [&](const dsp::SpectralKernels& kernels) {
        dsp::AlignedFloats results(40000, 0.0F);
        float* place = results.data();
        for (const std::size_t radix : {2U, 4U, 8U}) {
            const dsp::SpectralPass pass {.sourceReal = source.data(),
                                          .sourceImag = source.data() + 1000,
                                          .real = place,
                                          .imag = place + 1000,
                                          .distance = 96,
                                          .begin = 16,
                                          .end = 80,
                                          .rotations = source.data() + 3000};
            kernels.forwardPass(radix, pass);
            place += 2000;
            dsp::SpectralPass back = pass;
            back.real = place;
            back.imag = place + 1000;
            kernels.inversePass(radix, back);
            place += 2000;
            back.imag = place;
            kernels.inversePassImag(radix, back);
            place += 2000;
        }
        const float* const rotations = source.data() + 8000;
        kernels.forwardTile(source.data(), source.data() + 64, rotations, place);
        place += tileFloats;
        kernels.forwardTilePair({source.data(), source.data() + 64, place},
                                {source.data() + 128, source.data() + 192, place + tileFloats},
                                rotations);
        place += 2 * tileFloats;
        kernels.inverseTilePair({source.data(), place, place + 64},
                                {source.data() + tileFloats, place + 128, place + 192}, rotations);
        place += 2 * tileFloats;
        kernels.inverseTilePairImag({source.data(), nullptr, place},
                                    {source.data() + tileFloats, nullptr, place + 64}, rotations);
        place += tileFloats;
        const std::array<dsp::TileRun, 2> runs {
            {{source.data() + 11 * tileFloats, source.data() + 5000, 12},
             {source.data() + 5 * tileFloats, source.data() + 7000, 3}}};
        kernels.sumProducts(runs.data(), runs.size(), place);
        place += tileFloats;
        for (std::size_t frames = 1; frames <= 64; ++frames) {
            // Only the frames asked for; what is written beyond is nobody's.
            std::array<float, 64> output {};
            const std::array<const float*, 2> tails {source.data() + 9000 + frames,
                                                     source.data() + 9500};
            const std::array<dsp::DirectSum, 2> sums {
                {{source.data() + 10000, 64, source.data() + 10200 + frames},
                 {source.data() + 11000, 64, source.data() + 11200}}};
            kernels.mix(tails.data(), tails.size(), sums.data(), sums.size(), output.data(),
                        frames);
            std::copy_n(output.begin(), frames, place);
            place += frames;
        }
        return results;
    };
    const auto expected = resultsOf(*sets.front());
    for (const dsp::SpectralKernels* set : sets) {
        CAPTURE(set->name);
        const auto results = resultsOf(*set);
        CHECK(std::memcmp(results.data(), expected.data(), results.size() * sizeof(float)) == 0);
    }
}

TEST_CASE("A direct sum is the sum, whatever the number of frames", "[core][dsp]")
{
    const auto noise = test::gaussianNoise(300, 1.0, 7);
    const auto taps = test::decayingNoise(64, 8);
    for (const dsp::SpectralKernels* set : dsp::availableSpectralKernels())
        for (std::size_t frames = 1; frames <= 64; ++frames) {
            CAPTURE(set->name, frames);
            std::array<float, 64> output {};
            const dsp::DirectSum directSum {taps.data(), taps.size(), noise.data() + 100};
            const float* const tail = noise.data() + 200;
            set->mix(&tail, 1, &directSum, 1, output.data(), frames);
            for (std::size_t frame = 0; frame < frames; ++frame) {
                float sum = 0.0F;
                for (std::size_t tap = 0; tap < taps.size(); ++tap)
                    sum += taps[tap] * noise[100 + frame - tap];
                REQUIRE(output[frame] == sum + tail[frame]);
            }
        }
}

TEST_CASE("Steps of a transform are small and cover it", "[core][dsp]")
{
    for (std::size_t size = 64; size <= 16384; size *= 2) {
        CAPTURE(size);
        const SlicedTransform transform(size);
        std::size_t tiles = 0;
        for (const SlicedTransform::Step& step : transform.forwardSteps()) {
            tiles += step.radix == 0 ? 1 : 0;
            CHECK(step.work > 0);
            CHECK(step.work <= 50);
        }
        CHECK(tiles == transform.numTiles());
    }
}
