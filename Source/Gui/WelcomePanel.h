#pragma once

#include "Gui/JobModel.h"
#include "Gui/TextField.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** What there is to begin with while no job is open: the invented demo job, a job of one's own, or
    test tracks for a USB stick; and the jobs from before. */
class WelcomePanel final : public juce::Component {
public:
    explicit WelcomePanel(JobModel& jobModel);
    ~WelcomePanel() override;
    WelcomePanel(const WelcomePanel&) = delete;
    WelcomePanel& operator=(const WelcomePanel&) = delete;

    /** Called with what is going to open another job; what is not saved can be asked about first. */
    std::function<void(std::function<void()>)> onBegin;
    std::function<void()> onTracks;
    /** Called when the user wants to choose a job. */
    std::function<void()> onOpen;
    /** Called when the user wants to go on with the open job after all. */
    std::function<void()> onBack;

    void show(const JobSnapshot& snapshot);
    /** Puts the keyboard into the title of a new job. */
    void beginTyping();

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;

private:
    static constexpr std::size_t mostRecent = 3;

    void chooseDemoFolder();
    void chooseJobFolder();
    void startJob();
    void begin(std::function<void()> open);
    [[nodiscard]] juce::File jobFolder() const;

    JobModel& model;
    std::vector<RecentJobView> recent;
    bool isBusy = false;
    bool hasJob = false;
    juce::File chosenFolder; ///< No file: the suggested one.
    juce::String folderWords;

    juce::TextButton demoButton {"Make the job"};
    juce::TextButton demoFolderButton {juce::String::fromUTF8("In a folder\xe2\x80\xa6")};
    juce::TextButton startButton {"Start the job"};
    juce::TextButton folderButton {juce::String::fromUTF8("Folder\xe2\x80\xa6")};
    juce::TextButton tracksButton {"Make the tracks"};
    juce::TextButton openButton {juce::String::fromUTF8("Open a job\xe2\x80\xa6")};
    juce::TextButton backButton {"Back to the job"};
    std::array<juce::TextButton, mostRecent> recentButtons;
    TextField titleField, bikeField, questionField;
    std::array<juce::Label, 3> fieldLabels;
    std::array<juce::Rectangle<int>, 3> cards;
    juce::Rectangle<int> headingArea, folderArea;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace saddletone::gui
