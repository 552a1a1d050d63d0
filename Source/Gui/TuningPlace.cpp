#include "Gui/TuningPlace.h"

#include "Gui/CommandKey.h"
#include "Gui/Look.h"
#include "Gui/ParameterIds.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr std::array panelNames {"Elements", "Target and fit", "Verdict", "Cost"};

} // namespace

TuningPlace::TuningPlace(TuningModel& tuningModel, AuditionModel& auditionModel)
    : model(tuningModel),
      plotView(tuningModel),
      elementList(tuningModel),
      fitPanel(tuningModel),
      costPanel(tuningModel),
      transport(auditionModel),
      levelAttachment(*auditionModel.parameters().getParameter(parameterIds::outputLevelDb),
                      levelSlider)
{
    setTitle("Tuning");
    plates.onPick = [this](std::size_t index) {
        model.editCandidate(index);
        refresh();
    };
    plates.onBeside = [this](std::size_t index, bool isBeside) {
        model.setBeside(index, isBeside);
        refresh();
    };
    nameLabel.setText("Name", juce::dontSendNotification);
    nameLabel.setFont(textFont(14.0F));
    nameLabel.setAccessible(false); // the field itself carries the name
    nameEditor.setTitle("Name of the candidate");
    nameEditor.setDescription("Type another name and press Return.");
    nameEditor.setTooltip(nameEditor.getDescription());
    nameEditor.setFont(textFont(15.0F));
    nameEditor.setJustification(juce::Justification::centredLeft);
    nameEditor.setEscapeAndReturnKeysConsumed(false);
    nameEditor.setSelectAllWhenFocused(true);
    nameEditor.setInputRestrictions(80);
    nameEditor.setIndents(6, 0);
    nameEditor.setHasFocusOutline(true);
    const auto rename = [this] {
        if (shown.edited < shown.candidates.size()
            && nameEditor.getText() != shown.candidates[shown.edited].name)
            model.renameCandidate(nameEditor.getText());
        refresh();
    };
    nameEditor.onReturnKey = rename;
    nameEditor.onFocusLost = rename;

    addControl(*this, newButton, newButton.getButtonText(),
               "Copies the edited candidate under a new name, to be changed.");
    addControl(*this, deleteButton, deleteButton.getButtonText(),
               "Takes the edited candidate out of the job; Undo brings it back.");
    addControl(*this, saveButton, saveButton.getButtonText(),
               "Writes candidates and tunings into the job's folder. Key: Ctrl+S.");
    addControl(*this, exportButton, exportButton.getButtonText(),
               "Writes the settings to type into the bike: as text, CSV, or biquads in "
               "JSON, by the ending of the file's name.");
    newButton.onClick = [this] {
        model.addCandidate();
        refresh();
    };
    deleteButton.onClick = [this] {
        model.deleteCandidate();
        refresh();
    };
    saveButton.onClick = [this] {
        model.save();
        refresh();
    };
    exportButton.onClick = [this] { chooseExport(); };
    for (std::size_t index = 0; index < tabs.size(); ++index) {
        tabs[index].setButtonText(panelNames[index]);
        addControl(*this, tabs[index], panelNames[index],
                   juce::String("Shows ") + juce::String(panelNames[index]).toLowerCase() + ".");
        tabs[index].onClick = [this, index] { showPanel(static_cast<TuningPanel>(index)); };
    }

    const auto select = [this](std::size_t index) { selectElement(index); };
    plotView.onSelect = select;
    elementList.onSelect = select;
    plotView.onChange = elementList.onChange = fitPanel.onChange = [this] { refresh(); };

    levelLabel.setText("Output", juce::dontSendNotification);
    levelLabel.setFont(textFont(14.0F));
    levelLabel.setAccessible(false); // the slider itself carries the name
    levelSlider.setTitle("Output level in dB");
    levelSlider.setDescription("Level of what is heard; the ceiling stays below it. Esc turns it "
                               "all the way down.");
    levelSlider.setTooltip(levelSlider.getDescription());
    levelSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    levelSlider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 80, 28);
    levelSlider.setTextValueSuffix(" dB");
    levelSlider.setWantsKeyboardFocus(true);
    levelSlider.setHasFocusOutline(true);

    for (juce::Component* const part : std::initializer_list<juce::Component*> {
             &plates, &nameLabel, &nameEditor, &plotView, &elementList, &fitPanel, &verdictPanel,
             &costPanel, &transport, &levelLabel, &levelSlider})
        addAndMakeVisible(*part);
    showPanel(TuningPanel::elements);
    refresh();
}

