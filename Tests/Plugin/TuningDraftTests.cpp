#include "Core/Files/JsonReader.h"
#include "Gui/ElementWords.h"
#include "Plugin/Paths.h"
#include "Plugin/TuningDraft.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <thread>

#include <nlohmann/json.hpp>

using namespace saddletone;
using test::TuningRig;
using tuning::ElementType;

namespace {

std::filesystem::path draftOf(const TuningRig& rig)
{
    return rig.job.folder / plugin::TuningDraft::fileName;
}

/** Lets the desk look until the draft is, or is no longer, on the disk. */
void waitForDraft(TuningRig& rig, bool shouldExist)
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    while (std::filesystem::exists(draftOf(rig)) != shouldExist) {
        REQUIRE(std::chrono::steady_clock::now() < giveUp);
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        rig.desk->update();
    }
    rig.settle();
}

/** Two tuned candidates, one element of them off, and a name; nothing of it saved. */
void editWithoutSaving(TuningRig& rig)
{
    rig.desk->addElement(gui::newElement(ElementType::peaking));
    gui::DraftElement shelf = gui::newElement(ElementType::lowShelf);
    shelf.element.gainDb = -4.5;
    shelf.isOn = false;
    rig.desk->addElement(shelf);
    rig.desk->addCandidate();
    rig.desk->renameCandidate("Made last night");
    rig.settle();
}

/** The program started anew over the same folder. */
struct NextStart {
    plugin::AuditionProcessor processor;
    plugin::TuningDesk desk {processor, juce::File()};

    explicit NextStart(const std::filesystem::path& folder)
    {
        processor.openJob(plugin::toFile(folder));
        settle();
    }

    void settle()
    {
        const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(120);
        do {
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
            desk.update();
            REQUIRE(std::chrono::steady_clock::now() < giveUp);
        } while (processor.snapshot().busy || desk.isBusy());
    }
};

} // namespace

TEST_CASE("A tuning that was not saved can be brought back after a crash", "[plugin][tuning]")
{
    TuningRig rig;
    const std::string jobBefore = test::bytesOf(rig.job.folder / "job.json");
    editWithoutSaving(rig);
    waitForDraft(rig, true);
    const gui::TuningSnapshot wanted = rig.desk->tuningSnapshot();
    CHECK(test::bytesOf(rig.job.folder / "job.json") == jobBefore);

    // The first one is still there, as if it hung: nothing has been told to end.
    NextStart next(rig.job.folder);
    CHECK(next.desk.tuningSnapshot().candidates.size() == rig.job.candidates.size());
    CHECK(next.desk.tuningSnapshot().recoveryWords.isNotEmpty());
    next.desk.answerRecovery(true);
    next.settle();
    gui::TuningSnapshot back = next.desk.tuningSnapshot();
    CHECK(back.recoveryWords.isEmpty());
    CHECK(back.hasUnsaved);
    REQUIRE(back.candidates.size() == wanted.candidates.size());
    CHECK(back.candidates.back().name == "Made last night");
    for (std::size_t index = 0; index < wanted.candidates.size(); ++index) {
        rig.desk->editCandidate(index);
        next.desk.editCandidate(index);
        CHECK(next.desk.tuningSnapshot().elements == rig.desk->tuningSnapshot().elements);
    }
    CHECK(next.desk.save());
    next.settle();
    CHECK_FALSE(std::filesystem::exists(draftOf(rig)));
    const auto job = job::loadJob(rig.job.folder);
    REQUIRE(job);
    CHECK(job->candidates.back().name == "Made last night");
}

TEST_CASE("Bringing a tuning back can be undone", "[plugin][tuning]")
{
    TuningRig rig;
    editWithoutSaving(rig);
    waitForDraft(rig, true);
    NextStart next(rig.job.folder);
    const std::size_t before = next.desk.tuningSnapshot().candidates.size();
    next.desk.answerRecovery(true);
    next.desk.undo();
    next.settle();
    CHECK(next.desk.tuningSnapshot().candidates.size() == before);
    CHECK_FALSE(next.desk.tuningSnapshot().hasUnsaved);
}

TEST_CASE("A tuning that is not brought back is kept beside the job", "[plugin][tuning]")
{
    TuningRig rig;
    editWithoutSaving(rig);
    waitForDraft(rig, true);
    const std::string draft = test::bytesOf(draftOf(rig));
    NextStart next(rig.job.folder);
    next.desk.answerRecovery(false);
    next.settle();
    CHECK_FALSE(next.desk.tuningSnapshot().hasUnsaved);
    CHECK_FALSE(std::filesystem::exists(draftOf(rig)));
    CHECK(test::bytesOf(rig.job.folder / plugin::TuningDraft::previousFileName) == draft);
    NextStart afterwards(rig.job.folder);
    CHECK(afterwards.desk.tuningSnapshot().recoveryWords.isEmpty());
}

TEST_CASE("Saving, undoing or letting go leaves no draft to be asked about", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(gui::newElement(ElementType::peaking));
    waitForDraft(rig, true);
    rig.desk->undo();
    waitForDraft(rig, false);
    rig.desk->addElement(gui::newElement(ElementType::peaking));
    waitForDraft(rig, true);
    rig.desk->discardUnsaved();
    waitForDraft(rig, false);
    rig.desk->addElement(gui::newElement(ElementType::peaking));
    waitForDraft(rig, true);
    REQUIRE(rig.desk->save());
    waitForDraft(rig, false);
}

TEST_CASE("A draft that is damaged or of states that have gone is not offered", "[plugin][tuning]")
{
    TuningRig rig;
    editWithoutSaving(rig);
    waitForDraft(rig, true);
    const std::string whole = test::bytesOf(draftOf(rig));
    const auto isOffered = [&](const std::string& bytes) {
        test::writeBytes(draftOf(rig), bytes);
        NextStart next(rig.job.folder);
        return next.desk.tuningSnapshot().recoveryWords.isNotEmpty();
    };
    CHECK(isOffered(whole));
    CHECK_FALSE(isOffered(whole.substr(0, whole.size() / 2)));
    CHECK_FALSE(isOffered("{}"));
    CHECK_FALSE(isOffered("[]"));
    auto document = nlohmann::json::parse(whole);
    for (auto& candidate : document["candidates"])
        candidate["stateId"] = "gone";
    CHECK_FALSE(isOffered(document.dump()));
    document = nlohmann::json::parse(whole);
    document["candidates"] = nlohmann::json::array({1, "two"});
    CHECK_FALSE(isOffered(document.dump()));
    document = nlohmann::json::parse(whole);
    document["candidates"][0]["tuning"] = "none";
    CHECK_FALSE(isOffered(document.dump()));
}
