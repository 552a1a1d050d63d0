#include "Core/Audition/PartitionedKernel.h"

#include "Core/Dsp/SlicedTransform.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

using namespace saddletone;
using audition::PartitionedKernel;
using audition::PartitionLayout;

TEST_CASE("A kernel holds its taps as head and as spectra of the partitions", "[core][audition]")
{
    const auto taps = test::decayingNoise(700, 5);
    const PartitionLayout layout = PartitionLayout::forTaps(1500, 128);
    const PartitionedKernel kernel(layout, taps);
    CHECK(std::ranges::equal(kernel.head(), std::span(taps).first(PartitionLayout::headTaps)));

    for (std::size_t stage = 0; stage < layout.stages.size(); ++stage) {
        const auto& shape = layout.stages[stage];
        const dsp::SlicedTransform transform(shape.blockFrames);
        const std::vector<float> zero(shape.blockFrames);
        // The spectrum of one frame's delay is where each bin lies.
        std::vector<float> delay(shape.blockFrames);
        delay[1] = 1.0F;
        std::vector<float> places(2 * shape.blockFrames);
        transform.forward(delay, zero, places, dsp::tileFloats);
        for (std::size_t partition = 0; partition < kernel.numPartitions(stage); ++partition)
            for (std::size_t bin = 0; bin < shape.blockFrames; bin += 7) {
                const std::size_t tile = bin / dsp::tileBins;
                const std::size_t inTile = bin % dsp::tileBins;
                const float* const place = places.data() + tile * dsp::tileFloats + inTile;
                const double radians = std::atan2(static_cast<double>(place[dsp::tileBins]),
                                                  static_cast<double>(place[0]));
                // The definition: the partition's polynomial at that place, over the block.
                std::complex<double> sum;
                for (std::size_t tap = 0; tap < shape.blockFrames; ++tap) {
                    const std::size_t index = shape.firstTap + partition * shape.blockFrames + tap;
                    if (index < taps.size())
                        sum += static_cast<double>(taps[index])
                               * std::polar(1.0, radians * static_cast<double>(tap));
                }
                sum /= static_cast<double>(shape.blockFrames);
                const auto tiles =
                    kernel.tiles(stage, tile).subspan(partition * dsp::tileFloats + inTile);
                const std::complex found(static_cast<double>(tiles[0]),
                                         static_cast<double>(tiles[dsp::tileBins]));
                CAPTURE(stage, partition, bin);
                // The place is known to single precision only, times the number of taps; the
                // kernel's energy is 1.
                REQUIRE(std::abs(found - sum) * static_cast<double>(shape.blockFrames) < 1e-4);
            }
    }
}

TEST_CASE("A kernel shorter than its layout keeps no silent partitions", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(30000);
    const PartitionedKernel one(layout, std::vector<float> {1.0F});
    for (std::size_t stage = 0; stage < layout.stages.size(); ++stage)
        CHECK(one.numPartitions(stage) == 0);
    CHECK(one.head().size() == PartitionLayout::headTaps);
    CHECK(one.head().front() == 1.0F);
    CHECK(std::ranges::count(one.head(), 0.0F) == 63);

    const PartitionedKernel hundred(layout, std::vector<float>(100, 1.0F));
    CHECK(hundred.numPartitions(0) == 1);
    CHECK(hundred.numPartitions(1) == 0);

    const PartitionedKernel none(layout, std::vector<float> {});
    CHECK(std::ranges::count(none.head(), 0.0F) == 64);
}
