#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/SpeakerGroup.h"
#include "Core/Seat/SphericalHead.h"

#include <optional>

namespace saddletone::seat {

enum class BikeSide { left, right };

/** Where the speakers of a bike stand, seen from the rider's head; those of the left, the right
    ones mirror them. The defaults are judgement, no measurement: a touring bike's fairing (0.7 m
    ahead, 0.3 m to the side, 0.45 m below the ears) and lids or pods behind the rider (0.45 m
    behind, 0.3 m to the side, 0.4 m below). */
struct SpeakerPlaces {
    Direction front {25.0, -30.0};
    Direction rear {145.0, -35.0};
    /** From the middle of the head, nearestSpeakerMetres to farthestSpeakerMetres; nothing: as far
        as the sources of the head set. Tells the ears apart in level, see nearFieldGains(). */
    std::optional<double> frontMetres {};
    std::optional<double> rearMetres {};

    bool operator==(const SpeakerPlaces&) const = default;
};

/** A speaker closer than that is at the ear, one farther than that not on the bike. */
inline constexpr double nearestSpeakerMetres = 0.25;
inline constexpr double farthestSpeakerMetres = 3.0;

/** Refused: azimuths of the left speakers beyond 0 to 180 degrees, elevations beyond -90 to 90,
    distances beyond the limits above. */
[[nodiscard]] dsp::Result<void> checkPlaces(const SpeakerPlaces& places);

/** Where the sound of a group comes from on one side of the bike. Groups that have front and rear
    speakers in one measurement are heard from the front, where the direct sound of a fairing comes
    from; groups of one side are heard from that side, whatever is asked for. */
[[nodiscard]] Direction placeOf(measure::SpeakerGroup group, BikeSide side,
                                const SpeakerPlaces& places = {}) noexcept;

} // namespace saddletone::seat
