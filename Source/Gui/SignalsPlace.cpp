#include "Gui/SignalsPlace.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int rowHeight = 74;
constexpr int buttonHeight = 36;
constexpr int gap = 10;

juce::String dbfsWords(double levelDbfs)
{
    const auto rounded = static_cast<int>(std::lround(levelDbfs));
    return juce::String::fromUTF8(rounded < 0 ? "\xe2\x88\x92" : "")
           + juce::String(std::abs(rounded)) + " dBFS";
}

} // namespace

SignalsPlace::SignalsPlace(BenchModel& benchModel) : model(benchModel)
{
    setTitle("Signals");
    setFocusContainerType(FocusContainerType::none);
    list.setTitle("Test signals");
    list.setDescription("The tracks of the shop's set. Return plays or stops the chosen one.");
    list.setRowHeight(rowHeight);
    list.getViewport()->setScrollBarThickness(14);
    list.setHasFocusOutline(true);
    addAndMakeVisible(list);
    purposeText.setMultiLine(true);
    purposeText.setReadOnly(true);
    purposeText.setCaretVisible(false);
    purposeText.setEscapeAndReturnKeysConsumed(false); // Esc stops the sound everywhere
    purposeText.setScrollbarsShown(true);
    purposeText.setBorder({});
    purposeText.setIndents(0, 4); // room for the capitals of the heading
    purposeText.setTitle("About the chosen signal");
    purposeText.setDescription("What it is for and how it is used.");
    purposeText.setHasFocusOutline(true);
    addAndMakeVisible(purposeText);

    writeButton.setTitle("Write the tracks");
    writeButton.setDescription("Writes all tracks and a printable list into a folder, for a USB "
                               "stick or a phone that plays them on the bike.");
    writeButton.onClick = [this] { chooseFolder(); };
    cancelButton.setTitle("Cancel writing");
    cancelButton.setDescription("Stops writing after the track that is being written.");
    cancelButton.onClick = [this] { model.cancelWriting(); };
    playButton.setTitle("Play the signal");
    playButton.setDescription("Plays the chosen signal to this computer's audio output.");
    playButton.onClick = [this] { togglePlaying(); };
    stopButton.setTitle("Stop");
    stopButton.setDescription("Stops the test signal at once; Esc does the same.");
    stopButton.onClick = [this] { model.stopSignal(); };
    for (juce::TextButton* button : {&writeButton, &cancelButton, &playButton, &stopButton}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }

    levelSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    levelSlider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 96, 28);
    levelSlider.setRange(quietestSignalDbfs, 0.0, 1.0);
    levelSlider.setTextValueSuffix(" dBFS");
    levelSlider.setTitle("Output level");
    levelSlider.setDescription("Level of the test signal at the output, after AES17.");
    levelSlider.setTooltip(levelSlider.getDescription());
    levelSlider.setWantsKeyboardFocus(true);
    levelSlider.setMouseClickGrabsKeyboardFocus(false);
    levelSlider.setHasFocusOutline(true);
    levelSlider.setValue(startSignalDbfs, juce::dontSendNotification);
    levelSlider.onValueChange = [this] {
        model.setSignalLevelDbfs(levelSlider.getValue());
        show(model.benchSnapshot());
    };
    addAndMakeVisible(levelSlider);
    sideBox.addItemList({"Both sides", "Left only", "Right only"}, 1);
    sideBox.setSelectedItemIndex(0, juce::dontSendNotification);
    sideBox.setTitle("Output side");
    sideBox.setDescription("Which output plays the signal.");
    sideBox.setTooltip(sideBox.getDescription());
    sideBox.setMouseClickGrabsKeyboardFocus(false);
    sideBox.setHasFocusOutline(true);
    sideBox.onChange = [this] {
        model.setSignalSide(static_cast<OutputSide>(sideBox.getSelectedItemIndex()));
    };
    addAndMakeVisible(sideBox);
    for (const auto& [label, name] :
         {std::pair {&levelLabel, "Level"}, std::pair {&sideLabel, "Plays on"}}) {
        label->setText(name, juce::dontSendNotification);
        label->setFont(textFont(15.0F));
        label->setAccessible(false); // the control itself carries the name
        addAndMakeVisible(*label);
    }
    addAndMakeVisible(meter);

    loudPanel.setText(
        "Test signals carry far more treble and bass than music does: at this level a tweeter or a "
        "small amplifier can be damaged within seconds, and hearing near the speakers as well. "
        "Turn the bike's own volume down first, wear ear plugs, and keep people away from the "
        "speakers.\n\nThis is asked once until the program is closed.");
    loudPanel.setDecline(juce::String::fromUTF8("Stay at \xe2\x88\x92"
                                                "12 dBFS"));
    loudPanel.holdInput();
    loudPanel.onDismiss = [this] { model.answerLoudQuestion(true); };
    loudPanel.onDecline = [this] { model.answerLoudQuestion(false); };
    addChildComponent(loudPanel);
}

