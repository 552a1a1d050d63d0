#include "Gui/ProgrammePanel.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

const juce::String separator = juce::String::fromUTF8(" \xc2\xb7 ");

juce::String signedDb(double db)
{
    return (db < 0.0 ? juce::String::fromUTF8("\xe2\x88\x92") : juce::String("+"))
           + juce::String(std::abs(db), 1) + " dB";
}

juce::String secondsText(double seconds)
{
    return juce::String(seconds, 2) + " s";
}

} // namespace

ProgrammePanel::ProgrammePanel(ProgrammeModel& programmeModel)
    : model(programmeModel),
      startField("Loop from", "Where the loop begins, in seconds from the beginning of the file.",
                 {.lowest = 0.0, .highest = 3600.0, .step = 0.5}, secondsText),
      endField("Loop to",
               "Where the loop ends, in seconds; its last 10 ms fade into its first 10 ms.",
               {.lowest = 0.0, .highest = 3600.0, .step = 0.5}, secondsText)
{
    setTitle("Programme list");
    list.setModel(this);
    list.setRowHeight(28);
    list.setTitle("Files");
    list.setHasFocusOutline(true);
    list.setOutlineThickness(1);
    addAndMakeVisible(list);

    addControl(*this, addButton, "Add files",
               "Puts audio files behind the selected row; files can "
               "be dropped on the list as well.");
    addButton.onClick = [this] { addFiles(); };
    addControl(*this, removeButton, "Remove", "Takes the selected file off the list.");
    removeButton.onClick = [this] { deleteKeyPressed(list.getSelectedRow()); };
    addControl(*this, upButton, "Up", "Moves the selected file up.");
    upButton.onClick = [this] { moveBy(-1); };
    addControl(*this, downButton, "Down", "Moves the selected file down.");
    downButton.onClick = [this] { moveBy(1); };
    addControl(*this, alignButton, "Aligned loudness",
               "Brings all files to one loudness (BS.1770-4), by 20 dB down or 6 dB up at the "
               "most.");
    alignButton.onClick = [this] { model.setAligned(!shown.isAligned); };
    addControl(*this, restartButton, "Start again on a switch",
               "Every candidate that is switched to begins at the beginning of the part.");
    restartButton.onClick = [this] { model.setRestartsOnSwitch(!shown.restartsOnSwitch); };
    addControl(*this, liveButton, "Live input",
               "Hears the input through the bike instead of the list. A microphone near loud "
               "headphones or speakers can feed back: start quiet, Esc ends it.");
    liveButton.onClick = [this] { model.setLive(!shown.isLive); };
    addControl(*this, keepButton, "Keep in job",
               "Has the job name the files of this list that lie in its folder, so that it opens "
               "with them.");
    keepButton.onClick = [this] { model.keepInJob(); };
    addControl(
        *this, homeButton, "Take home",
        "Writes each candidate as it is heard now, and the bike as it is, as FLAC files with "
        "a card that says what they are.");
    homeButton.onClick = [this] { takeHome(); };
    addControl(*this, closeButton, "Close", "Closes the list.");
    closeButton.onClick = [this] {
        if (onClose)
            onClose();
    };
    addControl(*this, loopButton, "Loop this part",
               "Hears only the part of the selected file between the two times, over and over.");
    loopButton.onClick = [this] {
        const int row = list.getSelectedRow();
        if (!juce::isPositiveAndBelow(row, getNumRows()))
            return;
        if (shown.rows[static_cast<std::size_t>(row)].region)
            model.setLoopRegion(static_cast<std::size_t>(row), std::nullopt);
        else
            takeRegion();
    };
    for (NumberField* const field : {&startField, &endField}) {
        field->onNumber = [this](double) {
            const int row = list.getSelectedRow();
            if (juce::isPositiveAndBelow(row, getNumRows())
                && shown.rows[static_cast<std::size_t>(row)].region)
                takeRegion();
        };
        addAndMakeVisible(*field);
    }
}

ProgrammePanel::~ProgrammePanel()
{
    list.setModel(nullptr);
}

void ProgrammePanel::addFiles()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Add to the programme", juce::File::getSpecialLocation(juce::File::userMusicDirectory),
        "*.wav;*.flac;*.ogg;*.mp3;*.aif;*.aiff");
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectFiles
            | juce::FileBrowserComponent::canSelectMultipleItems,
        [this](const juce::FileChooser& answered) {
            std::vector<juce::File> files;
            for (const juce::File& file : answered.getResults())
                files.push_back(file);
            const int row = list.getSelectedRow();
            if (!files.empty())
                model.addProgrammes(files, row < 0 ? shown.rows.size()
                                                   : static_cast<std::size_t>(row) + 1);
        });
}

void ProgrammePanel::takeHome()
{
    if (shown.takeHome.isRunning) {
        model.cancelTakeHome();
        return;
    }
    chooser = std::make_unique<juce::FileChooser>(
        "A folder for the files to take home",
        (job != nullptr ? job->folder
                        : juce::File::getSpecialLocation(juce::File::userDocumentsDirectory))
            .getChildFile("take-home"));
    chooser->launchAsync(
        juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File())
                model.takeHome(folder);
        });
}

