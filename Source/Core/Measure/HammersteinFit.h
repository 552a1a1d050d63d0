#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Measure/Response.h"

#include <string>
#include <vector>

namespace saddletone::measure {

/** What makes a model trustworthy. */
struct HammersteinCriteria {
    static constexpr double leastDriveStepDb = 3.0; ///< Between two takes that count as two levels.
    /** Over the noise, in the third octave of the fundamental: in one take, and in another of a
        drive that differs by leastDriveStepDb. */
    static constexpr double loudestOverNoiseDb = 10.0;
    static constexpr double otherOverNoiseDb = 6.0;
    /** Model against every take in which the order stands otherOverNoiseDb over the noise. */
    static constexpr double largestErrorDb = 1.5;
    /** Neighbouring third octaves that an order needs: an octave. */
    static constexpr std::size_t fewestBands = 3;
};

/** Bike states of one place and setting, measured at several drive levels. */
struct HammersteinRequest {
    std::string name;
    /** Two or more; the model is of the first one's volume. */
    std::vector<Response> states;
    /** How hard each state drives the speaker, dB re each other; empty: told by the level of the
        linear part, which takes the same recorder gain or a calibration in every state. */
    std::vector<double> drivesDb;
};

/** Identifies one model that predicts the harmonics of all states.

    Takes have no common clock: each is aligned by its own linear response, against which the sweep
    fixes the time of its harmonics. Kernels are the weighted least squares over all harmonics and
    levels at each frequency. As a level that changes harmonics otherwise than a static power does is
    the mark of a filter ahead of the distortion (a cone's excursion, a crossover), a drive filter of
    up to two sections is searched and kept if it explains the levels clearly better.

    An order is kept where HammersteinCriteria hold, else left out with the reason in its words.
    Refused: fewer than two levels, states without harmonics or of different sample rates, no order
    that holds. */
[[nodiscard]] dsp::Result<HammersteinModel> fitHammerstein(const HammersteinRequest& request);

} // namespace saddletone::measure
