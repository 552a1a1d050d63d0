#include "Core/Audition/PartitionedKernel.h"

#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace saddletone;
using audition::PartitionedKernel;
using audition::PartitionLayout;

TEST_CASE("A kernel holds its taps as head and as spectra of the partitions", "[core][audition]")
{
    const auto taps = test::decayingNoise(700, 5);
    const PartitionLayout layout = PartitionLayout::forTaps(1500);
    const PartitionedKernel kernel(layout, taps);
    CHECK(std::ranges::equal(kernel.head(), std::span(taps).first(layout.headTaps)));

    for (std::size_t stage = 0; stage < layout.stages.size(); ++stage) {
        const auto& shape = layout.stages[stage];
        for (std::size_t partition = 0; partition < kernel.numPartitions(stage); ++partition)
            for (std::size_t bin = 0; bin <= shape.blockFrames; bin += 7) {
                // The definition of the transform of the partition, padded to twice its length.
                std::complex<double> sum;
                for (std::size_t tap = 0; tap < shape.blockFrames; ++tap) {
                    const std::size_t index = shape.firstTap + partition * shape.blockFrames + tap;
                    if (index < taps.size())
                        sum += static_cast<double>(taps[index])
                               * std::polar(1.0, -std::numbers::pi
                                                     * static_cast<double>(
                                                         bin * tap % (2 * shape.blockFrames))
                                                     / static_cast<double>(shape.blockFrames));
                }
                const auto real = static_cast<double>(kernel.real(stage, partition)[bin]);
                const auto imag = static_cast<double>(kernel.imag(stage, partition)[bin]);
                CAPTURE(stage, partition, bin);
                // A few units of the last place of single precision at the kernel's energy of 1.
                REQUIRE(std::abs(std::complex(real, imag) - sum) < 1e-6);
            }
    }
}

TEST_CASE("A kernel shorter than its layout keeps no silent partitions", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(30000);
    const PartitionedKernel one(layout, std::vector<float> {1.0F});
    for (std::size_t stage = 0; stage < layout.stages.size(); ++stage)
        CHECK(one.numPartitions(stage) == 0);
    CHECK(one.head().size() == layout.headTaps);
    CHECK(one.head().front() == 1.0F);
    CHECK(std::ranges::count(one.head(), 0.0F) == 63);

    const PartitionedKernel hundred(layout, std::vector<float>(100, 1.0F));
    CHECK(hundred.numPartitions(0) == 1);
    CHECK(hundred.numPartitions(1) == 0);

    const PartitionedKernel none(layout, std::vector<float> {});
    CHECK(std::ranges::count(none.head(), 0.0F) == 64);
}
