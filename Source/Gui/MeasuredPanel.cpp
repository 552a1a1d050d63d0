#include "Gui/MeasuredPanel.h"

#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int rowHeight = 66;
constexpr double referenceFromHz = 500.0;
constexpr double referenceToHz = 2000.0;

juce::String engineWords(measure::EngineState engine)
{
    switch (engine) {
    case measure::EngineState::off: return "engine off";
    case measure::EngineState::idle: return "engine idling";
    case measure::EngineState::running: break;
    }
    return "engine running";
}

juce::String stateWords(TakeState state)
{
    switch (state) {
    case TakeState::measuring: return "being measured";
    case TakeState::usable: return "usable";
    case TakeState::refused: return "REFUSED";
    case TakeState::calibration: return "calibration";
    case TakeState::noise: break;
    }
    return "noise floor";
}

/** Mean level from 500 Hz to 2 kHz, which curves are drawn relative to. */
double referenceDb(const MeasuredView& view)
{
    double sum = 0.0;
    int count = 0;
    for (const measure::BandConfidence& band : view.bands)
        if (band.frequencyHz >= referenceFromHz * 0.95
            && band.frequencyHz <= referenceToHz * 1.05) {
            sum += band.levelDb;
            ++count;
        }
    return count > 0 ? sum / count : 0.0;
}

} // namespace

MeasuredPanel::MeasuredPanel(BenchModel& benchModel) : model(benchModel)
{
    setTitle("Takes and curves");
    stateBox.setTitle("Bike state shown");
    stateBox.setDescription("Which measured bike state the thick curve shows.");
    stateBox.setTextWhenNothingSelected("Nothing measured yet");
    stateBox.setMouseClickGrabsKeyboardFocus(false);
    stateBox.setHasFocusOutline(true);
    stateBox.onChange = [this] {
        model.showMeasured(static_cast<std::size_t>(std::max(0, stateBox.getSelectedItemIndex())));
    };
    addAndMakeVisible(stateBox);
    addButton.setTitle("Add to job");
    addButton.setDescription("Saves the shown bike state in the open job, or in a new one.");
    addButton.setTooltip(addButton.getDescription());
    addButton.setMouseClickGrabsKeyboardFocus(false);
    addButton.setHasFocusOutline(true);
    addButton.onClick = [this] { addToJob(); };
    addAndMakeVisible(addButton);
    list.setTitle("Takes");
    list.setDescription(
        "Takes made since the program started. Return uses the chosen take in the average of its "
        "bike state, or leaves it out.");
    list.setRowHeight(rowHeight);
    list.setHasFocusOutline(true);
    addAndMakeVisible(list);
}

MeasuredPanel::~MeasuredPanel() = default;

void MeasuredPanel::addToJob()
{
    if (model.hasOpenJob()) {
        model.addToJob({});
        return;
    }
    chooser = std::make_unique<juce::FileChooser>(
        "Folder for the new job",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory).getChildFile("New job"));
    chooser->launchAsync(
        juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File())
                model.addToJob(folder);
        });
}

void MeasuredPanel::show(const BenchSnapshot& snapshot)
{
    const bool isNewStates = measured != snapshot.measured;
    if (takes == snapshot.takes && !isNewStates && shownIndex == snapshot.shownMeasured
        && comparison == snapshot.comparison)
        return;
    takes = snapshot.takes;
    measured = snapshot.measured;
    shownIndex = snapshot.shownMeasured;
    comparison = snapshot.comparison;
    if (isNewStates) {
        stateBox.clear(juce::dontSendNotification);
        for (std::size_t index = 0; index < measured.size(); ++index)
            stateBox.addItem(measured[index]->name + " (" + juce::String(measured[index]->numTakes)
                                 + (measured[index]->numTakes == 1 ? " take)" : " takes)"),
                             static_cast<int>(index) + 1);
    }
    if (!measured.empty())
        stateBox.setSelectedItemIndex(static_cast<int>(shownIndex), juce::dontSendNotification);
    stateBox.setEnabled(!measured.empty());
    addButton.setEnabled(!measured.empty());
    list.updateContent();
    list.repaint();
    if (const MeasuredView* const view = shownState())
        setDescription(view->name + ": " + view->words
                       + (comparison != nullptr ? " " + comparison->verdict : juce::String()));
    repaint();
}

