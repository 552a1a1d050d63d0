#include "Gui/BikePlace.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int lowHeight = 560;
constexpr int labelWidth = 102;

} // namespace

BikePlace::BikePlace(BenchModel& benchModel)
    : model(benchModel), analyser(benchModel), takes(benchModel), microphone(benchModel)
{
    setTitle("Bike");
    addRow(deviceRow, deviceBox, "Input",
           "The audio interface that the microphone is plugged into.");
    addRow(channelRow, channelBox, "Channel", "The input of the interface that is recorded.");
    deviceBox.setTextWhenNothingSelected("No input found");
    deviceBox.onChange = channelBox.onChange = [this] {
        model.chooseInput(deviceBox.getSelectedItemIndex(), channelBox.getSelectedItemIndex());
    };
    addRow(profileRow, profileEditor, "Profile",
           "The radio's profile, as the shop calls it: Delivered, Touring.");
    addRow(engineRow, engineBox, "Engine", "What the engine does during the take.");
    engineBox.addItemList({"Off", "Idling", "Running"}, 1);
    addRow(speakersRow, speakersBox, "Speakers",
           "Which speakers play: set by balance and fader, or by a track for one side.");
    speakersBox.setTitle("Speakers that play");
    for (const measure::SpeakerGroup group : measure::allSpeakerGroups) {
        const juce::String words(measure::speakerGroupWords(group));
        speakersBox.addItem(words.substring(0, 1).toUpperCase() + words.substring(1),
                            static_cast<int>(group) + 1);
    }
    addRow(placeRow, placeEditor, "Microphone", "Where the microphone is.");
    addRow(purposeRow, purposeBox, "Records", "What the take is for.");
    purposeBox.addItemList({"The sweep track", "The noise of the place",
                            "A calibrator of 94 dB, 1 kHz", "A calibrator of 114 dB, 1 kHz"},
                           1);
    addRow(sourceRow, sourceBox, "Sweep from",
           "What plays the sweep: the bike's radio from a stick, or this computer.");
    sourceBox.addItemList({"The bike (stick or phone)", "This computer's output"}, 1);
    addRow(trackRow, trackButton, "Track",
           "Description (.signal.json) of the sweep track that is played.");
    trackButton.onClick = [this] { chooseTrack(); };
    for (juce::TextEditor* editor : {&profileEditor, &placeEditor}) {
        editor->setFont(textFont(15.0F));
        editor->setJustification(juce::Justification::centredLeft);
        editor->setEscapeAndReturnKeysConsumed(false); // Esc stops the sound everywhere
        editor->setSelectAllWhenFocused(true);
        editor->setInputRestrictions(80);
        editor->onTextChange = [this] { applyWords(); };
    }
    for (juce::ComboBox* box : {&engineBox, &speakersBox, &purposeBox, &sourceBox}) {
        box->setSelectedItemIndex(0, juce::dontSendNotification);
        box->onChange = [this] { applyWords(); };
    }
    const TakeWords start;
    placeEditor.setText(start.place, juce::dontSendNotification);
    profileEditor.setTextToShowWhenEmpty("e.g. Touring", juce::Colours::grey);

    inputButton.setTitle("Switch the input");
    inputButton.setDescription("Opens or closes the input. The audition never hears it.");
    inputButton.onClick = [this] {
        if (shown.input.open)
            model.closeInput();
        else
            model.openInput();
        show(model.benchSnapshot());
    };
    clipButton.setTitle("Reset clip");
    clipButton.setDescription("Puts the clip light out.");
    clipButton.onClick = [this] { model.resetClip(); };
    recordButton.setTitle("Record take");
    recordButton.setDescription("Starts a take, the last two seconds included, or ends it. It ends "
                                "by itself after the track's end marker.");
    recordButton.onClick = [this] {
        if (shown.capture.state == measure::CaptureState::recording)
            model.stopTake();
        else
            model.recordTake();
        show(model.benchSnapshot());
    };
    analyserTab.setDescription("Shows the live analyser.");
    analyserTab.onClick = [this] { showPanel(BikePanel::analyser); };
    takesTab.setDescription("Shows the takes and the curves they were turned into.");
    takesTab.onClick = [this] { showPanel(BikePanel::curves); };
    microphoneTab.setDescription("Shows the microphone's own response, which is taken out.");
    microphoneTab.onClick = [this] { showPanel(BikePanel::microphone); };
    for (juce::TextButton* button : {&analyserTab, &takesTab, &microphoneTab})
        button->setTitle(button->getButtonText());
    for (juce::TextButton* button :
         {&inputButton, &clipButton, &recordButton, &analyserTab, &takesTab, &microphoneTab}) {
        button->setTooltip(button->getDescription());
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
    calibrationLabel.setFont(textFont(14.0F));
    calibrationLabel.setTitle("Calibration");
    calibrationLabel.setTooltip("Record a calibrator's tone for levels in dB SPL; a calibration "
                                "holds while the gain is left alone. The microphone's own response "
                                "is chosen under \"Microphone curve\".");
    calibrationLabel.setJustificationType(juce::Justification::centredLeft);
    calibrationLabel.setMinimumHorizontalScale(1.0F);
    addAndMakeVisible(calibrationLabel);
    addAndMakeVisible(meter);
    addAndMakeVisible(analyser);
    addChildComponent(takes);
    addChildComponent(microphone);
    showPanel(BikePanel::analyser);
}

void BikePlace::addRow(Row& row, juce::Component& control, const juce::String& name,
                       const juce::String& description)
{
    row.control = &control;
    row.label.setText(name, juce::dontSendNotification);
    row.label.setFont(textFont(15.0F));
    row.label.setAccessible(false); // the control itself carries the name
    control.setTitle(name);
    control.setDescription(description);
    if (auto* const client = dynamic_cast<juce::SettableTooltipClient*>(&control))
        client->setTooltip(description);
    control.setWantsKeyboardFocus(true);
    control.setHasFocusOutline(true);
    addAndMakeVisible(row.label);
    addAndMakeVisible(control);
}

void BikePlace::applyWords()
{
    TakeWords words;
    words.profile = profileEditor.getText();
    words.place = placeEditor.getText();
    words.engine = static_cast<measure::EngineState>(std::max(0, engineBox.getSelectedItemIndex()));
    words.speakers =
        static_cast<measure::SpeakerGroup>(std::max(0, speakersBox.getSelectedItemIndex()));
    constexpr std::array purposes {measure::TakePurpose::sweep, measure::TakePurpose::noiseFloor,
                                   measure::TakePurpose::calibration,
                                   measure::TakePurpose::calibration};
    const auto chosen = static_cast<std::size_t>(std::max(0, purposeBox.getSelectedItemIndex()));
    words.purpose = purposes[std::min(chosen, purposes.size() - 1)];
    words.calibratorSplDb = chosen == 3 ? 114.0 : 94.0;
    words.playsHere = sourceBox.getSelectedItemIndex() == 1;
    model.setTakeWords(words);
    show(model.benchSnapshot());
}

void BikePlace::chooseTrack()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Description of the sweep track",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory), "*.signal.json");
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectFiles,
        [this](const juce::FileChooser& answered) { model.chooseTrack(answered.getResult()); });
}

