#pragma once

#include "Core/Measure/SpeakerGroup.h"

#include <optional>

namespace saddletone::measure {

/** Speakers of a bike, a bit each: front left, front right, rear left, rear right. */
using SpeakerSet = unsigned;

enum class BikeChannel { left, right };

/** The speakers of a group. */
[[nodiscard]] SpeakerSet speakersOf(SpeakerGroup group) noexcept;

/** The smallest group that has all speakers of a set. */
[[nodiscard]] SpeakerGroup groupOf(SpeakerSet speakers) noexcept;

/** Those speakers of a group that a channel of the programme plays through; nothing if they are all
    on the other side. */
[[nodiscard]] std::optional<SpeakerGroup> groupOnChannel(SpeakerGroup group,
                                                         BikeChannel channel) noexcept;

/** The same where the group is all there is to be heard: of a group of one side all of it. */
[[nodiscard]] SpeakerGroup speakersOnChannel(SpeakerGroup group, BikeChannel channel) noexcept;

} // namespace saddletone::measure
