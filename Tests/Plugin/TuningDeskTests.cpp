#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Tuning/TuningFile.h"
#include "Gui/ElementWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Paths.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace saddletone;
using test::TuningRig;
using tuning::ElementType;

namespace {

gui::DraftElement peaking(double frequencyHz, double gainDb, double q = 1.0)
{
    gui::DraftElement draft = gui::newElement(ElementType::peaking);
    draft.element.frequencyHz = frequencyHz;
    draft.element.gainDb = gainDb;
    draft.element.q = q;
    return draft;
}

std::vector<gui::DraftElement> elementsOf(TuningRig& rig)
{
    return rig.desk->tuningSnapshot().elements;
}

double gainOf(TuningRig& rig, std::size_t index)
{
    return elementsOf(rig).at(index).element.gainDb;
}

} // namespace

TEST_CASE("The desk shows a job's candidates with their elements", "[plugin][tuning]")
{
    TuningRig rig;
    gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.hasJob);
    REQUIRE(snapshot.candidates.size() == 3);
    CHECK(snapshot.candidates[2].name == "Touring profile, less boom");
    CHECK(snapshot.candidates[2].stateName == "touring");
    CHECK(snapshot.edited == 0);
    CHECK(snapshot.elements.empty());
    CHECK_FALSE(snapshot.hasUnsaved);
    CHECK_FALSE(snapshot.canUndo);
    rig.desk->editCandidate(2);
    snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.elements.size() == 1);
    CHECK(snapshot.elements[0].element.frequencyHz == 150.0);
    CHECK(gui::parameterValue(rig.processor.parameters(), gui::parameterIds::candidate) == 3.0);
}

TEST_CASE("A changed element is heard as it is meant", "[plugin][tuning]")
{
    TuningRig rig;
    const double before = rig.sineLevelDb(1000.0);
    const std::size_t index = rig.desk->addElement(peaking(1000.0, -9.0));
    rig.settle();
    // The sine's level may move by the kernel's end, which the filter rings beyond: 0.1 dB.
    CHECK(rig.sineLevelDb(1000.0) - before == Approx(-9.0).margin(0.1));
    gui::DraftElement off = elementsOf(rig)[index];
    off.isOn = false;
    rig.desk->changeElement(index, off, {});
    rig.settle();
    CHECK(rig.sineLevelDb(1000.0) - before == Approx(0.0).margin(0.01));
    rig.desk->undo();
    rig.desk->changeElement(index, peaking(1000.0, 6.0), {});
    rig.settle();
    CHECK(rig.sineLevelDb(1000.0) - before == Approx(6.0).margin(0.1));
}

TEST_CASE("A change of the first candidate's level is heard though levels refer to it",
          "[plugin][tuning]")
{
    TuningRig rig;
    const double before = rig.sineLevelDb(500.0);
    gui::DraftElement gain = gui::newElement(ElementType::gain);
    gain.element.gainDb = -8.0;
    rig.desk->addElement(gain);
    rig.settle();
    CHECK(rig.sineLevelDb(500.0) - before == Approx(-8.0).margin(0.01));
}

