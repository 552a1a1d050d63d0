#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <cstdint>

namespace saddletone::demo {

/** A short piece of stereo music for judging the tone of a motorcycle's audio, so that the program
    can be tried without anybody's recordings: drums, bass, keys, pad, lead and a sung voice build
    up one after another over twelve bars (30 s at 96 bpm) and break down again. Score, words
    (nonsense syllables) and sounds are invented for this project and synthesised here; nothing is
    sampled and no existing melody is quoted.

    The end leads into the start, so it can be looped. Peak -1 dBFS (sample peak). The same rate and
    seed give the same samples; the seed moves the players' touch and the noise, never the notes.
    sampleRate is 44100 Hz or more; tones stop at 17 kHz whatever the rate, noise falls off from
    there. */
[[nodiscard]] dsp::AudioBuffer makeDemoProgramme(double sampleRate, std::uint64_t seed);

} // namespace saddletone::demo
