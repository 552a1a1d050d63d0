#pragma once

#include "Core/Dsp/ModelFigure.h"
#include "Core/Ride/RideParameters.h"

#include <vector>

namespace saddletone::ride {

/** Every figure that the modelled ride rests on, with the values that parameters have, its status
    and its source. A sourced figure that was changed from its default is judgement. */
[[nodiscard]] std::vector<dsp::ModelFigure> rideFigures(const RideParameters& parameters);

} // namespace saddletone::ride
