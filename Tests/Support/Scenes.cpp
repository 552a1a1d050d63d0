#include "Support/Scenes.h"

#include "Gui/ElementWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/TuningDraft.h"

#include <catch2/catch.hpp>

namespace saddletone::test {

namespace {

using gui::Place;

const juce::KeyPress returnKey(juce::KeyPress::returnKey);
const juce::KeyPress escapeKey(juce::KeyPress::escapeKey);

std::function<void(Stage&)> placeOf(Place place)
{
    return [place](Stage& stage) { stage.editor().goTo(place); };
}

std::function<void(Stage&)> bikeOf(gui::BikePanel panel, gui::MeasuredAspect aspect)
{
    return [=](Stage& stage) {
        stage.jobs.bench.makeUpTakes();
        stage.jobs.bench.current.input.open = true;
        stage.editor().goTo(Place::bike);
        stage.editor().bike()->showPanel(panel);
        stage.editor().bike()->showAspect(aspect);
    };
}

std::function<void(Stage&)> tuningOf(gui::TuningPanel panel)
{
    return [=](Stage& stage) {
        stage.editor().goTo(Place::tuning);
        stage.type('2');
        stage.jobs.settle();
        stage.editor().tuning()->showPanel(panel);
    };
}

void beginEvent(Stage& stage)
{
    stage.type('e');
    stage.type(returnKey);
    REQUIRE(stage.jobs.events.isRunning());
}

void listenAtEvent(Stage& stage)
{
    beginEvent(stage);
    stage.window.clickAt({640, 400});
    stage.pass(0.1);
}

void endEvent(Stage& stage)
{
    listenAtEvent(stage);
    stage.jobs.events.end();
}

void beginBlindTest(Stage& stage)
{
    stage.type('t');
    stage.type(returnKey);
    REQUIRE(stage.jobs.rig.processor.blindTests().blindView().stage == gui::BlindStage::running);
}

void abandonBlindTest(Stage& stage)
{
    beginBlindTest(stage);
    stage.jobs.rig.processor.blindTests().abandon();
}

void editAndOpenAnother(Stage& stage)
{
    stage.editor().goTo(Place::tuning);
    stage.type('2');
    stage.jobs.rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    stage.jobs.settle();
    stage.editor().askAboutUnsaved([] {});
}

/** The job as a crash has left it: with a draft that was never saved. */
void findDraft(Stage& stage)
{
    test::JobRig& rig = stage.jobs.rig;
    stage.editor().goTo(Place::tuning);
    stage.type('2');
    rig.tuning->addElement(gui::newElement(tuning::ElementType::peaking));
    stage.jobs.settle();
    const juce::File folder = rig.desk->openFolder();
    const juce::File draft = folder.getChildFile(plugin::TuningDraft::fileName);
    juce::MemoryBlock kept;
    REQUIRE(draft.loadFileAsData(kept));
    rig.tuning->discardUnsaved();
    rig.desk->closeJob();
    stage.jobs.settle();
    REQUIRE(draft.replaceWithData(kept.getData(), kept.getSize()));
    rig.desk->openJob(folder);
    stage.jobs.settle();
    REQUIRE(rig.tuning->tuningSnapshot().recoveryWords.isNotEmpty());
}

std::vector<Scene> makeScenes()
{
    using gui::BikePanel;
    using gui::MeasuredAspect;
    using gui::TuningPanel;
    return {
        {"first start", false, [](Stage&) {}},
        {"safety note", false, [](Stage& stage) { stage.editor().showSafetyNote({}); }},
        {"signals", true, placeOf(Place::signals)},
        {"signals without job", false, placeOf(Place::signals)},
        {"loud question", true,
         [](Stage& stage) {
             stage.editor().goTo(Place::signals);
             stage.jobs.bench.current.output.asksForLoud = true;
         }},
        {"bike", true, bikeOf(BikePanel::analyser, MeasuredAspect::curve)},
        {"bike without input", false, placeOf(Place::bike)},
        {"bike curves", true, bikeOf(BikePanel::curves, MeasuredAspect::curve)},
        {"bike distortion", true, bikeOf(BikePanel::curves, MeasuredAspect::distortion)},
        {"bike confidence", true, bikeOf(BikePanel::curves, MeasuredAspect::confidence)},
        {"bike microphone", true, bikeOf(BikePanel::microphone, MeasuredAspect::curve)},
        {"tuning", true, tuningOf(TuningPanel::elements)},
        {"tuning fit", true, tuningOf(TuningPanel::fit)},
        {"tuning verdict", true, tuningOf(TuningPanel::verdict)},
        {"tuning cost", true, tuningOf(TuningPanel::cost)},
        {"tuning without job", false, placeOf(Place::tuning)},
        {"listen", true, [](Stage&) {}},
        {"listen at speed", true,
         [](Stage& stage) {
             gui::setParameter(stage.jobs.rig.processor.parameters(), gui::parameterIds::speedKmh,
                               110.0);
         }},
        {"programme list", true, [](Stage& stage) { stage.editor().showProgrammeList(true); }},
        {"ride", true, [](Stage& stage) { stage.type('r'); }},
        {"figures of the ride", true,
         [](Stage& stage) {
             stage.type('r');
             stage.editor().ride().setShowsFigures(true);
         }},
        {"seat", true, [](Stage& stage) { stage.type('s'); }},
        {"blind test", true, [](Stage& stage) { stage.type('t'); }},
        {"blind test running", true, beginBlindTest},
        {"blind test asking", true,
         [](Stage& stage) {
             beginBlindTest(stage);
             stage.type(escapeKey);
         }},
        {"blind test over", true, abandonBlindTest},
        {"report", true, placeOf(Place::report)},
        {"report without job", false, placeOf(Place::report)},
        {"unsaved", true, editAndOpenAnother},
        {"tuning found after a crash", true, findDraft},
        {"job without candidates", false,
         [](Stage& stage) {
             plugin::JobDesk& desk = *stage.jobs.rig.desk;
             desk.newJob(desk.folderForNewJob("Empty job"),
                         {"Empty job", "Made-up tourer", "Made-up shop", ""});
         }},
        {"problem", true,
         [](Stage& stage) {
             stage.jobs.rig.processor.reportProblem(
                 "There is no sound, as no audio output could be opened. Connect headphones, then "
                 "choose them in \"Audio settings\".");
         }},
        {"event setup", true, [](Stage& stage) { stage.type('e'); }},
        {"event waiting", true, beginEvent},
        {"event", true, listenAtEvent},
        {"event countdown", true,
         [](Stage& stage) {
             listenAtEvent(stage);
             stage.pass(97.0);
         }},
        {"event over", true, endEvent},
    };
}

} // namespace

Stage::Stage(bool hasJob)
    : window([&]() -> juce::Component& {
          if (hasJob) {
              jobs.rig.openMadeUpJob();
              jobs.openMusic();
          }
          jobs.settle();
          return *jobs.editor;
      }())
{
    type(escapeKey); // nothing plays, and nothing moves while it is looked at
}

void Stage::type(const juce::KeyPress& key)
{
    window.type(key);
    editor().refresh();
}

void Stage::type(char character)
{
    type(characterKey(character));
}

void Stage::pass(double seconds)
{
    jobs.seconds += seconds;
    jobs.events.update();
    editor().refresh();
}

const std::vector<Scene>& allScenes()
{
    static const std::vector<Scene> scenes = makeScenes();
    return scenes;
}

const Scene& sceneOf(const juce::String& name)
{
    const auto found = std::find_if(allScenes().begin(), allScenes().end(),
                                    [&](const Scene& scene) { return name == scene.name; });
    INFO(name);
    REQUIRE(found != allScenes().end());
    return *found;
}

} // namespace saddletone::test
