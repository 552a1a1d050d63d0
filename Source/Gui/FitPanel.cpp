#include "Gui/FitPanel.h"

#include "Gui/ElementWords.h"
#include "Gui/Look.h"

namespace saddletone::gui {

namespace {

constexpr int rowHeight = 30;
constexpr int gap = 7;

juce::String ellipsis(const juce::String& words)
{
    return words + juce::String::fromUTF8("\xe2\x80\xa6");
}

} // namespace

FitPanel::FitPanel(TuningModel& tuningModel)
    : model(tuningModel),
      shelfField("Gain of the bass shelf in dB", "How much more bass than flat; -20 to 20 dB.",
                 {tuning::BassShelf::lowestGainDb, tuning::BassShelf::highestGainDb, 0.5},
                 [](double value) { return numberWords(value, 1); }),
      shelfHzField(
          "Frequency of the bass shelf in Hz", "Where half of its gain is reached.",
          {tuning::BassShelf::lowestHz, tuning::BassShelf::highestHz, std::exp2(1.0 / 12.0), true},
          frequencyNumber),
      fromField("Lowest frequency that is fitted, in Hz", "20 to 1000 Hz.",
                {20.0, 1000.0, std::exp2(1.0 / 12.0), true}, frequencyNumber),
      toField("Highest frequency that is fitted, in Hz", "2000 to 20000 Hz.",
              {2000.0, 20000.0, std::exp2(1.0 / 12.0), true}, frequencyNumber),
      boostField("Largest boost in dB",
                 "What the filters together may boost; the whole is turned down by as much, so "
                 "that nothing clips. 0 to 20 dB.",
                 {0.0, 20.0, 0.5}, [](double value) { return numberWords(value, 1); })
{
    setTitle("Target and fit");
    const auto prepare = [](juce::ComboBox& box, const juce::String& title,
                            const juce::String& description) {
        box.setTitle(title);
        box.setDescription(description);
        box.setTooltip(description);
    };
    prepare(targetBox, "Target", "What the response is to become; its level is free.");
    targetBox.addItemList({"Flat", "Flat with a bass shelf", ellipsis("From a file")}, 1);
    targetBox.onChange = [this] { chooseTarget(); };
    prepare(numberBox, "Number of filters", "How many filters the bike's DSP has to give.");
    for (int number = 1; number <= 10; ++number)
        numberBox.addItem(juce::String(number), number);
    numberBox.onChange = [this] { applyFit(); };
    prepare(toneBox, "Tone controls", "What is known of the radio's own tone controls.");
    toneBox.setTextWhenNothingSelected("None are known");
    toneBox.onChange = [this] { model.chooseToneControls(toneBox.getSelectedItemIndex()); };

    addRow(targetLabel, "Target", targetBox);
    addRow(shelfLabel, "Shelf dB", shelfField);
    addRow(shelfHzLabel, "at Hz", shelfHzField);
    addRow(fromLabel, "From Hz", fromField);
    addRow(toLabel, "to Hz", toField);
    addRow(numberLabel, "Filters", numberBox);
    addRow(boostLabel, "Boost dB", boostField);
    addRow(toneLabel, "Tone", toneBox);
    shelfField.onNumber = shelfHzField.onNumber = [this](double) { chooseTarget(); };
    fromField.onNumber = toField.onNumber = boostField.onNumber = [this](double) { applyFit(); };

    addControl(*this, filtersButton, filtersButton.getButtonText(),
               "Finds the filters that bring the response closest to the target. They take the "
               "place of the filters on all speakers; high-pass, low-pass, delay, polarity and "
               "what is off stay.");
    addControl(*this, toneButton, toneButton.getButtonText(),
               "Finds the setting of the radio's own tone controls that comes closest to the "
               "target. It takes the place of the filters on all speakers.");
    filtersButton.onClick = [this] {
        if (task == TuningTask::filters)
            model.cancelFit();
        else
            model.fitFilters();
        onChange();
    };
    toneButton.onClick = [this] {
        if (task == TuningTask::toneControls)
            model.cancelFit();
        else
            model.fitToneControls();
        onChange();
    };
}

void FitPanel::addRow(juce::Label& label, const juce::String& name, juce::Component& control)
{
    label.setText(name, juce::dontSendNotification);
    label.setFont(textFont(14.0F));
    label.setMinimumHorizontalScale(1.0F);
    label.setAccessible(false); // the control itself carries the name
    control.setWantsKeyboardFocus(true);
    control.setHasFocusOutline(true);
    addAndMakeVisible(label);
    addAndMakeVisible(control);
}

void FitPanel::chooseTarget()
{
    TargetChoice wanted = target;
    wanted.kind = static_cast<TargetKind>(std::max(0, targetBox.getSelectedItemIndex()));
    wanted.bassShelf = {shelfField.number(), shelfHzField.number()};
    if (wanted.kind == TargetKind::file) {
        chooseFile();
        return;
    }
    model.setTarget(wanted);
    onChange();
}

void FitPanel::chooseFile()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Target: a table of frequency and level, a target or an earlier measurement",
        target.file != juce::File()
            ? target.file
            : juce::File::getSpecialLocation(juce::File::userDocumentsDirectory),
        "*.txt;*.csv;*.json");
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [this](const juce::FileChooser& answered) {
                             if (answered.getResult() != juce::File()) {
                                 TargetChoice wanted = target;
                                 wanted.kind = TargetKind::file;
                                 wanted.file = answered.getResult();
                                 model.setTarget(wanted);
                             }
                             targetBox.setSelectedItemIndex(static_cast<int>(target.kind),
                                                            juce::dontSendNotification);
                             onChange();
                         });
}

