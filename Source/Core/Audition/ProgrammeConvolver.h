#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Audition/StagePlan.h"
#include "Core/Dsp/AlignedFloats.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace saddletone::audition {

/** Convolves two channels of programme with the kernels of up to two candidates at a time, without
    latency, all on the audio thread.

    What the programme was is kept once, as samples and as spectra, so a candidate that was silent
    until now can be brought up with its complete tail: by beginVoice(), which spreads what it has
    missed over warmUpFrames. The work of long blocks is spread over the time until it is needed, see
    StagePlan. The output is the same, to the bit, however the stream is cut. */
class ProgrammeConvolver {
public:
    static constexpr std::size_t numVoices = 2;
    static constexpr std::size_t maxPieceFrames = PartitionLayout::headTaps;
    /** Frames between beginVoice() and the first that the voice can be rendered for: 10.7 ms at
        48 kHz. */
    static constexpr std::size_t warmUpFrames = 512;

    using Kernels = decltype(SceneCandidate::kernels);
    using EarKernels = Kernels::value_type; ///< What one ear hears of each channel.
    /** Room for the frames of one piece. */
    using Piece = std::array<float, maxPieceFrames>;

    // Setup (may allocate, not during process)
    /** Ends in a reset; no voice plays. */
    void prepare(const PartitionLayout& layout);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Forgets the programme. Voices keep their kernels, and play at once. */
    void reset() noexcept;

    /** Sets a voice's kernels for the programme to come; only right after reset(). Null is silence.
        Kernels stay the caller's, who must keep them until the voice has others. */
    void setVoice(std::size_t voice, const Kernels* kernels) noexcept;

    /** Brings a voice up, with everything that the programme has left behind in its response. */
    void beginVoice(std::size_t voice, const Kernels* kernels) noexcept;

    /** The most frames that push() takes now. */
    [[nodiscard]] std::size_t framesToVisit() const noexcept { return maxPieceFrames - fill; }

    /** The next frames of the programme. Between two calls come render() and advance(). */
    void push(const std::array<Piece, numEars>& samples, std::size_t numFrames) noexcept;

    /** What a voice makes of the frames pushed last. */
    void render(std::size_t voice, std::array<Piece, numEars>& output) const noexcept;

    /** Goes past the frames pushed last, and does the work that is due then. */
    void advance() noexcept;

    // Any thread
    /** What has been done since the last reset, in the units of SlicedTransform::Step::work. */
    [[nodiscard]] std::uint64_t workDone() const noexcept { return work; }

private:
    /** One for each power of two that blocks can have. */
    static constexpr std::size_t maxStages = 9;
    static_assert(PartitionLayout::longestBlock >> (maxStages - 1) == PartitionLayout::headTaps);

    /** Samples and spectra of one channel in one stage. */
    struct ChannelStage {
        dsp::AlignedFloats spectra; ///< [tile][block modulo numSpectra][tileFloats]
        dsp::AlignedFloats working;
    };

    struct Channel {
        dsp::AlignedFloats samples; ///< Ring; every block of every stage lies in it in one run.
        /** Samples before the current grid period, those of the period, room for whole vectors. */
        std::array<float, 3 * maxPieceFrames> recent {};
        std::vector<ChannelStage> stages;
    };

    /** What one voice needs to catch up with in one stage: for two blocks of output how many steps of
        their inverse jobs are done apart from the plan. */
    struct CatchUp {
        std::size_t firstBlock = 0;
        std::array<std::size_t, 2> numSteps {};
        std::size_t numDone = 0; ///< Of both together.
    };

    struct VoiceStage {
        /** [block of output modulo 2][ear]: 2 blockFrames floats, the second half of which is what the
            stage adds to the output, and room for whole vectors. */
        std::array<std::array<dsp::AlignedFloats, numEars>, 2> working;
        CatchUp catchUp;
    };

    struct Voice {
        const Kernels* kernels = nullptr;
        std::vector<VoiceStage> stages;
        std::size_t visitsToCatchUp = 0;
    };

    void visit() noexcept;
    void runForwardStep(std::size_t stage, std::size_t block, std::size_t step) noexcept;
    void runInverseStep(Voice& voice, std::size_t stage, std::size_t block,
                        std::size_t step) noexcept;
    void addUp(const EarKernels& kernels, std::size_t stage, std::size_t tile, std::size_t block,
               float* sum) noexcept;
    void planCatchUp(Voice& voice) noexcept;
    void catchUp(Voice& voice) noexcept;

    const dsp::SpectralKernels* loops = &dsp::spectralKernels();
    std::vector<StagePlan> plans;
    std::array<Channel, numEars> channels;
    std::array<Voice, numVoices> voices;
    std::size_t fill = 0; // frames since the last visit
    std::size_t lastPushed = 0;
    std::size_t numVisits = 0; // since the reset
    std::uint64_t work = 0;
};

} // namespace saddletone::audition
