#include "Core/Audition/NonlinearBranch.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

void NonlinearBranch::prepare(const dsp::ProcessSpec& spec)
{
    layout = nonlinearLayout();
    assert(layout.headTaps <= PowerOversampler::maxFrames);
    stageFfts.clear();
    std::size_t largestBins = 0;
    for (const PartitionStage& stage : layout.stages) {
        stageFfts.emplace_back(2 * stage.blockFrames);
        largestBins = std::max(largestBins, stage.blockFrames + 1);
    }
    sumReal.assign(largestBins, 0.0F);
    sumImag.assign(largestBins, 0.0F);
    positionsBefore.assign(layout.stages.size(), 0);
    for (Side& side : sides) {
        side.oversampler.prepare(spec.sampleRate);
        for (ProgrammeHistory& history : side.histories)
            history.prepare(layout);
        side.tails.clear();
        for (const PartitionStage& stage : layout.stages)
            side.tails.emplace_back(stage.blockFrames, 0.0F);
    }
    design = nullptr;
    reset();
}

void NonlinearBranch::reset() noexcept
{
    for (Side& side : sides) {
        side.tuning.fill({});
        side.oversampler.reset();
        for (ProgrammeHistory& history : side.histories)
            history.reset();
        for (auto& tail : side.tails)
            std::ranges::fill(tail, 0.0F);
    }
    holdGainLinear.store(1.0F, std::memory_order_relaxed);
}

void NonlinearBranch::setDesign(const NonlinearDesign* newDesign) noexcept
{
    design = newDesign;
    reset();
    if (design == nullptr)
        return;
    for (Side& side : sides)
        side.oversampler.setParameters({.driveFilter = design->driveFilter,
                                        .driveGainLinear = design->driveGainLinear,
                                        .highestDriveLinear = design->highestDriveLinear,
                                        .clip = design->clip,
                                        .clipLimitLinear = design->clipLimitLinear});
}

void NonlinearBranch::tune(Side& side, const NonlinearSide& own,
                           std::span<const float> input) noexcept
{
    for (std::size_t frame = 0; frame < input.size(); ++frame) {
        double sample = own.gainLinear * static_cast<double>(input[frame]);
        for (std::size_t index = 0; index < own.sections.size(); ++index) {
            const dsp::BiquadCoefficients& c = own.sections[index];
            Memory& memory = side.tuning[index];
            const double output = c.b0 * sample + memory.first;
            memory.first = c.b1 * sample - c.a1 * output + memory.second;
            memory.second = c.b2 * sample - c.a2 * output;
            sample = output;
        }
        tuned[frame] = static_cast<float>(sample);
    }
}

void NonlinearBranch::computeTail(Side& side, const NonlinearSide& own, std::size_t stage) noexcept
{
    const std::size_t block = layout.stages[stage].blockFrames;
    const auto real = std::span(sumReal).first(block + 1);
    const auto imag = std::span(sumImag).first(block + 1);
    std::ranges::fill(real, 0.0F);
    std::ranges::fill(imag, 0.0F);
    for (std::size_t power = 0; power < own.kernels.size(); ++power)
        if (const PartitionedKernel* kernel = own.kernels[power].get();
            kernel != nullptr && kernel->numPartitions(stage) > 0)
            side.histories[power].addStage(stage, *kernel, real, imag);
    dsp::RealFft<float>& fft = stageFfts[stage];
    const auto spectrum = fft.spectrum();
    for (std::size_t bin = 0; bin <= block; ++bin)
        spectrum[bin] = {real[bin], imag[bin]};
    fft.inverse();
    // Overlap-save: the second half is free of wrap-around.
    std::ranges::copy(fft.time().subspan(block), side.tails[stage].begin());
}

void NonlinearBranch::processPiece(std::size_t index, std::span<const float> input,
                                   std::span<float> output) noexcept
{
    Side& side = sides[index];
    const NonlinearSide& own = design->sides[index];
    const std::size_t numFrames = input.size();
    tune(side, own, input);
    std::array<std::span<float>, PowerOversampler::numOutputs> made;
    for (std::size_t power = 0; power < made.size(); ++power)
        made[power] = std::span(powers[power]).first(numFrames);
    side.oversampler.process(std::span<const float>(tuned).first(numFrames), made);

    for (std::size_t stage = 0; stage < positionsBefore.size(); ++stage)
        positionsBefore[stage] = side.histories[0].stagePosition(stage);
    std::ranges::fill(output, 0.0F);
    // All histories are fed, used or not, so that they stand at the same place.
    for (std::size_t power = 0; power < made.size(); ++power) {
        side.histories[power].push(made[power]);
        if (const PartitionedKernel* kernel = own.kernels[power].get())
            side.histories[power].addHead(*kernel, output);
    }
    for (std::size_t stage = 0; stage < positionsBefore.size(); ++stage) {
        const float* const tail = side.tails[stage].data() + positionsBefore[stage];
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            output[frame] += tail[frame];
    }
    for (std::size_t stage = 0; stage < positionsBefore.size(); ++stage)
        if (side.histories[0].stageCompleted(stage))
            computeTail(side, own, stage);
}

void NonlinearBranch::process(dsp::ChannelView<const float> input,
                              dsp::ChannelView<float> output) noexcept
{
    assert(input.numChannels() >= 1 && output.numChannels() == numSides);
    assert(input.numFrames() == output.numFrames());
    if (design == nullptr) {
        for (std::size_t side = 0; side < numSides; ++side)
            std::ranges::fill(output[side], 0.0F);
        return;
    }
    for (std::size_t done = 0; done < output.numFrames();) {
        const std::size_t piece =
            std::min({output.numFrames() - done, sides[0].histories[0].framesToBoundary(),
                      PowerOversampler::maxFrames});
        for (std::size_t side = 0; side < numSides; ++side)
            processPiece(side, input[std::min(side, input.numChannels() - 1)].subspan(done, piece),
                         output[side].subspan(done, piece));
        done += piece;
    }
    double least = 1.0;
    for (const Side& side : sides)
        least = std::min(least, side.oversampler.holdGain());
    holdGainLinear.store(static_cast<float>(least), std::memory_order_relaxed);
}

} // namespace saddletone::audition