void FitPanel::applyFit()
{
    FitChoice wanted = fit;
    wanted.numFilters = std::max(1, numberBox.getSelectedId());
    wanted.maxBoostDb = boostField.number();
    wanted.fromHz = fromField.number();
    wanted.toHz = toField.number();
    model.setFit(wanted);
    onChange();
}

void FitPanel::show(const TuningSnapshot& snapshot)
{
    target = snapshot.target;
    fit = snapshot.fit;
    targetBox.changeItemText(3, target.kind == TargetKind::file
                                    ? ellipsis("File " + target.file.getFileName())
                                    : ellipsis("From a file"));
    if (!targetBox.isPopupActive())
        targetBox.setSelectedItemIndex(static_cast<int>(target.kind), juce::dontSendNotification);
    const bool hasShelf = target.kind == TargetKind::bassShelf;
    shelfField.show(target.bassShelf.gainDb);
    shelfHzField.show(target.bassShelf.frequencyHz);
    for (juce::Component* const part :
         std::initializer_list<juce::Component*> {&shelfField, &shelfHzField})
        part->setEnabled(hasShelf);
    fromField.show(fit.fromHz);
    toField.show(fit.toHz);
    boostField.show(fit.maxBoostDb);
    numberBox.setSelectedId(fit.numFilters, juce::dontSendNotification);
    if (toneBox.getNumItems() != snapshot.toneControls.names.size()) {
        toneBox.clear(juce::dontSendNotification);
        toneBox.addItemList(snapshot.toneControls.names, 1);
    }
    toneBox.setSelectedItemIndex(snapshot.toneControls.chosen, juce::dontSendNotification);
    const bool isFree = snapshot.hasJob && snapshot.task == TuningTask::none;
    // The button of a fit that is under way stops it.
    filtersButton.setEnabled(isFree || snapshot.task == TuningTask::filters);
    toneButton.setEnabled((isFree && snapshot.toneControls.chosen >= 0)
                          || snapshot.task == TuningTask::toneControls);
    filtersButton.setButtonText(snapshot.task == TuningTask::filters ? "Cancel the fit"
                                                                     : "Fit filters");
    toneButton.setButtonText(snapshot.task == TuningTask::toneControls ? "Cancel the fit"
                                                                       : "Fit tone controls");
    task = snapshot.task;
    juce::String newWords = snapshot.message;
    if (task != TuningTask::none)
        newWords = "The fit is under way.";
    else if (newWords.isEmpty() && snapshot.curves != nullptr)
        newWords = snapshot.curves->words;
    if (words != newWords || isProblem != snapshot.messageIsProblem) {
        words = newWords;
        isProblem = snapshot.messageIsProblem && snapshot.message.isNotEmpty();
        setDescription(words);
        repaint(wordsArea);
    }
}

void FitPanel::lookAndFeelChanged()
{
    for (juce::Label* label : {&targetLabel, &shelfLabel, &shelfHzLabel, &fromLabel, &toLabel,
                               &numberLabel, &boostLabel, &toneLabel})
        label->setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void FitPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    auto area = wordsArea;
    if (isProblem) {
        const auto mark = area.removeFromLeft(28).removeFromTop(20).toFloat().withWidth(20.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(mark, 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(15.0F, juce::Font::bold));
        g.drawText("!", mark, juce::Justification::centred, false);
    }
    drawWords(g, words, textFont(14.0F), palette.text, area, juce::Justification::topLeft);
}

void FitPanel::resized()
{
    auto area = getLocalBounds();
    constexpr int labelWidth = 86;
    const auto placeIn = [](juce::Rectangle<int> cell, juce::Label& label,
                            juce::Component& control) {
        label.setBounds(cell.removeFromLeft(labelWidth));
        control.setBounds(cell);
    };
    const auto placePair = [&](juce::Label& firstLabel, juce::Component& first,
                               juce::Label& secondLabel, juce::Component& second) {
        auto row = area.removeFromTop(rowHeight);
        placeIn(row.removeFromLeft((row.getWidth() - 12) / 2), firstLabel, first);
        row.removeFromLeft(12);
        placeIn(row, secondLabel, second);
        area.removeFromTop(gap);
    };
    placeIn(area.removeFromTop(rowHeight), targetLabel, targetBox);
    area.removeFromTop(gap);
    placePair(shelfLabel, shelfField, shelfHzLabel, shelfHzField);
    placePair(fromLabel, fromField, toLabel, toField);
    placePair(numberLabel, numberBox, boostLabel, boostField);
    filtersButton.setBounds(area.removeFromTop(34));
    area.removeFromTop(gap + 4);
    placeIn(area.removeFromTop(rowHeight), toneLabel, toneBox);
    area.removeFromTop(gap);
    toneButton.setBounds(area.removeFromTop(34));
    area.removeFromTop(gap + 3);
    wordsArea = area;
}

} // namespace saddletone::gui
