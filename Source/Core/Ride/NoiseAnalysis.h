#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"
#include "Core/Ride/RecordedNoise.h"

#include <string>

namespace saddletone::ride {

/** Shortest recording that is taken: the level of the 25 Hz third octave, 6 Hz wide, then has
    a standard deviation of 0.6 dB, and slow fluctuation still shows. */
inline constexpr double shortestNoiseSeconds = 10.0;
/** From here on all fluctuation the model knows of has been heard at least once or twice. */
inline constexpr double wantedNoiseSeconds = 60.0;
/** How far a spectral line 1.5 Hz wide must stand above the median of the lines within 12 % of its
    frequency to be a tone. Judgement: the mean of 28 segments, which the shortest recording has,
    passes it by chance once in more than a million lines. */
inline constexpr double toneProminenceDb = 6.0;

/** Describes road noise recorded at a rider's head at one speed, one or two channels; takes some
    seconds. name: what messages call the recording.

    Spectrum by Welch's method. A tone is a peak of toneProminenceDb that is no wider, 3 dB above
    the noise, than 12 Hz or 8 % of its frequency; what it adds to the noise is its power, and how
    it moves from one 0.68 s segment to the next its fluctuation. The gain's fluctuation is that of
    the 125 ms level below 4 Hz less what steady noise of the same spectrum shows by chance, which
    is measured on a texture.

    Refused, each with its reason: more than two channels, shorter than 10 s, silent, clipped, with
    stretches of digital silence. Remarked: one channel, short, level or fluctuation that points at
    handling, music or a change of speed. */
[[nodiscard]] dsp::Result<NoiseRecording>
analyseNoise(const std::string& name, const dsp::AudioBuffer& audio, double speedKmh);

} // namespace saddletone::ride
