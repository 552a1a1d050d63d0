#pragma once

#include "Plugin/EditLine.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace saddletone::plugin {

/** A step from one version of a document to the next. */
struct EditStep {
    std::string words; ///< What was done: "peaking added".
    /** Steps that follow each other with the same name here, not empty, are one step. */
    std::string run {};
    std::uint64_t place = 0; ///< Where in the document; for whoever shows it.
    std::uint64_t order = 0; ///< Among the edits of the whole program; see EditLine.

    bool operator==(const EditStep&) const = default;
};

/** A document with everything that undo and redo need: whole versions, which suits small documents.
    Beyond maxSteps the oldest steps are forgotten. */
template <typename Document>
class EditHistory {
public:
    static constexpr std::size_t maxSteps = 200;

    EditHistory() = default;

    [[nodiscard]] const Document& current() const noexcept { return document; }
    [[nodiscard]] bool canUndo() const noexcept { return !undoable.empty(); }
    [[nodiscard]] bool canRedo() const noexcept { return !redoable.empty(); }
    /** The step that undo() would take back; canUndo(). */
    [[nodiscard]] const EditStep& nextUndo() const noexcept { return undoable.back().step; }
    [[nodiscard]] const EditStep& nextRedo() const noexcept { return redoable.back().step; }

    /** The same for an EditLine. */
    [[nodiscard]] std::optional<EditSource::Step> nextUndoStep() const
    {
        return undoable.empty() ? std::nullopt : std::optional(stepOf(undoable.back()));
    }
    [[nodiscard]] std::optional<EditSource::Step> nextRedoStep() const
    {
        return redoable.empty() ? std::nullopt : std::optional(stepOf(redoable.back()));
    }

    /** A new document without a past. */
    void restart(Document newDocument)
    {
        document = std::move(newDocument);
        undoable.clear();
        redoable.clear();
        isRunning = false;
    }

    /** Takes a changed version; one that is the same makes no step. */
    void apply(Document changed, EditStep step)
    {
        if (changed == document)
            return;
        redoable.clear();
        const bool continues = isRunning && !step.run.empty() && !undoable.empty()
                               && undoable.back().step.run == step.run
                               && undoable.back().step.place == step.place;
        isRunning = !step.run.empty();
        if (!continues) {
            undoable.push_back({std::exchange(document, std::move(changed)), std::move(step)});
            if (undoable.size() > maxSteps)
                undoable.erase(undoable.begin());
            return;
        }
        document = std::move(changed);
        if (document == undoable.back().other) {
            // Everything is as it was before the run; what remains is no step.
            undoable.pop_back();
            isRunning = false;
        }
    }

    /** Takes a version that differs by nothing the user did; it makes no step. */
    void amend(Document changed) { document = std::move(changed); }

    /** Has every version follow something that is no edit: change(Document) returns what it is to
        be. The steps stay. */
    template <typename Change>
    void follow(const Change& change)
    {
        document = change(std::move(document));
        for (std::vector<Version>* const versions : {&undoable, &redoable})
            for (Version& each : *versions)
                each.other = change(std::move(each.other));
        isRunning = false;
    }

    /** What was taken back cannot be made again. */
    void forgetRedo() noexcept { redoable.clear(); }

    /** The next step is one of its own, whatever its run. */
    void endRun() noexcept { isRunning = false; }

    /** canUndo() and canRedo(); return the step that was taken back or made again. */
    EditStep undo() { return move(undoable, redoable); }
    EditStep redo() { return move(redoable, undoable); }

private:
    struct Version {
        Document other; ///< On the far side of the step.
        EditStep step;
    };

    [[nodiscard]] static EditSource::Step stepOf(const Version& version)
    {
        return {version.step.words, version.step.order};
    }

    EditStep move(std::vector<Version>& from, std::vector<Version>& to)
    {
        Version version = std::move(from.back());
        from.pop_back();
        std::swap(document, version.other);
        EditStep step = version.step;
        to.push_back(std::move(version));
        isRunning = false;
        return step;
    }

    Document document {};
    std::vector<Version> undoable;
    std::vector<Version> redoable;
    bool isRunning = false;
};

} // namespace saddletone::plugin
