#pragma once

#include "Gui/ChoiceBox.h"
#include "Gui/FindingPanel.h"
#include "Gui/JobModel.h"
#include "Gui/ReportWords.h"
#include "Gui/TextField.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** The Report place: what is typed of the job, what the report is going to hold, what a good one
    would have besides, and writing it. */
class ReportPlace final : public juce::Component {
public:
    explicit ReportPlace(JobModel& jobModel);
    ~ReportPlace() override;
    ReportPlace(const ReportPlace&) = delete;
    ReportPlace& operator=(const ReportPlace&) = delete;

    /** Called when what is missing is to be done elsewhere. */
    std::function<void(Place)> onGo;

    void show(const JobSnapshot& snapshot, bool hasUnsavedTuning);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    static constexpr std::size_t numFields = 4;
    static constexpr std::size_t mostGaps = 8;

    void setField(juce::String JobFields::*field, const juce::String& text);
    [[nodiscard]] std::array<TextField*, numFields> fields();

    JobModel& model;
    std::shared_ptr<const OpenJobView> job;
    std::vector<ReportGap> gaps;
    juce::String writtenWords;
    bool hasShown = false;

    TextField titleField, bikeField, shopField, questionField;
    std::array<juce::Label, numFields> labels;
    juce::Label proposedLabel;
    ChoiceBox proposedBox;
    juce::TextButton writeButton {"Write the report"};
    juce::TextButton openButton {"Open it"};
    juce::TextButton folderButton {"Show folder"};
    FindingPanel finding {"What the report holds"};
    std::array<juce::TextButton, mostGaps> goButtons;
    juce::Rectangle<int> formArea, findingArea, gapsArea, writtenArea;
    std::array<juce::Rectangle<int>, mostGaps> gapAreas;
};

} // namespace saddletone::gui