void BikePlace::showPanel(BikePanel panel)
{
    analyser.setVisible(panel == BikePanel::analyser);
    takes.setVisible(panel == BikePanel::curves);
    microphone.setVisible(panel == BikePanel::microphone);
    analyserTab.setToggleState(panel == BikePanel::analyser, juce::dontSendNotification);
    takesTab.setToggleState(panel == BikePanel::curves, juce::dontSendNotification);
    microphoneTab.setToggleState(panel == BikePanel::microphone, juce::dontSendNotification);
}

juce::String BikePlace::statusWords() const
{
    if (shown.capture.state == measure::CaptureState::recording) {
        juce::String words = "Recording, " + timeWords(shown.capture.elapsedSeconds);
        if (shown.words.purpose == measure::TakePurpose::sweep)
            words << (shown.capture.numMarkersHeard == 0 ? ". Play the whole sweep track now."
                      : shown.capture.numMarkersHeard == 1
                          ? ". The start marker was heard; it ends by itself."
                          : ". The end marker was heard.");
        if (shown.capture.numDropouts > 0)
            words << " Audio was lost in " << static_cast<int>(shown.capture.numDropouts)
                  << " places.";
        return words;
    }
    if (shown.message.isNotEmpty())
        return shown.message;
    if (!shown.input.open)
        return shown.input.problem.isNotEmpty() ? shown.input.problem
                                                : juce::String("Switch the input on to record.");
    if (shown.words.playsHere && shown.words.purpose == measure::TakePurpose::sweep)
        return "Ready; this computer plays the sweep at "
               + juce::String(shown.output.levelDbfs, 0)
                     .replace("-", juce::String::fromUTF8("\xe2\x88\x92"))
               + " dBFS, the level set on Signals. Turn the bike's volume down first.";
    return "Ready; the last " + juce::String(shown.capture.preRollSeconds, 0)
           + " s are kept. Aim at peaks between the two marks of the meter.";
}