void ProgrammePanel::moveBy(int step)
{
    const int row = list.getSelectedRow();
    const int place = row + step;
    if (!juce::isPositiveAndBelow(row, getNumRows())
        || !juce::isPositiveAndBelow(place, getNumRows()))
        return;
    model.moveProgramme(static_cast<std::size_t>(row), static_cast<std::size_t>(place));
    list.selectRow(place);
}

void ProgrammePanel::takeRegion()
{
    const int row = list.getSelectedRow();
    if (juce::isPositiveAndBelow(row, getNumRows()))
        model.setLoopRegion(static_cast<std::size_t>(row),
                            audition::LoopRegion {startField.number(), endField.number()});
}

void ProgrammePanel::showRegion()
{
    const int row = list.getSelectedRow();
    const bool hasRow = juce::isPositiveAndBelow(row, getNumRows());
    for (juce::Component* const part : std::initializer_list<juce::Component*> {
             &removeButton, &upButton, &downButton, &loopButton, &startField, &endField})
        part->setEnabled(hasRow);
    if (!hasRow) {
        loopButton.setButtonText("Loop this part");
        return;
    }
    const ProgrammeRow& selected = shown.rows[static_cast<std::size_t>(row)];
    loopButton.setButtonText(selected.region ? "Loop is on" : "Loop this part");
    loopButton.setToggleState(selected.region.has_value(), juce::dontSendNotification);
    if (selected.region) {
        startField.show(selected.region->startSeconds);
        endField.show(selected.region->endSeconds);
    } else if (endField.number() <= startField.number()) {
        endField.show(
            std::min(startField.number() + 10.0, selected.durationSeconds.value_or(10.0)));
    }
}

void ProgrammePanel::selectedRowsChanged(int)
{
    showRegion();
}

void ProgrammePanel::listBoxItemDoubleClicked(int row, const juce::MouseEvent&)
{
    returnKeyPressed(row);
}

void ProgrammePanel::returnKeyPressed(int row)
{
    if (juce::isPositiveAndBelow(row, getNumRows()))
        model.selectProgramme(static_cast<std::size_t>(row));
}

void ProgrammePanel::deleteKeyPressed(int row)
{
    if (juce::isPositiveAndBelow(row, getNumRows()))
        model.removeProgramme(static_cast<std::size_t>(row));
}

std::size_t ProgrammePanel::rowAt(juce::Point<int> point) const
{
    const auto place = list.getLocalPoint(this, point);
    const int row = list.getInsertionIndexForPosition(place.x, place.y);
    return row < 0 ? shown.rows.size() : static_cast<std::size_t>(row);
}

bool ProgrammePanel::isHeard(std::size_t index) const
{
    return index == shown.current && !shown.rows[index].isCancelled;
}

juce::String ProgrammePanel::rowWords(std::size_t index) const
{
    const ProgrammeRow& row = shown.rows[index];
    if (row.isUnreadable)
        return "cannot be read; passed over";
    if (row.isCancelled)
        return "cancelled, not read; Return opens it";
    juce::StringArray words;
    if (row.region)
        words.add("loop " + timeWords(row.region->startSeconds) + " to "
                  + timeWords(row.region->endSeconds));
    if (row.loudnessLufs && *row.loudnessLufs > -100.0)
        words.add(juce::String::fromUTF8(*row.loudnessLufs < 0.0 ? "\xe2\x88\x92" : "")
                  + juce::String(std::abs(*row.loudnessLufs), 1) + " LUFS"
                  + (shown.isAligned ? " " + signedDb(row.gainDb) : juce::String()));
    if (row.durationSeconds)
        words.add(timeWords(*row.durationSeconds));
    return words.joinIntoString(separator);
}

juce::String ProgrammePanel::getNameForRow(int row)
{
    if (!juce::isPositiveAndBelow(row, getNumRows()))
        return {};
    const auto index = static_cast<std::size_t>(row);
    return (isHeard(index) ? "Heard: " : "") + shown.rows[index].name + ", " + rowWords(index);
}

void ProgrammePanel::paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                                      bool isSelected)
{
    if (!juce::isPositiveAndBelow(row, getNumRows()))
        return;
    const Palette palette = paletteOf(*this);
    const auto index = static_cast<std::size_t>(row);
    const bool hasMark = isHeard(index) && !shown.isLive;
    if (isSelected) {
        g.setColour(palette.accent);
        g.fillRect(0, 0, width, height);
    }
    const juce::Colour ink = isSelected ? palette.onAccent : palette.text;
    g.setColour(ink);
    if (hasMark) {
        juce::Path mark;
        mark.addTriangle(8.0F, 0.5F * static_cast<float>(height) - 6.0F, 8.0F,
                         0.5F * static_cast<float>(height) + 6.0F, 18.0F,
                         0.5F * static_cast<float>(height));
        g.fillPath(mark);
    }
    auto area = juce::Rectangle<int>(width, height).withTrimmedLeft(26).withTrimmedRight(10);
    const juce::Font small = textFont(14.0F);
    const juce::String words = rowWords(index);
    g.setFont(small);
    g.drawText(words, area.removeFromRight(small.getStringWidth(words) + 6),
               juce::Justification::centredRight, false);
    g.setFont(textFont(15.0F, hasMark ? juce::Font::bold : juce::Font::plain));
    g.drawText(juce::String(row + 1) + "  " + shown.rows[index].name, area,
               juce::Justification::centredLeft, true);
}

