#pragma once

#include "Core/Measure/BandAnalysis.h"

namespace saddletone::measure {

/** As analyseBands(), but by the class 1 filters of the live analyser (dsp::OctaveFilterBank and
    dsp::WeightingFilter): the level of each filter's whole output, with what rings on after the
    end, over the recording's duration. A strong band reaches into its neighbours as far as class 1
    lets it; bands whose centre lies near half the sample rate or above are left out. The sample
    rate is 32 kHz or more. */
[[nodiscard]] BandAnalysis analyseBandsByFilters(const dsp::AudioBuffer& audio, int bandsPerOctave,
                                                 dsp::Weighting weighting);

} // namespace saddletone::measure
