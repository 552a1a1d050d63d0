#include "Core/Seat/SpeakerPlaces.h"

namespace saddletone::seat {

Direction placeOf(measure::SpeakerGroup group, BikeSide side, const SpeakerPlaces& places) noexcept
{
    using measure::SpeakerGroup;
    const bool isRear = group == SpeakerGroup::rear || group == SpeakerGroup::rearLeft
                        || group == SpeakerGroup::rearRight;
    if (measure::otherSideOf(group))
        side = measure::isLeftSide(group) ? BikeSide::left : BikeSide::right;
    Direction direction = isRear ? places.rear : places.front;
    if (side == BikeSide::right)
        direction.azimuthDegrees = -direction.azimuthDegrees;
    return direction;
}

} // namespace saddletone::seat
