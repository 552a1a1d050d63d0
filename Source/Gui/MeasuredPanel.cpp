#include "Gui/MeasuredPanel.h"

#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int rowHeight = 66;
constexpr int narrowestBoxes = 380; // side by side with the words of their choices whole
constexpr int highEnough = 560;
constexpr int wideEnough = 700;

/** Order of CurveSmoothing. */
constexpr std::array smoothingNames {"Not smoothed",         "Smoothed 1/24 octave",
                                     "Smoothed 1/12 octave", "Smoothed 1/6 octave",
                                     "Smoothed 1/3 octave",  "As the ear weighs it"};

struct WindowChoice {
    const char* name;
    CurveWindow window;
    double amount; ///< Milliseconds or cycles.
};

constexpr std::array windowChoices {WindowChoice {"Whole response", CurveWindow::whole, 0.0},
                                    WindowChoice {"First 5 ms", CurveWindow::milliseconds, 5.0},
                                    WindowChoice {"First 10 ms", CurveWindow::milliseconds, 10.0},
                                    WindowChoice {"First 20 ms", CurveWindow::milliseconds, 20.0},
                                    WindowChoice {"First 50 ms", CurveWindow::milliseconds, 50.0},
                                    WindowChoice {"First 100 ms", CurveWindow::milliseconds, 100.0},
                                    WindowChoice {"First 200 ms", CurveWindow::milliseconds, 200.0},
                                    WindowChoice {"First 4 cycles", CurveWindow::cycles, 4.0},
                                    WindowChoice {"First 8 cycles", CurveWindow::cycles, 8.0},
                                    WindowChoice {"First 16 cycles", CurveWindow::cycles, 16.0}};

double amountOf(const CurveDisplay& display)
{
    switch (display.window) {
    case CurveWindow::milliseconds: return display.windowMs;
    case CurveWindow::cycles: return display.windowCycles;
    case CurveWindow::whole: break;
    }
    return 0.0;
}

juce::String engineWords(measure::EngineState engine)
{
    switch (engine) {
    case measure::EngineState::off: return "engine off";
    case measure::EngineState::idle: return "engine idling";
    case measure::EngineState::running: break;
    }
    return "engine running";
}

/** Empty where all play. */
juce::String speakerWords(measure::SpeakerGroup group)
{
    return group == measure::SpeakerGroup::all
               ? juce::String()
               : juce::String(measure::speakerGroupWords(group)) + " speakers";
}

juce::String stateWords(TakeState state)
{
    switch (state) {
    case TakeState::measuring: return "being measured";
    case TakeState::unmeasured: return "not measured";
    case TakeState::usable: return "usable";
    case TakeState::refused: return "REFUSED";
    case TakeState::calibration: return "calibration";
    case TakeState::noise: break;
    }
    return "noise floor";
}

} // namespace

