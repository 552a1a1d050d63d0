// The seat on the screen, what of it is kept in the job, and listening over the bike's speakers.
#include "Gui/AuditionEditor.h"
#include "Gui/FairnessStrip.h"
#include "Gui/LevelWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/RideWords.h"
#include "Plugin/Paths.h"
#include "Support/BlindRig.h"
#include "Support/EditorFixtures.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <functional>
#include <thread>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

/** A seat without a processor behind it: it remembers what it was asked for. */
class RecordingSeat final : public gui::SeatModel {
public:
    gui::SeatView seatView() override { return view; }
    void chooseHeadphones(const juce::File& table) override
    {
        asked = "table " + table.getFileName();
    }
    void chooseGenericHeadphones(int index) override { asked = "generic " + juce::String(index); }
    void setHeadphoneSplDb(double splDb) override { asked = "level " + juce::String(splDb, 1); }
    void setBinaural(bool shouldBeBinaural) override
    {
        asked = shouldBeBinaural ? "binaural" : "at the ears";
    }
    void chooseHeadSet(const juce::File& file) override { asked = "head " + file.getFileName(); }
    void listenOnThisBike(std::optional<std::size_t> candidate) override
    {
        asked += candidate ? "bike " + juce::String(static_cast<int>(*candidate))
                           : juce::String("headphones");
    }

    gui::SeatView view;
    juce::String asked;
};

/** Waits until the processor has nothing in hand any more. */
void settle(AuditionProcessor& processor)
{
    constexpr int mostRounds = 3000;
    // A change that has just been asked for is ordered at the next update.
    processor.update();
    for (int round = 0; round < mostRounds && processor.heard().isBuilding; ++round) {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        processor.update();
    }
    REQUIRE_FALSE(processor.heard().isBuilding);
}

juce::ComboBox& boxNamed(juce::Component& parent, const juce::String& title)
{
    std::vector<juce::Component*> controls;
    test::collectControls(parent, controls);
    for (juce::Component* const control : controls)
        if (control->getTitle() == title)
            if (auto* const box = dynamic_cast<juce::ComboBox*>(control))
                return *box;
    throw std::runtime_error("there is no box " + title.toStdString());
}

void pick(juce::ComboBox& box, const juce::String& words)
{
    for (int index = 0; index < box.getNumItems(); ++index)
        if (box.getItemText(index).contains(words)) {
            box.setSelectedItemIndex(index, juce::sendNotificationSync);
            return;
        }
    throw std::runtime_error("there is no item " + words.toStdString());
}

} // namespace

TEST_CASE("The seat panel asks for what is picked and says what is applied", "[plugin][seat]")
{
    RecordingSeat model;
    model.view.genericTables = {"closed (generic)", "open (generic)"};
    model.view.candidates = {"stock", "DSP"};
    model.view.finding = {"Over headphones:", {"Nothing is done."}, false};
    gui::SeatPanel panel(model);
    int numQuiet = 0;
    panel.onQuiet = [&] {
        ++numQuiet;
        model.asked = "quiet, ";
    };
    panel.setSize(628, 264);
    panel.refresh();
    std::vector<juce::Component*> controls;
    test::collectControls(panel, controls);
    CHECK(controls.size() == 5); // four choices and Close; the level is a field
    for (juce::Component* const control : controls) {
        INFO(control->getTitle());
        CHECK(control->getTitle().isNotEmpty());
        CHECK(control->getDescription().isNotEmpty());
        CHECK(panel.getLocalBounds().contains(
            panel.getLocalArea(control, control->getLocalBounds())));
    }

    juce::ComboBox& headphones = boxNamed(panel, "Headphones' table");
    CHECK(headphones.getText() == "not corrected");
    pick(headphones, "open (generic)");
    CHECK(model.asked == "generic 1");
    pick(boxNamed(panel, "Speakers heard from"), "binaural");
    CHECK(model.asked == "binaural");
    CHECK(numQuiet == 0);
    pick(boxNamed(panel, "Listen over"), "DSP");
    // The output is turned down first.
    CHECK(model.asked == "quiet, bike 1");

    model.view.headphoneTable = "phone.csv";
    model.view.headSet = "head.sofa";
    model.view.nowOnBike = 1;
    panel.refresh();
    CHECK(headphones.getText() == "phone.csv");
    CHECK(boxNamed(panel, "Head set").getText() == "head.sofa");
    CHECK(boxNamed(panel, "Listen over").getText().contains("2 DSP"));
    // None of it reaches the bike's speakers.
    CHECK_FALSE(headphones.isEnabled());
    CHECK(boxNamed(panel, "Listen over").isEnabled());
    pick(boxNamed(panel, "Listen over"), "headphones");
    CHECK(model.asked == "quiet, headphones");

    model.view.nowOnBike.reset();
    model.view.obstacle = "A blind test is under way.";
    panel.refresh();
    CHECK_FALSE(headphones.isEnabled());
    CHECK_FALSE(boxNamed(panel, "Listen over").isEnabled());
}

