#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>

namespace saddletone::measure {

/** Speakers of a bike that played while it was measured, or that a tuning's chain acts on. */
enum class SpeakerGroup {
    all,
    left,
    right,
    front,
    rear,
    frontLeft,
    frontRight,
    rearLeft,
    rearRight
};

inline constexpr std::array allSpeakerGroups {
    SpeakerGroup::all,        SpeakerGroup::left,     SpeakerGroup::right,
    SpeakerGroup::front,      SpeakerGroup::rear,     SpeakerGroup::frontLeft,
    SpeakerGroup::frontRight, SpeakerGroup::rearLeft, SpeakerGroup::rearRight};

/** Name of a group in files, arguments and messages: "front-left". */
[[nodiscard]] std::string_view speakerGroupName(SpeakerGroup group) noexcept;

/** The group of a name; nothing if there is none. */
[[nodiscard]] std::optional<SpeakerGroup> parseSpeakerGroup(std::string_view name) noexcept;

/** "all, left, right, ... or rear-right", for messages. */
[[nodiscard]] std::string speakerGroupChoices();

/** The group as people say it: "front left". */
[[nodiscard]] std::string speakerGroupWords(SpeakerGroup group);

/** The same speakers of the bike's other side; nothing for groups that have both sides. */
[[nodiscard]] std::optional<SpeakerGroup> otherSideOf(SpeakerGroup group) noexcept;

/** Left, front left and rear left. */
[[nodiscard]] bool isLeftSide(SpeakerGroup group) noexcept;

} // namespace saddletone::measure