TuningPlace::~TuningPlace() = default;

void TuningPlace::showPanel(TuningPanel panel)
{
    currentPanel = panel;
    elementList.setVisible(panel == TuningPanel::elements);
    fitPanel.setVisible(panel == TuningPanel::fit);
    verdictPanel.setVisible(panel == TuningPanel::verdict);
    costPanel.setVisible(panel == TuningPanel::cost);
    for (std::size_t index = 0; index < tabs.size(); ++index)
        tabs[index].setToggleState(index == static_cast<std::size_t>(panel),
                                   juce::dontSendNotification);
}

void TuningPlace::selectElement(std::size_t index)
{
    if (selected == index)
        return;
    model.endRun();
    selected = index;
    refresh();
}

void TuningPlace::show(const AuditionSnapshot& audition)
{
    transport.show(audition);
    refresh();
}

void TuningPlace::refresh()
{
    const juce::String oldWords = statusWords();
    TuningSnapshot now = model.tuningSnapshot();
    const bool isOtherCandidate = shown.edited != now.edited;
    shown = std::move(now);
    if (isOtherCandidate)
        selected = 0;
    if (!shown.elements.empty())
        selected = std::min(selected, shown.elements.size() - 1);
    plates.show(shown);
    plotView.show(shown, selected);
    elementList.show(shown, selected);
    fitPanel.show(shown);
    costPanel.show(shown);
    verdictPanel.show(shown.hasJob
                          ? shown.verdict
                          : FindingView {"Open a job to see what its bike takes.", {}, false});
    const bool hasCandidate = shown.edited < shown.candidates.size();
    if (!nameEditor.hasKeyboardFocus(true)) {
        const juce::String name =
            hasCandidate ? shown.candidates[shown.edited].name : juce::String();
        if (nameEditor.getText() != name) {
            nameEditor.setText(name, false);
            nameEditor.setCaretPosition(0);
        }
    }
    nameEditor.setEnabled(hasCandidate);
    newButton.setEnabled(hasCandidate);
    deleteButton.setEnabled(shown.candidates.size() > 1);
    saveButton.setEnabled(shown.hasUnsaved);
    saveButton.setToggleState(shown.hasUnsaved, juce::dontSendNotification);
    exportButton.setEnabled(hasCandidate);
    if (const juce::String words = statusWords(); words != oldWords) {
        setDescription(words);
        repaint();
        if (shown.message.isNotEmpty() && isShowing())
            juce::AccessibilityHandler::postAnnouncement(
                shown.message, juce::AccessibilityHandler::AnnouncementPriority::medium);
    }
}

juce::String TuningPlace::statusWords() const
{
    if (shown.message.isNotEmpty())
        return shown.message;
    juce::String words = shown.curves != nullptr ? shown.curves->words : juce::String();
    if (shown.limits.isNotEmpty())
        words << " " << shown.limits;
    return words;
}

void TuningPlace::chooseExport()
{
    if (shown.edited >= shown.candidates.size())
        return;
    const juce::String name =
        juce::File::createLegalFileName(shown.candidates[shown.edited].name) + ".txt";
    chooser = std::make_unique<juce::FileChooser>(
        "Export settings: .txt to print, .csv for a table, .json for biquads",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory).getChildFile(name),
        "*.txt;*.csv;*.json");
    chooser->launchAsync(juce::FileBrowserComponent::saveMode
                             | juce::FileBrowserComponent::canSelectFiles
                             | juce::FileBrowserComponent::warnAboutOverwriting,
                         [this](const juce::FileChooser& answered) {
                             if (answered.getResult() != juce::File())
                                 model.exportSettings(answered.getResult());
                             refresh();
                         });
}

