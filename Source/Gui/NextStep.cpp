#include "Gui/NextStep.h"

#include "Gui/Look.h"

namespace saddletone::gui {

JobProgress progressOf(const AuditionSnapshot& audition, const BenchSnapshot& bench,
                       const TuningSnapshot& tuning, const JobSnapshot& job)
{
    JobProgress progress;
    progress.hasJob = job.open != nullptr;
    for (const auto& state : bench.measured) {
        if (!state->isInJob)
            ++progress.numNotInJob;
        else if (state->engine == measure::EngineState::off)
            ++progress.numParked;
        else
            ++progress.numRunning;
    }
    progress.isRead = job.open == nullptr || job.open->numStates == 0
                      || progress.numParked + progress.numRunning > 0;
    progress.canCompare = bench.comparison != nullptr;
    for (const TuningCandidate& candidate : tuning.candidates)
        progress.hasFitted = progress.hasFitted || candidate.numElements > 0;
    progress.hasUnsaved = tuning.hasUnsaved;
    progress.hasProgramme = audition.player.loaded || !audition.player.available;
    progress.hasBlindRun = job.open != nullptr && job.open->numBlindRuns > 0;
    progress.hasReport = job.report.written != juce::File();
    return progress;
}

std::optional<NextStep> nextStepAt(Place place, const JobProgress& progress)
{
    if (progress.numNotInJob > 0)
        return NextStep {progress.hasJob ? "Measured, but not in the job yet: add it"
                                         : "Measured: add it to a new job",
                         Place::bike};
    if (!progress.hasJob) {
        if (place == Place::signals)
            return NextStep {"Tracks on the stick? Record them at the bike", Place::bike};
        return std::nullopt;
    }
    if (!progress.isRead)
        return std::nullopt;
    if (progress.numParked + progress.numRunning == 0)
        return NextStep {place == Place::bike ? "Play the sweep on the bike and record a take"
                                              : "Nothing measured yet: record a take",
                         Place::bike};
    if (progress.numRunning == 0)
        return NextStep {"No engine-running take yet: record one", Place::bike};
    if (progress.numParked == 0)
        return NextStep {"No engine-off take yet: record one", Place::bike};
    if (!progress.hasFitted) {
        if (progress.canCompare && !progress.hasCompared)
            return NextStep {"Two states measured: compare them", Place::bike};
        return NextStep {place == Place::tuning ? "Fit the tuning to a target, or add filters"
                                                : "Parked and running measured: fit a tuning",
                         Place::tuning};
    }
    if (!progress.hasHeard) {
        if (place == Place::listen && !progress.hasProgramme)
            return NextStep {"No music yet: choose a programme", Place::listen};
        return NextStep {place == Place::listen ? "Play music and change between the plates"
                                                : "Tuning fitted: listen",
                         Place::listen};
    }
    if (progress.hasUnsaved)
        return NextStep {"The tuning is not saved yet: save it", Place::tuning};
    if (!progress.hasReport)
        return place == Place::report
                   ? std::nullopt
                   : std::optional(NextStep {"Heard it: write the report", Place::report});
    if (place == Place::report)
        return std::nullopt;
    return NextStep {"The report is written: hand it over", Place::report};
}

namespace {

/** Whether words that are wrapped into the width are no higher than the area. */
bool fits(const juce::String& words, const juce::Font& font, juce::Rectangle<int> area)
{
    juce::AttributedString attributed;
    attributed.append(words, font);
    juce::TextLayout layout;
    layout.createLayout(attributed, static_cast<float>(area.getWidth()));
    return layout.getHeight() <= static_cast<float>(area.getHeight());
}

} // namespace

NextStepSign::NextStepSign() : juce::Button("Next step")
{
    setMouseClickGrabsKeyboardFocus(false);
    setHasFocusOutline(true);
    onClick = [this] {
        if (shown && onGo)
            onGo(shown->place);
    };
    setVisible(false);
}

void NextStepSign::show(const std::optional<NextStep>& step, Place here)
{
    const juce::String newWhere =
        step && step->place != here ? juce::String(placeName(step->place)) : juce::String();
    if (step == shown && newWhere == where)
        return;
    shown = step;
    where = newWhere;
    setTitle(shown ? shown->words : juce::String());
    setDescription(where.isNotEmpty() ? "The next useful step. Goes to " + where + "."
                                      : juce::String("The next useful step, on this place."));
    setTooltip(getDescription());
    setVisible(shown.has_value());
    repaint();
}

void NextStepSign::paintButton(juce::Graphics& g, bool isHighlighted, bool isDown)
{
    if (!shown)
        return;
    const Palette palette = paletteOf(*this);
    // A board with a pointed end, as signposts have.
    const auto area = getLocalBounds().toFloat().reduced(1.5F);
    const float tip = 14.0F;
    juce::Path board;
    board.startNewSubPath(area.getTopLeft());
    board.lineTo(area.getRight() - tip, area.getY());
    board.lineTo(area.getRight(), area.getCentreY());
    board.lineTo(area.getRight() - tip, area.getBottom());
    board.lineTo(area.getBottomLeft());
    board.closeSubPath();
    juce::Colour fill = palette.control;
    if (isDown || isHighlighted)
        fill = fill.contrasting(isDown ? 0.14F : 0.07F);
    g.setColour(fill);
    g.fillPath(board);
    g.setColour(palette.accentLine);
    g.strokePath(board, juce::PathStrokeType(2.0F, juce::PathStrokeType::curved));
    auto content = getLocalBounds().reduced(12, 3).withTrimmedRight(8);
    const juce::Font font = textFont(14.0F);
    // Where there is no room for the place as well, it is in the description alone.
    juce::String words = "Next, at " + where + ": " + shown->words;
    if (where.isEmpty() || !fits(words, font, content))
        words = "Next: " + shown->words;
    drawWords(g, words, font, palette.text, content, juce::Justification::centredLeft);
}

} // namespace saddletone::gui
