#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/LevelWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

using namespace saddletone;
namespace ids = gui::parameterIds;

namespace {

using test::characterKey;
using test::collectControls;
using test::countColours;
using test::RecordingModel;

double get(RecordingModel& model, const char* id)
{
    return gui::parameterValue(model.parameters(), id);
}

} // namespace

TEST_CASE("Editor opens at its default size and is not blank", "[plugin][editor]")
{
    RecordingModel model;
    for (const std::size_t numCandidates : {std::size_t {0}, std::size_t {1}, std::size_t {8}}) {
        if (numCandidates > 0)
            model.openMadeUpJob(numCandidates);
        for (const bool light : {false, true}) {
            model.light = light;
            gui::AuditionEditor editor(model);
            CHECK(editor.getWidth() == 1280);
            CHECK(editor.getHeight() == 720);
            CHECK(countColours(editor.createComponentSnapshot(editor.getLocalBounds())) > 50);
        }
    }
}

TEST_CASE("Every control has a name for screen readers and can be reached by keyboard",
          "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(4);
    gui::AuditionEditor editor(model);
    std::vector<juce::Component*> controls;
    collectControls(editor, controls);
    CHECK(controls.size() >= 18);
    for (juce::Component* const control : controls) {
        INFO(control->getName() << " at " << control->getBounds().toString());
        CHECK(control->getTitle().isNotEmpty());
        CHECK(control->getDescription().isNotEmpty());
        CHECK(control->getWantsKeyboardFocus());
    }
}

TEST_CASE("Controls stay apart and inside the window at every size", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(8);
    gui::AuditionEditor editor(model);
    for (const auto& [width, height] : {std::pair {1024, 700}, std::pair {1280, 720},
                                        std::pair {1920, 1080}, std::pair {3840, 2160}}) {
        editor.setSize(width, height);
        std::vector<juce::Component*> controls;
        collectControls(editor, controls);
        for (std::size_t first = 0; first < controls.size(); ++first) {
            if (!controls[first]->isVisible()
                || !controls[first]->getParentComponent()->isVisible())
                continue;
            const auto area =
                editor.getLocalArea(controls[first], controls[first]->getLocalBounds());
            INFO(width << "x" << height << " " << controls[first]->getTitle());
            CHECK(editor.getLocalBounds().contains(area));
            CHECK(area.getHeight() >= 28);
            for (std::size_t second = first + 1; second < controls.size(); ++second)
                if (controls[second]->isVisible()
                    && controls[second]->getParentComponent()->isVisible()) {
                    INFO(controls[second]->getTitle());
                    CHECK_FALSE(area.intersects(
                        editor.getLocalArea(controls[second], controls[second]->getLocalBounds())));
                }
        }
    }
}

TEST_CASE("Keys pick candidates, but only those there are", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(3);
    gui::AuditionEditor editor(model);
    CHECK(editor.keyPressed(characterKey('3')));
    CHECK(get(model, ids::candidate) == 3.0);
    CHECK(editor.keyPressed(characterKey('4')));
    CHECK(get(model, ids::candidate) == 3.0);
    CHECK(editor.keyPressed(characterKey('1')));
    CHECK(get(model, ids::candidate) == 1.0);
    CHECK_FALSE(editor.keyPressed(characterKey('9')));
}

TEST_CASE("Arrow keys drive along the road and stop at its ends", "[plugin][editor]")
{
    RecordingModel model;
    gui::AuditionEditor editor(model);
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK(get(model, ids::speedKmh) == Approx(dsp::mphToKmh(5.0)).margin(1e-3));
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::leftKey)));
    CHECK(get(model, ids::speedKmh) == Approx(dsp::mphToKmh(4.0)).margin(1e-3));
    for (int press = 0; press < 3; ++press)
        editor.keyPressed(juce::KeyPress(juce::KeyPress::downKey));
    CHECK(get(model, ids::speedKmh) == 0.0);
    for (int press = 0; press < 40; ++press)
        editor.keyPressed(juce::KeyPress(juce::KeyPress::upKey));
    CHECK(get(model, ids::speedKmh) == Approx(dsp::mphToKmh(90.0)).margin(1e-3));
}

TEST_CASE("Escape turns the output down at once and pauses", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(2);
    gui::AuditionEditor editor(model);
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::spaceKey)));
    CHECK(model.current.player.playing);
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
    CHECK_FALSE(model.current.player.playing);
    CHECK(get(model, ids::outputLevelDb) == -60.0);
}

TEST_CASE("B switches the bypass and space plays and pauses", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(2);
    gui::AuditionEditor editor(model);
    CHECK(editor.keyPressed(characterKey('b')));
    CHECK(get(model, ids::bypass) == 1.0);
    CHECK(editor.keyPressed(characterKey('B')));
    CHECK(get(model, ids::bypass) == 0.0);
    editor.keyPressed(juce::KeyPress(juce::KeyPress::spaceKey));
    CHECK(model.current.player.playing);
    editor.keyPressed(juce::KeyPress(juce::KeyPress::spaceKey));
    CHECK_FALSE(model.current.player.playing);
}

TEST_CASE("Dropped folders open as jobs and files as programmes", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(1);
    gui::AuditionEditor editor(model);
    const juce::File folder = juce::File::getSpecialLocation(juce::File::tempDirectory);
    const juce::File audio = folder.getChildFile("song.flac");
    CHECK(editor.isInterestedInFileDrag({folder.getFullPathName()}));
    editor.filesDropped({folder.getFullPathName()}, 0, 0);
    CHECK(model.openedJob == folder);
    editor.filesDropped({audio.getFullPathName()}, 0, 0);
    CHECK(model.openedProgramme == audio);
}

