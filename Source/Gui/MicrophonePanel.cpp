#include "Gui/MicrophonePanel.h"

#include "Gui/FrequencyPlot.h"
#include "Gui/LineStyles.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr int rowHeight = 32;
constexpr int labelWidth = 212;

const juce::String degreeSign = juce::String::fromUTF8("\xc2\xb0");
const juce::String noTable = juce::String::fromUTF8("No table: choose one\xe2\x80\xa6");

} // namespace

MicrophonePanel::MicrophonePanel(BenchModel& benchModel) : model(benchModel)
{
    setTitle("Microphone curves");
    addRow(frontRow, measure::Incidence::zeroDegrees, "From the front, 0" + degreeSign);
    addRow(sideRow, measure::Incidence::ninetyDegrees, "From the side, 90" + degreeSign);
    incidenceBox.addItemList({"0" + degreeSign + ": its tip points at the speakers",
                              "90" + degreeSign + ": it stands upright, sound comes from the side"},
                             1);
    incidenceBox.setTitle("Microphone stands at");
    incidenceBox.setDescription("How the microphone stands to the speakers: chooses the table that "
                                "is taken out of takes.");
    incidenceBox.setTooltip(incidenceBox.getDescription());
    incidenceBox.setMouseClickGrabsKeyboardFocus(false);
    incidenceBox.setHasFocusOutline(true);
    incidenceBox.setSelectedItemIndex(0, juce::dontSendNotification);
    incidenceBox.onChange = [this] {
        model.setMicrophoneIncidence(incidenceBox.getSelectedItemIndex() == 1
                                         ? measure::Incidence::ninetyDegrees
                                         : measure::Incidence::zeroDegrees);
    };
    incidenceLabel.setText("Microphone stands at", juce::dontSendNotification);
    incidenceLabel.setFont(textFont(15.0F));
    incidenceLabel.setAccessible(false); // the box carries the name
    addAndMakeVisible(incidenceLabel);
    addAndMakeVisible(incidenceBox);
}

MicrophonePanel::~MicrophonePanel() = default;

void MicrophonePanel::addRow(Row& row, measure::Incidence incidence, const juce::String& name)
{
    const std::string_view spoken = measure::incidenceName(incidence);
    const juce::String degrees(spoken.data(), spoken.size());
    row.label.setText(name, juce::dontSendNotification);
    row.label.setFont(textFont(15.0F));
    row.label.setAccessible(false);
    row.chooseButton.setTitle("Microphone table, " + degrees + " degrees");
    row.chooseButton.setDescription("Text table of frequency in Hz and level in dB, as it came "
                                    "with the microphone, for sound at "
                                    + degrees + " degrees.");
    row.chooseButton.setButtonText(noTable);
    row.chooseButton.onClick = [this, incidence] { chooseTable(incidence); };
    row.forgetButton.setTitle("Forget table, " + degrees + " degrees");
    row.forgetButton.setDescription("Goes on without this table.");
    row.forgetButton.onClick = [this, incidence] { model.chooseMicrophoneCurve(incidence, {}); };
    addAndMakeVisible(row.label);
    for (juce::TextButton* button : {&row.chooseButton, &row.forgetButton}) {
        button->setTooltip(button->getDescription());
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
}

void MicrophonePanel::chooseTable(measure::Incidence incidence)
{
    chooser = std::make_unique<juce::FileChooser>(
        "Table of the microphone's response",
        juce::File::getSpecialLocation(juce::File::userDocumentsDirectory), "*");
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [this, incidence](const juce::FileChooser& answered) {
                             if (const juce::File file = answered.getResult(); file != juce::File())
                                 model.chooseMicrophoneCurve(incidence, file);
                         });
}

void MicrophonePanel::show(const BenchSnapshot& snapshot)
{
    const bool isChanged =
        shown.curves != snapshot.microphone.curves || shown.words != snapshot.microphone.words;
    shown = snapshot.microphone;
    const bool isRecording = snapshot.capture.state == measure::CaptureState::recording;
    const auto showRow = [&](Row& row, const juce::String& file) {
        row.chooseButton.setButtonText(file.isNotEmpty() ? file : noTable);
        row.chooseButton.setEnabled(!isRecording);
        row.forgetButton.setEnabled(file.isNotEmpty() && !isRecording);
    };
    showRow(frontRow, shown.zeroDegreesFile);
    showRow(sideRow, shown.ninetyDegreesFile);
    incidenceBox.setSelectedItemIndex(shown.incidence == measure::Incidence::ninetyDegrees ? 1 : 0,
                                      juce::dontSendNotification);
    incidenceBox.setEnabled(!isRecording);
    if (isChanged) {
        setDescription(shown.words);
        repaint();
    }
}