TEST_CASE("The seat opens by its key in place of the ride and closes again",
          "[plugin][editor][seat]")
{
    test::BlindRig rig;
    gui::AuditionEditor editor(*rig.processor, nullptr, nullptr, &rig.processor->blindTests());
    editor.refresh();
    REQUIRE(editor.seat() != nullptr);
    CHECK_FALSE(editor.seat()->isVisible());
    editor.showRide(true);
    CHECK(editor.keyPressed(test::characterKey('s')));
    CHECK(editor.seat()->isVisible());
    CHECK_FALSE(editor.ride().isVisible());
    CHECK(editor.keyPressed(test::characterKey('r')));
    CHECK_FALSE(editor.seat()->isVisible());
    CHECK(editor.ride().isVisible());
    editor.showSeat(true);
    editor.showSeat(false);
    CHECK_FALSE(editor.seat()->isVisible());
    // The blind test covers it.
    editor.showSeat(true);
    editor.showBlindTest(true);
    CHECK_FALSE(editor.seat()->isVisible());
    editor.keyPressed(test::characterKey('s'));
    CHECK_FALSE(editor.seat()->isVisible());
}

TEST_CASE("A seat chosen on the screen is kept in the job and heard", "[plugin][seat]")
{
    test::BlindRig rig;
    AuditionProcessor& processor = *rig.processor;
    gui::SeatModel& seat = *processor.seat();
    const auto folder = rig.job.folder;
    settle(processor);
    CHECK(seat.seatView().headphoneTable.isEmpty());
    CHECK(seat.seatView().obstacle.isEmpty());
    REQUIRE(seat.seatView().genericTables.size() == 3);

    seat.chooseGenericHeadphones(0);
    CHECK(seat.seatView().isStoring);
    settle(processor);
    CHECK(seat.seatView().generic == 0);
    CHECK(seat.seatView().finding.sentences.joinIntoString(" ").contains("generic"));
    CHECK(processor.snapshot().job->isHeadphoneCorrected);
    REQUIRE(job::loadJob(folder));
    CHECK(job::loadJob(folder)->seat.headphoneResponseFile == "seat/closed-generic.csv");

    seat.setBinaural(true);
    settle(processor);
    CHECK(processor.snapshot().job->isBinaural);
    CHECK(job::loadJob(folder)->seat.isBinaural);
    seat.setHeadphoneSplDb(112.0);
    settle(processor);
    CHECK(processor.snapshot().headphoneSplDb == Approx(112.0).margin(0.06));
    CHECK(seat.seatView().headphoneSplDb == 112.0);

    // What cannot be read is said, and changes nothing.
    test::writeBytes(rig.folder / "words.csv", "no numbers\n");
    seat.chooseHeadphones(plugin::toFile(rig.folder / "words.csv"));
    settle(processor);
    CHECK(seat.seatView().problem.contains("words.csv"));
    CHECK(seat.seatView().generic == 0);

    seat.chooseHeadphones({});
    settle(processor);
    CHECK(seat.seatView().problem.isEmpty());
    CHECK_FALSE(processor.snapshot().job->isHeadphoneCorrected);
    CHECK(processor.snapshot().job->isBinaural);
    seat.setHeadphoneSplDb(80.0);
    settle(processor);
    CHECK(processor.snapshot().headphoneSplDb == 0.0);
    CHECK(job::loadJob(folder)->seat.headphoneCalibrationFile.empty());
}

TEST_CASE("An edited tuning is heard with the seat, one that was changed meanwhile too",
          "[plugin][seat][tuning]")
{
    test::TuningRig rig;
    rig.settle();
    gui::SeatModel& seat = *rig.processor.seat();
    seat.setBinaural(true);
    settle(rig.processor);
    rig.settle();
    CHECK(rig.processor.snapshot().job->isBinaural);
    gui::DraftElement element;
    element.element.gainDb = -4.0;
    rig.desk->addElement(element);
    rig.settle();
    CHECK(rig.processor.snapshot().job->isBinaural);
    REQUIRE(rig.processor.heard().scene != nullptr);
    CHECK(rig.processor.heard().scene->scene.candidates[0].kernels[1][0] != nullptr);
    // The edit is still there after another change of the seat, and is not saved by it.
    seat.setBinaural(false);
    settle(rig.processor);
    rig.settle();
    CHECK_FALSE(rig.processor.snapshot().job->isBinaural);
    CHECK(rig.desk->tuningSnapshot().hasUnsaved);
    CHECK(rig.processor.heard().scene->loaded->request.candidates[0].tuning.chains.size() == 1);
    // Saving the tuning keeps the seat that is in the job.
    seat.setBinaural(true);
    settle(rig.processor);
    REQUIRE(rig.desk->save());
    CHECK(job::loadJob(rig.job.folder)->seat.isBinaural);
}