TEST_CASE("Only the edited candidate is built anew", "[plugin][tuning]")
{
    test::TemporaryFolder folder;
    const job::Job job = test::writeMadeUpJob(folder.path() / "job", "Made-up job");
    const auto loaded = plugin::loadJobForAudition(job.folder);
    REQUIRE(loaded);
    const auto layout = audition::PartitionLayout::forTaps(16384);
    const auto whole =
        plugin::buildSceneForAudition(*loaded, plugin::SceneChoice {}, layout, 48000.0, nullptr);
    REQUIRE(whole);

    plugin::StoredDocument stored = plugin::readDocument(**loaded, 1);
    stored.document.candidates[1].elements.push_back(peaking(300.0, 4.0));
    stored.document.candidates[2].name = "Another name";
    const auto edited =
        plugin::editedJob(**loaded, stored.document, (*loaded)->request.candidates.front());
    const auto rebuilt = plugin::buildSceneForAudition(edited, plugin::SceneChoice {}, layout,
                                                       48000.0, whole->kept.get());
    REQUIRE(rebuilt);
    const auto kernelOf = [](const plugin::BuiltScene& built, std::size_t index) {
        return built.scene->candidates[index].kernels[0][0];
    };
    CHECK(kernelOf(*rebuilt, 0) == kernelOf(*whole, 0));
    CHECK(kernelOf(*rebuilt, 1) != kernelOf(*whole, 1));
    CHECK(kernelOf(*rebuilt, 2) == kernelOf(*whole, 2));
    CHECK(rebuilt->scene->candidates[2].name == "Another name");
    CHECK(rebuilt->kept->view->candidates[2].name == "Another name");

    // What was built piece by piece is what would have been built at once.
    const auto atOnce =
        plugin::buildSceneForAudition(edited, plugin::SceneChoice {}, layout, 48000.0, nullptr);
    REQUIRE(atOnce);
    for (std::size_t index = 0; index < 3; ++index) {
        CHECK(rebuilt->scene->candidates[index].level == atOnce->scene->candidates[index].level);
        CHECK(rebuilt->scene->candidates[index].matchGainDb
              == atOnce->scene->candidates[index].matchGainDb);
        CHECK(rebuilt->kept->view->candidates[index].octaveSplDb
              == atOnce->kept->view->candidates[index].octaveSplDb);
    }
}

TEST_CASE("Changes that come faster than they can be built leave out those in between",
          "[plugin][tuning]")
{
    TuningRig rig;
    const double before = rig.sineLevelDb(1000.0);
    const std::size_t index = rig.desk->addElement(peaking(1000.0, 0.0));
    for (int step = 1; step <= 200; ++step)
        rig.desk->changeElement(index, peaking(1000.0, -0.05 * step), "drag");
    rig.desk->endRun();
    CHECK(rig.desk->tuningSnapshot().isBuilding);
    rig.settle();
    CHECK_FALSE(rig.desk->tuningSnapshot().isBuilding);
    CHECK(rig.sineLevelDb(1000.0) - before == Approx(-10.0).margin(0.1));
    rig.desk->undo();
    CHECK(gainOf(rig, index) == 0.0);
}

TEST_CASE("Undo and redo go through elements and candidates, and show where they act",
          "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->editCandidate(1);
    rig.desk->addElement(peaking(200.0, -3.0));
    rig.desk->addCandidate();
    gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.candidates.size() == 4);
    CHECK(snapshot.edited == 3);
    CHECK(snapshot.candidates[3].name == "Touring profile 2");
    CHECK(snapshot.elements.size() == 1);
    rig.desk->removeElement(0);
    rig.desk->renameCandidate("Plain touring");
    rig.desk->editCandidate(0);
    rig.desk->undo();
    snapshot = rig.desk->tuningSnapshot();
    CHECK(snapshot.edited == 3);
    CHECK(snapshot.candidates[3].name == "Touring profile 2");
    rig.desk->undo();
    CHECK(elementsOf(rig).size() == 1);
    rig.desk->undo();
    CHECK(rig.desk->tuningSnapshot().candidates.size() == 3);
    rig.desk->undo();
    CHECK_FALSE(rig.desk->tuningSnapshot().canUndo);
    CHECK_FALSE(rig.desk->tuningSnapshot().hasUnsaved);
    for (int step = 0; step < 4; ++step)
        rig.desk->redo();
    snapshot = rig.desk->tuningSnapshot();
    CHECK(snapshot.candidates.at(3).name == "Plain touring");
    CHECK_FALSE(snapshot.canRedo);

    rig.desk->editCandidate(3);
    rig.desk->deleteCandidate();
    CHECK(rig.desk->tuningSnapshot().candidates.size() == 3);
    rig.desk->undo();
    snapshot = rig.desk->tuningSnapshot();
    CHECK(snapshot.candidates.at(3).name == "Plain touring");
    CHECK(snapshot.edited == 3);
    rig.settle();
    CHECK(rig.processor.snapshot().job->candidates.size() == 4);
    CHECK(rig.processor.snapshot().problem.isEmpty());
}