SignalsPlace::~SignalsPlace() = default;

void SignalsPlace::writePurpose()
{
    const Palette palette = paletteOf(*this);
    purposeText.clear();
    const auto append = [this](const juce::String& words, const juce::Font& font,
                               juce::Colour colour) {
        purposeText.setFont(font);
        purposeText.setColour(juce::TextEditor::textColourId, colour);
        purposeText.insertTextAtCaret(words);
    };
    if (const SignalView* const signal = selected()) {
        append(signal->name + "\n", textFont(17.0F, juce::Font::bold), palette.text);
        append(signal->purpose, textFont(14.0F), palette.mutedText);
        if (signal->caution.isNotEmpty())
            append("\nTake care: " + signal->caution, textFont(14.0F, juce::Font::bold),
                   palette.text);
    }
    purposeText.moveCaretToTop(false);
}

const SignalView* SignalsPlace::selected() const
{
    if (shown.signals == nullptr || shown.output.selected >= shown.signals->size())
        return nullptr;
    return &(*shown.signals)[shown.output.selected];
}

void SignalsPlace::show(const BenchSnapshot& snapshot)
{
    const bool isNewList = shown.signals != snapshot.signals;
    const bool isNewSelection = isNewList || shown.output.selected != snapshot.output.selected;
    const bool isChanged =
        isNewSelection || shown.output.playing != snapshot.output.playing
        || shown.output.preparing != snapshot.output.preparing
        || shown.output.levelDbfs != snapshot.output.levelDbfs
        || shown.output.highestDbfs != snapshot.output.highestDbfs
        || shown.output.hasDevice != snapshot.output.hasDevice
        || timeWords(shown.output.positionSeconds) != timeWords(snapshot.output.positionSeconds)
        || shown.writing.busy != snapshot.writing.busy
        || shown.writing.doneProportion != snapshot.writing.doneProportion
        || shown.writing.message != snapshot.writing.message || shown.message != snapshot.message;
    shown = snapshot;
    if (isNewList)
        list.updateContent();
    if (isNewSelection)
        writePurpose();
    if (const auto row = static_cast<int>(shown.output.selected); list.getSelectedRow() != row)
        list.selectRow(row);
    if (!levelSlider.isMouseButtonDown() || levelSlider.getValue() > shown.output.levelDbfs)
        levelSlider.setValue(shown.output.levelDbfs, juce::dontSendNotification);
    sideBox.setSelectedItemIndex(static_cast<int>(shown.output.side), juce::dontSendNotification);
    playButton.setButtonText(shown.output.preparing ? "Being made" : "Play");
    playButton.setEnabled(!shown.output.playing && selected() != nullptr);
    stopButton.setToggleState(shown.output.playing, juce::dontSendNotification);
    writeButton.setEnabled(!shown.writing.busy);
    cancelButton.setVisible(shown.writing.busy);
    meter.show(shown.output.peakDbfs, false, shown.output.playing ? "to the output" : "");
    if (loudPanel.isVisible() != shown.output.asksForLoud) {
        loudPanel.setVisible(shown.output.asksForLoud);
        resized();
        if (shown.output.asksForLoud) {
            loudPanel.toFront(false);
            loudPanel.grabKeyboardFocus();
        }
    }
    if (isChanged)
        repaint();
}

