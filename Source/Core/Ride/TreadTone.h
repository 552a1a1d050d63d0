#pragma once

#include "Core/Dsp/LinearRamp.h"

#include <cstdint>
#include <span>

namespace saddletone::ride {

/** The tone of a tyre's tread blocks: one sine, alike in both ears. Its phase is a whole number that
    grows by a whole number a frame, so a position reached by seek() is exact; frequency and level
    glide within EngineTone::glideSeconds. */
class TreadTone {
public:
    // Setup (may allocate, not during process)
    void prepare(double newSampleRate);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** amplitudeLinear 0 is off; a tone at or above Nyquist is off too. */
    void setTone(double newFrequencyHz, double newAmplitudeLinear) noexcept;
    /** Goes to a position as if the tone had always been the present one. */
    void seek(std::uint64_t newPosition) noexcept;
    /** Adds the next frames, which may not reach over the end of a tick of EngineTone. */
    void add(std::span<float> output) noexcept;
    void skip(std::size_t numFrames) noexcept;

private:
    void settle() noexcept;
    void updateStep() noexcept;

    double sampleRate = 48000.0;
    double frequencyHz = 0.0;
    double amplitudeLinear = 0.0;
    std::uint64_t position = 0;
    std::uint64_t phase = 0;
    std::uint64_t phasePerFrame = 0;
    double amplitudeBefore = 0.0;
    dsp::LinearRamp frequencyGlide;
    dsp::LinearRamp amplitudeGlide;
    bool isFresh = true;
};

} // namespace saddletone::ride