TEST_CASE("The last candidate and the ninth are refused in words", "[plugin][tuning]")
{
    TuningRig rig;
    while (rig.desk->tuningSnapshot().candidates.size() < 8)
        rig.desk->addCandidate();
    rig.desk->addCandidate();
    CHECK(rig.desk->tuningSnapshot().candidates.size() == 8);
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
    for (int time = 0; time < 9; ++time)
        rig.desk->deleteCandidate();
    CHECK(rig.desk->tuningSnapshot().candidates.size() == 1);
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
    rig.settle();
}

TEST_CASE("What is saved is what is opened again", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->editCandidate(1);
    rig.desk->addElement(peaking(180.0, -4.5, 2.0));
    gui::DraftElement left = gui::newElement(ElementType::delay);
    left.group = tuning::OutputGroup::left;
    left.isOn = false;
    rig.desk->addElement(left);
    gui::DraftElement graphic = gui::newElement(ElementType::graphic);
    graphic.element.bandGainsDb[7] = -3.0;
    rig.desk->addElement(graphic);
    gui::DraftElement limiter = gui::newElement(ElementType::limiter);
    limiter.isOn = false;
    rig.desk->addElement(limiter);
    rig.desk->addCandidate();
    rig.desk->removeElement(0);
    const std::vector<gui::DraftElement> copied = elementsOf(rig);
    rig.desk->editCandidate(1);
    const std::vector<gui::DraftElement> edited = elementsOf(rig);
    rig.desk->editCandidate(2);
    rig.desk->deleteCandidate();
    CHECK(rig.desk->tuningSnapshot().hasUnsaved);
    REQUIRE(rig.desk->save());
    CHECK_FALSE(rig.desk->tuningSnapshot().hasUnsaved);
    rig.settle();
    const auto heard = rig.processor.snapshot().job;

    const auto job = job::loadJob(rig.job.folder);
    REQUIRE(job);
    CHECK(job::checkJob(*job).empty());
    REQUIRE(job->candidates.size() == 3);
    CHECK(std::filesystem::exists(rig.job.folder / "job.previous.json"));
    // The file of the deleted candidate stays: the previous version names it.
    CHECK(std::filesystem::exists(rig.job.folder / "less-boom.json"));
    const auto tuning = tuning::loadTuning(rig.job.folder / job->candidates[1].tuningFile);
    REQUIRE(tuning);
    std::size_t numOn = 0;
    for (const tuning::Chain& chain : tuning->chains)
        numOn += chain.elements.size();
    CHECK(numOn == 2);

    plugin::AuditionProcessor other;
    plugin::TuningDesk desk(other, juce::File());
    other.openJob(plugin::toFile(rig.job.folder));
    while (other.snapshot().busy || desk.isBusy())
        desk.update();
    desk.editCandidate(1);
    CHECK(desk.tuningSnapshot().elements == edited);
    desk.editCandidate(2);
    CHECK(desk.tuningSnapshot().elements == copied);
    CHECK(desk.tuningSnapshot().candidates[2].name == "Touring profile 2");
    other.prepareToPlay(TuningRig::sampleRate, 512);
    const auto again = other.snapshot().job;
    REQUIRE(again->candidates.size() == heard->candidates.size());
    for (std::size_t index = 0; index < heard->candidates.size(); ++index)
        CHECK(again->candidates[index].octaveSplDb == heard->candidates[index].octaveSplDb);
}

TEST_CASE("Saving keeps what others have added to the job", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(100.0, 2.0));
    auto job = job::loadJob(rig.job.folder);
    REQUIRE(job);
    const auto response = measure::loadResponse(rig.job.folder / "delivered.json");
    REQUIRE(response);
    REQUIRE(job::addState(*job, *response, "later", "Measured later"));
    REQUIRE(rig.desk->save());
    rig.desk->renameCandidate("As it came");
    REQUIRE(rig.desk->save());
    job = job::loadJob(rig.job.folder);
    REQUIRE(job);
    CHECK(job->states.size() == 3);
    REQUIRE(job->candidates.size() == 4);
    CHECK(job->candidates[0].name == "As it came");
    CHECK(job->candidates[3].name == "Measured later");
}

