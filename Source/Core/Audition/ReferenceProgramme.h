#pragma once

#include <span>

namespace saddletone::audition {

/** A-weighted level, AES17 dBFS, of the reference programme (pink noise, 20 Hz to 20 kHz, at
    referenceProgrammeDbfs) after an impulse response; the programme itself for a single tap of 1.
    Computed from the spectra, not rendered. */
[[nodiscard]] double referenceLevelDbfsA(std::span<const float> taps, double sampleRate);

/** Loudness of the reference programme after an impulse response in LUFS, both ears alike, by the
    K weighting of ITU-R BS.1770-4. The programme is steady, so gating has no part in it. */
[[nodiscard]] double referenceLoudnessLufs(std::span<const float> taps, double sampleRate);

} // namespace saddletone::audition