juce::String ProgrammePanel::stateWords() const
{
    if (shown.takeHome.isRunning)
        return "Files to take home: "
               + juce::String(static_cast<int>(std::floor(100.0 * shown.takeHome.progress)))
               + " % done.";
    if (shown.isLive)
        return "LIVE: the input is heard through the bike. If it howls or echoes, press Esc: a "
               "microphone must not hear the headphones or speakers.";
    if (shown.keptWords.isNotEmpty())
        return shown.keptWords;
    if (shown.takeHome.words.isNotEmpty())
        return shown.takeHome.words;
    return "Files follow each other without a gap. Return plays the selected one, Delete takes it "
           "off the list.";
}

void ProgrammePanel::show(const AuditionSnapshot& snapshot)
{
    job = snapshot.job;
    ProgrammeListView view = model.programmeList();
    if (view == shown && alignButton.getButtonText().isNotEmpty())
        return;
    const bool isOtherLength = view.rows.size() != shown.rows.size();
    shown = std::move(view);
    if (isOtherLength)
        list.updateContent();
    if (list.getSelectedRow() < 0 && !shown.rows.empty())
        list.selectRow(static_cast<int>(shown.current));
    list.repaint();
    alignButton.setButtonText(shown.isAligned ? "Loudness aligned" : "Loudness as is");
    alignButton.setToggleState(shown.isAligned, juce::dontSendNotification);
    restartButton.setButtonText(shown.restartsOnSwitch ? "Switch: from start" : "Switch: goes on");
    restartButton.setToggleState(shown.restartsOnSwitch, juce::dontSendNotification);
    liveButton.setVisible(shown.canBeLive);
    liveButton.setButtonText(shown.isLive ? "Live is on" : "Live input");
    liveButton.setToggleState(shown.isLive, juce::dontSendNotification);
    homeButton.setButtonText(shown.takeHome.isRunning
                                 ? juce::String("Cancel")
                                 : juce::String::fromUTF8("Take home\xe2\x80\xa6"));
    showRegion();
    repaint();
}

void ProgrammePanel::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    list.setColour(juce::ListBox::backgroundColourId, palette.background);
    list.setColour(juce::ListBox::outlineColourId, palette.outline);
}

void ProgrammePanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    g.setColour(palette.outline);
    g.drawRoundedRectangle(getLocalBounds().toFloat().reduced(0.5F), 8.0F, 1.0F);
    g.setColour(palette.text);
    g.setFont(textFont(15.0F));
    g.drawText("from", startArea, juce::Justification::centred, false);
    g.drawText("to", endArea, juce::Justification::centred, false);
    drawWords(g, stateWords(), textFont(14.0F), palette.mutedText, wordsArea,
              juce::Justification::centredLeft);
    if (shown.rows.empty()) {
        g.setColour(palette.mutedText);
        g.drawText("No files yet: add some, or drop them here.", list.getBounds(),
                   juce::Justification::centred, false);
    }
}

void ProgrammePanel::resized()
{
    auto area = getLocalBounds().reduced(10, 8);
    constexpr int gap = 6;
    auto top = area.removeFromTop(32);
    closeButton.setBounds(top.removeFromRight(70));
    top.removeFromRight(gap);
    homeButton.setBounds(top.removeFromRight(116));
    addButton.setBounds(top.removeFromLeft(104));
    top.removeFromLeft(gap);
    removeButton.setBounds(top.removeFromLeft(84));
    top.removeFromLeft(gap);
    upButton.setBounds(top.removeFromLeft(50));
    top.removeFromLeft(gap);
    downButton.setBounds(top.removeFromLeft(64));

    wordsArea = area.removeFromBottom(36);
    area.removeFromBottom(2);
    auto bottom = area.removeFromBottom(32);
    area.removeFromBottom(gap);
    auto second = area.removeFromBottom(32);
    area.removeFromBottom(gap);
    loopButton.setBounds(bottom.removeFromLeft(130));
    startArea = bottom.removeFromLeft(50);
    startField.setBounds(bottom.removeFromLeft(90).reduced(0, 2));
    endArea = bottom.removeFromLeft(36);
    endField.setBounds(bottom.removeFromLeft(90).reduced(0, 2));
    alignButton.setBounds(second.removeFromLeft(150));
    second.removeFromLeft(gap);
    restartButton.setBounds(second.removeFromLeft(160));
    second.removeFromLeft(gap);
    keepButton.setBounds(second.removeFromLeft(114));
    second.removeFromLeft(gap);
    liveButton.setBounds(second.removeFromLeft(104));
    area.removeFromTop(gap);
    list.setBounds(area);
}

} // namespace saddletone::gui