TEST_CASE("A state added to the open job does not undo what is being edited", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(100.0, 2.0));
    auto job = job::loadJob(rig.job.folder);
    REQUIRE(job);
    const auto response = measure::loadResponse(rig.job.folder / "touring.json");
    REQUIRE(response);
    REQUIRE(job::addState(*job, *response, "later", "Measured later"));
    rig.processor.openJob(plugin::toFile(rig.job.folder));
    rig.settle();
    const gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.candidates.size() == 4);
    CHECK(snapshot.candidates[3].name == "Measured later");
    CHECK(snapshot.elements.size() == 1);
    CHECK(snapshot.hasUnsaved);
    CHECK(rig.processor.snapshot().job->candidates.size() == 4);
    CHECK(snapshot.candidates[0].isUnsaved);
    CHECK_FALSE(snapshot.candidates[1].isUnsaved);
}

TEST_CASE("A save that cannot be written says so and leaves the job as it was", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(100.0, 2.0));
    const auto before = files::readTextFile(rig.job.folder / "job.json");
    // A file where the folder for tunings would be.
    REQUIRE(files::writeTextFile(rig.job.folder / "tunings", "in the way"));
    CHECK_FALSE(rig.desk->save());
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
    CHECK(rig.desk->tuningSnapshot().hasUnsaved);
    CHECK(*files::readTextFile(rig.job.folder / "job.json") == *before);
    std::filesystem::remove(rig.job.folder / "tunings");
    CHECK(rig.desk->save());
}

TEST_CASE("What has not been saved can be forgotten", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(100.0, 2.0));
    rig.desk->discardUnsaved();
    CHECK(elementsOf(rig).empty());
    CHECK_FALSE(rig.desk->tuningSnapshot().hasUnsaved);
    CHECK_FALSE(rig.desk->tuningSnapshot().canUndo);
    rig.settle();
}

TEST_CASE("A fit of filters runs in the background and is one step", "[plugin][tuning]")
{
    TuningRig rig;
    gui::DraftElement protection = gui::newElement(ElementType::highPass);
    rig.desk->addElement(protection);
    rig.desk->addElement(peaking(1000.0, 8.0));
    rig.settle();
    rig.desk->fitFilters();
    CHECK(rig.desk->tuningSnapshot().task == gui::TuningTask::filters);
    CHECK(elementsOf(rig).size() == 2);
    rig.settle();
    const gui::TuningSnapshot fitted = rig.desk->tuningSnapshot();
    INFO(fitted.message);
    CHECK(fitted.task == gui::TuningTask::none);
    CHECK_FALSE(fitted.messageIsProblem);
    CHECK(fitted.message.contains("strayed from the target by"));
    REQUIRE(fitted.elements.size() >= 2);
    // What protects the speaker stays; the filter on all speakers has given way to the fit's.
    CHECK(fitted.elements[0].element == protection.element);
    CHECK(std::ranges::none_of(fitted.elements, [](const gui::DraftElement& each) {
        return each == peaking(1000.0, 8.0);
    }));
    rig.desk->undo();
    CHECK(elementsOf(rig) == std::vector {protection, peaking(1000.0, 8.0)});
    rig.desk->redo();
    CHECK(elementsOf(rig) == fitted.elements);
    rig.settle();
}

TEST_CASE("A fit overtaken by a change is dropped in words", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->fitFilters();
    rig.desk->addElement(peaking(1000.0, 8.0));
    rig.settle();
    CHECK(elementsOf(rig) == std::vector {peaking(1000.0, 8.0)});
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
}

TEST_CASE("Tone controls are fitted with the radio's own steps", "[plugin][tuning]")
{
    TuningRig rig;
    REQUIRE(rig.desk->tuningSnapshot().toneControls.chosen == 0);
    gui::TargetChoice target;
    target.kind = gui::TargetKind::bassShelf;
    target.bassShelf = {.gainDb = 6.0, .frequencyHz = 100.0};
    rig.desk->setTarget(target);
    rig.desk->fitToneControls();
    rig.settle();
    const gui::TuningSnapshot fitted = rig.desk->tuningSnapshot();
    INFO(fitted.message);
    CHECK_FALSE(fitted.messageIsProblem);
    REQUIRE_FALSE(fitted.elements.empty());
    const auto bass = std::ranges::find_if(fitted.elements, [](const gui::DraftElement& each) {
        return each.element.type == ElementType::lowShelf;
    });
    REQUIRE(bass != fitted.elements.end());
    CHECK(bass->element.gainDb > 0.0);
    CHECK(std::remainder(bass->element.gainDb, 2.0) == Approx(0.0).margin(1e-9));
    rig.desk->undo();
    CHECK(elementsOf(rig).empty());
    rig.settle();
}