TEST_CASE("A problem is shown until it is dismissed", "[plugin][editor]")
{
    RecordingModel model;
    gui::AuditionEditor editor(model);
    model.current.problem = "job.json: the key 'title' is missing";
    editor.refresh();
    gui::NoticePanel* panel = nullptr;
    for (juce::Component* const child : editor.getChildren())
        if (auto* const found = dynamic_cast<gui::NoticePanel*>(child))
            panel = found;
    REQUIRE(panel != nullptr);
    CHECK(panel->isVisible());
    CHECK(panel->getDescription().contains("title"));
    panel->onDismiss();
    CHECK_FALSE(panel->isVisible());
    CHECK(model.current.problem.isEmpty());
}

TEST_CASE("The look can be switched", "[plugin][editor]")
{
    RecordingModel model;
    gui::AuditionEditor editor(model);
    const auto dark = editor.createComponentSnapshot({0, 0, 10, 10}).getPixelAt(1, 1);
    model.light = true;
    editor.refresh();
    CHECK(editor.createComponentSnapshot({0, 0, 10, 10}).getPixelAt(1, 1) != dark);
}

TEST_CASE("Text and marks can be told from what they stand on", "[plugin][editor]")
{
    // WCAG 2.1: 4.5:1 for text, 3:1 for lines and marks.
    for (const gui::Palette& palette : {gui::darkPalette(), gui::lightPalette()}) {
        for (const juce::Colour surface : {palette.background, palette.panel, palette.control})
            for (const juce::Colour ink : {palette.text, palette.mutedText})
                CHECK(gui::contrastRatio(ink, surface) >= 4.5);
        CHECK(gui::contrastRatio(palette.onAccent, palette.accent) >= 4.5);
        CHECK(gui::contrastRatio(palette.onWarning, palette.warning) >= 4.5);
        CHECK(gui::contrastRatio(palette.accentLine, palette.panel) >= 4.5);
        CHECK(gui::contrastRatio(palette.wind, palette.panel) >= 3.0);
        CHECK(gui::contrastRatio(palette.roadMark, palette.road) >= 3.0);
    }
    CHECK(gui::contrastRatio(juce::Colours::white, juce::Colours::black) == Approx(21.0));
}

TEST_CASE("No font of the program is below 14 pixels", "[plugin][editor]")
{
    CHECK(gui::textFont(5.0F).getHeightInPoints() >= gui::smallestTextPixels - 0.01F);
    gui::Look look(false);
    juce::Label label("label", "text");
    label.setFont(juce::Font(9.0F));
    CHECK(look.getLabelFont(label).getHeightInPoints() >= gui::smallestTextPixels - 0.01F);
    CHECK(look.getPopupMenuFont().getHeightInPoints() >= gui::smallestTextPixels - 0.01F);
}

TEST_CASE("Screens are in the typeface they are laid out in, whatever else is installed",
          "[plugin][editor]")
{
    CHECK(gui::textTypeface() == "DejaVu Sans");
    for (const int style : {juce::Font::plain, juce::Font::bold}) {
        const juce::Font font = gui::textFont(15.0F, style);
        CHECK(font.getTypefacePtr()->getName() == "DejaVu Sans");
        CHECK(font.isBold() == (style == juce::Font::bold));
        // What JUCE draws by itself, such as menus and choosers of files.
        CHECK(gui::Look(true).getTypefaceForFont(juce::Font(15.0F, style))->getName()
              == "DejaVu Sans");
    }
}

TEST_CASE("Levels are told in words, each with what it rests on", "[plugin][editor]")
{
    RecordingModel model;
    CHECK(gui::levelWords(model.current).contains("once a job is open"));
    model.openMadeUpJob(1);
    const juce::String words = gui::levelWords(model.current);
    CHECK(words.contains("music 90 dB(A) (assumed)"));
    CHECK(words.contains("noise 106 dB(A)"));
    CHECK(words.contains("4 dB (estimate)"));
    CHECK(words.contains("music is 16 dB below the noise"));
    model.current.levelSource = audition::LevelSource::measured;
    model.current.levels.noise.totalDba = dsp::silenceDb;
    CHECK(gui::levelWords(model.current).contains("calibrated"));
    CHECK(gui::levelWords(model.current).contains("no noise"));
    CHECK_FALSE(gui::levelWords(model.current).contains("distortion"));
    model.current.isOverdriven = true;
    CHECK(gui::levelWords(model.current).contains("with distortion as measured"));
    CHECK(gui::timeWords(187.9) == "3:07");
}

TEST_CASE("The plug-in's own editor opens and may be resized", "[plugin][editor]")
{
    plugin::AuditionProcessor processor;
    const std::unique_ptr<juce::AudioProcessorEditor> editor(processor.createEditor());
    REQUIRE(editor != nullptr);
    CHECK(editor->getWidth() == 1280);
    CHECK(editor->isResizable());
    CHECK(editor->getConstrainer()->getMinimumWidth() == 1024);
    CHECK(editor->getConstrainer()->getMinimumHeight() == 700);
    editor->setSize(1600, 900);
    CHECK(editor->getChildComponent(0)->getWidth() == 1600);
}
