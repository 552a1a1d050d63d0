#pragma once

#include "Core/Audition/NonlinearDesign.h"
#include "Core/Audition/PowerOversampler.h"
#include "Core/Audition/ProgrammeConvolver.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"

#include <array>
#include <atomic>
#include <cstddef>
#include <span>

namespace saddletone::audition {

/** What overdriven speakers add to a candidate's linear sound, in real time and in time with it:
    powers 2 to 5 of the tuned programme, each through its kernel, and what a clipping amplifier
    changes. Zero latency re a linear path whose kernels buildKernelTaps() made. The output does not
    depend on how the stream is cut. */
class NonlinearBranch {
public:
    static constexpr std::size_t numSides = 2;

    // Setup (may allocate, not during process)
    /** spec.numChannels is ignored. Forgets the design. */
    void prepare(const dsp::ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    /** Takes up a design made for the sample rate, which must outlive its use, and forgets the past;
        null: silence. */
    void setDesign(const NonlinearDesign* newDesign) noexcept;
    /** input: the programme ahead of the tuning, one or two channels (one is heard on both sides),
        finite. output: two channels, not the input's memory; what it held is replaced. */
    void process(dsp::ChannelView<const float> input, dsp::ChannelView<float> output) noexcept
    {
        process(input, {}, output);
    }
    /** The same; what the powers make is multiplied by a gain for each frame, ahead of the kernels,
        so that what rings already keeps its level when a volume changes. */
    void process(dsp::ChannelView<const float> input, std::span<const float> gainOfPowers,
                 dsp::ChannelView<float> output) noexcept;

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }
    /** Least gain of the hold at the end of the last block, 0 to 1: less than 1 where the programme
        drives the speaker harder than was measured. */
    [[nodiscard]] float holdGain() const noexcept
    {
        return holdGainLinear.load(std::memory_order_relaxed);
    }

private:
    struct Memory {
        double first = 0.0;
        double second = 0.0;
    };
    struct Side {
        std::array<Memory, maxTuningSections> tuning {};
        PowerOversampler oversampler;
    };
    static_assert(ProgrammeConvolver::maxPieceFrames <= PowerOversampler::maxFrames);
    static_assert(numSides == numEars);

    void tune(Side& side, const NonlinearSide& design, std::span<const float> input) noexcept;
    void processPiece(dsp::ChannelView<const float> input, std::span<const float> gainOfPowers,
                      dsp::ChannelView<float> output, std::size_t begin,
                      std::size_t numFrames) noexcept;

    const NonlinearDesign* design = nullptr;
    std::array<Side, numSides> sides;
    /** One for each output of the oversampler; its channels are the sides. */
    std::array<ProgrammeConvolver, PowerOversampler::numOutputs> convolvers;
    std::array<float, PowerOversampler::maxFrames> tuned {};
    std::array<std::array<ProgrammeConvolver::Piece, numSides>, PowerOversampler::numOutputs>
        powers {};
    std::array<ProgrammeConvolver::Piece, numSides> rendered {};
    std::atomic<float> holdGainLinear {1.0F};
    static_assert(std::atomic<float>::is_always_lock_free);
};

} // namespace saddletone::audition