TEST_CASE("While a blind test runs the seat stays as it is", "[plugin][seat][blind]")
{
    test::BlindRig rig;
    rig.settle();
    gui::SeatModel& seat = *rig.processor->seat();
    rig.desk().begin({.candidates = {0, 1}});
    REQUIRE(rig.desk().isRunning());
    CHECK(seat.seatView().obstacle.contains("blind test"));
    seat.setBinaural(true);
    CHECK_FALSE(seat.seatView().isStoring);
    seat.listenOnThisBike(0);
    CHECK_FALSE(seat.seatView().nowOnBike);
    rig.desk().abandon();
    CHECK(seat.seatView().obstacle.isEmpty());
    // And on the bike none can begin.
    seat.listenOnThisBike(0);
    settle(*rig.processor);
    rig.desk().dismiss();
    CHECK(rig.desk().blindView().obstacle.contains("headphones"));
}

TEST_CASE("On this bike the programme passes as it is, or through the difference",
          "[plugin][seat][bike]")
{
    test::BlindRig rig;
    AuditionProcessor& processor = *rig.processor;
    gui::SeatModel& seat = *processor.seat();
    gui::setParameter(processor.parameters(), ids::speedKmh, 120.0);
    gui::setParameter(processor.parameters(), ids::headphoneSplDb, 130.0);
    settle(processor);
    seat.listenOnThisBike(0);
    settle(processor);
    gui::AuditionSnapshot snapshot = processor.snapshot();
    REQUIRE(snapshot.nowOnBike);
    CHECK(snapshot.levels.noise.totalDba == dsp::silenceDb);
    CHECK(snapshot.choice.speedKmh == 0.0);
    CHECK(snapshot.fairness.basis == gui::MatchBasis::pinkNoise);
    CHECK(snapshot.road == nullptr);
    const juce::String words = gui::levelWords(snapshot);
    CHECK(words.contains("What the speakers of this bike play"));
    CHECK(words.contains(*snapshot.nowOnBike));
    CHECK(gui::roadFinding(snapshot)->headline.contains("no ride"));
    CHECK_FALSE(gui::fairnessWords(snapshot).contains("too short"));
    CHECK(seat.seatView().finding.headline == "What the speakers of this bike play");
    CHECK(seat.seatView().finding.sentences[0].contains("goes out as it is"));

    // The programme itself at the level of the output, behind ramp and fade.
    gui::setParameter(processor.parameters(), ids::outputLevelDb, -20.0);
    const auto rms = [](const std::vector<float>& samples) {
        double sum = 0.0;
        for (std::size_t frame = samples.size() / 2; frame < samples.size(); ++frame)
            sum += static_cast<double>(samples[frame]) * static_cast<double>(samples[frame]);
        return std::sqrt(sum / (0.5 * static_cast<double>(samples.size())));
    };
    const double unchanged = rms(rig.play(96000)[0]);
    gui::setParameter(processor.parameters(), ids::bypass, 1.0);
    const double bypassed = rms(rig.play(96000)[0]);
    CHECK(unchanged == Approx(bypassed).epsilon(1e-3));
    gui::setParameter(processor.parameters(), ids::bypass, 0.0);
    gui::setParameter(processor.parameters(), ids::candidate, 3.0);
    CHECK(std::abs(rms(rig.play(96000)[0]) / unchanged - 1.0) > 0.05);
    CHECK(seat.seatView().finding.sentences[0].contains("differs by"));

    // Files to take home are for headphones; so is what comes after.
    seat.listenOnThisBike(std::nullopt);
    settle(processor);
    CHECK_FALSE(processor.snapshot().nowOnBike);
    CHECK(processor.snapshot().levels.noise.totalDba > 80.0);
}

TEST_CASE("Listening on the bike outlives a job that is read again and ends with another one",
          "[plugin][seat][bike]")
{
    test::BlindRig rig;
    AuditionProcessor& processor = *rig.processor;
    gui::SeatModel& seat = *processor.seat();
    settle(processor);
    seat.listenOnThisBike(1);
    settle(processor);
    processor.openJob(plugin::toFile(rig.job.folder));
    settle(processor);
    CHECK(processor.snapshot().nowOnBike);
    CHECK(seat.seatView().nowOnBike == std::optional<std::size_t>(1));
    // It is not part of what a host keeps.
    juce::MemoryBlock kept;
    processor.getStateInformation(kept);
    const auto other = test::writeMadeUpJob(rig.folder / "other", "Another job");
    {
        // The output is turned down before a job for headphones comes in.
        gui::AuditionEditor editor(processor);
        editor.refresh();
        gui::setParameter(processor.parameters(), ids::outputLevelDb, -12.0);
        editor.openJob(plugin::toFile(other.folder));
        CHECK(gui::parameterValue(processor.parameters(), ids::outputLevelDb) == Approx(-60.0));
    }
    settle(processor);
    CHECK_FALSE(processor.snapshot().nowOnBike);
    CHECK_FALSE(seat.seatView().nowOnBike);
    seat.listenOnThisBike(0);
    settle(processor);
    processor.setStateInformation(kept.getData(), static_cast<int>(kept.getSize()));
    settle(processor);
    CHECK_FALSE(processor.snapshot().nowOnBike);
}
