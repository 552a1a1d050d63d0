#pragma once

#include "Core/Seat/HeadphoneCalibration.h"
#include "Core/Seat/ListenerSeat.h"

#include <optional>
#include <string>
#include <vector>

namespace saddletone::seat {

/** What is done for a listener's headphones and head, and which of it is an estimate: one sentence
    about the correction, one about the level, one or two about the places of the speakers. seat:
    null where nothing is done. */
[[nodiscard]] std::vector<std::string>
seatSentences(const ListenerSeat* seat, const std::optional<HeadphoneCalibration>& calibration);

/** The sentence about the correction alone. */
[[nodiscard]] std::string correctionWords(const ListenerSeat* seat);

/** Where the speakers are heard from, and through which ears; seat must be binaural. */
[[nodiscard]] std::string placementWords(const ListenerSeat& seat);

} // namespace saddletone::seat
