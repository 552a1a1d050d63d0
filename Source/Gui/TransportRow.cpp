#include "Gui/TransportRow.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

namespace saddletone::gui {

TransportRow::TransportRow(AuditionModel& auditionModel) : model(auditionModel)
{
    setTitle("Programme");
    openButton.setTitle("Choose the programme");
    openButton.setDescription("Music of the job, or any audio file.");
    openButton.onClick = [this] { openMenu(); };
    playButton.setTitle("Play");
    playButton.setDescription("Plays or pauses; the space bar does the same.");
    playButton.onClick = [this] {
        if (shown.playing)
            model.pause();
        else
            model.play();
    };
    loopButton.setTitle("Loop");
    loopButton.setDescription("Starts the programme again when it ends.");
    loopButton.onClick = [this] { model.setLooping(!shown.looping); };
    listButton.setTitle("List");
    listButton.setDescription("Shows the list of files: order, loops, loudness, live input, and "
                              "files to take home.");
    listButton.onClick = [this] {
        if (onList)
            onList();
    };
    for (juce::TextButton* button : {&openButton, &playButton, &loopButton, &listButton}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addChildComponent(*button);
    }
    positionSlider.setTitle("Position");
    positionSlider.setDescription("Position in the programme, in seconds.");
    positionSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    positionSlider.setTextBoxStyle(juce::Slider::NoTextBox, true, 0, 0);
    positionSlider.setWantsKeyboardFocus(true);
    positionSlider.setMouseClickGrabsKeyboardFocus(false);
    positionSlider.setHasFocusOutline(true);
    positionSlider.textFromValueFunction = [](double seconds) { return timeWords(seconds); };
    positionSlider.onValueChange = [this] { model.setPositionSeconds(positionSlider.getValue()); };
    addChildComponent(positionSlider);
}

void TransportRow::openMenu()
{
    juce::PopupMenu menu;
    menu.setLookAndFeel(&getLookAndFeel());
    if (job != nullptr)
        for (const juce::File& programme : job->programmes)
            menu.addItem(programme.getFileName(),
                         [this, programme] { model.openProgramme(programme); });
    if (menu.getNumItems() == 0) {
        chooseFile();
        return;
    }
    menu.addSeparator();
    menu.addItem(juce::String::fromUTF8("Open a file\xe2\x80\xa6"), [this] { chooseFile(); });
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(openButton));
}

void TransportRow::chooseFile()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Open a programme", juce::File::getSpecialLocation(juce::File::userMusicDirectory),
        "*.wav;*.flac;*.ogg;*.mp3;*.aif;*.aiff");
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [this](const juce::FileChooser& answered) {
                             if (const juce::File file = answered.getResult(); file != juce::File())
                                 model.openProgramme(file);
                         });
}

void TransportRow::show(const AuditionSnapshot& snapshot)
{
    const PlayerView& player = snapshot.player;
    job = snapshot.job;
    const bool isChanged = shown.available != player.available || shown.loaded != player.loaded
                           || shown.playing != player.playing || shown.looping != player.looping
                           || shown.title != player.title
                           || shown.durationSeconds != player.durationSeconds;
    const bool isMoved = timeWords(shown.positionSeconds) != timeWords(player.positionSeconds);
    shown = player;
    if (isChanged) {
        for (juce::TextButton* button : {&openButton, &playButton, &loopButton})
            button->setVisible(player.available);
        listButton.setVisible(player.available && model.programmes() != nullptr);
        positionSlider.setVisible(player.available);
        playButton.setButtonText(player.playing ? "Pause" : "Play");
        playButton.setToggleState(player.playing, juce::dontSendNotification);
        playButton.setEnabled(player.loaded);
        loopButton.setToggleState(player.looping, juce::dontSendNotification);
        loopButton.setButtonText(player.looping ? "Loop on" : "Loop off");
        positionSlider.setEnabled(player.loaded);
        positionSlider.setRange(0.0, std::max(1.0, player.durationSeconds));
        repaint();
    }
    if (isMoved)
        repaint(timeArea);
    if (!positionSlider.isMouseButtonDown())
        positionSlider.setValue(player.positionSeconds, juce::dontSendNotification);
}

void TransportRow::setListIsOpen(bool isOpen)
{
    listButton.setToggleState(isOpen, juce::dontSendNotification);
}

void TransportRow::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    if (!shown.available) {
        g.setColour(palette.mutedText);
        g.setFont(textFont(15.0F));
        g.drawText("Music comes from the host: this track is heard on the bike.",
                   getLocalBounds().reduced(14, 0), juce::Justification::centredLeft, true);
        return;
    }
    g.setFont(textFont(15.0F));
    g.setColour(shown.loaded ? palette.text : palette.mutedText);
    g.drawText(shown.loaded
                   ? shown.title
                   : juce::String("No music yet: press \"Programme\" or drop a file here."),
               shown.loaded ? titleArea : titleArea.withRight(timeArea.getRight()),
               juce::Justification::centredLeft, true);
    if (!shown.loaded)
        return;
    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    g.drawText(timeWords(shown.positionSeconds) + " / " + timeWords(shown.durationSeconds),
               timeArea, juce::Justification::centredRight, false);
}

void TransportRow::resized()
{
    auto area = getLocalBounds().reduced(12, 5);
    listButton.setBounds(area.removeFromRight(64).withSizeKeepingCentre(64, 36));
    area.removeFromRight(12);
    auto buttons = area.removeFromLeft(130 + 88 + 98 + 16).withSizeKeepingCentre(332, 36);
    openButton.setBounds(buttons.removeFromLeft(130));
    playButton.setBounds(buttons.withTrimmedLeft(8).removeFromLeft(88));
    loopButton.setBounds(buttons.removeFromRight(98));
    area.removeFromLeft(16);
    auto top = area.removeFromTop(22);
    timeArea = top.removeFromRight(120);
    titleArea = top;
    positionSlider.setBounds(area);
}

} // namespace saddletone::gui
