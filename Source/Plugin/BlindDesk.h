#pragma once

#include "Core/Audition/BlindListening.h"
#include "Gui/BlindModel.h"
#include "Plugin/JobLoading.h"

#include <filesystem>
#include <optional>

namespace saddletone::plugin {

class AuditionProcessor;

/** Runs blind tests on what a processor plays: keeps the run, has the engine play what it wants, and
    puts it into the job when it is over.

    A run outlives the window it was begun in. It ends as abandoned when the job or a candidate is
    exchanged under it, and with the program. */
class BlindDesk final : public gui::BlindModel {
public:
    explicit BlindDesk(AuditionProcessor& auditionProcessor);
    ~BlindDesk() override;
    BlindDesk(const BlindDesk&) = delete;
    BlindDesk& operator=(const BlindDesk&) = delete;

    // Message thread
    /** Notices what has happened to the job and the programme; call it now and then. */
    void update();
    [[nodiscard]] bool isRunning() const { return test && !test->isOver(); }

    gui::BlindView blindView() override;
    void begin(const gui::BlindChoice& choice) override;
    void listenTo(std::size_t place) override;
    void answer(std::size_t place) override;
    void abandon() override;
    void storeAgain() override;
    void dismiss() override;

    /** What the engine is to play through. */
    [[nodiscard]] audition::BlindListening& listening() noexcept { return engineListening; }
    [[nodiscard]] const audition::BlindListening& listening() const noexcept
    {
        return engineListening;
    }

private:
    /** What a run begun now would be listened to with. */
    [[nodiscard]] audition::BlindConditions conditionsNow() const;
    [[nodiscard]] juce::String obstacle() const;
    /** Why nothing can be heard, as far as the program can tell; empty if something can. */
    [[nodiscard]] juce::String silence();
    /** Nobody has asked the engine for audio for a while: there is no output, or the host rests. */
    [[nodiscard]] bool isAudioAtRest();
    void followProgramme();
    void playPlace();
    void finish();
    void store();

    AuditionProcessor& processor;
    audition::BlindListening engineListening;
    std::optional<audition::BlindTest> test; ///< Running, or over and not yet read.
    std::shared_ptr<const LoadedJob> tested;
    std::vector<std::size_t> chosen; ///< Candidates of the scene, in the order of the run.
    juce::String endWords;           ///< Why the run was ended by something else.
    bool isStored = false;
    juce::String storeProblem;
    std::uint32_t blockCountSeen = 0;
    juce::uint32 blockSeenAtMs = 0;
    std::optional<double> heardFromSeconds;
    double heardToSeconds = 0.0;
    std::filesystem::path programmeFile;
};

} // namespace saddletone::plugin