void SignalsPlace::togglePlaying()
{
    if (shown.output.playing)
        model.stopSignal();
    else
        model.playSignal();
}

void SignalsPlace::chooseFolder()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Folder or USB stick for the tracks",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory));
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File())
                model.writeTracks(folder);
        });
}

int SignalsPlace::getNumRows()
{
    return shown.signals != nullptr ? static_cast<int>(shown.signals->size()) : 0;
}

juce::String SignalsPlace::getNameForRow(int row)
{
    if (row < 0 || row >= getNumRows())
        return {};
    const SignalView& signal = (*shown.signals)[static_cast<std::size_t>(row)];
    return signal.name + ". " + signal.purpose;
}

void SignalsPlace::selectedRowsChanged(int row)
{
    if (row >= 0 && row != static_cast<int>(shown.output.selected))
        model.selectSignal(static_cast<std::size_t>(row));
}

void SignalsPlace::returnKeyPressed(int)
{
    togglePlaying();
}

void SignalsPlace::paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                                    bool isSelected)
{
    if (row < 0 || row >= getNumRows())
        return;
    const Palette palette = paletteOf(*this);
    const SignalView& signal = (*shown.signals)[static_cast<std::size_t>(row)];
    auto area = juce::Rectangle<int>(width, height).reduced(2, 2);
    g.setColour(isSelected ? palette.accent : palette.control);
    g.fillRoundedRectangle(area.toFloat(), 6.0F);
    if (isSelected) {
        g.setColour(palette.text);
        g.drawRoundedRectangle(area.toFloat().reduced(1.0F), 6.0F, 2.0F);
    }
    const juce::Colour ink = isSelected ? palette.onAccent : palette.text;
    const juce::Colour quietInk = isSelected ? palette.onAccent : palette.mutedText;
    area.reduce(12, 5);
    auto top = area.removeFromTop(20);
    g.setColour(quietInk);
    g.setFont(textFont(14.0F));
    g.drawText(signal.length
                   + (signal.levelDbfs
                          ? juce::String::fromUTF8(" \xc2\xb7 ") + dbfsWords(*signal.levelDbfs)
                          : juce::String()),
               top.removeFromRight(160), juce::Justification::centredRight, false);
    g.setColour(ink);
    g.setFont(textFont(16.0F, juce::Font::bold));
    if (isSelected) {
        const auto mark = top.removeFromLeft(18).toFloat();
        juce::Path pointer;
        pointer.addTriangle(mark.getX(), mark.getCentreY() - 6.0F, mark.getX(),
                            mark.getCentreY() + 6.0F, mark.getX() + 10.0F, mark.getCentreY());
        g.fillPath(pointer);
    }
    g.drawText(signal.name, top, juce::Justification::centredLeft, true);
    drawWords(g, signal.purpose, textFont(14.0F), quietInk, area, juce::Justification::topLeft);
}

void SignalsPlace::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    list.setColour(juce::ListBox::backgroundColourId, palette.panel);
    list.getViewport()->getVerticalScrollBar().setColour(juce::ScrollBar::thumbColourId,
                                                         palette.mutedText);
    purposeText.setColour(juce::TextEditor::backgroundColourId, palette.panel);
    purposeText.setColour(juce::TextEditor::outlineColourId, palette.panel);
    writePurpose();
    for (juce::Label* label : {&levelLabel, &sideLabel})
        label->setColour(juce::Label::textColourId, palette.text);
}

