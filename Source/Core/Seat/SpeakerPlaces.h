#pragma once

#include "Core/Measure/SpeakerGroup.h"
#include "Core/Seat/SphericalHead.h"

namespace saddletone::seat {

enum class BikeSide { left, right };

/** Where the speakers of a bike stand, seen from the rider's head; those of the left, the right
    ones mirror them. The defaults are judgement, no measurement: a touring bike's fairing (0.7 m
    ahead, 0.3 m to the side, 0.45 m below the ears) and lids or pods behind the rider (0.45 m
    behind, 0.3 m to the side, 0.4 m below). */
struct SpeakerPlaces {
    Direction front {25.0, -30.0};
    Direction rear {145.0, -35.0};

    bool operator==(const SpeakerPlaces&) const = default;
};

/** Where the sound of a group comes from on one side of the bike. Groups that have front and rear
    speakers in one measurement are heard from the front, where the direct sound of a fairing comes
    from; groups of one side are heard from that side, whatever is asked for. */
[[nodiscard]] Direction placeOf(measure::SpeakerGroup group, BikeSide side,
                                const SpeakerPlaces& places = {}) noexcept;

} // namespace saddletone::seat
