#include "Plugin/EditHistory.h"
#include "Plugin/EditLine.h"

#include <catch2/catch.hpp>

using namespace saddletone::plugin;

namespace {

/** A number with a history of its own. */
class Part final : public EditSource {
public:
    explicit Part(EditLine& editLine) : line(editLine) { line.add(*this); }

    void set(int value, const std::string& words, const std::string& run = {})
    {
        EditStep step {words, run};
        step.order = line.begin(*this);
        history.apply(value, step);
    }
    [[nodiscard]] int value() const { return history.current(); }

    std::optional<Step> nextUndo() override { return history.nextUndoStep(); }
    std::optional<Step> nextRedo() override { return history.nextRedoStep(); }
    void undo() override { history.undo(); }
    void redo() override { history.redo(); }
    void editedElsewhere() override
    {
        history.forgetRedo();
        history.endRun();
    }
    void movedElsewhere() override { ++numMoves; }

    int numMoves = 0;

private:
    EditLine& line;
    EditHistory<int> history;
};

} // namespace

TEST_CASE("Edits of several parts are taken back in the order in which they were made",
          "[plugin][edits]")
{
    EditLine line;
    Part first(line);
    Part second(line);
    CHECK_FALSE(line.nextUndo());
    CHECK(line.undo().empty());
    first.set(1, "one");
    second.set(10, "ten");
    first.set(2, "two");
    second.set(20, "twenty");
    CHECK(line.nextUndo()->words == "twenty");
    CHECK(line.undo() == "twenty");
    CHECK(line.undo() == "two");
    CHECK(line.undo() == "ten");
    CHECK(second.value() == 0);
    CHECK(first.value() == 1);
    CHECK(line.nextRedo()->words == "ten");
    CHECK(line.redo() == "ten");
    CHECK(line.redo() == "two");
    CHECK(line.redo() == "twenty");
    CHECK_FALSE(line.nextRedo());
    CHECK(first.value() == 2);
    CHECK(second.value() == 20);
}

TEST_CASE("A new edit of one part ends what another could make again, and its run",
          "[plugin][edits]")
{
    EditLine line;
    Part first(line);
    Part second(line);
    first.set(1, "first", "drag");
    line.undo();
    second.set(5, "second");
    CHECK_FALSE(line.nextRedo());
    first.set(2, "third", "drag");
    second.set(6, "fourth");
    first.set(3, "fifth", "drag");
    CHECK(line.undo() == "fifth");
    CHECK(first.value() == 2);
    CHECK(second.numMoves == 2);
    CHECK(first.numMoves == 0);
}
