#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::plugin {

/** What has a history of edits of its own: a part of the program. All of it is for the message
    thread. */
class EditSource {
public:
    /** A step that can be taken back or made again. */
    struct Step {
        std::string words;
        std::uint64_t order = 0; ///< As EditLine::begin() gave it.
    };

    virtual ~EditSource() = default;

    [[nodiscard]] virtual std::optional<Step> nextUndo() = 0;
    [[nodiscard]] virtual std::optional<Step> nextRedo() = 0;
    virtual void undo() = 0;
    virtual void redo() = 0;
    /** Another part was edited: what was taken back here cannot be made again, and the next step
        is one of its own. */
    virtual void editedElsewhere() = 0;
    /** Another part took a step back or made it again, which may have changed what is seen here. */
    virtual void movedElsewhere() = 0;
};

/** The edits of the whole program in the order in which they were made, whichever part has them. */
class EditLine {
public:
    EditLine() = default;
    EditLine(const EditLine&) = delete;
    EditLine& operator=(const EditLine&) = delete;

    /** Once a source has gone nothing may be asked of the line. */
    void add(EditSource& source) { sources.push_back(&source); }

    /** A source is about to make a new step; returns its order. */
    std::uint64_t begin(const EditSource& source);

    /** The step that undo() would take back, or redo() make again; nothing if there is none. */
    [[nodiscard]] std::optional<EditSource::Step> nextUndo() const;
    [[nodiscard]] std::optional<EditSource::Step> nextRedo() const;
    /** Return the words of the step; empty if there was none. */
    std::string undo();
    std::string redo();

private:
    [[nodiscard]] EditSource* newestToUndo() const;
    [[nodiscard]] EditSource* oldestToRedo() const;
    void tellOthers(const EditSource& moved, void (EditSource::*message)()) const;

    std::vector<EditSource*> sources;
    std::uint64_t lastOrder = 0;
};

} // namespace saddletone::plugin