TEST_CASE("A target file that cannot be read leaves the target as it was", "[plugin][tuning]")
{
    TuningRig rig;
    gui::TargetChoice target;
    target.kind = gui::TargetKind::file;
    target.file = plugin::toFile(rig.job.folder / "no-such-target.csv");
    rig.desk->setTarget(target);
    CHECK(rig.desk->tuningSnapshot().target.kind == gui::TargetKind::flat);
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
    REQUIRE(files::writeTextFile(rig.job.folder / "target.csv", "50;6\n1000;0\n10000;-3\n"));
    target.file = plugin::toFile(rig.job.folder / "target.csv");
    rig.desk->setTarget(target);
    const gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    CHECK(snapshot.target.kind == gui::TargetKind::file);
    CHECK_FALSE(snapshot.messageIsProblem);
    const auto& hz = snapshot.curves->frequenciesHz;
    const auto at = [&](double frequencyHz) {
        return snapshot.curves->targetDb[static_cast<std::size_t>(
            std::ranges::lower_bound(hz, frequencyHz) - hz.begin())];
    };
    // A twelfth of an octave beside the point the table is off by at most 0.12 dB.
    CHECK(at(50.0) - at(1000.0) == Approx(6.0).margin(0.12));
    rig.settle();
}

TEST_CASE("Verdict and cost are told in words", "[plugin][tuning]")
{
    TuningRig rig;
    gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.verdict);
    CHECK(snapshot.verdict->headline.isNotEmpty());
    CHECK(snapshot.verdict->sentences.size() >= 3);
    REQUIRE(snapshot.cost);
    CHECK(snapshot.speakers.names[0] == "Made-up speaker");
    CHECK(snapshot.speakers.chosen == 0);
    const gui::FindingView before = *snapshot.cost;
    CHECK_FALSE(before.sentences.isEmpty());
    rig.desk->addElement(peaking(60.0, 12.0));
    rig.settle();
    snapshot = rig.desk->tuningSnapshot();
    REQUIRE(snapshot.cost);
    CHECK_FALSE(*snapshot.cost == before);
    rig.desk->chooseSpeaker(-1);
    rig.settle();
    CHECK(rig.desk->tuningSnapshot().cost->headline.contains("Choose the speaker"));
}

TEST_CASE("Settings are exported by the ending of the file", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(180.0, -4.5, 2.0));
    for (const char* const name : {"settings.txt", "settings.csv", "settings.json"}) {
        const juce::File file = plugin::toFile(rig.folder.path() / name);
        rig.desk->exportSettings(file);
        INFO(rig.desk->tuningSnapshot().message);
        CHECK_FALSE(rig.desk->tuningSnapshot().messageIsProblem);
        CHECK(file.loadFileAsString().isNotEmpty());
    }
    CHECK(plugin::toFile(rig.folder.path() / "settings.txt").loadFileAsString().contains("180"));
    rig.desk->exportSettings(plugin::toFile(rig.folder.path() / "settings.doc"));
    CHECK(rig.desk->tuningSnapshot().messageIsProblem);
    rig.settle();
}

TEST_CASE("On Tuning the candidate is heard whatever Listen is set to", "[plugin][tuning]")
{
    TuningRig rig;
    const double before = rig.sineLevelDb(1000.0);
    gui::setParameter(rig.processor.parameters(), gui::parameterIds::monitor, 2.0);
    CHECK(rig.sineLevelDb(1000.0) == Approx(before).margin(0.001));
    gui::setParameter(rig.processor.parameters(), gui::parameterIds::bypass, 1.0);
    rig.desk->addElement(peaking(1000.0, -9.0));
    rig.settle();
    CHECK(rig.sineLevelDb(1000.0) - before == Approx(-9.0).margin(0.1));
    CHECK(rig.desk->tuningSnapshot().limits.isEmpty());
    gui::setParameter(rig.processor.parameters(), gui::parameterIds::levelMatch, 1.0);
    CHECK(rig.desk->tuningSnapshot().limits.contains("equal loudness"));
}

