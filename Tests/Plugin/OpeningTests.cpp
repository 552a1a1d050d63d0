// What the window shows while a file or a job takes long to be opened, and how that is cancelled.
#include "Plugin/Paths.h"
#include "Support/JobRig.h"
#include "Support/OffscreenWindow.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <memory>
#include <thread>

using namespace saddletone;
using test::JobWindow;
using test::OffscreenWindow;

namespace {

const juce::KeyPress tabKey(juce::KeyPress::tabKey);
const juce::KeyPress returnKey(juce::KeyPress::returnKey);

/** Goes on with Tab until a button has the keyboard; a failed test if Tab does not get there. */
void tabTo(OffscreenWindow& window, const juce::Component& button)
{
    for (int step = 0; step < 100 && !button.hasKeyboardFocus(false); ++step)
        window.type(tabKey);
    REQUIRE(button.hasKeyboardFocus(false));
}

/** The window of the standalone, which plays files itself. */
std::unique_ptr<JobWindow> makeStandalone()
{
    const test::AsStandalone standalone;
    return std::make_unique<JobWindow>();
}

/** The whole program on Listen, with a job, music that plays and a file that takes seconds. */
struct WindowBesideLongFile {
    const std::unique_ptr<JobWindow> standalone = makeStandalone();
    JobWindow& jobs = *standalone;
    OffscreenWindow window {*jobs.editor};
    std::filesystem::path longFile = jobs.rig.folder.path() / "long.wav";

    WindowBesideLongFile()
    {
        test::writeLongFile(longFile, 900.0);
        jobs.rig.openMadeUpJob();
        jobs.openMusic();
    }

    /** Waits until the strip says that a part of it has been done. */
    void waitForStrip()
    {
        const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
        while (!jobs.shows("Progress") || !jobs.titled("Progress").getDescription().contains("%")) {
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
            jobs.rig.processor.update();
            jobs.editor->refresh();
            REQUIRE(std::chrono::steady_clock::now() < giveUp);
        }
        CHECK(jobs.titled("Progress").getDescription().startsWith("Opening long.wav, "));
    }
};

} // namespace

TEST_CASE("A file that takes long to open is told of on Listen, and cancelled by a press",
          "[plugin][editor][shell]")
{
    WindowBesideLongFile beside;
    JobWindow& jobs = beside.jobs;
    jobs.rig.processor.openProgramme(plugin::toFile(beside.longFile));
    jobs.editor->refresh();
    CHECK_FALSE(jobs.shows("Progress"));
    beside.waitForStrip();
    beside.window.click(jobs.titled("Cancel"));
    jobs.editor->refresh();
    CHECK_FALSE(jobs.shows("Progress"));
    const gui::AuditionSnapshot snapshot = jobs.rig.processor.snapshot();
    CHECK_FALSE(snapshot.busy);
    CHECK(snapshot.player.title == "music.wav");
    CHECK(snapshot.problem.isEmpty());
}

TEST_CASE("An entry of the list whose reading was cancelled by keyboard says so, and opens again",
          "[plugin][editor][shell]")
{
    WindowBesideLongFile beside;
    JobWindow& jobs = beside.jobs;
    jobs.rig.processor.addProgrammes({plugin::toFile(beside.longFile)}, 1);
    jobs.rig.processor.selectProgramme(1);
    beside.waitForStrip();
    tabTo(beside.window, jobs.titled("Cancel"));
    beside.window.type(returnKey);
    jobs.editor->showProgrammeList(true);
    jobs.editor->refresh();
    CHECK_FALSE(jobs.shows("Progress"));
    auto* const files = dynamic_cast<juce::ListBox*>(&jobs.titled("Files"));
    REQUIRE(files != nullptr);
    juce::ListBoxModel* const list = files->getModel();
    CHECK(list->getNameForRow(0).startsWith("Heard: music.wav"));
    CHECK(list->getNameForRow(1) == "long.wav, cancelled, not read; Return opens it");

    list->returnKeyPressed(1);
    jobs.settle();
    CHECK(jobs.rig.processor.snapshot().player.title == "long.wav");
    CHECK(list->getNameForRow(1).startsWith("Heard: long.wav"));
    CHECK_FALSE(list->getNameForRow(1).contains("cancelled"));
}

TEST_CASE("In a host the window has a strip of its own for what is opened", "[plugin][editor]")
{
    test::RecordingModel model;
    model.openMadeUpJob(3);
    gui::AuditionEditor editor(model);
    OffscreenWindow window(editor);
    editor.refresh();
    CHECK(test::findTitled(editor, "Progress") == nullptr);
    for (const auto& [width, height] : {std::pair {1024, 700}, std::pair {1280, 720}}) {
        window.resizeTo(width, height);
        model.current.opening = {gui::JobTask::opening, "Opening made-up", -1.0};
        editor.refresh();
        juce::Component* const strip = test::findTitled(editor, "Progress");
        REQUIRE(strip != nullptr);
        CHECK(strip->getDescription() == "Opening made-up");
        CHECK(editor.getLocalBounds().contains(strip->getBounds()));
        for (const char* const other : {"Open job", "Dark look", "Light look"})
            if (const juce::Component* const button = test::findTitled(editor, other))
                CHECK_FALSE(strip->getBounds().intersects(button->getBounds()));
        const int numBefore = model.numOpeningsCancelled;
        window.click(*test::findTitled(editor, "Cancel"));
        editor.refresh();
        CHECK(model.numOpeningsCancelled == numBefore + 1);
        CHECK(test::findTitled(editor, "Progress") == nullptr);
    }
}

TEST_CASE("A job whose opening was cancelled stays in the host's state", "[plugin][processor]")
{
    test::TemporaryFolder folder;
    const job::Job made = test::writeMadeUpJob(folder.path() / "job", "Made-up job");
    juce::MemoryBlock state;
    {
        plugin::AuditionProcessor processor;
        processor.openJob(plugin::toFile(made.folder));
        processor.getStateInformation(state);
    }
    plugin::AuditionProcessor processor;
    processor.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    REQUIRE(processor.isOpeningJob());
    processor.cancelOpening();
    CHECK_FALSE(processor.isOpeningJob());
    CHECK_FALSE(processor.snapshot().busy);
    juce::MemoryBlock after;
    processor.getStateInformation(after);
    const auto xml =
        juce::AudioProcessor::getXmlFromBinary(after.getData(), static_cast<int>(after.getSize()));
    REQUIRE(xml != nullptr);
    CHECK(xml->toString().contains(plugin::toFile(made.folder).getFullPathName()));
}

TEST_CASE("Files to take home of a long programme keep nobody waiting", "[plugin][editor][shell]")
{
    WindowBesideLongFile beside;
    plugin::AuditionProcessor& processor = beside.jobs.rig.processor;
    processor.openProgramme(plugin::toFile(beside.longFile));
    beside.jobs.settle();
    REQUIRE(processor.snapshot().player.title == "long.wav");
    const juce::File home = plugin::toFile(beside.jobs.rig.folder.path() / "home");
    const auto began = std::chrono::steady_clock::now();
    processor.takeHome(home);
    CHECK(std::chrono::steady_clock::now() - began < std::chrono::milliseconds(500));
    CHECK(processor.programmeList().takeHome.isRunning);
    processor.cancelTakeHome();
    const auto giveUp = began + std::chrono::seconds(60);
    while (processor.programmeList().takeHome.isRunning) {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        REQUIRE(std::chrono::steady_clock::now() < giveUp);
    }
    CHECK_FALSE(home.exists());
}
