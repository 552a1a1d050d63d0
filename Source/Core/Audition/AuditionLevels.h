#pragma once

#include "Core/Dsp/Units.h"
#include "Core/Ride/RideLevels.h"

namespace saddletone::audition {

/** Where a sound pressure level came from. */
enum class LevelSource {
    assumed, ///< Set by the user or by default; an estimate.
    measured ///< From a calibrated recording.
};

/** What is known of the levels of one candidate at the rider's head. */
struct ProgrammeLevel {
    /** A-weighted SPL at the head when the programme is pink noise at referenceProgrammeDbfs. */
    double splDba = 85.0;
    /** SPL at the head that a full-scale sine out of the candidate's kernel stands for. */
    double splAtFullScaleDb = 100.0;
    LevelSource source = LevelSource::assumed;

    /** The same sound at another level. */
    [[nodiscard]] ProgrammeLevel raisedBy(double gainDb) const noexcept
    {
        return {splDba + gainDb, splAtFullScaleDb + gainDb, source};
    }

    bool operator==(const ProgrammeLevel&) const = default;
};

/** Level of the pink noise that all programme levels refer to, AES17: about what loudly mastered
    music carries. Judgement. */
inline constexpr double referenceProgrammeDbfs = -18.0;

/** A-weighted level at which music plus noise leaves the program at 0 dB output level, dBFS by
    AES17: leaves room for the low frequencies of wind, which stand some 13 dB above its A-weighted
    level, and for their peaks. Judgement. */
inline constexpr double listeningTargetDbfsA = -24.0;

/** How candidates are set against each other. */
enum class LevelMatch {
    asOnTheBike,  ///< Differences in level stay, as they would be at the same volume step.
    equalLoudness ///< Each candidate is brought to the loudness of the first.
};

/** Every gain of an audition, and the levels a listener should be told. */
struct AuditionLevels {
    double programmeSplDba = dsp::silenceDb; ///< On the bike, reference programme, inside plugs.
    ride::RideLevels noise;                  ///< At the ear inside helmet and plugs, with the trim.
    double programmeGainDb = 0.0;            ///< From kernel output to program output.
    double untouchedGainDb = 0.0;            ///< For the programme without bike and noise.
    double outputDbfsA = 0.0; ///< A-weighted level of music plus noise at the output.
    double scaleDb = 0.0;     ///< Output dBFS minus SPL on the bike, of music and noise alike.
    double plugLossDb = 0.0;  ///< Of music and noise alike.
    double radioGainDb = 0.0; ///< Of the volume control and of what follows the speed.

    bool operator==(const AuditionLevels&) const = default;
};

/** Levels for one candidate, as they are at the ear inside helmet and plugs.
    reference: level of the first candidate, which sets the scale, so that a switch of candidates
    keeps their differences. noise: without the trim. matchGainDb: gain that makes the candidate as loud as the first, used
    with LevelMatch::equalLoudness. noiseTrimDb: noise against the truth, 0 = as on the road.
    outputLevelDb: 0 or below. pinkDbfsA: A-weighted level of the reference programme itself. */
struct LevelRequest {
    ProgrammeLevel reference;
    ProgrammeLevel candidate;
    double matchGainDb = 0.0;
    LevelMatch match = LevelMatch::asOnTheBike;
    ride::RideLevels noise;
    double noiseTrimDb = 0.0;
    double outputLevelDb = -12.0;
    double pinkDbfsA = -20.0;
};

[[nodiscard]] AuditionLevels computeLevels(const LevelRequest& request) noexcept;

} // namespace saddletone::audition
