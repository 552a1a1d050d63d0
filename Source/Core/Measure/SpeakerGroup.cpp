#include "Core/Measure/SpeakerGroup.h"

#include <algorithm>

namespace saddletone::measure {

std::string_view speakerGroupName(SpeakerGroup group) noexcept
{
    switch (group) {
    case SpeakerGroup::left: return "left";
    case SpeakerGroup::right: return "right";
    case SpeakerGroup::front: return "front";
    case SpeakerGroup::rear: return "rear";
    case SpeakerGroup::frontLeft: return "front-left";
    case SpeakerGroup::frontRight: return "front-right";
    case SpeakerGroup::rearLeft: return "rear-left";
    case SpeakerGroup::rearRight: return "rear-right";
    case SpeakerGroup::all: break;
    }
    return "all";
}

std::optional<SpeakerGroup> parseSpeakerGroup(std::string_view name) noexcept
{
    const auto* const found = std::ranges::find(allSpeakerGroups, name, speakerGroupName);
    if (found == allSpeakerGroups.end())
        return {};
    return *found;
}

std::string speakerGroupChoices()
{
    std::string choices;
    for (const SpeakerGroup group : allSpeakerGroups) {
        if (group != allSpeakerGroups.front())
            choices += group == allSpeakerGroups.back() ? " or " : ", ";
        choices += speakerGroupName(group);
    }
    return choices;
}

std::string speakerGroupWords(SpeakerGroup group)
{
    std::string words(speakerGroupName(group));
    std::ranges::replace(words, '-', ' ');
    return words;
}

std::optional<SpeakerGroup> otherSideOf(SpeakerGroup group) noexcept
{
    switch (group) {
    case SpeakerGroup::left: return SpeakerGroup::right;
    case SpeakerGroup::right: return SpeakerGroup::left;
    case SpeakerGroup::frontLeft: return SpeakerGroup::frontRight;
    case SpeakerGroup::frontRight: return SpeakerGroup::frontLeft;
    case SpeakerGroup::rearLeft: return SpeakerGroup::rearRight;
    case SpeakerGroup::rearRight: return SpeakerGroup::rearLeft;
    case SpeakerGroup::all:
    case SpeakerGroup::front:
    case SpeakerGroup::rear: break;
    }
    return {};
}

bool isLeftSide(SpeakerGroup group) noexcept
{
    return group == SpeakerGroup::left || group == SpeakerGroup::frontLeft
           || group == SpeakerGroup::rearLeft;
}

} // namespace saddletone::measure