MeasuredPanel::MeasuredPanel(BenchModel& benchModel) : model(benchModel)
{
    setTitle("Takes and curves");
    stateBox.setTitle("Bike state shown");
    stateBox.setDescription("Which measured bike state the thick curve shows.");
    stateBox.setTooltip(stateBox.getDescription());
    stateBox.setTextWhenNothingSelected("Nothing measured yet");
    stateBox.setMouseClickGrabsKeyboardFocus(false);
    stateBox.setHasFocusOutline(true);
    stateBox.onChange = [this] {
        model.showMeasured(static_cast<std::size_t>(std::max(0, stateBox.getSelectedItemIndex())));
    };
    addAndMakeVisible(stateBox);
    addButton.setTitle("Add to job");
    addButton.setDescription("Saves the shown bike state in the open job, or in a new one.");
    addButton.onClick = [this] { addToJob(); };
    importButton.setTitle("Import");
    importButton.setDescription("Takes in what another instrument wrote: a text or CSV table, "
                                "third-octave levels, or an impulse response. Profile, engine, "
                                "speakers and microphone place are those on the left.");
    importButton.onClick = [this] { chooseImport(); };
    curveButton.setDescription("Shows the level over frequency.");
    distortionButton.setDescription("Shows harmonics 2 to 5 against the fundamental.");
    confidenceButton.setDescription("Shows how far each third octave may be trusted.");
    curveButton.onClick = [this] { showAspect(MeasuredAspect::curve); };
    distortionButton.onClick = [this] { showAspect(MeasuredAspect::distortion); };
    confidenceButton.onClick = [this] { showAspect(MeasuredAspect::confidence); };
    for (juce::TextButton* button : {&curveButton, &distortionButton, &confidenceButton})
        button->setTitle(button->getButtonText());
    for (juce::TextButton* button :
         {&importButton, &addButton, &curveButton, &distortionButton, &confidenceButton}) {
        button->setTooltip(button->getDescription());
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
    smoothingBox.setTitle("Smoothing");
    smoothingBox.setDescription("How curves are averaged over frequency, on the screen only. What "
                                "is saved stays as measured.");
    for (const char* const name : smoothingNames)
        smoothingBox.addItem(name, smoothingBox.getNumItems() + 1);
    windowBox.setTitle("Window");
    windowBox.setDescription("How much of the time after the direct sound curves are made from, on "
                             "the screen only: a short window leaves reflections out, but tells "
                             "nothing of low frequencies. Cycles: a number of periods of each "
                             "frequency.");
    for (const WindowChoice& choice : windowChoices)
        windowBox.addItem(choice.name, windowBox.getNumItems() + 1);
    for (juce::ComboBox* box : {&smoothingBox, &windowBox}) {
        box->setTooltip(box->getDescription());
        box->setMouseClickGrabsKeyboardFocus(false);
        box->setHasFocusOutline(true);
        box->onChange = [this] { applyDisplay(); };
        addAndMakeVisible(*box);
    }
    showDisplay({});
    list.setTitle("Takes");
    list.setDescription(
        "Takes made since the program started. Return uses the chosen take in the average of its "
        "bike state, or leaves it out.");
    list.setRowHeight(rowHeight);
    list.setHasFocusOutline(true);
    addAndMakeVisible(list);
    showAspect(MeasuredAspect::curve);
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

void MeasuredPanel::chooseImport()
{
    juce::PopupMenu menu;
    menu.setLookAndFeel(&getLookAndFeel());
    const auto add = [&](const juce::String& name, ImportKind kind) {
        menu.addItem(name + juce::String::fromUTF8("\xe2\x80\xa6"),
                     [safe = juce::Component::SafePointer<MeasuredPanel>(this), kind] {
                         if (safe != nullptr)
                             safe->importFile(kind);
                     });
    };
    add("Table of frequency, level and perhaps phase", ImportKind::table);
    add("Third-octave levels of pink noise", ImportKind::thirdOctaves);
    add("Impulse response (audio file)", ImportKind::impulse);
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(importButton));
}

void MeasuredPanel::importFile(ImportKind kind)
{
    const bool isAudio = kind == ImportKind::impulse;
    chooser = std::make_unique<juce::FileChooser>(
        isAudio ? "Impulse response to import" : "Table to import",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory),
        isAudio ? "*.wav;*.flac;*.aif;*.aiff" : "*");
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [this, kind](const juce::FileChooser& answered) {
                             if (const juce::File file = answered.getResult(); file != juce::File())
                                 model.importMeasured(file, kind);
                         });
}

void MeasuredPanel::applyDisplay()
{
    CurveDisplay display;
    display.smoothing =
        static_cast<CurveSmoothing>(std::max(0, smoothingBox.getSelectedItemIndex()));
    const auto index = static_cast<std::size_t>(std::max(0, windowBox.getSelectedItemIndex()));
    const WindowChoice& choice = windowChoices[std::min(index, windowChoices.size() - 1)];
    display.window = choice.window;
    if (choice.window == CurveWindow::milliseconds)
        display.windowMs = choice.amount;
    else if (choice.window == CurveWindow::cycles)
        display.windowCycles = choice.amount;
    model.setCurveDisplay(display);
}

void MeasuredPanel::showDisplay(const CurveDisplay& display)
{
    smoothingBox.setSelectedItemIndex(static_cast<int>(display.smoothing),
                                      juce::dontSendNotification);
    const auto* const found = std::ranges::find_if(windowChoices, [&](const WindowChoice& each) {
        return each.window == display.window && std::abs(each.amount - amountOf(display)) < 0.5;
    });
    windowBox.setSelectedItemIndex(
        found != windowChoices.end() ? static_cast<int>(found - windowChoices.begin()) : -1,
        juce::dontSendNotification);
}

void MeasuredPanel::showAspect(MeasuredAspect newAspect)
{
    aspect = newAspect;
    curveButton.setToggleState(aspect == MeasuredAspect::curve, juce::dontSendNotification);
    distortionButton.setToggleState(aspect == MeasuredAspect::distortion,
                                    juce::dontSendNotification);
    confidenceButton.setToggleState(aspect == MeasuredAspect::confidence,
                                    juce::dontSendNotification);
    // They change nothing of the other two.
    smoothingBox.setVisible(aspect == MeasuredAspect::curve);
    windowBox.setVisible(aspect == MeasuredAspect::curve);
    resized();
    if (const MeasuredView* const view = shownState())
        setDescription(view->name + ": " + (verdictWords(*view) + " " + aspectWords(*view)).trim());
    repaint();
}

