#pragma once

#include <atomic>
#include <cstdint>
#include <span>

namespace saddletone::measure {

/** Whether a sample stands within half a 16-bit step of full scale, where converters stop, or
    beyond it, or is not a number. */
[[nodiscard]] inline bool isClipped(float sample) noexcept
{
    constexpr float highest = 32766.5F / 32768.0F;
    return !(sample < highest && sample > -highest);
}

/** Level of one channel for a meter on the screen: a peak that falls slowly, the RMS after AES17,
    and a clip light that stays lit until it is reset.

    Neighbouring clipped samples (isClipped()) count once. A sample that is not a number counts as
    clipped and else as silence. */
class LevelMeter {
public:
    // Setup (may allocate, not during process)
    void prepare(double sampleRate) noexcept;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void process(std::span<const float> samples) noexcept;
    void reset() noexcept;

    // Any thread
    /** Highest sample re full scale, falling 20 dB in 1.7 s (IEC 60268-18). */
    [[nodiscard]] double peakDbfs() const noexcept;
    /** RMS re that of a full-scale sine, exponential with a time constant of 300 ms. */
    [[nodiscard]] double rmsDbfs() const noexcept;
    /** Clipped places since the last resetClip(). */
    [[nodiscard]] std::uint64_t numClips() const noexcept;
    [[nodiscard]] bool isClipHeld() const noexcept { return numClips() > 0; }
    void resetClip() noexcept;
    /** Clipped places since prepare(); resetClip() leaves it. */
    [[nodiscard]] std::uint64_t totalClips() const noexcept;

private:
    double peakFallPerSample = 1.0;
    double powerShare = 0.0;
    double peak = 0.0;
    double power = 0.0;
    bool lastClipped = false;
    std::atomic<double> shownPeak {0.0};
    std::atomic<double> shownPower {0.0};
    std::atomic<std::uint64_t> clips {0};
    std::atomic<std::uint64_t> clipsAtReset {0};
    static_assert(std::atomic<double>::is_always_lock_free);
    static_assert(std::atomic<std::uint64_t>::is_always_lock_free);
};

} // namespace saddletone::measure