void BikePlace::show(const BenchSnapshot& snapshot)
{
    const juce::String oldWords = statusWords();
    const bool isNewDevices = shown.input.devices != snapshot.input.devices;
    const bool isNewChannels =
        shown.input.channels != snapshot.input.channels || channelBox.getNumItems() == 0;
    shown = snapshot;
    if (isNewDevices) {
        deviceBox.clear(juce::dontSendNotification);
        deviceBox.addItemList(shown.input.devices, 1);
    }
    if (isNewChannels) {
        channelBox.clear(juce::dontSendNotification);
        channelBox.addItemList(shown.input.channels, 1);
    }
    deviceBox.setSelectedItemIndex(shown.input.device, juce::dontSendNotification);
    channelBox.setSelectedItemIndex(shown.input.channel, juce::dontSendNotification);
    const bool isRecording = shown.capture.state == measure::CaptureState::recording;
    inputButton.setButtonText(shown.input.open ? "Switch off" : "Switch on");
    inputButton.setToggleState(shown.input.open, juce::dontSendNotification);
    clipButton.setEnabled(shown.input.clipHeld);
    recordButton.setButtonText(isRecording ? "End the take" : "Record take");
    recordButton.setToggleState(isRecording, juce::dontSendNotification);
    recordButton.setEnabled(shown.input.open);
    trackButton.setButtonText(shown.trackName);
    for (juce::Component* control : std::initializer_list<juce::Component*> {
             &deviceBox, &channelBox, &profileEditor, &engineBox, &speakersBox, &placeEditor,
             &purposeBox, &sourceBox, &trackButton, &inputButton})
        control->setEnabled(!isRecording);
    const bool isSweep = shown.words.purpose == measure::TakePurpose::sweep;
    sourceBox.setEnabled(!isRecording && isSweep);
    trackButton.setEnabled(!isRecording && isSweep && !shown.words.playsHere);
    meter.show(shown.input.peakDbfs, shown.input.clipHeld,
               shown.input.open ? juce::String(shown.input.sampleRate / 1000.0, 1) + " kHz"
                                : juce::String("input is off"));
    const juce::String chainWords = shown.calibrationWords + "\n" + shown.microphone.shortWords;
    if (calibrationLabel.getText() != chainWords)
        calibrationLabel.setText(chainWords, juce::dontSendNotification);
    analyser.show(shown);
    takes.show(shown);
    microphone.show(shown);
    if (shown.takes.size() > numTakesSeen)
        showPanel(BikePanel::curves);
    numTakesSeen = shown.takes.size();
    if (const juce::String words = statusWords(); words != oldWords) {
        setDescription(words);
        repaint(statusArea);
    }
}

