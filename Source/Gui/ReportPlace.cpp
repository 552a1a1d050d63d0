#include "Gui/ReportPlace.h"

#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr int padding = 14;
constexpr int headingHeight = 28;
constexpr int gapHeight = 56;
constexpr int mostGapHeight = 88;

struct FieldWords {
    const char* label;
    juce::String JobFields::*field;
};

const std::array fieldWords {FieldWords {"Title", &JobFields::title},
                             FieldWords {"Bike", &JobFields::bike},
                             FieldWords {"Shop", &JobFields::shop},
                             FieldWords {"The customer's question", &JobFields::question}};

void drawHeading(juce::Graphics& g, const Palette& palette, juce::Rectangle<int> panel,
                 const char* words)
{
    g.setColour(palette.panel);
    g.fillRoundedRectangle(panel.toFloat(), 8.0F);
    g.setColour(palette.text);
    g.setFont(textFont(16.0F, juce::Font::bold));
    g.drawText(words, panel.reduced(padding, 10).withHeight(22), juce::Justification::topLeft,
               true);
}

} // namespace

ReportPlace::ReportPlace(JobModel& jobModel)
    : model(jobModel),
      titleField("Title of the job", "The heading of the report.", 120),
      bikeField("Bike", "Make, model and year, and what was changed on its audio.", 200),
      shopField("Shop", "Who measured, and where the customer asks.", 200),
      questionField("The customer's question",
                    "What the customer wants to know, in their words; the report begins with it. "
                    "Without one it is the usual question.",
                    300)
{
    setTitle("Report");
    const auto all = fields();
    for (std::size_t index = 0; index < numFields; ++index) {
        labels[index].setText(fieldWords[index].label, juce::dontSendNotification);
        addAndMakeVisible(labels[index]);
        addAndMakeVisible(*all[index]);
        all[index]->onText = [this, index](const juce::String& text) {
            setField(fieldWords[index].field, text);
        };
    }
    proposedLabel.setText("Proposed to the customer", juce::dontSendNotification);
    addAndMakeVisible(proposedLabel);
    for (juce::Label* const label :
         {&labels[0], &labels[1], &labels[2], &labels[3], &proposedLabel}) {
        label->setFont(textFont(14.0F));
        label->setAccessible(false); // the control itself carries the name
    }
    addControl(*this, proposedBox, "Proposed to the customer",
               "The candidate that the shop proposes; it is kept in the job.");
    proposedBox.onChange = [this] {
        const int chosen = proposedBox.getSelectedItemIndex() - 1;
        model.setProposed(chosen < 0 ? std::nullopt
                                     : std::optional(static_cast<std::size_t>(chosen)));
    };
    addControl(*this, writeButton, writeButton.getButtonText(),
               "Writes the report, one page to print or send, and tables of its curves into the "
               "job's folder.");
    addControl(*this, openButton, "Open the report", "Opens it in the web browser, to be printed.");
    addControl(*this, folderButton, folderButton.getButtonText(),
               "Shows the job's folder, with the report in it.");
    writeButton.onClick = [this] { model.writeReport(); };
    openButton.onClick = [this] { model.openReport(); };
    folderButton.onClick = [this] { model.showJobFolder(); };
    for (std::size_t index = 0; index < mostGaps; ++index) {
        addControl(*this, goButtons[index], "Go there", "Goes to where that is done.");
        goButtons[index].setVisible(false);
        goButtons[index].onClick = [this, index] {
            if (index < gaps.size() && onGo)
                onGo(gaps[index].place);
        };
    }
    addAndMakeVisible(finding);
}

ReportPlace::~ReportPlace() = default;

std::array<TextField*, ReportPlace::numFields> ReportPlace::fields()
{
    return {&titleField, &bikeField, &shopField, &questionField};
}

void ReportPlace::setField(juce::String JobFields::*field, const juce::String& text)
{
    if (job == nullptr)
        return;
    JobFields changed = job->fields;
    changed.*field = text;
    model.setFields(changed);
}

