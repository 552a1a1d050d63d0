#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <string>

namespace saddletone::commandline {

/** A calibration with what is to be said of it. */
struct ReadCalibration {
    measure::Calibration calibration;
    std::string note;       ///< Empty for a recording of a tone.
    std::string microphone; ///< The same.
};

/** From a recording of a calibrator's tone, or from what `calibrate` saved (JSON), which brings its
    own level. */
[[nodiscard]] dsp::Result<ReadCalibration> calibrationFrom(const std::string& file,
                                                           double toneSplDb);

} // namespace saddletone::commandline
