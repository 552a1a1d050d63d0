#include "Core/Audition/PartitionedKernel.h"

#include "Core/Dsp/Fft.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

PartitionedKernel::PartitionedKernel(const PartitionLayout& layout, std::span<const float> taps)
    : headTaps(layout.headTaps, 0.0F)
{
    assert(taps.size() <= layout.maxTaps());
    std::copy_n(taps.begin(), std::min(taps.size(), headTaps.size()), headTaps.begin());

    for (const PartitionStage& stage : layout.stages) {
        const std::size_t numTaps = taps.size() > stage.firstTap ? taps.size() - stage.firstTap : 0;
        Stage transformed;
        transformed.numBins = stage.blockFrames + 1;
        transformed.numPartitions =
            std::min(stage.numPartitions, (numTaps + stage.blockFrames - 1) / stage.blockFrames);
        transformed.realParts.resize(transformed.numPartitions * transformed.numBins);
        transformed.imagParts.resize(transformed.numPartitions * transformed.numBins);

        dsp::RealFft<float> fft(2 * stage.blockFrames);
        for (std::size_t partition = 0; partition < transformed.numPartitions; ++partition) {
            const std::size_t begin = stage.firstTap + partition * stage.blockFrames;
            const std::size_t count = std::min(stage.blockFrames, taps.size() - begin);
            std::ranges::fill(fft.time(), 0.0F);
            std::ranges::copy(taps.subspan(begin, count), fft.time().begin());
            fft.forward();
            const auto spectrum = fft.spectrum();
            for (std::size_t bin = 0; bin < transformed.numBins; ++bin) {
                transformed.realParts[partition * transformed.numBins + bin] = spectrum[bin].real();
                transformed.imagParts[partition * transformed.numBins + bin] = spectrum[bin].imag();
            }
        }
        stages.push_back(std::move(transformed));
    }
}

std::span<const float> PartitionedKernel::real(std::size_t stage,
                                               std::size_t partition) const noexcept
{
    const Stage& source = stages[stage];
    return std::span(source.realParts).subspan(partition * source.numBins, source.numBins);
}

std::span<const float> PartitionedKernel::imag(std::size_t stage,
                                               std::size_t partition) const noexcept
{
    const Stage& source = stages[stage];
    return std::span(source.imagParts).subspan(partition * source.numBins, source.numBins);
}

} // namespace saddletone::audition
