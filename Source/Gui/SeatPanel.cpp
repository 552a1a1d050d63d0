#include "Gui/SeatPanel.h"

#include "Gui/Look.h"

#include <array>

namespace saddletone::gui {

namespace {

// Items of the boxes; generic tables and candidates are counted on from the last of each.
constexpr int noneId = 1;
constexpr int fileId = 2;
constexpr int chooseId = 3;
constexpr int firstGenericId = 10;

constexpr int atEarsId = 1;
constexpr int whereTheyStandId = 2;

constexpr int headphonesId = 1;
constexpr int firstBikeId = 10;

constexpr double unknownSplDb = 80.0;

const juce::String ellipsis = juce::String::fromUTF8("\xe2\x80\xa6");

} // namespace

SeatPanel::SeatPanel(SeatModel& seatModel)
    : model(seatModel),
      levelField(
          "Headphones at full scale, kept in the job",
          "Sound pressure level at the ear, in dB, that the headphones make of a full-scale sine "
          "with this output's volume; 80 if it is not known. With it the level at the ear is shown "
          "and kept.",
          {.lowest = unknownSplDb, .highest = 140.0}, [](double splDb) {
              return splDb > unknownSplDb ? juce::String(splDb, 1) + " dB SPL"
                                          : juce::String("not known");
          })
{
    setTitle("Seat");
    addRow(headphonesLabel, headphonesBox, "Headphones");
    addControl(*this, headphonesBox, "Headphones' table",
               "Table of the headphones' response that what is heard is corrected for.");
    headphonesBox.onChange = [this] { headphonesPicked(); };
    addRow(levelLabel, levelField, "At full scale");
    addAndMakeVisible(levelField);
    levelField.onNumber = [this](double splDb) { model.setHeadphoneSplDb(splDb); };
    addRow(speakersLabel, speakersBox, "Speakers");
    speakersBox.addItem("at the ears: left and right", atEarsId);
    speakersBox.addItem("where they stand (binaural)", whereTheyStandId);
    addControl(*this, speakersBox, "Speakers heard from",
               "Whether the bike's speakers are heard from where they stand, through the ears of a "
               "measured head.");
    speakersBox.onChange = [this] {
        model.setBinaural(speakersBox.getSelectedId() == whereTheyStandId);
        refresh();
    };
    addRow(headSetLabel, headSetBox, "Head");
    addControl(*this, headSetBox, "Head set",
               "Head-related responses, a SOFA file, through which speakers are placed.");
    headSetBox.onChange = [this] { headSetPicked(); };
    addRow(listenLabel, listenBox, "Listen over");
    addControl(
        *this, listenBox, "Listen over",
        "Headphones, or the speakers of the bike itself: then only what a candidate differs "
        "by from what the bike plays now is applied. The output is turned down at a change.");
    listenBox.onChange = [this] { listenPicked(); };
    addControl(*this, closeButton, "Close", "Back to the curves.");
    closeButton.onClick = [this] {
        if (onClose)
            onClose();
    };
    addAndMakeVisible(finding);
    fillBoxes();
}

SeatPanel::~SeatPanel() = default;

void SeatPanel::addRow(juce::Label& label, juce::Component& control, const juce::String& name)
{
    label.setText(name, juce::dontSendNotification);
    label.setFont(textFont(15.0F));
    label.setAccessible(false); // the control itself carries the name
    addAndMakeVisible(label);
    control.setExplicitFocusOrder(getNumChildComponents());
}

void SeatPanel::chooseFile(const juce::String& title, const juce::String& wildcard,
                           std::function<void(const juce::File&)> onFile)
{
    chooser = std::make_unique<juce::FileChooser>(
        title, juce::File::getSpecialLocation(juce::File::userDocumentsDirectory), wildcard);
    chooser->launchAsync(juce::FileBrowserComponent::openMode
                             | juce::FileBrowserComponent::canSelectFiles,
                         [onFile = std::move(onFile)](const juce::FileChooser& answered) {
                             if (const juce::File file = answered.getResult(); file != juce::File())
                                 onFile(file);
                         });
}

void SeatPanel::headphonesPicked()
{
    const int picked = headphonesBox.getSelectedId();
    if (picked == noneId)
        model.chooseHeadphones({});
    else if (picked >= firstGenericId)
        model.chooseGenericHeadphones(picked - firstGenericId);
    else if (picked == chooseId)
        chooseFile("Table of the headphones' response", "*",
                   [this](const juce::File& file) { model.chooseHeadphones(file); });
    fillBoxes();
    refresh();
}

void SeatPanel::headSetPicked()
{
    const int picked = headSetBox.getSelectedId();
    if (picked == noneId)
        model.chooseHeadSet({});
    else if (picked == chooseId)
        chooseFile("Head-related responses", "*.sofa",
                   [this](const juce::File& file) { model.chooseHeadSet(file); });
    fillBoxes();
    refresh();
}

void SeatPanel::listenPicked()
{
    const int picked = listenBox.getSelectedId();
    const auto wanted = picked >= firstBikeId
                            ? std::optional(static_cast<std::size_t>(picked - firstBikeId))
                            : std::optional<std::size_t> {};
    if (wanted == shown.nowOnBike)
        return;
    if (onQuiet)
        onQuiet();
    model.listenOnThisBike(wanted);
    refresh();
}

void SeatPanel::fillBoxes()
{
    headphonesBox.clear(juce::dontSendNotification);
    headphonesBox.addItem("not corrected", noneId);
    const bool isOwnTable = shown.generic < 0 && shown.headphoneTable.isNotEmpty();
    if (isOwnTable)
        headphonesBox.addItem(shown.headphoneTable, fileId);
    headphonesBox.addItem("Choose a table" + ellipsis, chooseId);
    if (!shown.genericTables.isEmpty()) {
        headphonesBox.addSeparator();
        headphonesBox.addSectionHeading("Generic, to try it out");
    }
    for (int index = 0; index < shown.genericTables.size(); ++index)
        headphonesBox.addItem(shown.genericTables[index], firstGenericId + index);
    headphonesBox.setSelectedId(isOwnTable           ? fileId
                                : shown.generic >= 0 ? firstGenericId + shown.generic
                                                     : noneId,
                                juce::dontSendNotification);

    headSetBox.clear(juce::dontSendNotification);
    headSetBox.addItem("the packaged head", noneId);
    if (shown.headSet.isNotEmpty())
        headSetBox.addItem(shown.headSet, fileId);
    headSetBox.addItem("Choose a SOFA file" + ellipsis, chooseId);
    headSetBox.setSelectedId(shown.headSet.isNotEmpty() ? fileId : noneId,
                             juce::dontSendNotification);

    listenBox.clear(juce::dontSendNotification);
    listenBox.addItem("headphones", headphonesId);
    if (!shown.candidates.isEmpty()) {
        listenBox.addSeparator();
        listenBox.addSectionHeading("This bike's own speakers: it plays now");
    }
    for (int index = 0; index < shown.candidates.size(); ++index)
        listenBox.addItem("this bike (plays " + juce::String(index + 1) + " "
                              + shown.candidates[index] + " now)",
                          firstBikeId + index);
    listenBox.setSelectedId(shown.nowOnBike ? firstBikeId + static_cast<int>(*shown.nowOnBike)
                                            : headphonesId,
                            juce::dontSendNotification);
}

void SeatPanel::refresh()
{
    SeatView view = model.seatView();
    const bool isOther = !(view == shown);
    shown = std::move(view);
    if (isOther) {
        fillBoxes();
        levelField.show(shown.headphoneSplDb > 0.0 ? shown.headphoneSplDb : unknownSplDb);
        speakersBox.setSelectedId(shown.isBinaural ? whereTheyStandId : atEarsId,
                                  juce::dontSendNotification);
    }
    const bool canChange = shown.obstacle.isEmpty();
    const bool isForHeadphones = canChange && !shown.nowOnBike;
    for (juce::Component* control : std::initializer_list<juce::Component*> {
             &headphonesBox, &levelField, &speakersBox, &headSetBox})
        control->setEnabled(isForHeadphones && !shown.isStoring);
    listenBox.setEnabled(canChange && !shown.isStoring);
    if (!canChange)
        finding.show(FindingView {shown.obstacle, shown.finding.sentences, false});
    else if (shown.problem.isNotEmpty())
        finding.show(FindingView {shown.problem, shown.finding.sentences, true});
    else
        finding.show(shown.finding);
}

void SeatPanel::paint(juce::Graphics& g)
{
    g.setColour(paletteOf(*this).panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
}

void SeatPanel::lookAndFeelChanged()
{
    for (juce::Label* label :
         {&headphonesLabel, &levelLabel, &speakersLabel, &headSetLabel, &listenLabel})
        label->setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void SeatPanel::resized()
{
    auto area = getLocalBounds().reduced(14, 12);
    auto controls = area.removeFromLeft(std::min(400, area.getWidth() * 3 / 5));
    area.removeFromLeft(16);
    finding.setBounds(area);

    auto buttons = controls.removeFromBottom(34);
    closeButton.setBounds(buttons.removeFromRight(80));
    controls.removeFromBottom(8);
    struct Row {
        juce::Label* label;
        juce::Component* control;
    };
    const std::array<Row, 5> rows {{{&headphonesLabel, &headphonesBox},
                                    {&levelLabel, &levelField},
                                    {&speakersLabel, &speakersBox},
                                    {&headSetLabel, &headSetBox},
                                    {&listenLabel, &listenBox}}};
    constexpr int rowHeight = 30;
    const int numRows = static_cast<int>(rows.size());
    const int gap = std::clamp((controls.getHeight() - numRows * rowHeight) / numRows, 2, 14);
    for (const Row& row : rows) {
        auto line = controls.removeFromTop(rowHeight);
        row.label->setBounds(line.removeFromLeft(108));
        row.control->setBounds(line);
        controls.removeFromTop(gap);
    }
}

} // namespace saddletone::gui
