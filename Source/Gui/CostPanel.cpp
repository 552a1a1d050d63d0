#include "Gui/CostPanel.h"

#include "Gui/ElementWords.h"
#include "Gui/Look.h"

namespace saddletone::gui {

CostPanel::CostPanel(TuningModel& tuningModel)
    : model(tuningModel),
      splField("Level before the tuning in dB SPL",
               "Pink noise at the rider's head, all bands, before the tuning; 40 to 130 dB.",
               {40.0, 130.0, 1.0}, [](double value) { return numberWords(value, 0); })
{
    setTitle("What it costs");
    speakerBox.setTitle("Speaker");
    speakerBox.setDescription("The speaker that the tuning is for, with its data.");
    speakerBox.setTooltip(speakerBox.getDescription());
    speakerBox.setTextWhenNothingSelected("Choose a speaker");
    speakerBox.onChange = [this] { model.chooseSpeaker(speakerBox.getSelectedItemIndex()); };
    fileButton.setTitle("Speaker from a file");
    fileButton.setDescription("Opens the data of another speaker.");
    fileButton.setTooltip(fileButton.getDescription());
    fileButton.setMouseClickGrabsKeyboardFocus(false);
    fileButton.onClick = [this] { chooseFile(); };
    splField.onNumber = [this](double splDb) { model.setPlannedSplDb(splDb); };
    speakerLabel.setText("Speaker", juce::dontSendNotification);
    splLabel.setText("At dB SPL", juce::dontSendNotification);
    for (juce::Label* label : {&speakerLabel, &splLabel}) {
        label->setFont(textFont(14.0F));
        label->setMinimumHorizontalScale(1.0F);
        label->setAccessible(false); // the control itself carries the name
        addAndMakeVisible(*label);
    }
    for (juce::Component* const part :
         std::initializer_list<juce::Component*> {&speakerBox, &fileButton, &splField}) {
        part->setWantsKeyboardFocus(true);
        part->setHasFocusOutline(true);
        addAndMakeVisible(*part);
    }
    addAndMakeVisible(finding);
}

void CostPanel::chooseFile()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Data of a speaker", juce::File::getSpecialLocation(juce::File::userDocumentsDirectory),
        "*.json");
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [this](const juce::FileChooser& answered) {
                             if (answered.getResult() != juce::File())
                                 model.openSpeaker(answered.getResult());
                         });
}

void CostPanel::show(const TuningSnapshot& snapshot)
{
    if (names != snapshot.speakers.names) {
        names = snapshot.speakers.names;
        speakerBox.clear(juce::dontSendNotification);
        speakerBox.addItemList(names, 1);
    }
    speakerBox.setSelectedItemIndex(snapshot.speakers.chosen, juce::dontSendNotification);
    splField.show(snapshot.plannedSplDb);
    if (snapshot.hasJob)
        finding.show(snapshot.cost);
    else
        finding.show(FindingView {"Open a job to see what its tunings cost.", {}, false});
}

void CostPanel::lookAndFeelChanged()
{
    for (juce::Label* label : {&speakerLabel, &splLabel})
        label->setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void CostPanel::resized()
{
    auto area = getLocalBounds();
    auto row = area.removeFromTop(30);
    speakerLabel.setBounds(row.removeFromLeft(86));
    fileButton.setBounds(row.removeFromRight(74));
    row.removeFromRight(8);
    speakerBox.setBounds(row);
    area.removeFromTop(7);
    row = area.removeFromTop(30);
    splLabel.setBounds(row.removeFromLeft(86));
    splField.setBounds(row.removeFromLeft(80));
    area.removeFromTop(10);
    finding.setBounds(area);
}

} // namespace saddletone::gui
