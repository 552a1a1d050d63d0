#include "Core/Seat/SpeakerPlaces.h"

#include "Core/Files/TextTable.h"

#include <string>
#include <tuple>

namespace saddletone::seat {

dsp::Result<void> checkPlaces(const SpeakerPlaces& places)
{
    const auto refuse = [](const std::string& speakers, const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "place of the " + speakers + " speakers: " + reason);
    };
    for (const auto& [speakers, direction, metres] :
         {std::tuple {"front", places.front, places.frontMetres},
          std::tuple {"rear", places.rear, places.rearMetres}}) {
        if (!(direction.azimuthDegrees >= 0.0 && direction.azimuthDegrees <= 180.0))
            return refuse(speakers, "the azimuth is that of the left one, 0 (ahead) to 180 degrees "
                                    "(behind); the right one mirrors it");
        if (!(direction.elevationDegrees >= -90.0 && direction.elevationDegrees <= 90.0))
            return refuse(speakers, "the elevation must be -90 (below) to 90 degrees (above)");
        if (metres && !(*metres >= nearestSpeakerMetres && *metres <= farthestSpeakerMetres))
            return refuse(speakers, "the distance from the middle of the head must be "
                                        + files::fixedText(nearestSpeakerMetres, 2) + " to "
                                        + files::fixedText(farthestSpeakerMetres, 0) + " m");
    }
    return {};
}

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