const MeasuredView* MeasuredPanel::shownState() const
{
    return shownIndex < measured.size() ? measured[shownIndex].get() : nullptr;
}

int MeasuredPanel::getNumRows()
{
    return static_cast<int>(takes.size());
}

juce::String MeasuredPanel::getNameForRow(int row)
{
    if (row < 0 || row >= getNumRows())
        return {};
    const TakeView& take = takes[static_cast<std::size_t>(row)];
    return take.name + ", " + take.profile + ", " + engineWords(take.engine) + ", " + take.place
           + ", " + stateWords(take.state) + (take.used ? ", used: " : ", not used: ") + take.words;
}

juce::String MeasuredPanel::getTooltipForRow(int row)
{
    return row >= 0 && row < getNumRows() ? takes[static_cast<std::size_t>(row)].words
                                          : juce::String();
}

void MeasuredPanel::toggleUse(int row)
{
    if (row >= 0 && row < getNumRows())
        model.setTakeUsed(static_cast<std::size_t>(row),
                          !takes[static_cast<std::size_t>(row)].used);
}

void MeasuredPanel::listBoxItemClicked(int row, const juce::MouseEvent& event)
{
    if (event.x < 48)
        toggleUse(row);
}

void MeasuredPanel::returnKeyPressed(int row)
{
    toggleUse(row);
}

void MeasuredPanel::paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                                     bool isSelected)
{
    if (row < 0 || row >= getNumRows())
        return;
    const Palette palette = paletteOf(*this);
    const TakeView& take = takes[static_cast<std::size_t>(row)];
    auto area = juce::Rectangle<int>(width, height).reduced(1, 2);
    g.setColour(palette.control);
    g.fillRoundedRectangle(area.toFloat(), 5.0F);
    if (isSelected) {
        g.setColour(palette.text);
        g.drawRoundedRectangle(area.toFloat().reduced(1.0F), 5.0F, 2.0F);
    }
    area.reduce(8, 3);

    const auto box = area.removeFromLeft(32).toFloat().withSizeKeepingCentre(22.0F, 22.0F);
    if (take.state == TakeState::usable || take.state == TakeState::noise) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(box, 3.0F);
        g.setColour(palette.text);
        g.drawRoundedRectangle(box, 3.0F, 1.5F);
        if (take.used) {
            juce::Path tick;
            tick.startNewSubPath(box.getX() + 4.0F, box.getCentreY());
            tick.lineTo(box.getCentreX() - 1.0F, box.getBottom() - 5.0F);
            tick.lineTo(box.getRight() - 4.0F, box.getY() + 5.0F);
            g.strokePath(tick, juce::PathStrokeType(3.0F));
        }
    }
    area.removeFromLeft(6);
    auto top = area.removeFromTop(20);
    const juce::Font bold = textFont(14.0F, juce::Font::bold);
    const juce::String state = stateWords(take.state);
    auto badge = top.removeFromRight(bold.getStringWidth(state) + 16);
    if (take.state == TakeState::refused) {
        g.setColour(palette.warning);
        g.fillRoundedRectangle(badge.toFloat(), 3.0F);
        g.setColour(palette.onWarning);
    } else {
        g.setColour(palette.text);
    }
    g.setFont(bold);
    g.drawText(state, badge, juce::Justification::centred, false);
    g.setColour(palette.text);
    juce::StringArray parts {take.name, take.profile, engineWords(take.engine), take.place};
    parts.removeEmptyStrings();
    g.drawText(parts.joinIntoString(juce::String::fromUTF8(" \xc2\xb7 ")), top,
               juce::Justification::centredLeft, true);
    drawWords(g, take.words, textFont(14.0F), palette.mutedText, area,
              juce::Justification::topLeft);
}

void MeasuredPanel::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    list.setColour(juce::ListBox::backgroundColourId, palette.panel);
    list.getViewport()->getVerticalScrollBar().setColour(juce::ScrollBar::thumbColourId,
                                                         palette.mutedText);
}

