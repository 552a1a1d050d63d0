#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/OctaveBands.h"

#include <cstddef>
#include <string>
#include <vector>

namespace saddletone::signals {

/** One sounding part of a track made of several: a warble, a step, a beep, a pulse. */
struct SignalSegment {
    std::size_t firstFrame = 0; ///< Of the fade-in.
    std::size_t numFrames = 0;  ///< Fades included.
    std::size_t fadeFrames = 0; ///< At each end; the level holds between them.
    double frequencyHz = 0.0;   ///< Of a tone, or the middle of a band; 0 of a pulse.
    double fromHz = 0.0;        ///< Limits of a warble's band; 0 otherwise.
    double toHz = 0.0;
    double levelDbfs = 0.0; ///< AES17, between the fades; of a pulse the level of its peak.
    std::size_t channel = 0;
    std::string label; ///< What it is, for people: "31.5 Hz", "front left".

    bool operator==(const SignalSegment&) const = default;
};

/** A track and where its parts stand. */
struct SegmentTrack {
    dsp::AudioBuffer audio;
    std::vector<SignalSegment> segments; ///< Of one period where the track repeats.
    std::size_t periodFrames = 0;        ///< 0 = does not repeat.
};

/** A warble of so many seconds, fades included, in each band, all of one level. */
[[nodiscard]] SegmentTrack makeWarbleTrack(const std::vector<dsp::Band>& bands,
                                           double secondsPerBand, double levelDbfs,
                                           double sampleRate);

/** A sine at each band's centre, all of one level; fades of three cycles, 50 ms or more. */
[[nodiscard]] SegmentTrack makeSteppedTrack(const std::vector<dsp::Band>& bands,
                                            double secondsPerStep, double levelDbfs,
                                            double sampleRate);

/** Sines for setting gains: 1 kHz and then 40 Hz, each at 10 and 5 dB below the highest level and at
    it, quiet first. Each holds its level for the seconds asked for, in steps of 50 ms, which are
    whole cycles of both; the fades stand outside. */
[[nodiscard]] SegmentTrack makeGainTrack(double secondsPerTone, double highestLevelDbfs,
                                         double sampleRate);

/** Names the speaker groups without speech: one beep for front left, two for front right, three for
    rear left, four for rear right; the left ones in the left channel. Two channels. A pause after
    the front and after the rear leaves time to move the fader. Repeats every 22 s, as often as
    seconds need. */
[[nodiscard]] SegmentTrack makeChannelTrack(double seconds, double levelDbfs, double sampleRate);

/** A pulse of positive sign (see PolarityPulse.h) every half second; the level is that of a sine of
    the same peak. */
[[nodiscard]] SegmentTrack makePolarityTrack(double seconds, double levelDbfs, double sampleRate);

} // namespace saddletone::signals
