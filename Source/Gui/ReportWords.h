#pragma once

#include "Gui/JobModel.h"
#include "Gui/Place.h"
#include "Gui/TuningModel.h"

#include <vector>

namespace saddletone::gui {

/** Something that a good report would have, and where it is done. */
struct ReportGap {
    juce::String words;
    Place place = Place::report;

    bool operator==(const ReportGap&) const = default;
};

/** What the report is going to say, in short; nothing while it is being worked out. */
[[nodiscard]] std::optional<FindingView> reportFinding(const JobSnapshot& snapshot);

/** What is missing for a good report, in the order in which it is done; empty without a job. */
[[nodiscard]] std::vector<ReportGap> reportGaps(const JobSnapshot& snapshot, bool hasUnsavedTuning);

} // namespace saddletone::gui