void MeasuredPanel::drawCurves(juce::Graphics& g, const FrequencyPlot& axes) const
{
    const Palette palette = paletteOf(*this);
    const MeasuredView& view = *shownState();
    const double offsetDb = -referenceDb(view);

    // Where nothing may be relied on: hatched, so that no colour has to be known.
    const double halfBand = std::pow(10.0, 0.05); // half a third octave, IEC 61260-1
    juce::Path untrusted;
    for (const measure::BandConfidence& band : view.bands)
        if (!band.trusted)
            untrusted.addRectangle(juce::Rectangle<float>::leftTopRightBottom(
                axes.xOf(band.frequencyHz / halfBand), axes.area.getY(),
                axes.xOf(band.frequencyHz * halfBand), axes.area.getBottom()));
    if (!untrusted.isEmpty()) {
        g.setColour(palette.mutedText.withAlpha(0.45F));
        hatch(g, untrusted, 9.0F);
    }

    // What the noise would read: the distance to the curve is the SNR of the band.
    std::vector<double> centresHz;
    std::vector<double> noiseDb;
    for (const measure::BandConfidence& band : view.bands) {
        centresHz.push_back(band.frequencyHz);
        noiseDb.push_back(band.levelDb - band.snrDb);
    }
    g.setColour(palette.wind);
    g.strokePath(axes.curve(centresHz, noiseDb, offsetDb), juce::PathStrokeType(1.5F));

    for (std::size_t index = 0; index < measured.size(); ++index)
        if (index != shownIndex) {
            g.setColour(palette.text);
            strokeDashed(g,
                         axes.curve(measured[index]->frequenciesHz, measured[index]->levelsDb,
                                    -referenceDb(*measured[index])),
                         index);
        }
    const juce::Path path = axes.curve(view.frequenciesHz, view.levelsDb, offsetDb);
    g.setColour(palette.panel);
    g.strokePath(path, juce::PathStrokeType(6.0F, juce::PathStrokeType::curved));
    g.setColour(palette.accentLine);
    g.strokePath(path, juce::PathStrokeType(3.0F, juce::PathStrokeType::curved));
}

void MeasuredPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setFont(textFont(14.0F));
    g.setColour(palette.mutedText);
    g.drawText("dB re 500 Hz to 2 kHz. Thick: chosen; dashed: others; thin: noise; hatched: not "
               "trusted",
               headingArea, juce::Justification::centredLeft, true);

    FrequencyPlot axes;
    axes.lowestDb = -60.0;
    axes.highestDb = 20.0;
    axes.area = plotArea.toFloat()
                    .withTrimmedLeft(54.0F)
                    .withTrimmedRight(22.0F)
                    .withTrimmedTop(10.0F)
                    .withTrimmedBottom(28.0F);
    axes.drawGrid(g, palette.outline.withAlpha(0.35F), palette.mutedText);
    const MeasuredView* const view = shownState();
    if (view != nullptr) {
        const juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(axes.area.toNearestInt());
        drawCurves(g, axes);
    }

    auto words = wordsArea;
    if (view == nullptr) {
        drawWords(g,
                  "Record a take of the sweep track with the engine off, then one with it "
                  "running: their curves are compared here.",
                  textFont(15.0F), palette.text, words, juce::Justification::centredLeft);
        return;
    }
    juce::AttributedString text;
    text.setWordWrap(juce::AttributedString::byWord);
    text.setJustification(juce::Justification::centredLeft);
    const juce::String missing = view->engine == measure::EngineState::off
                                     ? "For the comparison, record the same profile with the "
                                       "engine running."
                                     : "For the comparison, record the same profile with the "
                                       "engine off.";
    text.append((comparison != nullptr ? comparison->verdict : missing) + "\n",
                textFont(15.0F, juce::Font::bold), palette.text);
    text.append(view->words, textFont(14.0F), palette.mutedText);
    text.draw(g, words.toFloat());
}

void MeasuredPanel::resized()
{
    auto area = getLocalBounds();
    auto row = area.removeFromTop(32);
    addButton.setBounds(row.removeFromRight(140));
    row.removeFromRight(8);
    stateBox.setBounds(row.removeFromLeft(std::min(360, row.getWidth())));
    area.removeFromTop(4);
    headingArea = area.removeFromTop(22).withTrimmedLeft(8);
    list.setBounds(area.removeFromBottom(std::clamp(getHeight() / 3, 122, 260)));
    area.removeFromBottom(6);
    wordsArea = area.removeFromBottom(92).withTrimmedLeft(8);
    plotArea = area;
}

} // namespace saddletone::gui
