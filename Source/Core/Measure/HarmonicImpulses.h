#pragma once

#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/Response.h"
#include "Core/Signals/Sweep.h"

#include <optional>
#include <span>

namespace saddletone::measure {

/** Cuts the impulse responses of the orders 2 to 5 out of a deconvolved sweep and brings them to the
    track's rate. Order n stands L ln n ahead of the linear response to the fraction of a frame
    (Novak, Lotton and Simon, JAES 63(10), 2015), which is kept, so that phases are those of the
    linear response's clock. Each is cut between its neighbours, at most 0.03 s before and 0.25 s after
    its own arrival.

    referenceFrame: frame of the deconvolved sweep, any real number, that counts as the linear
    response's arrival. Nothing where the orders stand too close to each other: a sweep of a few
    seconds. */
[[nodiscard]] std::optional<HarmonicImpulses>
cutHarmonicImpulses(const DeconvolvedSweep& deconvolved, const signals::SweepShape& sweep,
                    double referenceFrame);

/** The mean over takes that lag the first by lagFrames. All takes are of one track. */
[[nodiscard]] HarmonicImpulses meanHarmonics(std::span<const HarmonicImpulses> takes,
                                             std::span<const double> lagFrames);

} // namespace saddletone::measure
