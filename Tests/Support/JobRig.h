#pragma once

#include "Gui/AuditionEditor.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/ChoiceHistory.h"
#include "Plugin/EventDesk.h"
#include "Plugin/JobDesk.h"
#include "Plugin/TuningDesk.h"
#include "Support/EditorFixtures.h"
#include "Support/TemporaryFolder.h"

#include <memory>
#include <optional>
#include <string>

namespace saddletone::test {

/** The whole program but for the sound: processor, desks and the line of edits, with a folder of
    its own for jobs. */
class JobRig {
public:
    JobRig();

    /** Waits until nothing is opened, read, built or worked out any more. */
    void settle();
    /** Writes the made-up job (see writeMadeUpJob()), its bands trusted, and opens it. */
    void openMadeUpJob();
    /** The job as it stands on the disk. */
    [[nodiscard]] job::Job stored() const;
    /** Adds a state to the open job as the bench does it; returns its id. */
    std::string addState(const measure::Response& response);
    /** A choice on Listen, as a hand makes it. */
    void choose(const char* parameterId, double value);

    TemporaryFolder folder;
    juce::File openedFile; ///< What openFile() was asked for last.
    juce::File shownFolder;
    plugin::AuditionProcessor processor;
    plugin::EditLine line;
    std::unique_ptr<plugin::ChoiceHistory> choices;
    std::unique_ptr<plugin::TuningDesk> tuning;
    std::unique_ptr<plugin::JobDesk> desk;
};

/** While it is there, processors are made as the standalone's, which plays files itself. */
struct AsStandalone {
    AsStandalone()
    {
        juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
    }
    ~AsStandalone()
    {
        juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
    }
    AsStandalone(const AsStandalone&) = delete;
    AsStandalone& operator=(const AsStandalone&) = delete;
};

/** The window over a JobRig, with a bench that only remembers and events by a clock of its own. */
struct JobWindow {
    JobRig rig;
    RecordingBench bench;
    double seconds = 1000.0; ///< What the events are told.
    plugin::EventDesk events {rig.processor, &rig.processor.blindTests(),
                              [this] { return seconds; }};
    std::unique_ptr<gui::AuditionEditor> editor;

    JobWindow();

    /** Lets everything be done and shown. */
    void settle();
    /** The visible component of a title; a failed test if there is none. */
    juce::Component& titled(const juce::String& title);
    [[nodiscard]] bool shows(const juce::String& title);
    void press(const juce::String& buttonTitle);
    /** Types into a field and leaves it. */
    void type(const juce::String& fieldTitle, const juce::String& text);
    bool pressCommand(char letter, int more = 0);
    /** Opens a short file as what is played. */
    void openMusic();
};

} // namespace saddletone::test
