#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/JobModel.h"
#include "Gui/Look.h"

namespace saddletone::gui {

/** What stands at the top left: whose bike this is. */
struct Heading {
    juce::String title;
    juce::String details;
    bool isInvented = false; ///< Said in a badge.

    bool operator==(const Heading&) const = default;
};

/** heard: what can be heard of a job; open: the job as typed, which may have nothing to be heard.
    Either may be null. */
[[nodiscard]] Heading headingOf(const JobView* heard, const OpenJobView* open);

void drawHeading(juce::Graphics& g, const Palette& palette, juce::Rectangle<int> area,
                 const Heading& heading);

} // namespace saddletone::gui
