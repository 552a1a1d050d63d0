#pragma once

#include "Plugin/AuditionProcessor.h"
#include "Plugin/EditLine.h"

#include <array>
#include <bitset>
#include <filesystem>
#include <vector>

namespace saddletone::plugin {

/** What the listener chose on Listen, so that it can be taken back: the candidate and the ride. Not
    the output level, the ceilings and the headphones: taking back must never make it louder than
    the hand on the slider did. */
class ChoiceHistory final : public EditSource {
public:
    /** Both must outlive this. */
    ChoiceHistory(AuditionProcessor& auditionProcessor, EditLine& editLine);

    /** Takes up what was chosen since; called some 30 times a second, so that a drag is one step. */
    void update();

    std::optional<Step> nextUndo() override { return stepOf(undoable); }
    std::optional<Step> nextRedo() override { return stepOf(redoable); }
    void undo() override;
    void redo() override;
    void editedElsewhere() override;
    void movedElsewhere() override { isAbsorbing = true; }

private:
    static constexpr std::size_t numChoices = 9;
    using Choices = std::array<double, numChoices>;

    /** What was chosen at once or in one go, and what it was before. */
    struct Chosen {
        std::string words;
        std::uint64_t order = 0;
        std::bitset<numChoices> changed;
        Choices before {};
        Choices after {};
    };

    [[nodiscard]] static std::optional<Step> stepOf(const std::vector<Chosen>& steps);
    [[nodiscard]] Choices current() const;
    void record(const Choices& now);
    /** Sets what a step has changed. */
    void set(const Chosen& step, const Choices& values);

    AuditionProcessor& processor;
    EditLine& line;
    Choices known {}; ///< As seen last.
    std::vector<Chosen> undoable;
    std::vector<Chosen> redoable;
    bool isRunning = false; ///< The next change of the same choice goes on with the last step.
    std::uint64_t openedNumber = 0;
    std::filesystem::path openedFolder; ///< Empty: no job is open.
    bool isAbsorbing = true;            ///< What has changed since is none of the listener's doing.
    int numQuietUpdates = 0;
};

} // namespace saddletone::plugin
