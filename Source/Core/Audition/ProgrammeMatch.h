#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Dsp/AudioBuffer.h"

#include <atomic>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace saddletone::audition {

/** Part of a programme in memory, at the sample rate of the engine that plays it. */
struct ProgrammePart {
    const dsp::AudioBuffer& audio; ///< One or two channels.
    std::size_t beginFrame = 0;
    std::size_t endFrame = 0; ///< One past the last; kept inside the audio.
};

/** Loudness of a programme part through one candidate of a scene, as on the bike at the same volume
    step: integrated, ITU-R BS.1770-4, of what the engine makes of the part, without noise. dsp::silenceDb if nothing passes the gate. Nothing if stopped
    is set meanwhile. Takes about a hundredth of the part's length; not for the audio thread. */
[[nodiscard]] std::optional<double> programmeLoudnessLufs(const AuditionScene& scene,
                                                          std::size_t candidate,
                                                          const ProgrammePart& part,
                                                          const std::atomic<bool>& stopped);

/** How far candidates are from each other in loudness, and what makes them equal. */
struct ProgrammeMatch {
    /** Loudness re the first candidate at the same volume step. */
    std::vector<double> differencesDb;
    /** For SceneCandidate::matchGainDb; that of the first stays as it is, and the others come to its
        loudness. */
    std::vector<double> matchGainsDb;
    /** All of it rests on the programme; otherwise some or all is of pink noise. */
    bool isMeasured = false;

    bool operator==(const ProgrammeMatch&) const = default;
};

/** loudnessLufs: of each candidate, nothing where it is not known (yet). Such a one counts as
    different from the known ones as it is with pink noise. */
[[nodiscard]] ProgrammeMatch matchLoudness(const AuditionScene& scene,
                                           std::span<const std::optional<double>> loudnessLufs);

} // namespace saddletone::audition