void MicrophonePanel::lookAndFeelChanged()
{
    const Palette palette = paletteOf(*this);
    for (juce::Label* label : {&frontRow.label, &sideRow.label, &incidenceLabel})
        label->setColour(juce::Label::textColourId, palette.text);
}

void MicrophonePanel::drawTables(juce::Graphics& g, const Palette& palette) const
{
    FrequencyPlot axes;
    axes.lowestDb = -15.0;
    axes.highestDb = 15.0;
    axes.lineStepDb = 5;
    axes.labelStepDb = 5;
    axes.area = plotArea.toFloat()
                    .withTrimmedLeft(54.0F)
                    .withTrimmedRight(22.0F)
                    .withTrimmedTop(10.0F)
                    .withTrimmedBottom(28.0F);
    axes.drawGrid(g, palette.outline.withAlpha(0.35F), palette.mutedText);
    if (shown.curves == nullptr)
        return;
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(axes.area.toNearestInt());
    const auto draw = [&](const std::optional<files::FrequencyTable>& table, bool isUsed) {
        if (!table)
            return;
        const juce::Path path = axes.curve(table->frequenciesHz, table->levelsDb, 0.0);
        g.setColour(isUsed ? palette.accentLine : palette.text);
        if (isUsed)
            g.strokePath(path, juce::PathStrokeType(3.0F));
        else
            strokeDashed(g, path, 0);
    };
    const bool isSideUsed =
        shown.curves->ninetyDegrees
        && (shown.incidence == measure::Incidence::ninetyDegrees || !shown.curves->zeroDegrees);
    draw(shown.curves->zeroDegrees, !isSideUsed);
    draw(shown.curves->ninetyDegrees, isSideUsed);
}

void MicrophonePanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    drawWords(g,
              "A measuring microphone comes with a text table of its own response, some with one "
              "for the front and one for the side. It is taken out of every take, and is kept for "
              "the next start.",
              textFont(14.0F), palette.mutedText, introArea, juce::Justification::topLeft);
    auto words = wordsArea;
    if (shown.isProblem) {
        const auto mark = words.removeFromLeft(28).removeFromTop(20).toFloat().withWidth(20.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(mark, 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(15.0F, juce::Font::bold));
        g.drawText("!", mark, juce::Justification::centred, false);
    }
    drawWords(g, shown.words, textFont(14.0F), palette.text, words, juce::Justification::topLeft);
    drawTables(g, palette);
    g.setFont(textFont(14.0F));
    g.setColour(palette.mutedText);
    g.drawText("dB re the sensitivity. Thick: taken out of takes; dashed: the other",
               plotArea.withTop(plotArea.getY() - 20).withHeight(20).withTrimmedLeft(8),
               juce::Justification::centredLeft, true);
}

void MicrophonePanel::resized()
{
    auto area = getLocalBounds();
    introArea = area.removeFromTop(getWidth() < 700 ? 54 : 38).withTrimmedLeft(8);
    area.removeFromTop(4);
    const int nameWidth = std::min(labelWidth, getWidth() / 3);
    for (Row* row : {&frontRow, &sideRow}) {
        auto line = area.removeFromTop(rowHeight);
        row->label.setBounds(line.removeFromLeft(nameWidth));
        row->forgetButton.setBounds(line.removeFromRight(90));
        line.removeFromRight(6);
        row->chooseButton.setBounds(line);
        area.removeFromTop(6);
    }
    auto line = area.removeFromTop(rowHeight);
    incidenceLabel.setBounds(line.removeFromLeft(nameWidth));
    incidenceBox.setBounds(line);
    area.removeFromTop(8);
    wordsArea = area.removeFromTop(54).withTrimmedLeft(8);
    area.removeFromTop(24);
    plotArea = area;
}

} // namespace saddletone::gui
