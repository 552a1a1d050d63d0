#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/NumberField.h"
#include "Gui/ProgrammeModel.h"

#include <functional>

namespace saddletone::gui {

/** The list of files that are heard: adding, removing, order, loops, loudness, live input, and what
    the customer takes home. */
class ProgrammePanel final : public juce::Component, private juce::ListBoxModel {
public:
    explicit ProgrammePanel(ProgrammeModel& programmeModel);
    ~ProgrammePanel() override;
    ProgrammePanel(const ProgrammePanel&) = delete;
    ProgrammePanel& operator=(const ProgrammePanel&) = delete;

    /** Called when the user has done with it. */
    std::function<void()> onClose;

    void show(const AuditionSnapshot& snapshot);
    /** Row in front of which files dropped at a point would go; past the end: behind all. */
    [[nodiscard]] std::size_t rowAt(juce::Point<int> point) const;

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    int getNumRows() override { return static_cast<int>(shown.rows.size()); }
    void paintListBoxItem(int row, juce::Graphics& g, int width, int height,
                          bool isSelected) override;
    juce::String getNameForRow(int row) override;
    void listBoxItemDoubleClicked(int row, const juce::MouseEvent& event) override;
    void returnKeyPressed(int row) override;
    void deleteKeyPressed(int row) override;
    void selectedRowsChanged(int row) override;

    void addFiles();
    void takeHome();
    void moveBy(int step);
    void takeRegion();
    void showRegion();
    [[nodiscard]] bool isHeard(std::size_t row) const;
    [[nodiscard]] juce::String rowWords(std::size_t row) const;
    [[nodiscard]] juce::String stateWords() const;

    ProgrammeModel& model;
    ProgrammeListView shown;
    std::shared_ptr<const JobView> job;
    juce::ListBox list;
    juce::TextButton addButton {juce::String::fromUTF8("Add files\xe2\x80\xa6")};
    juce::TextButton removeButton {"Remove"};
    juce::TextButton upButton {"Up"};
    juce::TextButton downButton {"Down"};
    juce::TextButton alignButton;
    juce::TextButton restartButton;
    juce::TextButton liveButton;
    juce::TextButton keepButton {"Keep in job"};
    juce::TextButton homeButton;
    juce::TextButton closeButton {"Close"};
    juce::TextButton loopButton;
    NumberField startField;
    NumberField endField;
    juce::Rectangle<int> startArea;
    juce::Rectangle<int> endArea;
    juce::Rectangle<int> wordsArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
