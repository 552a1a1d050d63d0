#pragma once

#include <array>
#include <optional>

namespace saddletone::plugin {

/** A ride that a host can choose as one of the plug-in's programs. */
struct RideProgram {
    const char* name;               ///< Hosts keep it in sessions: never change one.
    std::optional<double> speedKmh; ///< Nothing: the ride of the job that is open.
};

/** Hosts choose the first one unasked, so it changes nothing where no job is open. The speeds are
    common practice, no source: 31 and 65 mph. */
inline constexpr std::array ridePrograms {
    RideProgram {"Ride of the job", std::nullopt}, RideProgram {"Parked", 0.0},
    RideProgram {"Town, 50 km/h", 50.0}, RideProgram {"Highway, 105 km/h", 105.0}};

} // namespace saddletone::plugin
