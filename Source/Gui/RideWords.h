#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/TuningModel.h"

namespace saddletone::gui {

/** What of the music remains on the ride, what it would take to hear most of it, and what the ride
    does to the ears; nothing while it is being worked out. */
[[nodiscard]] std::optional<FindingView> roadFinding(const AuditionSnapshot& snapshot);

/** Every figure that the noise of the ride rests on, with its status and source. */
[[nodiscard]] FindingView noiseFinding(const AuditionSnapshot& snapshot);

} // namespace saddletone::gui
