#include "Support/JobRig.h"

#include "Gui/TextField.h"
#include "Plugin/Paths.h"
#include "Plugin/TakeMeasuring.h"
#include "Support/OffscreenWindow.h"
#include "Support/PluginJob.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <thread>

namespace saddletone::test {

JobRig::JobRig()
{
    plugin::JobDesk::Surroundings surroundings;
    surroundings.jobsFolder = plugin::toFile(folder.path() / "jobs");
    surroundings.demoFolder = plugin::toFile(folder.path() / "demo (invented)");
    surroundings.openFile = [this](const juce::File& file) { openedFile = file; };
    surroundings.showFolder = [this](const juce::File& shown) { shownFolder = shown; };
    choices = std::make_unique<plugin::ChoiceHistory>(processor, line);
    tuning = std::make_unique<plugin::TuningDesk>(processor, juce::File());
    tuning->joinLine(line);
    desk = std::make_unique<plugin::JobDesk>(processor, line, std::move(surroundings));
}

void JobRig::settle()
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(120);
    // Looking at the folders goes on for ever; a round of it is waited for as well.
    for (int rounds = 0; rounds < 40;) {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        desk->update();
        tuning->update();
        choices->update();
        const bool isBusy = desk->isBusy() || tuning->isBusy() || processor.snapshot().busy;
        rounds = isBusy ? 0 : rounds + 1;
        REQUIRE(std::chrono::steady_clock::now() < giveUp);
    }
}

void JobRig::openMadeUpJob()
{
    const job::Job made = writeMadeUpJob(folder.path() / "jobs" / "made-up", "Made-up job");
    for (const job::JobState& state : made.states) {
        auto response = measure::loadResponse(made.folder / state.file);
        REQUIRE(response);
        trustAllBands(*response);
        REQUIRE(measure::saveResponse(*response, made.folder / state.file));
    }
    desk->openJob(plugin::toFile(made.folder));
    settle();
    REQUIRE(desk->jobSnapshot().open != nullptr);
}

job::Job JobRig::stored() const
{
    auto job = job::loadJob(plugin::toPath(desk->openFolder()));
    REQUIRE(job);
    return *std::move(job);
}

std::string JobRig::addState(const measure::Response& response)
{
    const juce::File opened = desk->openFolder();
    const auto added = plugin::addStateToJob(plugin::toPath(opened), response, {});
    REQUIRE(added);
    desk->noteAddedState(opened, added->id);
    if (processor.snapshot().job != nullptr)
        processor.openJob(opened);
    else
        desk->openJob(opened);
    settle();
    return added->id;
}

void JobRig::choose(const char* parameterId, double value)
{
    settle(); // no hand is as quick as the desk's next look
    gui::setParameter(processor.parameters(), parameterId, value);
    settle(); // long enough for the next choice to be a step of its own
}

JobWindow::JobWindow()
{
    editor =
        std::make_unique<gui::AuditionEditor>(rig.processor, &bench, rig.tuning.get(),
                                              &rig.processor.blindTests(), rig.desk.get(), &events);
    editor->refresh();
}

void JobWindow::settle()
{
    editor->refresh(); // the Report place asks for its content
    rig.settle();
    editor->refresh();
}

juce::Component& JobWindow::titled(const juce::String& title)
{
    juce::Component* const found = findTitled(*editor, title);
    INFO(title);
    REQUIRE(found != nullptr);
    return *found;
}

bool JobWindow::shows(const juce::String& title)
{
    return findTitled(*editor, title) != nullptr;
}

void JobWindow::press(const juce::String& buttonTitle)
{
    auto* const button = dynamic_cast<juce::Button*>(&titled(buttonTitle));
    REQUIRE(button != nullptr);
    REQUIRE(button->isEnabled());
    button->onClick();
}

void JobWindow::type(const juce::String& fieldTitle, const juce::String& text)
{
    auto* const field = dynamic_cast<gui::TextField*>(&titled(fieldTitle));
    REQUIRE(field != nullptr);
    field->setText(text);
    field->onReturnKey();
}

bool JobWindow::pressCommand(char letter, int more)
{
    return editor->keyPressed(
        juce::KeyPress(letter, juce::ModifierKeys(juce::ModifierKeys::commandModifier | more), 0));
}

void JobWindow::openMusic()
{
    const auto music = rig.folder.path() / "music.wav";
    writeRampFile(music, 48000.0, 2, 48000);
    rig.processor.openProgramme(plugin::toFile(music));
    settle();
}

} // namespace saddletone::test
