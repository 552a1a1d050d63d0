#include "Core/Files/JsonReader.h"
#include "Gui/ElementWords.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Paths.h"
#include "Support/JobRig.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using test::JobRig;
namespace ids = gui::parameterIds;

namespace {

double valueOf(JobRig& rig, const char* id)
{
    return gui::parameterValue(rig.processor.parameters(), id);
}

} // namespace

TEST_CASE("A new job is a folder with what was typed, open with nothing to hear yet",
          "[plugin][jobs]")
{
    JobRig rig;
    CHECK(rig.desk->jobSnapshot().open == nullptr);
    const juce::File folder = rig.desk->folderForNewJob("Bass drones: at 2/3 volume?");
    CHECK(folder.getParentDirectory() == plugin::toFile(rig.folder.path() / "jobs"));
    CHECK_FALSE(folder.getFileName().containsAnyOf("/:?"));
    rig.desk->newJob(folder, {"Drone", "Made-up tourer", "", "Why does it drone?"});
    rig.settle();
    const gui::JobSnapshot snapshot = rig.desk->jobSnapshot();
    REQUIRE(snapshot.open != nullptr);
    CHECK(snapshot.message.isEmpty());
    CHECK(snapshot.open->folder == folder);
    CHECK(snapshot.open->fields.title == "Drone");
    CHECK(snapshot.open->fields.question == "Why does it drone?");
    CHECK(snapshot.open->candidates.isEmpty());
    CHECK(rig.processor.snapshot().job == nullptr);
    CHECK(rig.stored().bike == "Made-up tourer");
    REQUIRE(snapshot.recent.size() == 1);
    CHECK(snapshot.recent.front().title == "Drone");
    // The same name again would be another folder, and that folder is taken.
    CHECK(rig.desk->folderForNewJob(folder.getFileName()) != folder);
    rig.desk->newJob(folder, {"Other", "", "", ""});
    rig.settle();
    CHECK(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->jobSnapshot().message.contains("is a job already"));
    CHECK(rig.stored().title == "Drone");
}

TEST_CASE("What cannot be opened leaves the open job as it is and says why", "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::File before = rig.desk->openFolder();
    rig.desk->openJob(plugin::toFile(rig.folder.path() / "nowhere"));
    rig.settle();
    CHECK(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->jobSnapshot().message.contains("nowhere"));
    CHECK(rig.desk->openFolder() == before);
    CHECK(rig.processor.snapshot().job != nullptr);
    rig.desk->dismissMessage();
    CHECK(rig.desk->jobSnapshot().message.isEmpty());
}

TEST_CASE("A closed job is neither heard nor shown, and can be opened again from the list",
          "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::File folder = rig.desk->openFolder();
    rig.desk->closeJob();
    rig.settle();
    CHECK(rig.desk->openFolder() == juce::File());
    CHECK(rig.processor.snapshot().job == nullptr);
    CHECK_FALSE(rig.tuning->tuningSnapshot().hasJob);
    REQUIRE(rig.desk->jobSnapshot().recent.size() == 1);
    rig.desk->openJob(rig.desk->jobSnapshot().recent.front().folder);
    rig.settle();
    CHECK(rig.desk->openFolder() == folder);
    CHECK(rig.processor.snapshot().job != nullptr);
}

TEST_CASE("A job whose folder has gone is shown as missing", "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::File folder = rig.desk->openFolder();
    CHECK_FALSE(rig.desk->jobSnapshot().recent.front().isMissing);
    rig.desk->closeJob();
    REQUIRE(folder.moveFileTo(folder.getSiblingFile("elsewhere")));
    rig.settle();
    CHECK(rig.desk->jobSnapshot().recent.front().isMissing);
}

TEST_CASE("The list of jobs survives the settings file, newest first and not for ever",
          "[plugin][jobs]")
{
    plugin::RecentJobs recent;
    const juce::File root = juce::File::getSpecialLocation(juce::File::tempDirectory);
    for (int number = 0; number < 12; ++number)
        recent.add(root.getChildFile("job " + juce::String(number)), "Job " + juce::String(number));
    recent.add(root.getChildFile("job 9"), "Job 9, renamed");
    const auto entries = plugin::RecentJobs::fromXml(*recent.toXml()).entries();
    REQUIRE(entries.size() == plugin::RecentJobs::maxEntries);
    CHECK(entries == recent.entries());
    CHECK(entries[0].title == "Job 9, renamed");
    CHECK(entries[1].title == "Job 11");
    CHECK(entries[7].title == "Job 4");
    juce::XmlElement damaged("recentJobs");
    damaged.createNewChildElement("job")->setAttribute("folder", "not absolute");
    CHECK(plugin::RecentJobs::fromXml(damaged).entries().empty());
}