TEST_CASE("On Tuning the bike stands still whatever speed is set", "[plugin][tuning]")
{
    TuningRig rig;
    gui::setParameter(rig.processor.parameters(), gui::parameterIds::speedKmh, 130.0);
    const auto silence = test::makeSine(100.0, 0.0, TuningRig::sampleRate,
                                        static_cast<std::size_t>(2.0 * TuningRig::sampleRate));
    rig.play(silence); // the noise's gain glides away
    const test::TuningStereo parked = rig.play(silence);
    CHECK(*std::ranges::max_element(parked[0]) == 0.0F);
    rig.desk->setShown(false);
    rig.play(silence);
    const test::TuningStereo riding = rig.play(silence);
    CHECK(*std::ranges::max_element(riding[0]) > 0.001F);
}

TEST_CASE("The prediction is the measured curve with the tuning on it", "[plugin][tuning]")
{
    TuningRig rig;
    rig.desk->addElement(peaking(1000.0, 5.0));
    gui::DraftElement left = gui::newElement(ElementType::gain);
    left.element.gainDb = -6.0;
    left.group = tuning::OutputGroup::left;
    rig.desk->addElement(left);
    rig.desk->setBeside(1, true);
    const gui::TuningSnapshot snapshot = rig.desk->tuningSnapshot();
    const gui::TuningCurves& curves = *snapshot.curves;
    REQUIRE(curves.beside.size() == 1);
    CHECK(curves.beside[0].candidate == 1);
    // Left 6 dB lower, averaged with right in power.
    const double sides = dsp::powerToDb(0.5 * (1.0 + dsp::dbToPower(-6.0)));
    const gui::DraftElement bell = peaking(1000.0, 5.0);
    for (std::size_t point = 0; point < curves.frequenciesHz.size(); ++point) {
        const double frequencyHz = curves.frequenciesHz[point];
        const double meantDb =
            dsp::amplitudeToDb(std::abs(tuning::elementResponse(bell.element, frequencyHz)));
        // The mean over a twelfth of an octave of so broad a bell: 0.05 dB.
        CHECK(curves.predictedDb[point] - curves.measuredDb[point]
              == Approx(meantDb + sides).margin(0.05));
    }
    CHECK(curves.words.contains("from the target"));
    rig.settle();
}

TEST_CASE("Numbers are read with a comma or a dot whatever the locale", "[plugin][tuning]")
{
    CHECK(gui::parseNumber("1,5") == 1.5);
    CHECK(gui::parseNumber("1.5") == 1.5);
    CHECK(gui::parseNumber(" -3,25 dB") == -3.25);
    CHECK(gui::parseNumber(juce::String::fromUTF8("\xe2\x88\x92"
                                                  "6"))
          == -6.0);
    CHECK(gui::parseNumber("+4") == 4.0);
    CHECK(gui::parseNumber("2,5k") == 2500.0);
    CHECK(gui::parseNumber("2.5 kHz") == 2500.0);
    CHECK(gui::parseNumber("80 Hz") == 80.0);
    CHECK_FALSE(gui::parseNumber(""));
    CHECK_FALSE(gui::parseNumber("dB"));
    CHECK_FALSE(gui::parseNumber("1,000.5"));
    CHECK_FALSE(gui::parseNumber("1e999"));
    CHECK_FALSE(gui::parseNumber("nan"));
    CHECK(gui::numberWords(-0.04, 1) == "0.0");
    CHECK(gui::numberWords(1234.56, 0) == "1235");
    CHECK(gui::frequencyNumber(106.049) == "106");
    CHECK(gui::frequencyNumber(63.0957) == "63.1");
    CHECK(gui::numberWords(-6.0, 1)
          == juce::String::fromUTF8("\xe2\x88\x92"
                                    "6.0"));
}
