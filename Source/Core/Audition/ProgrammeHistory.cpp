#include "Core/Audition/ProgrammeHistory.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

void ProgrammeHistory::prepare(const PartitionLayout& newLayout)
{
    layout = newLayout;
    stages.clear();
    for (const PartitionStage& shape : layout.stages) {
        Stage stage {.shape = shape, .fft = dsp::RealFft<float>(2 * shape.blockFrames)};
        stage.numBins = shape.blockFrames + 1;
        stage.ringLength = shape.firstTap / shape.blockFrames - 1 + shape.numPartitions;
        stage.input.resize(2 * shape.blockFrames);
        stage.realParts.resize(stage.ringLength * stage.numBins);
        stage.imagParts.resize(stage.ringLength * stage.numBins);
        stages.push_back(std::move(stage));
    }
    recent.resize(2 * layout.headTaps - 1);
    reset();
}

void ProgrammeHistory::reset() noexcept
{
    for (Stage& stage : stages) {
        std::ranges::fill(stage.input, 0.0F);
        std::ranges::fill(stage.realParts, 0.0F);
        std::ranges::fill(stage.imagParts, 0.0F);
        stage.newest = 0;
        stage.fill = 0;
        stage.completed = false;
    }
    std::ranges::fill(recent, 0.0F);
    headFill = 0;
    lastPushed = 0;
}

void ProgrammeHistory::push(std::span<const float> samples) noexcept
{
    assert(samples.size() <= framesToBoundary());
    const std::size_t numOlder = layout.headTaps - 1;
    std::copy(recent.begin() + static_cast<std::ptrdiff_t>(lastPushed),
              recent.begin() + static_cast<std::ptrdiff_t>(lastPushed + numOlder), recent.begin());
    std::ranges::copy(samples, recent.begin() + static_cast<std::ptrdiff_t>(numOlder));
    lastPushed = samples.size();
    headFill = (headFill + samples.size()) % layout.headTaps;

    for (Stage& stage : stages) {
        const std::size_t block = stage.shape.blockFrames;
        std::ranges::copy(samples,
                          stage.input.begin() + static_cast<std::ptrdiff_t>(block + stage.fill));
        stage.fill += samples.size();
        stage.completed = stage.fill == block;
        if (!stage.completed)
            continue;

        std::ranges::copy(stage.input, stage.fft.time().begin());
        stage.fft.forward();
        stage.newest = (stage.newest + 1) % stage.ringLength;
        const auto spectrum = stage.fft.spectrum();
        float* real = stage.realParts.data() + stage.newest * stage.numBins;
        float* imag = stage.imagParts.data() + stage.newest * stage.numBins;
        for (std::size_t bin = 0; bin < stage.numBins; ++bin) {
            real[bin] = spectrum[bin].real();
            imag[bin] = spectrum[bin].imag();
        }
        std::copy(stage.input.begin() + static_cast<std::ptrdiff_t>(block), stage.input.end(),
                  stage.input.begin());
        stage.fill = 0;
    }
}

void ProgrammeHistory::addHead(const PartitionedKernel& kernel,
                               std::span<float> output) const noexcept
{
    assert(output.size() == lastPushed);
    const std::span<const float> taps = kernel.head();
    const float* now = recent.data() + (layout.headTaps - 1);
    float* const out = output.data();
    // Tap by tap over all outputs: every output adds its terms in the same order however the
    // stream is cut, and the inner loop is vector code.
    for (std::size_t tap = 0; tap < taps.size(); ++tap) {
        const float weight = taps[tap];
        const float* const delayed = now - tap;
        for (std::size_t frame = 0; frame < output.size(); ++frame)
            out[frame] += weight * delayed[frame];
    }
}

void ProgrammeHistory::addStage(std::size_t stageIndex, const PartitionedKernel& kernel,
                                std::span<float> real, std::span<float> imag) const noexcept
{
    const Stage& stage = stages[stageIndex];
    assert(real.size() == stage.numBins && imag.size() == stage.numBins);
    const std::size_t age = stage.shape.firstTap / stage.shape.blockFrames - 1;
    const std::size_t numPartitions = kernel.numPartitions(stageIndex);
    float* const outReal = real.data();
    float* const outImag = imag.data();
    for (std::size_t partition = 0; partition < numPartitions; ++partition) {
        const std::size_t slot =
            (stage.newest + stage.ringLength - age - partition) % stage.ringLength;
        const float* const x = stage.realParts.data() + slot * stage.numBins;
        const float* const y = stage.imagParts.data() + slot * stage.numBins;
        const float* const a = kernel.real(stageIndex, partition).data();
        const float* const b = kernel.imag(stageIndex, partition).data();
        for (std::size_t bin = 0; bin < stage.numBins; ++bin) {
            outReal[bin] += x[bin] * a[bin] - y[bin] * b[bin];
            outImag[bin] += x[bin] * b[bin] + y[bin] * a[bin];
        }
    }
}

} // namespace saddletone::audition