TEST_CASE("Undo goes through the program in the order of the edits", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::String oldTitle = rig.desk->jobSnapshot().open->fields.title;
    gui::JobFields fields = rig.desk->jobSnapshot().open->fields;
    fields.title = "Renamed";
    rig.desk->setFields(fields);
    rig.choose(ids::speedKmh, 100.0);
    rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    rig.settle();
    rig.choose(ids::earPlugs, 1.0);

    CHECK(rig.desk->jobSnapshot().undoWords == "ear plugs");
    rig.desk->undo();
    CHECK(valueOf(rig, ids::earPlugs) == 0.0);
    CHECK(rig.desk->jobSnapshot().message.contains("ear plugs"));
    CHECK(rig.desk->jobSnapshot().undoWords.containsIgnoreCase("peaking added"));
    rig.desk->undo();
    rig.settle();
    CHECK(rig.tuning->tuningSnapshot().elements.empty());
    CHECK(rig.desk->jobSnapshot().undoWords == "speed");
    rig.desk->undo();
    rig.settle();
    CHECK(valueOf(rig, ids::speedKmh) == Approx(80.0).margin(1e-3)); // as the job starts
    CHECK(rig.stored().title == "Renamed");
    rig.desk->undo();
    rig.settle();
    CHECK(rig.stored().title == oldTitle.toStdString());
    CHECK(rig.desk->jobSnapshot().open->fields.title == oldTitle);
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());

    for (int step = 0; step < 4; ++step)
        rig.desk->redo();
    rig.settle();
    CHECK(rig.stored().title == "Renamed");
    CHECK(valueOf(rig, ids::speedKmh) == Approx(100.0).margin(1e-3));
    CHECK(rig.tuning->tuningSnapshot().elements.size() == 1);
    CHECK(valueOf(rig, ids::earPlugs) == 1.0);
    CHECK(rig.desk->jobSnapshot().redoWords.isEmpty());
}

TEST_CASE("A new candidate's own choice is no edit, and undo takes both back",
          "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const std::size_t before = rig.tuning->tuningSnapshot().candidates.size();
    rig.tuning->addCandidate();
    rig.settle();
    CHECK(valueOf(rig, ids::candidate) == static_cast<double>(before + 1));
    CHECK(rig.desk->jobSnapshot().undoWords.startsWith("new candidate"));
    rig.desk->undo();
    rig.settle();
    CHECK(rig.tuning->tuningSnapshot().candidates.size() == before);
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
    CHECK(rig.desk->jobSnapshot().redoWords.startsWith("new candidate"));
}

TEST_CASE("Taking a choice back leaves what was chosen for another reason", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    rig.choose(ids::speedKmh, 60.0);
    // The desk chooses its new candidate, which is none of the listener's steps.
    rig.tuning->addCandidate();
    rig.settle();
    const double chosen = valueOf(rig, ids::candidate);
    rig.choose(ids::speedKmh, 120.0);
    rig.desk->undo();
    CHECK(valueOf(rig, ids::speedKmh) == Approx(60.0).margin(1e-3));
    CHECK(valueOf(rig, ids::candidate) == chosen);
}

TEST_CASE("Undo never turns the sound up by its own level", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    rig.choose(ids::outputLevelDb, -3.0);
    rig.choose(ids::outputLevelDb, -50.0);
    rig.choose(ids::ceilingDbfs, -20.0);
    rig.choose(ids::headphoneSplDb, 110.0);
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
    rig.desk->undo();
    CHECK(valueOf(rig, ids::outputLevelDb) == Approx(-50.0));
}

TEST_CASE("A drag along the road is one step", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    for (int move = 1; move <= 10; ++move) {
        gui::setParameter(rig.processor.parameters(), ids::speedKmh, 80.0 + 4.0 * move);
        rig.choices->update();
    }
    rig.settle();
    rig.desk->undo();
    CHECK(valueOf(rig, ids::speedKmh) == Approx(80.0).margin(1e-3)); // as the job starts
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
}

TEST_CASE("What others have written into the job stays when a field is typed", "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const std::filesystem::path file = plugin::toPath(rig.desk->openFolder()) / "job.json";
    auto document = files::loadJson(file);
    REQUIRE(document);
    (*document)["ofALaterVersion"] = 7;
    test::writeBytes(file, files::jsonText(*document));
    gui::JobFields fields = rig.desk->jobSnapshot().open->fields;
    fields.question = "Louder at 70?";
    rig.desk->setFields(fields);
    rig.settle();
    document = files::loadJson(file);
    REQUIRE(document);
    CHECK((*document)["ofALaterVersion"] == 7);
    CHECK((*document)["question"] == "Louder at 70?");
    CHECK(rig.desk->jobSnapshot().open->candidates.size() == 3);
}

