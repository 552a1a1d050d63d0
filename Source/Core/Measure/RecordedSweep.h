#pragma once

#include "Core/Signals/Sweep.h"

#include <span>

namespace saddletone::measure {

/** The clock on which a recorder takes down a track's sweep. */
struct SweepSampling {
    double trackRate = 48000.0;       ///< Of the track, Hz on the player's clock.
    double framesPerTrackFrame = 1.0; ///< Recorder frames to one of the track.
    /** Recorder frame, counted from the first one asked for, at which the sweep's first frame falls;
        any real number from 0. */
    double startFrame = 0.0;
};

/** Share of the recorder's sample rate above which a recorded sweep is left out. */
inline constexpr double highestRecordedShare = 0.475;

/** What a recorder would take down of signals::makeSweep() without any room: the formula, evaluated
    at the recorder's instants; zero before and after. Rounded to single precision (an error 130 dB
    below the sweep). A sweep that passes highestRecordedShare of the recorder's rate fades out from
    there to half a hundredth more, since all above would fold down. */
void writeRecordedSweep(const signals::SweepShape& shape, const SweepSampling& sampling,
                        std::span<float> frames);

} // namespace saddletone::measure