void MeasuredPanel::show(const BenchSnapshot& snapshot)
{
    const bool isNewStates = measured != snapshot.measured;
    showDisplay(snapshot.curveDisplay);
    if (takes == snapshot.takes && !isNewStates && shownIndex == snapshot.shownMeasured
        && comparison == snapshot.comparison && speakers == snapshot.speakers)
        return;
    const bool isMoreTakes = snapshot.takes.size() > takes.size();
    takes = snapshot.takes;
    measured = snapshot.measured;
    shownIndex = snapshot.shownMeasured;
    comparison = snapshot.comparison;
    speakers = snapshot.speakers;
    if (isNewStates) {
        stateBox.clear(juce::dontSendNotification);
        for (std::size_t index = 0; index < measured.size(); ++index)
            stateBox.addItem(juce::String(index + 1) + "  " + measured[index]->name + " ("
                                 + measured[index]->source + ")",
                             static_cast<int>(index) + 1);
    }
    if (!measured.empty())
        stateBox.setSelectedItemIndex(static_cast<int>(shownIndex), juce::dontSendNotification);
    stateBox.setEnabled(!measured.empty());
    const MeasuredView* const view = shownState();
    addButton.setEnabled(view != nullptr && !view->isInJob);
    list.updateContent();
    list.repaint();
    showAspect(aspect);
    if (isMoreTakes)
        list.scrollToEnsureRowIsOnscreen(getNumRows() - 1);
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
    juce::StringArray parts {
        take.name,  take.profile,          speakerWords(take.speakers), engineWords(take.engine),
        take.place, stateWords(take.state)};
    parts.removeEmptyStrings();
    return parts.joinIntoString(", ") + (take.used ? ", used: " : ", not used: ") + take.words;
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
    if (take.state == TakeState::usable || take.state == TakeState::noise
        || take.state == TakeState::unmeasured) {
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
    g.setFont(textFont(14.0F));
    juce::StringArray parts {take.name, take.profile, speakerWords(take.speakers),
                             engineWords(take.engine), take.place};
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

juce::String MeasuredPanel::verdictWords(const MeasuredView& view) const
{
    juce::StringArray parts;
    if (speakers != nullptr)
        parts.add(speakers->warning);
    if (aspect != MeasuredAspect::confidence)
        parts.add(
            comparison != nullptr ? comparison->verdict
            : view.engine == measure::EngineState::off
                ? juce::String(
                    "For the comparison, record the same profile with the engine running.")
                : juce::String("For the comparison, record the same profile with the engine off."));
    parts.removeEmptyStrings();
    return parts.joinIntoString(" ");
}

juce::String MeasuredPanel::aspectWords(const MeasuredView& view) const
{
    switch (aspect) {
    case MeasuredAspect::distortion: return view.distortionWords;
    case MeasuredAspect::confidence: {
        if (speakers == nullptr)
            return view.confidenceWords;
        juce::StringArray parts {speakers->matchWords, speakers->groupWords, view.confidenceWords};
        parts.removeEmptyStrings();
        return parts.joinIntoString(" ");
    }
    case MeasuredAspect::curve: break;
    }
    return view.displayWords + " " + view.words;
}

void MeasuredPanel::drawHeading(juce::Graphics& g, const Palette& palette) const
{
    auto row = headingArea.toFloat();
    if (aspect == MeasuredAspect::curve && measured.size() > 1) {
        const std::size_t last = std::min(measured.size(), mostOtherCurves + 1);
        for (std::size_t index = last; index-- > 0;) {
            const bool isShown = index == shownIndex;
            g.setFont(textFont(14.0F, isShown ? juce::Font::bold : juce::Font::plain));
            g.setColour(palette.text);
            g.drawText(juce::String(index + 1), row.removeFromRight(13.0F),
                       juce::Justification::centredRight, false);
            row.removeFromRight(2.0F);
            const auto sample = row.removeFromRight(26.0F);
            row.removeFromRight(8.0F);
            juce::Path line;
            line.startNewSubPath(sample.getX(), sample.getCentreY());
            line.lineTo(sample.getRight(), sample.getCentreY());
            if (isShown) {
                g.setColour(palette.accentLine);
                g.strokePath(line, juce::PathStrokeType(3.0F));
            } else {
                strokeDashed(g, line, index);
            }
        }
    }
    const juce::Font font = textFont(14.0F);
    juce::String words;
    switch (aspect) {
    case MeasuredAspect::curve:
        words = "dB re the mean from 500 Hz to 2 kHz. Thin line: noise; hatched: not trusted";
        if (font.getStringWidthFloat(words) > row.getWidth())
            words = "dB re 500 Hz to 2 kHz; hatched: not trusted";
        break;
    case MeasuredAspect::distortion:
        words = "Harmonics 2 to 5 in dB re the fundamental, over its frequency";
        break;
    case MeasuredAspect::confidence:
        words = "Signal over noise of each third octave, dB. Line: 10 dB; hatched: not trusted";
        break;
    }
    g.setFont(font);
    g.setColour(palette.mutedText);
    g.drawText(words, row, juce::Justification::centredLeft, true);
}

void MeasuredPanel::drawStateWords(juce::Graphics& g, const Palette& palette) const
{
    const MeasuredView* const view = shownState();
    auto area = wordsArea;
    if (view == nullptr) {
        drawWords(g,
                  "Record a take of the sweep track with the engine off, then one with it "
                  "running: their curves are compared here. A job's measured states are shown "
                  "when it is open.",
                  textFont(15.0F), palette.text, area, juce::Justification::topLeft);
        return;
    }
    if (aspect != MeasuredAspect::distortion)
        area.removeFromTop(drawWords(g, verdictWords(*view), textFont(14.0F, juce::Font::bold),
                                     palette.text, area, juce::Justification::topLeft));
    drawWords(g, aspectWords(*view), textFont(14.0F), palette.mutedText, area,
              juce::Justification::topLeft);
}

void MeasuredPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    drawHeading(g, palette);
    const MeasuredView* const view = shownState();
    if (view != nullptr && aspect == MeasuredAspect::confidence)
        drawConfidence(g, plotArea, palette, *view);
    else if (view != nullptr && aspect == MeasuredAspect::distortion)
        drawDistortion(g, plotArea, palette, *view);
    else
        drawMeasuredCurves(g, plotArea, palette, measured, shownIndex);
    drawStateWords(g, palette);
}

int MeasuredPanel::wordsHeight() const
{
    const bool isConfidence = aspect == MeasuredAspect::confidence;
    if (speakers != nullptr && isConfidence && speakers->groupWords.isNotEmpty())
        return getWidth() < wideEnough ? 180 : 145;
    return speakers != nullptr && speakers->warning.isNotEmpty() ? 108 : 88;
}

void MeasuredPanel::resized()
{
    auto area = getLocalBounds();
    const auto placeRight = [](juce::Rectangle<int>& row, juce::Component& control, int width) {
        control.setBounds(row.removeFromRight(width));
        row.removeFromRight(6);
    };
    auto row = area.removeFromTop(32);
    placeRight(row, addButton, 126);
    placeRight(row, importButton, 96);
    stateBox.setBounds(row);
    area.removeFromTop(6);
    row = area.removeFromTop(32);
    for (const auto& [button, width] :
         {std::pair {&curveButton, 80}, std::pair {&distortionButton, 104},
          std::pair {&confidenceButton, 112}}) {
        button->setBounds(row.removeFromLeft(width));
        row.removeFromLeft(6);
    }
    if (aspect == MeasuredAspect::curve && row.getWidth() < narrowestBoxes) {
        area.removeFromTop(6);
        row = area.removeFromTop(32);
    }
    smoothingBox.setBounds(row.removeFromLeft((row.getWidth() - 6) / 2));
    row.removeFromLeft(6);
    windowBox.setBounds(row);
    area.removeFromTop(4);
    headingArea = area.removeFromTop(22).withTrimmedLeft(8).withTrimmedRight(4);
    // In a low window bars of two kinds need all of the room.
    list.setVisible(!takes.empty()
                    && (aspect != MeasuredAspect::confidence || getHeight() > highEnough));
    if (list.isVisible()) {
        // One take at least is seen; more where the plot keeps its room.
        const int wanted = std::min(260, getNumRows() * rowHeight + 4);
        list.setBounds(area.removeFromBottom(std::clamp(getHeight() - 470, rowHeight + 4, wanted)));
        area.removeFromBottom(6);
    }
    wordsArea = area.removeFromBottom(wordsHeight()).withTrimmedLeft(8).withTrimmedTop(2);
    plotArea = area;
}

} // namespace saddletone::gui
