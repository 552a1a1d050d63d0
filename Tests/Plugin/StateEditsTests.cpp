// Undo and redo of tunings and of the states that were added to a job, in the order of the edits.
#include "Core/Dsp/RandomSource.h"
#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"
#include "Support/JobRig.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using test::JobRig;

namespace {

/** What a user sees of the edits: the states of the job, and each candidate with its elements. */
juce::String seenIn(JobRig& rig)
{
    juce::String seen;
    for (const job::JobState& state : rig.stored().states)
        seen << plugin::toText(state.id) << " ";
    const gui::TuningSnapshot before = rig.tuning->tuningSnapshot();
    for (std::size_t index = 0; index < before.candidates.size(); ++index) {
        rig.tuning->editCandidate(index);
        seen << "| " << before.candidates[index].name << ": ";
        for (const gui::DraftElement& each : rig.tuning->tuningSnapshot().elements)
            seen << gui::typeWords(each.element.type) << " " << each.element.frequencyHz << " Hz ";
    }
    rig.tuning->editCandidate(before.edited);
    return seen;
}

void addPeak(JobRig& rig, std::size_t candidate, double frequencyHz)
{
    REQUIRE(candidate < rig.tuning->tuningSnapshot().candidates.size());
    rig.tuning->editCandidate(candidate);
    gui::DraftElement peak = gui::newElement(tuning::ElementType::peaking);
    peak.element.frequencyHz = frequencyHz;
    peak.element.gainDb = 3.0;
    rig.tuning->addElement(peak);
    rig.settle();
}

/** A job with a line of edits, and what was seen after each: first that before all of them. */
struct EditedJob {
    JobRig rig;
    measure::Response response;
    std::vector<juce::String> seen;

    EditedJob()
    {
        rig.openMadeUpJob();
        const job::Job job = rig.stored();
        auto loaded = measure::loadResponse(job.folder / job.states.front().file);
        REQUIRE(loaded);
        response = *std::move(loaded);
        note();
    }

    void note() { seen.push_back(seenIn(rig)); }
    void peak(std::size_t candidate, double frequencyHz)
    {
        addPeak(rig, candidate, frequencyHz);
        note();
    }
    void state()
    {
        rig.addState(response);
        note();
    }
    void takeOut(std::size_t candidate)
    {
        rig.tuning->editCandidate(candidate);
        rig.tuning->deleteCandidate();
        rig.settle();
        note();
    }

    /** Goes to what was seen after so many edits, step by step, and holds every step against it. */
    void goTo(std::size_t numEdits)
    {
        while (position() != numEdits) {
            const std::size_t next = position() < numEdits ? position() + 1 : position() - 1;
            if (next > position())
                rig.desk->redo();
            else
                rig.desk->undo();
            numDone = next;
            rig.settle();
            INFO("after " << next << " of " << seen.size() - 1 << " edits");
            CHECK(seenIn(rig) == seen[next]);
        }
    }
    void begin() { numDone = seen.size() - 1; }
    [[nodiscard]] std::size_t position() const { return numDone; }

private:
    std::size_t numDone = 0;
};

} // namespace

TEST_CASE("A tuning from before a state was added can be undone once the state has been taken out",
          "[plugin][jobs][edits]")
{
    EditedJob job;
    JobRig& rig = job.rig;
    job.peak(0, 100.0);
    job.state();
    rig.desk->undo();
    rig.settle();
    CHECK(seenIn(rig) == job.seen[1]);
    CHECK(rig.desk->jobSnapshot().undoWords.containsIgnoreCase("peaking"));
    rig.desk->undo();
    rig.settle();
    CHECK(seenIn(rig) == job.seen[0]);
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
    rig.desk->redo();
    rig.desk->redo();
    rig.settle();
    CHECK(seenIn(rig) == job.seen[2]);
    CHECK(rig.desk->jobSnapshot().redoWords.isEmpty());
}

TEST_CASE("A saved tuning can be undone after a state was added and after it was taken out",
          "[plugin][jobs][edits]")
{
    EditedJob job;
    JobRig& rig = job.rig;
    job.peak(1, 100.0);
    REQUIRE(rig.tuning->save());
    job.state();
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK(rig.tuning->tuningSnapshot().canUndo);
    job.begin();
    job.goTo(0);
    CHECK(rig.tuning->tuningSnapshot().hasUnsaved);
    job.goTo(2);
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK(job::checkJob(rig.stored()).empty());
}

TEST_CASE("Tunings and added states are undone and made again in any order",
          "[plugin][jobs][edits]")
{
    const bool isSaved = GENERATE(false, true);
    CAPTURE(isSaved);
    EditedJob job;
    job.peak(0, 100.0);
    job.state();
    job.peak(3, 200.0); // of the state that was added
    job.peak(1, 300.0);
    job.state();
    job.peak(4, 500.0);
    if (isSaved)
        REQUIRE(job.rig.tuning->save());
    job.takeOut(3);
    job.peak(0, 700.0);
    job.begin();
    const std::size_t last = job.seen.size() - 1;
    job.goTo(0);
    job.goTo(last);
    dsp::RandomSource random(3);
    for (int turn = 0; turn < 5; ++turn)
        job.goTo(static_cast<std::size_t>(random.nextUniform() * static_cast<double>(last + 1)));
    job.goTo(last);
    REQUIRE(job.rig.tuning->save());
    CHECK(job::checkJob(job.rig.stored()).empty());
    CHECK(job.rig.stored().candidates.size() == 4);
}

TEST_CASE("What was let go after a state had been taken out leaves the state to be put back",
          "[plugin][jobs][edits]")
{
    EditedJob job;
    JobRig& rig = job.rig;
    job.peak(0, 100.0);
    job.state();
    rig.desk->undo();
    rig.settle();
    rig.tuning->discardUnsaved();
    rig.settle();
    CHECK(seenIn(rig) == job.seen[0]);
    rig.desk->redo();
    rig.settle();
    CHECK(rig.stored().states.size() == 3);
    CHECK(rig.tuning->tuningSnapshot().candidates.size() == 4);
    CHECK(rig.tuning->tuningSnapshot().elements.empty());
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasUnsaved);
}

TEST_CASE("A job changed by others is taken up as they left it, and starts without a past",
          "[plugin][jobs][edits]")
{
    EditedJob job;
    JobRig& rig = job.rig;
    job.peak(0, 100.0);
    REQUIRE(rig.tuning->save());
    job::Job changed = rig.stored();
    changed.candidates.pop_back();
    REQUIRE(job::saveJob(changed));
    rig.desk->openJob(rig.desk->openFolder());
    rig.settle();
    CHECK(rig.tuning->tuningSnapshot().candidates.size() == 2);
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK_FALSE(rig.tuning->tuningSnapshot().canUndo);
}
