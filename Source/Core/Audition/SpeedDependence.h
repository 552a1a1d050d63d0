#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"
#include "Core/Ride/SpeedVolume.h"

#include <filesystem>
#include <memory>
#include <vector>

namespace saddletone::audition {

/** A radio whose volume, and perhaps whose equaliser, follows the speed, with what was measured. */
struct SpeedDependence {
    ride::SpeedVolume volume;
    std::vector<measure::Response> states; ///< One for each of volume.states.
};

/** Reads a speed volume and the states it names, which lie relative to its folder. Refused: states
    of different sample rates. */
[[nodiscard]] dsp::Result<std::shared_ptr<const SpeedDependence>>
loadSpeedDependence(const std::filesystem::path& file);

/** The response at a speed: the measured one, where one stands for the speed; between two the lower
    one after a filter of minimum phase that moves its magnitude, smoothed to twelfth octaves,
    towards the upper one, straight in dB. Responses count at the level they were measured at: where
    the volume followed the speed then, it is in them, and volume.gains must be empty.
    dependence.states must not be empty. */
[[nodiscard]] measure::Response responseAtSpeed(const SpeedDependence& dependence, double speedKmh);

} // namespace saddletone::audition
