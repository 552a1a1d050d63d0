#include "Core/Measure/SpeakerSet.h"

#include <bit>

namespace saddletone::measure {

SpeakerSet speakersOf(SpeakerGroup group) noexcept
{
    constexpr SpeakerSet frontLeft = 1;
    constexpr SpeakerSet frontRight = 2;
    constexpr SpeakerSet rearLeft = 4;
    constexpr SpeakerSet rearRight = 8;
    switch (group) {
    case SpeakerGroup::left: return frontLeft | rearLeft;
    case SpeakerGroup::right: return frontRight | rearRight;
    case SpeakerGroup::front: return frontLeft | frontRight;
    case SpeakerGroup::rear: return rearLeft | rearRight;
    case SpeakerGroup::frontLeft: return frontLeft;
    case SpeakerGroup::frontRight: return frontRight;
    case SpeakerGroup::rearLeft: return rearLeft;
    case SpeakerGroup::rearRight: return rearRight;
    case SpeakerGroup::all: break;
    }
    return frontLeft | frontRight | rearLeft | rearRight;
}

SpeakerGroup groupOf(SpeakerSet speakers) noexcept
{
    SpeakerGroup smallest = SpeakerGroup::all;
    for (const SpeakerGroup group : allSpeakerGroups)
        if ((speakers & ~speakersOf(group)) == 0
            && std::popcount(speakersOf(group)) < std::popcount(speakersOf(smallest)))
            smallest = group;
    return smallest;
}

std::optional<SpeakerGroup> groupOnChannel(SpeakerGroup group, BikeChannel channel) noexcept
{
    const SpeakerSet played =
        speakersOf(group)
        & speakersOf(channel == BikeChannel::left ? SpeakerGroup::left : SpeakerGroup::right);
    if (played == 0)
        return {};
    return groupOf(played);
}

SpeakerGroup speakersOnChannel(SpeakerGroup group, BikeChannel channel) noexcept
{
    return groupOnChannel(group, channel).value_or(group);
}

} // namespace saddletone::measure
