#pragma once

#include "Core/Audition/PartitionLayout.h"
#include "Core/Audition/PartitionedKernel.h"
#include "Core/Dsp/Fft.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::audition {

/** What one programme channel was, as samples and as spectra, for all candidates at once.

    Candidates share it, so one that was silent until now has a complete tail from its first
    sample. The stream is fed in pieces that end at or before each headTaps boundary. */
class ProgrammeHistory {
public:
    // Setup (may allocate, not during process)
    void prepare(const PartitionLayout& newLayout);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;

    /** Frames until the next boundary: the most that push() takes now. */
    [[nodiscard]] std::size_t framesToBoundary() const noexcept
    {
        return layout.headTaps - headFill;
    }

    /** Appends samples; a stage whose block is complete gets its new spectrum. */
    void push(std::span<const float> samples) noexcept;

    /** True when the last push() completed a block of the stage. */
    [[nodiscard]] bool stageCompleted(std::size_t stage) const noexcept
    {
        return stages[stage].completed;
    }

    /** Position of the next sample within the stage's block. */
    [[nodiscard]] std::size_t stagePosition(std::size_t stage) const noexcept
    {
        return stages[stage].fill;
    }

    /** Adds the direct sum over the head taps for the samples of the last push(). */
    void addHead(const PartitionedKernel& kernel, std::span<float> output) const noexcept;

    /** Adds a stage's products with the kernel to a spectrum of blockFrames + 1 bins. */
    void addStage(std::size_t stage, const PartitionedKernel& kernel, std::span<float> real,
                  std::span<float> imag) const noexcept;

private:
    struct Stage {
        PartitionStage shape;
        dsp::RealFft<float> fft;
        std::size_t numBins = 0;
        std::size_t ringLength = 0; // spectra kept
        std::size_t newest = 0;     // index of the newest spectrum in the ring
        std::size_t fill = 0;
        bool completed = false;
        std::vector<float> input {}; // previous block, current block
        std::vector<float> realParts {};
        std::vector<float> imagParts {};
    };

    PartitionLayout layout;
    std::vector<Stage> stages;
    std::vector<float> recent; // headTaps - 1 older samples, then up to headTaps of the last push
    std::size_t headFill = 0;
    std::size_t lastPushed = 0;
};

} // namespace saddletone::audition
