#include "Core/Audition/NonlinearBranch.h"

#include <algorithm>
#include <cassert>

namespace saddletone::audition {

void NonlinearBranch::prepare(const dsp::ProcessSpec& spec)
{
    for (Side& side : sides)
        side.oversampler.prepare(spec.sampleRate);
    for (ProgrammeConvolver& convolver : convolvers)
        convolver.prepare(nonlinearLayout());
    design = nullptr;
    reset();
}

void NonlinearBranch::reset() noexcept
{
    for (Side& side : sides) {
        side.tuning.fill({});
        side.oversampler.reset();
    }
    for (std::size_t power = 0; power < convolvers.size(); ++power) {
        convolvers[power].reset();
        convolvers[power].setVoice(0, design != nullptr ? &design->kernels[power] : nullptr);
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

void NonlinearBranch::processPiece(dsp::ChannelView<const float> input,
                                   std::span<const float> gainOfPowers,
                                   dsp::ChannelView<float> output, std::size_t begin,
                                   std::size_t numFrames) noexcept
{
    for (std::size_t side = 0; side < numSides; ++side) {
        tune(sides[side], design->sides[side],
             input[std::min(side, input.numChannels() - 1)].subspan(begin, numFrames));
        std::array<std::span<float>, PowerOversampler::numOutputs> made;
        for (std::size_t power = 0; power < made.size(); ++power)
            made[power] = std::span(powers[power][side]).first(numFrames);
        sides[side].oversampler.process(std::span<const float>(tuned).first(numFrames), made);
        if (!gainOfPowers.empty())
            for (const std::span<float> samples : made)
                for (std::size_t frame = 0; frame < numFrames; ++frame)
                    samples[frame] *= gainOfPowers[begin + frame];
        std::ranges::fill(output[side].subspan(begin, numFrames), 0.0F);
    }
    // All are fed, used or not, so that they stand at the same place.
    for (std::size_t power = 0; power < convolvers.size(); ++power) {
        convolvers[power].push(powers[power], numFrames);
        convolvers[power].render(0, rendered);
        convolvers[power].advance();
        for (std::size_t side = 0; side < numSides; ++side) {
            const auto out = output[side].subspan(begin, numFrames);
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                out[frame] += rendered[side][frame];
        }
    }
}

void NonlinearBranch::process(dsp::ChannelView<const float> input,
                              std::span<const float> gainOfPowers,
                              dsp::ChannelView<float> output) noexcept
{
    assert(input.numChannels() >= 1 && output.numChannels() == numSides);
    assert(input.numFrames() == output.numFrames());
    assert(gainOfPowers.empty() || gainOfPowers.size() == output.numFrames());
    if (design == nullptr) {
        for (std::size_t side = 0; side < numSides; ++side)
            std::ranges::fill(output[side], 0.0F);
        return;
    }
    for (std::size_t done = 0; done < output.numFrames();) {
        const std::size_t piece =
            std::min(output.numFrames() - done, convolvers.front().framesToVisit());
        processPiece(input, gainOfPowers, output, done, piece);
        done += piece;
    }
    double least = 1.0;
    for (const Side& side : sides)
        least = std::min(least, side.oversampler.holdGain());
    holdGainLinear.store(static_cast<float>(least), std::memory_order_relaxed);
}

} // namespace saddletone::audition