TEST_CASE("The proposed candidate is kept in the job through a saved tuning, and can be undone",
          "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    CHECK_FALSE(rig.desk->jobSnapshot().open->proposed);
    rig.desk->setProposed(1);
    rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    REQUIRE(rig.tuning->save());
    rig.settle();
    CHECK(rig.desk->jobSnapshot().open->proposed == std::optional<std::size_t>(1));
    CHECK(plugin::entriesOf(rig.stored()).proposed == std::optional<std::size_t>(1));
    rig.desk->undo();
    rig.desk->undo();
    CHECK_FALSE(plugin::entriesOf(rig.stored()).proposed);
    rig.settle();
}

TEST_CASE("A state that was added is taken out again by undo, and its files stay",
          "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const job::Job before = rig.stored();
    const auto response = measure::loadResponse(before.folder / before.states.front().file);
    REQUIRE(response);
    rig.choose(ids::speedKmh, 100.0);
    const std::string id = rig.addState(*response);
    const job::Job with = rig.stored();
    REQUIRE(with.states.size() == before.states.size() + 1);
    const auto file = with.folder / with.states.back().file;
    const std::string bytes = test::bytesOf(file);
    CHECK(rig.desk->jobSnapshot().undoWords == "state " + juce::String(id) + " added to the job");

    rig.desk->undo();
    rig.settle();
    CHECK(rig.desk->jobSnapshot().message.startsWith("Taken back: state"));
    CHECK(rig.stored().states == before.states);
    CHECK(rig.stored().candidates == before.candidates);
    CHECK(rig.processor.snapshot().job->candidates.size() == before.candidates.size());
    CHECK(rig.desk->jobSnapshot().open->numStates == before.states.size());
    CHECK(test::bytesOf(file) == bytes);
    CHECK(rig.desk->jobSnapshot().undoWords == "speed"); // in its turn

    rig.desk->redo();
    rig.settle();
    CHECK(rig.stored().states == with.states);
    CHECK(rig.stored().candidates == with.candidates);
    CHECK(rig.processor.snapshot().job->candidates.size() == with.candidates.size());

    // What cannot be read any more is not put back.
    rig.desk->undo();
    rig.settle();
    std::filesystem::remove(file);
    rig.desk->redo();
    rig.settle();
    CHECK(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.stored().states == before.states);
    CHECK(rig.desk->jobSnapshot().redoWords.isNotEmpty());
}

TEST_CASE("Taking a state out leaves what is being edited", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const job::Job before = rig.stored();
    const auto response = measure::loadResponse(before.folder / before.states.front().file);
    REQUIRE(response);
    rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    rig.settle();
    rig.addState(*response);
    rig.desk->undo();
    rig.settle();
    CHECK(rig.stored().states == before.states);
    CHECK(rig.tuning->tuningSnapshot().hasUnsaved);
    CHECK(rig.processor.snapshot().job->candidates.size() == before.candidates.size());
    REQUIRE(rig.tuning->save());
    rig.settle();
    CHECK(job::checkJob(rig.stored()).empty());
    CHECK(rig.stored().candidates.size() == before.candidates.size());
    rig.desk->redo();
    rig.settle();
    CHECK(rig.stored().states.size() == before.states.size() + 1);
    CHECK(job::checkJob(rig.stored()).empty());
}

TEST_CASE("The first state of a job is taken out and put back as well", "[plugin][jobs][edits]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const job::Job other = rig.stored();
    const auto response = measure::loadResponse(other.folder / other.states.front().file);
    REQUIRE(response);
    rig.desk->newJob(rig.desk->folderForNewJob("New"), {"New", "", "", ""});
    rig.settle();
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
    rig.addState(*response);
    REQUIRE(rig.processor.snapshot().job != nullptr);
    rig.desk->undo();
    rig.settle();
    CHECK(rig.processor.snapshot().job == nullptr);
    REQUIRE(rig.desk->jobSnapshot().open != nullptr);
    CHECK(rig.desk->jobSnapshot().open->numStates == 0);
    rig.desk->redo();
    rig.settle();
    REQUIRE(rig.processor.snapshot().job != nullptr);
    CHECK(rig.stored().states.size() == 1);
    // Another job has edits of its own.
    rig.desk->openJob(plugin::toFile(other.folder));
    rig.settle();
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
}

