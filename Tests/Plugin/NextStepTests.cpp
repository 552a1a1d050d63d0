#include "Gui/NextStep.h"
#include "Support/DrawnText.h"

#include <catch2/catch.hpp>

#include <set>
#include <vector>

using namespace saddletone::gui;

namespace {

/** The words of the next step; empty if there is none. */
juce::String wordsAt(Place place, const JobProgress& progress)
{
    const auto step = nextStepAt(place, progress);
    return step ? step->words : juce::String();
}

Place placeAt(Place place, const JobProgress& progress)
{
    const auto step = nextStepAt(place, progress);
    REQUIRE(step);
    return step->place;
}

} // namespace

TEST_CASE("From the bike on the stand to the report there is always one next step",
          "[plugin][shell]")
{
    JobProgress progress;
    // Without a job the places themselves say where to begin.
    CHECK_FALSE(nextStepAt(Place::listen, progress));
    CHECK(placeAt(Place::signals, progress) == Place::bike);
    progress.hasJob = true;
    CHECK(wordsAt(Place::listen, progress).contains("Nothing measured yet"));
    progress.numParked = 1;
    CHECK(wordsAt(Place::tuning, progress) == "No engine-running take yet: record one");
    progress.numRunning = 1;
    progress.canCompare = true;
    CHECK(wordsAt(Place::listen, progress) == "Two states measured: compare them");
    CHECK(placeAt(Place::listen, progress) == Place::bike);
    progress.hasCompared = true;
    CHECK(placeAt(Place::bike, progress) == Place::tuning);
    progress.hasFitted = true;
    progress.hasUnsaved = true;
    CHECK(wordsAt(Place::tuning, progress) == "Tuning fitted: listen");
    CHECK(placeAt(Place::tuning, progress) == Place::listen);
    CHECK(wordsAt(Place::listen, progress).contains("choose a programme"));
    progress.hasProgramme = true;
    CHECK(wordsAt(Place::listen, progress).contains("Play music"));
    progress.hasHeard = true;
    CHECK(wordsAt(Place::listen, progress).contains("not saved"));
    progress.hasUnsaved = false;
    CHECK(wordsAt(Place::listen, progress) == "Heard it: write the report");
    CHECK(placeAt(Place::listen, progress) == Place::report);
    CHECK_FALSE(nextStepAt(Place::report, progress));
    progress.hasReport = true;
    CHECK(wordsAt(Place::listen, progress).contains("hand it over"));
}

TEST_CASE("What was measured and is not in the job comes before everything else", "[plugin][shell]")
{
    JobProgress progress;
    progress.numNotInJob = 1;
    for (const Place place : allPlaces)
        CHECK(placeAt(place, progress) == Place::bike);
    CHECK(wordsAt(Place::listen, progress).contains("new job"));
    progress.hasJob = true;
    progress.hasFitted = true;
    CHECK(wordsAt(Place::listen, progress).contains("not in the job yet"));
}

TEST_CASE("Progress counts the states of the job by their engine", "[plugin][shell]")
{
    BenchSnapshot bench;
    const auto add = [&](saddletone::measure::EngineState engine, bool isInJob) {
        MeasuredView view;
        view.engine = engine;
        view.isInJob = isInJob;
        bench.measured.push_back(std::make_shared<const MeasuredView>(std::move(view)));
    };
    add(saddletone::measure::EngineState::off, true);
    add(saddletone::measure::EngineState::idle, true);
    add(saddletone::measure::EngineState::running, true);
    add(saddletone::measure::EngineState::off, false);
    TuningSnapshot tuning;
    tuning.candidates.resize(2);
    AuditionSnapshot audition;
    audition.player.available = true;
    JobProgress progress = progressOf(audition, bench, tuning, {});
    CHECK_FALSE(progress.hasJob);
    CHECK(progress.numParked == 1);
    CHECK(progress.numRunning == 2);
    CHECK(progress.numNotInJob == 1);
    CHECK_FALSE(progress.hasFitted);
    CHECK_FALSE(progress.hasProgramme);
    tuning.candidates[1].numElements = 3;
    audition.player.loaded = true;
    JobSnapshot job;
    OpenJobView open;
    open.numStates = 3;
    job.open = std::make_shared<const OpenJobView>(open);
    progress = progressOf(audition, bench, tuning, job);
    CHECK(progress.hasJob);
    CHECK(progress.isRead);
    // The bench has not read the job's states yet: nobody says that there are none.
    CHECK_FALSE(nextStepAt(Place::listen, progressOf(audition, {}, tuning, job)));
    CHECK(progress.hasFitted);
    CHECK(progress.hasProgramme);
}

TEST_CASE("Every next step is read as a whole where the window is smallest", "[plugin][shell]")
{
    // As far as a job can be: none, and measured, fitted, heard and reported one after the other.
    std::vector<JobProgress> progresses(1);
    for (std::size_t bits = 0; bits < 512; ++bits) {
        const auto has = [bits](std::size_t bit) { return ((bits >> bit) & 1) != 0; };
        progresses.push_back({.hasJob = has(0),
                              .isRead = true,
                              .numParked = has(1),
                              .numRunning = has(2),
                              .numNotInJob = has(8),
                              .canCompare = has(1) && has(2) && has(4),
                              .hasCompared = false,
                              .hasFitted = has(5),
                              .hasUnsaved = has(6),
                              .hasProgramme = has(7),
                              .hasHeard = has(3),
                              .hasBlindRun = false,
                              .hasReport = has(4)});
    }
    NextStepSign sign;
    std::set<juce::String> seen;
    for (const JobProgress& progress : progresses)
        for (const Place place : allPlaces) {
            const auto step = nextStepAt(place, progress);
            if (!step)
                continue;
            // As the heading has it at 1024 pixels, with the buttons of each place.
            sign.setSize(place == Place::listen ? 240 : 325, 44);
            sign.show(step, place);
            juce::String drawn;
            for (const auto& text : saddletone::test::drawnText(sign, 1.0F)) {
                INFO(step->words << ": " << text.words);
                CHECK_FALSE((text.isShortened() || text.isCut));
                drawn << text.words << ' ';
            }
            CHECK(drawn.contains(step->words.fromLastOccurrenceOf(" ", false, false)));
            seen.insert(step->words);
        }
    CHECK(seen.size() == 16);
}
