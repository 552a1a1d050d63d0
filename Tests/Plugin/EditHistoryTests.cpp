#include "Plugin/EditHistory.h"

#include <catch2/catch.hpp>

using saddletone::plugin::EditHistory;
using saddletone::plugin::EditStep;

namespace {

using History = EditHistory<int>;

History historyOf(int document)
{
    History history;
    history.restart(document);
    return history;
}

} // namespace

TEST_CASE("Steps are taken back and made again in order", "[plugin][tuning]")
{
    History history = historyOf(0);
    CHECK_FALSE(history.canUndo());
    history.apply(1, {"one"});
    history.apply(2, {"two"});
    CHECK(history.nextUndo().words == "two");
    CHECK(history.undo().words == "two");
    CHECK(history.current() == 1);
    CHECK(history.undo().words == "one");
    CHECK(history.current() == 0);
    CHECK_FALSE(history.canUndo());
    CHECK(history.redo().words == "one");
    CHECK(history.nextRedo().words == "two");
    history.redo();
    CHECK(history.current() == 2);
    CHECK_FALSE(history.canRedo());
}

TEST_CASE("A new step forgets what was taken back", "[plugin][tuning]")
{
    History history = historyOf(0);
    history.apply(1, {"one"});
    history.undo();
    history.apply(5, {"five"});
    CHECK_FALSE(history.canRedo());
    history.undo();
    CHECK(history.current() == 0);
}

TEST_CASE("A version that is the same is no step", "[plugin][tuning]")
{
    History history = historyOf(3);
    history.apply(3, {"nothing"});
    CHECK_FALSE(history.canUndo());
}

TEST_CASE("The steps of a run are one step until the run ends", "[plugin][tuning]")
{
    History history = historyOf(0);
    for (int value = 1; value <= 50; ++value)
        history.apply(value, {"dragged", "drag 0", 7});
    history.endRun();
    history.apply(60, {"dragged", "drag 0", 7});
    history.undo();
    CHECK(history.current() == 50);
    history.undo();
    CHECK(history.current() == 0);
    CHECK_FALSE(history.canUndo());
    history.redo();
    CHECK(history.current() == 50);
}

TEST_CASE("Runs of other names or places do not grow together", "[plugin][tuning]")
{
    History history = historyOf(0);
    history.apply(1, {"dragged", "drag 0", 7});
    history.apply(2, {"dragged", "drag 1", 7});
    history.apply(3, {"dragged", "drag 1", 8});
    history.apply(4, {"added", {}, 8});
    history.apply(5, {"added", {}, 8});
    int numSteps = 0;
    for (; history.canUndo(); history.undo())
        ++numSteps;
    CHECK(numSteps == 5);
}

TEST_CASE("A run that ends where it began leaves no step", "[plugin][tuning]")
{
    History history = historyOf(0);
    history.apply(9, {"before"});
    history.apply(10, {"dragged", "drag 0"});
    history.apply(9, {"dragged", "drag 0"});
    CHECK(history.nextUndo().words == "before");
    history.undo();
    CHECK(history.current() == 0);
}

TEST_CASE("The oldest steps are forgotten beyond the limit", "[plugin][tuning]")
{
    History history = historyOf(0);
    const auto numSteps = static_cast<int>(History::maxSteps) + 25;
    for (int value = 1; value <= numSteps; ++value)
        history.apply(value, {"step"});
    std::size_t numUndone = 0;
    for (; history.canUndo(); history.undo())
        ++numUndone;
    CHECK(numUndone == History::maxSteps);
    CHECK(history.current() == 25);
}

TEST_CASE("A restarted history has no past", "[plugin][tuning]")
{
    History history = historyOf(0);
    history.apply(1, {"one"});
    history.restart(4);
    CHECK(history.current() == 4);
    CHECK_FALSE(history.canUndo());
    CHECK_FALSE(history.canRedo());
}

TEST_CASE("Every version follows what is no edit, and the steps stay", "[plugin][tuning]")
{
    History history = historyOf(0);
    history.apply(1, {"one"});
    history.apply(2, {"two"});
    history.undo();
    history.follow([](int version) { return version + 10; });
    CHECK(history.current() == 11);
    CHECK(history.undo().words == "one");
    CHECK(history.current() == 10);
    history.redo();
    CHECK(history.redo().words == "two");
    CHECK(history.current() == 12);
}