void BikePlace::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    for (Row* row : {&deviceRow, &channelRow, &profileRow, &engineRow, &speakersRow, &placeRow,
                     &purposeRow, &sourceRow, &trackRow})
        row->label.setColour(juce::Label::textColourId, palette.text);
    calibrationLabel.setColour(juce::Label::textColourId, palette.mutedText);
    for (juce::TextEditor* editor : {&profileEditor, &placeEditor}) {
        editor->setColour(juce::TextEditor::backgroundColourId, palette.control);
        editor->setColour(juce::TextEditor::outlineColourId, palette.outline);
        editor->setColour(juce::TextEditor::textColourId, palette.text);
        editor->setColour(juce::CaretComponent::caretColourId, palette.text);
        editor->applyColourToAllText(palette.text);
    }
    profileEditor.setTextToShowWhenEmpty("e.g. Touring", palette.mutedText);
}

void BikePlace::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    for (const juce::Rectangle<int>& panel : {inputPanel, takePanel, viewPanel}) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(panel.toFloat(), 8.0F);
    }
    const bool isProblem =
        shown.capture.state != measure::CaptureState::recording
        && ((shown.message.isNotEmpty() && shown.messageIsProblem)
            || (shown.message.isEmpty() && !shown.input.open && shown.input.problem.isNotEmpty()));
    auto words = statusArea;
    if (isProblem) {
        const auto mark = words.removeFromLeft(28).removeFromTop(20).toFloat();
        g.setColour(palette.warning);
        g.fillRoundedRectangle(mark.withWidth(20.0F), 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(15.0F, juce::Font::bold));
        g.drawText("!", mark.withWidth(20.0F), juce::Justification::centred, false);
    }
    drawWords(g, statusWords(), textFont(14.0F), palette.text, words, juce::Justification::topLeft);
}

void BikePlace::resized()
{
    auto area = getLocalBounds();
    auto left = area.removeFromLeft(372);
    area.removeFromLeft(12);
    viewPanel = area;
    // Three lines of status have to stay, in a low window too.
    const bool isLow = getHeight() < lowHeight;
    const int rowHeight = isLow ? 28 : 30;
    const int margin = isLow ? 8 : 10;
    const int gap = std::clamp((getHeight() - (isLow ? 460 : 492)) / 10, 3, 9);

    inputPanel = left.removeFromTop(2 * rowHeight + 44 + 2 * gap + 2 * margin);
    left.removeFromTop(margin);
    takePanel = left;

    auto input = inputPanel.reduced(12, margin);
    const auto placeIn = [](juce::Rectangle<int> line, Row& row) {
        row.label.setBounds(line.removeFromLeft(labelWidth));
        row.control->setBounds(line);
    };
    placeIn(input.removeFromTop(rowHeight), deviceRow);
    input.removeFromTop(gap);
    auto line = input.removeFromTop(rowHeight);
    inputButton.setBounds(line.removeFromRight(104));
    line.removeFromRight(8);
    placeIn(line, channelRow);
    input.removeFromTop(gap);
    clipButton.setBounds(input.removeFromRight(104).withSizeKeepingCentre(104, rowHeight));
    input.removeFromRight(8);
    meter.setBounds(input);

    auto take = takePanel.reduced(12, margin);
    for (Row* row :
         {&profileRow, &engineRow, &speakersRow, &placeRow, &purposeRow, &sourceRow, &trackRow}) {
        placeIn(take.removeFromTop(rowHeight), *row);
        take.removeFromTop(gap);
    }
    recordButton.setBounds(take.removeFromTop(isLow ? 36 : 40));
    take.removeFromTop(gap);
    calibrationLabel.setBounds(take.removeFromBottom(36));
    statusArea = take;

    auto view = viewPanel.reduced(10, 8);
    auto tabs = view.removeFromTop(34);
    analyserTab.setBounds(tabs.removeFromLeft(160));
    tabs.removeFromLeft(6);
    takesTab.setBounds(tabs.removeFromLeft(180));
    tabs.removeFromLeft(6);
    microphoneTab.setBounds(tabs.removeFromLeft(180));
    view.removeFromTop(8);
    analyser.setBounds(view);
    takes.setBounds(view);
    microphone.setBounds(view);
}

} // namespace saddletone::gui