void ReportPlace::show(const JobSnapshot& snapshot, bool hasUnsavedTuning)
{
    const bool isOther = !hasShown || job != snapshot.open;
    hasShown = true;
    job = snapshot.open;
    finding.show(reportFinding(snapshot));
    const bool hasJob = job != nullptr;
    const bool isFree = snapshot.task.task == JobTask::none;
    writeButton.setEnabled(hasJob && job->numStates > 0 && isFree);
    writeButton.setToggleState(writeButton.isEnabled() && snapshot.report.written == juce::File(),
                               juce::dontSendNotification);
    openButton.setEnabled(snapshot.report.written != juce::File());
    folderButton.setEnabled(hasJob);
    if (isOther) {
        const auto all = fields();
        for (std::size_t index = 0; index < numFields; ++index) {
            all[index]->setEnabled(hasJob);
            all[index]->show(hasJob ? job->fields.*(fieldWords[index].field) : juce::String());
        }
        proposedBox.clear(juce::dontSendNotification);
        proposedBox.addItem("None", 1);
        if (hasJob)
            for (int index = 0; index < job->candidates.size(); ++index)
                proposedBox.addItem(juce::String(index + 1) + ". " + job->candidates[index],
                                    index + 2);
        proposedBox.setSelectedItemIndex(
            hasJob && job->proposed ? static_cast<int>(*job->proposed) + 1 : 0,
            juce::dontSendNotification);
        proposedBox.setEnabled(hasJob && !job->candidates.isEmpty());
    }
    std::vector<ReportGap> nowGaps = reportGaps(snapshot, hasUnsavedTuning);
    if (nowGaps.size() > mostGaps)
        nowGaps.resize(mostGaps);
    if (nowGaps != gaps || writtenWords != snapshot.report.writtenWords) {
        gaps = std::move(nowGaps);
        writtenWords = snapshot.report.writtenWords;
        for (std::size_t index = 0; index < mostGaps; ++index) {
            const bool isElsewhere = index < gaps.size() && gaps[index].place != Place::report;
            goButtons[index].setVisible(isElsewhere);
            if (!isElsewhere)
                continue;
            const juce::String name = placeName(gaps[index].place);
            goButtons[index].setButtonText(name);
            goButtons[index].setTitle(gaps[index].words + " Go to " + name);
            goButtons[index].setDescription("Goes to " + name + ".");
            goButtons[index].setTooltip("Goes to " + name + ".");
        }
        resized();
        repaint();
    }
}

void ReportPlace::lookAndFeelChanged()
{
    const juce::Colour text = paletteOf(*this).text;
    for (juce::Label& label : labels)
        label.setColour(juce::Label::textColourId, text);
    proposedLabel.setColour(juce::Label::textColourId, text);
}

void ReportPlace::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    drawHeading(g, palette, formArea, "The job");
    drawHeading(g, palette, findingArea, "What the report holds");
    drawHeading(g, palette, gapsArea, "What is missing");
    drawWords(g, writtenWords, textFont(14.0F), palette.text, writtenArea,
              juce::Justification::topLeft);
    if (gaps.empty())
        drawWords(g, job != nullptr ? "Nothing is missing." : "Open a job first.", textFont(15.0F),
                  palette.mutedText, gapsArea.reduced(padding).withTrimmedTop(headingHeight),
                  juce::Justification::topLeft);
    for (std::size_t index = 0; index < gaps.size(); ++index) {
        auto row = gapAreas[index];
        g.setColour(palette.accentLine);
        g.drawEllipse(row.removeFromLeft(22).withSizeKeepingCentre(10, 10).toFloat(), 2.0F);
        drawWords(g, gaps[index].words, textFont(14.0F), palette.text, row,
                  juce::Justification::centredLeft);
    }
}

void ReportPlace::resized()
{
    constexpr int gap = 12;
    auto area = getLocalBounds();
    const int sideWidth = std::clamp(area.getWidth() * 30 / 100, 300, 420);
    formArea = area.removeFromLeft(sideWidth);
    area.removeFromLeft(gap);
    gapsArea = area.removeFromRight(sideWidth);
    area.removeFromRight(gap);
    findingArea = area;
    finding.setBounds(findingArea.reduced(padding, 10).withTrimmedTop(headingHeight));

    auto form = formArea.reduced(padding, 10);
    form.removeFromTop(headingHeight);
    auto buttons = form.removeFromBottom(36);
    openButton.setBounds(buttons.removeFromLeft((buttons.getWidth() - 8) / 2));
    buttons.removeFromLeft(8);
    folderButton.setBounds(buttons);
    form.removeFromBottom(8);
    writeButton.setBounds(form.removeFromBottom(36));
    form.removeFromBottom(6);
    const int rowHeight = std::clamp((form.getHeight() - 40) / 5, 48, 60);
    const auto placeRow = [&](juce::Label& label, juce::Component& control) {
        auto row = form.removeFromTop(rowHeight);
        label.setBounds(row.removeFromTop(18));
        control.setBounds(row.removeFromTop(30));
    };
    const auto all = fields();
    for (std::size_t index = 0; index < numFields; ++index)
        placeRow(labels[index], *all[index]);
    placeRow(proposedLabel, proposedBox);
    writtenArea = form;

    auto list = gapsArea.reduced(padding, 10);
    list.removeFromTop(headingHeight);
    const int spacious = list.getHeight() / static_cast<int>(std::max<std::size_t>(1, gaps.size()));
    const int height = std::clamp(spacious - 4, gapHeight, mostGapHeight);
    for (std::size_t index = 0; index < mostGaps; ++index) {
        auto row = list.removeFromTop(height);
        list.removeFromTop(4);
        if (goButtons[index].isVisible())
            goButtons[index].setBounds(row.removeFromRight(76).withSizeKeepingCentre(76, 34));
        row.removeFromRight(8);
        gapAreas[index] = row;
    }
}

} // namespace saddletone::gui