TEST_CASE("A field that cannot be written keeps its old text, and says so", "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::File file = rig.desk->openFolder().getChildFile("job.json");
    REQUIRE(file.replaceWithText("not a job any more"));
    gui::JobFields fields = rig.desk->jobSnapshot().open->fields;
    const juce::String before = fields.title;
    fields.title = "Never stored";
    rig.desk->setFields(fields);
    CHECK(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->jobSnapshot().open->fields.title == before);
    CHECK(rig.desk->jobSnapshot().undoWords.isEmpty());
    CHECK(file.loadFileAsString() == "not a job any more");
}

TEST_CASE("The report is worked out while it is looked at, and written into the job",
          "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    CHECK(rig.desk->jobSnapshot().report.content == nullptr);
    rig.desk->setReportShown(true);
    rig.settle();
    REQUIRE(rig.desk->jobSnapshot().report.content != nullptr);
    CHECK(rig.desk->jobSnapshot().report.content->candidates.size() == 3);
    CHECK(rig.desk->jobSnapshot().report.written == juce::File());
    gui::JobFields fields = rig.desk->jobSnapshot().open->fields;
    fields.question = "Is it the radio, or the road <noise>?";
    rig.desk->setFields(fields);
    rig.settle();
    CHECK(juce::String(rig.desk->jobSnapshot().report.content->question) == fields.question);

    rig.desk->writeReport();
    CHECK(rig.desk->jobSnapshot().task.task == gui::JobTask::reporting);
    rig.settle();
    const gui::ReportView report = rig.desk->jobSnapshot().report;
    REQUIRE(report.written.existsAsFile());
    CHECK(report.written.getParentDirectory() == rig.desk->openFolder());
    CHECK(report.writtenWords.contains(report.written.getFullPathName()));
    CHECK(report.written.loadFileAsString().contains("or the road &lt;noise&gt;?"));
    CHECK(report.written.getSiblingFile("report.curves.csv").existsAsFile());
    rig.desk->openReport();
    CHECK(rig.openedFile == report.written);
    rig.desk->showJobFolder();
    CHECK(rig.shownFolder == rig.desk->openFolder());
}

TEST_CASE("A job is copied, packed and unpacked, and the unpacked one opens", "[plugin][jobs]")
{
    JobRig rig;
    rig.openMadeUpJob();
    const juce::File open = rig.desk->openFolder();
    const juce::File copy = open.getSiblingFile("a copy");
    rig.desk->copyJob(copy);
    rig.settle();
    CHECK_FALSE(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->openFolder() == open);
    CHECK(copy.getChildFile("job.json").loadFileAsString()
          == open.getChildFile("job.json").loadFileAsString());
    rig.desk->copyJob(copy);
    rig.settle();
    CHECK(rig.desk->jobSnapshot().messageIsProblem);

    const juce::File zip = open.getSiblingFile("kept.zip");
    rig.desk->archiveJob(zip);
    rig.settle();
    CHECK_FALSE(rig.desk->jobSnapshot().messageIsProblem);
    REQUIRE(zip.existsAsFile());
    rig.desk->unpackJob(zip);
    rig.settle();
    CHECK_FALSE(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->openFolder() == plugin::toFile(rig.folder.path() / "jobs" / "kept"));
    CHECK(rig.processor.snapshot().job != nullptr);

    const juce::File broken = open.getSiblingFile("broken.zip");
    REQUIRE(broken.replaceWithText("no archive"));
    rig.desk->unpackJob(broken);
    rig.settle();
    CHECK(rig.desk->jobSnapshot().messageIsProblem);
    CHECK(rig.desk->openFolder() == plugin::toFile(rig.folder.path() / "jobs" / "kept"));
}

TEST_CASE("A cancelled demo leaves nothing behind", "[plugin][jobs]")
{
    JobRig rig;
    rig.desk->makeDemo({});
    CHECK(rig.desk->jobSnapshot().task.task == gui::JobTask::demo);
    rig.desk->cancelTask();
    rig.settle();
    const gui::JobSnapshot snapshot = rig.desk->jobSnapshot();
    CHECK(snapshot.task.task == gui::JobTask::none);
    CHECK(snapshot.open == nullptr);
    CHECK(snapshot.message.contains("Cancelled"));
    CHECK_FALSE(snapshot.messageIsProblem);
    CHECK_FALSE(std::filesystem::exists(rig.folder.path() / "demo (invented)"));
}

TEST_CASE("A demo that is there already is opened and not made again", "[plugin][jobs]")
{
    JobRig rig;
    test::writeMadeUpJob(rig.folder.path() / "demo (invented)" / "job", "Made before");
    rig.desk->makeDemo({});
    rig.settle();
    REQUIRE(rig.desk->jobSnapshot().open != nullptr);
    CHECK(rig.desk->jobSnapshot().open->fields.title == "Made before");
}
