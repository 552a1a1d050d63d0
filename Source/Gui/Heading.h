#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/JobModel.h"

#include <juce_gui_basics/juce_gui_basics.h>

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

/** Shows a heading. A title that is too long for its line gets smaller letters, then the line of the
    details too; all of it is in the tooltip and told to screen readers. */
class HeadingView final : public juce::Component, public juce::SettableTooltipClient {
public:
    HeadingView();

    void show(const Heading& newHeading);

    void paint(juce::Graphics& g) override;

private:
    /** How a title fits. */
    struct Fit {
        juce::String badge; ///< Empty: there is none.
        juce::Font font;
        bool takesBothLines = false;
    };

    [[nodiscard]] Fit fit() const;
    [[nodiscard]] int widthBesides(const juce::String& badge) const;

    Heading heading;
};

} // namespace saddletone::gui
