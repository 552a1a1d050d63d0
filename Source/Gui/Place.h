#pragma once

#include <array>

namespace saddletone::gui {

/** Places along the road, in the order in which it passes them. */
enum class Place { signals, bike, tuning, listen, report };

inline constexpr std::array allPlaces {Place::signals, Place::bike, Place::tuning, Place::listen,
                                       Place::report};

/** The word on the place's sign. */
[[nodiscard]] constexpr const char* placeName(Place place) noexcept
{
    switch (place) {
    case Place::signals: return "Signals";
    case Place::bike: return "Bike";
    case Place::tuning: return "Tuning";
    case Place::listen: break;
    case Place::report: return "Report";
    }
    return "Listen";
}

} // namespace saddletone::gui