void SignalsPlace::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    for (const juce::Rectangle<int>& panel : {listPanel, writePanel, playPanel}) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(panel.toFloat(), 8.0F);
    }

    if (shown.writing.busy) {
        const auto bar = progressArea.toFloat().reduced(0.0F, 8.0F);
        g.setColour(palette.control);
        g.fillRoundedRectangle(bar, 4.0F);
        g.setColour(palette.accentLine);
        g.fillRoundedRectangle(
            bar.withWidth(bar.getWidth() * static_cast<float>(shown.writing.doneProportion)), 4.0F);
        g.setColour(palette.outline);
        g.drawRoundedRectangle(bar, 4.0F, 1.0F);
    }
    const juce::String writingWords =
        shown.writing.busy
            ? juce::String(std::lround(100.0 * shown.writing.doneProportion)) + " % written"
        : shown.writing.message.isNotEmpty()
            ? (shown.writing.failed ? "Not written: " : "Done: ") + shown.writing.message
            : juce::String("All tracks of the list as WAV, with a printable track list. The bike "
                           "plays them; this computer or any recorder records.");
    drawWords(g, writingWords, textFont(14.0F),
              shown.writing.failed ? palette.text : palette.mutedText, messageArea,
              juce::Justification::centredLeft);

    juce::String words;
    if (!shown.output.hasDevice)
        words = "There is no audio output; choose one in \"Audio settings\".";
    else if (shown.output.preparing)
        words = "The signal is being made.";
    else if (shown.output.playing)
        words = "Playing, " + timeWords(shown.output.positionSeconds)
                + (shown.output.repeats ? "; it goes round until it is stopped." : ".");
    else
        words = "Plays through a cable into the bike's input, with a ramp at start and stop.";
    if (shown.output.levelDbfs > shown.output.highestDbfs + 0.05)
        words << " Its peaks allow no more than " << dbfsWords(std::floor(shown.output.highestDbfs))
              << ", so it plays at that.";
    drawWords(g, words, textFont(14.0F), palette.text, stateArea, juce::Justification::topLeft);
    drawWords(g,
              "Start quiet: turn the bike's volume to its lowest, begin at "
                  + dbfsWords(startSignalDbfs)
                  + " and raise one of them slowly. Never put headphones on for this.",
              textFont(14.0F), palette.text, cautionArea, juce::Justification::topLeft);
}

void SignalsPlace::resized()
{
    auto area = getLocalBounds();
    playPanel = area.removeFromRight(std::clamp(getWidth() * 38 / 100, 400, 520));
    area.removeFromRight(12);
    writePanel = area.removeFromBottom(106);
    area.removeFromBottom(gap);
    listPanel = area;
    list.setBounds(area.reduced(8));

    auto writing = writePanel.reduced(14, 10);
    auto row = writing.removeFromTop(buttonHeight);
    writeButton.setBounds(row.removeFromLeft(std::min(390, row.getWidth() - 120)));
    row.removeFromLeft(gap);
    cancelButton.setBounds(row.removeFromRight(100));
    writing.removeFromTop(6);
    messageArea = writing;
    progressArea = writing.withTrimmedLeft(120);

    auto play = playPanel.reduced(16, 12);
    // From the bottom up, so that what the words leave over is theirs.
    cautionArea = play.removeFromBottom(56);
    play.removeFromBottom(4);
    auto buttons = play.removeFromBottom(60);
    playButton.setBounds(buttons.removeFromLeft(buttons.getWidth() * 2 / 5));
    stopButton.setBounds(buttons.withTrimmedLeft(gap));
    play.removeFromBottom(8);
    stateArea = play.removeFromBottom(38);
    play.removeFromBottom(4);
    meter.setBounds(play.removeFromBottom(46));
    play.removeFromBottom(gap);
    constexpr int labelWidth = 84;
    const auto placeRow = [&](juce::Label& label, juce::Component& control) {
        auto line = play.removeFromBottom(32);
        label.setBounds(line.removeFromLeft(labelWidth));
        control.setBounds(line);
        play.removeFromBottom(gap);
    };
    placeRow(sideLabel, sideBox);
    placeRow(levelLabel, levelSlider);
    purposeText.setBounds(play);
    const int width = std::min(640, getWidth() - 40);
    loudPanel.setBounds(getLocalBounds().withSizeKeepingCentre(width, loudPanel.heightFor(width)));
}

} // namespace saddletone::gui
