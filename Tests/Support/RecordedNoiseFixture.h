#pragma once

#include "Core/Ride/RecordedNoise.h"

namespace saddletone::test {

/** Noise at 80 and 120 km/h that falls 6 dB an octave, ears alike below, with gusts and two tones
    that move; not calibrated. */
[[nodiscard]] ride::RecordedNoise recordedNoise();

} // namespace saddletone::test
