#include "Core/Audition/OverdriveRender.h"

#include "Core/Audition/NonlinearBranch.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <vector>

namespace saddletone::audition {

namespace {

constexpr double linearSeconds = 0.3; // power 1's kernel and room for a tuning to ring out

} // namespace

dsp::Result<OverdriveRendering> renderOverdrive(const NonlinearRequest& request,
                                                const dsp::AudioBuffer& programme,
                                                std::size_t blockFrames)
{
    if (blockFrames == 0 || programme.numChannels() == 0 || programme.numFrames() == 0)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "rendering takes a programme of one or two channels that is not empty, "
                         "and blocks of at least one frame");
    const double rate = programme.sampleRate;
    const auto design = buildNonlinearDesign(request, rate);
    if (!design)
        return design.unexpected();
    const std::size_t numFrames = programme.numFrames();
    const std::size_t numInputs = std::min(programme.numChannels(), NonlinearBranch::numSides);

    OverdriveRendering rendering;
    rendering.audio = dsp::makeSilence(rate, NonlinearBranch::numSides, numFrames);
    // A branch is large; the stack is not the place for it.
    const auto branch = std::make_unique<NonlinearBranch>();
    branch->prepare({.sampleRate = rate, .maxBlockFrames = blockFrames});
    branch->setDesign(design->get());
    double leastHold = 1.0;
    {
        const dsp::ScopedFlushDenormals flushDenormals;
        for (std::size_t begin = 0; begin < numFrames; begin += blockFrames) {
            const std::size_t count = std::min(blockFrames, numFrames - begin);
            std::array<const float*, NonlinearBranch::numSides> input {};
            std::array<float*, NonlinearBranch::numSides> output {};
            for (std::size_t side = 0; side < NonlinearBranch::numSides; ++side) {
                input[side] = programme.channels[std::min(side, numInputs - 1)].data() + begin;
                output[side] = rendering.audio.channels[side].data() + begin;
            }
            branch->process({input.data(), numInputs, count},
                            {output.data(), output.size(), count});
            leastHold = std::min(leastHold, static_cast<double>(branch->holdGain()));
        }
    }
    rendering.heldDb = -dsp::amplitudeToDb(leastHold);

    CandidateRequest linear;
    linear.name = request.model.name;
    linear.tuning = request.tuning;
    linear.response.sampleRate = request.model.sampleRate;
    linear.response.impulse = request.model.kernels[0];
    linear.response.arrivalFrame = request.model.arrivalFrame;
    double branchEnergy = 0.0;
    double linearEnergy = 0.0;
    constexpr std::array sides {tuning::OutputGroup::left, tuning::OutputGroup::right};
    for (std::size_t side = 0; side < sides.size(); ++side) {
        const auto taps = buildKernelTaps(linear, sides[side], request.helmet, rate,
                                          static_cast<std::size_t>(linearSeconds * rate));
        if (!taps)
            return taps.unexpected();
        const auto& source = programme.channels[std::min(side, numInputs - 1)];
        const auto heard = dsp::convolve(std::vector<double>(source.begin(), source.end()),
                                         std::vector<double>(taps->begin(), taps->end()));
        auto& samples = rendering.audio.channels[side];
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            const auto added = static_cast<double>(samples[frame]);
            branchEnergy += added * added;
            linearEnergy += heard[frame] * heard[frame];
            samples[frame] = static_cast<float>(heard[frame] + added);
        }
    }
    rendering.branchDb = dsp::powerToDb(branchEnergy / std::max(linearEnergy, 1e-30));
    return rendering;
}

} // namespace saddletone::audition
