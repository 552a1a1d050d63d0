#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::demo {

/** Where a sound stands in the mix. */
struct Placement {
    double gainLinear = 1.0;
    double panProportion = 0.0;  ///< -1 left to +1 right, equal power.
    double roomProportion = 0.0; ///< Of the placed sound, sent to the room.
};

/** A stereo mix that closes on itself: what sounds beyond the end sounds on at the start. */
class StereoLoop {
public:
    StereoLoop(double sampleRate, double durationSeconds);

    [[nodiscard]] double sampleRate() const noexcept { return dry.sampleRate; }

    /** startSeconds may lie before or beyond the loop; it is wrapped. */
    void add(double startSeconds, std::span<const float> sound, const Placement& placement);

    /** The mix with its room: four damped combs and two all-passes a side (Schroeder, JAES 10(3),
        1962), 0.6 s to -60 dB. The room is already ringing from the end when the start sounds. */
    [[nodiscard]] dsp::AudioBuffer mixWithRoom() const;

private:
    dsp::AudioBuffer dry;
    std::vector<float> roomSend;
};

} // namespace saddletone::demo