bool TuningPlace::keyPressed(const juce::KeyPress& key)
{
    const juce::ModifierKeys keys = key.getModifiers();
    if (keys.isCommandDown() && !keys.isAltDown()) {
        const auto isLetter = [&key](char letter) { return isLetterKey(key, letter); };
        if (isLetter('z') && !keys.isShiftDown())
            model.undo();
        else if (isLetter('z') || isLetter('y'))
            model.redo();
        else if (isLetter('s'))
            model.save();
        else
            return false;
        refresh();
        return true;
    }
    const juce::juce_wchar character = key.getTextCharacter();
    if (!keys.isAnyModifierKeyDown() && character >= '1' && character <= '8') {
        model.editCandidate(static_cast<std::size_t>(character - '1'));
        refresh();
        return true;
    }
    return false;
}

void TuningPlace::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    nameLabel.setColour(juce::Label::textColourId, palette.text);
    levelLabel.setColour(juce::Label::textColourId, palette.text);
    nameEditor.setColour(juce::TextEditor::backgroundColourId, palette.control);
    nameEditor.setColour(juce::TextEditor::outlineColourId, palette.outline);
    nameEditor.setColour(juce::TextEditor::textColourId, palette.text);
    nameEditor.setColour(juce::CaretComponent::caretColourId, palette.text);
    nameEditor.applyColourToAllText(palette.text);
}

void TuningPlace::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    for (const juce::Rectangle<int>& panel : {sidePanel, levelPanel, statusArea}) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(panel.toFloat(), 8.0F);
    }
    auto words = statusArea.reduced(14, 4);
    if (shown.message.isNotEmpty() && shown.messageIsProblem) {
        const auto mark = words.removeFromLeft(30).toFloat().withSizeKeepingCentre(20.0F, 20.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(mark, 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(15.0F, juce::Font::bold));
        g.drawText("!", mark, juce::Justification::centred, false);
    }
    drawWords(g, statusWords(), textFont(14.0F), palette.text, words,
              juce::Justification::centredLeft);
}

void TuningPlace::resized()
{
    auto area = getLocalBounds();
    const int sideWidth = std::clamp(getWidth() * 34 / 100, 400, 460);
    auto side = area.removeFromRight(sideWidth);
    area.removeFromRight(12);

    plates.setBounds(area.removeFromTop(72));
    area.removeFromTop(8);
    auto bottom = area.removeFromBottom(60);
    area.removeFromBottom(8);
    transport.setBounds(bottom);
    statusArea = area.removeFromBottom(46);
    levelPanel = statusArea.removeFromRight(std::min(270, area.getWidth() * 38 / 100));
    statusArea.removeFromRight(8);
    auto level = levelPanel.reduced(10, 4);
    levelLabel.setBounds(level.removeFromLeft(58));
    levelSlider.setBounds(level);
    area.removeFromBottom(8);
    plotView.setBounds(area);

    auto head = side.removeFromTop(72);
    auto line = head.removeFromTop(34);
    nameLabel.setBounds(line.removeFromLeft(56));
    deleteButton.setBounds(line.removeFromRight(72));
    line.removeFromRight(6);
    newButton.setBounds(line.removeFromRight(136));
    line.removeFromRight(6);
    nameEditor.setBounds(line.reduced(0, 2));
    head.removeFromTop(4);
    const int half = (head.getWidth() - 6) / 2;
    saveButton.setBounds(head.removeFromLeft(half));
    exportButton.setBounds(head.removeFromRight(half));

    side.removeFromTop(8);
    sidePanel = side;
    side = side.reduced(12, 10);
    auto tabRow = side.removeFromTop(34);
    const int tabWidths[] {92, 124, 78, 64};
    const int total = 92 + 124 + 78 + 64 + 18;
    for (std::size_t index = 0; index < tabs.size(); ++index) {
        tabs[index].setBounds(
            tabRow.removeFromLeft(tabWidths[index] + (side.getWidth() - total) / 4));
        tabRow.removeFromLeft(6);
    }
    side.removeFromTop(10);
    for (juce::Component* const panel : std::initializer_list<juce::Component*> {
             &elementList, &fitPanel, &verdictPanel, &costPanel})
        panel->setBounds(side);
}

} // namespace saddletone::gui
