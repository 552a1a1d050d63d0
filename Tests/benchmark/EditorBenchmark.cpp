// How long the window takes to open, and what it costs to draw it 60 times a second while music plays.
// Needs a display; `xvfb-run` gives one that draws in software.
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Bench.h"
#include "Plugin/TuningDesk.h"
#include "Support/MessageLoop.h"

#include <juce_audio_devices/juce_audio_devices.h>
#include <juce_audio_utils/juce_audio_utils.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <functional>
#include <memory>
#include <string>
#include <thread>

using namespace saddletone;
using test::runMessages;
using Clock = std::chrono::steady_clock;

namespace {

constexpr double framesPerSecond = 60.0;
constexpr double sampleRate = 48000.0;

double secondsSince(Clock::time_point start)
{
    return std::chrono::duration<double>(Clock::now() - start).count();
}

/** Of the calling thread, which draws. */
double cpuSeconds()
{
    std::timespec now {};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

/** Calls the processor as an audio device does. */
class Player {
public:
    explicit Player(plugin::AuditionProcessor& played)
        : thread([this, &played] {
              juce::AudioBuffer<float> buffer(2, 512);
              juce::MidiBuffer midi;
              auto next = Clock::now();
              while (!shouldStop.load()) {
                  buffer.clear();
                  played.processBlock(buffer, midi);
                  next += std::chrono::microseconds(10667);
                  std::this_thread::sleep_until(next);
              }
          })
    {
    }
    ~Player()
    {
        shouldStop.store(true);
        thread.join();
    }
    Player(const Player&) = delete;
    Player& operator=(const Player&) = delete;

private:
    std::atomic<bool> shouldStop {false};
    std::thread thread;
};

/** Draws for some seconds; act is called before each frame with the time since the beginning. */
void measureDrawing(const char* name, gui::AuditionEditor& screen,
                    const std::function<void(double)>& act)
{
    constexpr double measuredSeconds = 5.0;
    runMessages(500);
    const auto start = Clock::now();
    const double before = cpuSeconds();
    int numFrames = 0;
    double worst = 0.0;
    while (secondsSince(start) < measuredSeconds) {
        const double frameBefore = cpuSeconds();
        act(secondsSince(start));
        screen.refresh();
        ++numFrames;
        const double untilNext = numFrames / framesPerSecond - secondsSince(start);
        runMessages(std::max(1, static_cast<int>(std::lround(1000.0 * untilNext))));
        worst = std::max(worst, cpuSeconds() - frameBefore);
    }
    std::printf("  %-34s %4.0f frames a second, %5.1f %% of a core, dearest frame %5.1f ms\n", name,
                numFrames / secondsSince(start),
                100.0 * (cpuSeconds() - before) / secondsSince(start), 1000.0 * worst);
    std::fflush(stdout);
}

bool waitUntilIdle(plugin::AuditionProcessor& processor)
{
    const auto start = Clock::now();
    do
        runMessages(20);
    while ((processor.snapshot().busy
            || processor.snapshot().fairness.basis == gui::MatchBasis::measuring)
           && secondsSince(start) < 120.0);
    return processor.snapshot().job != nullptr;
}

} // namespace

int main(int argc, char* argv[])
{
    if (argc != 2) {
        std::fprintf(stderr, "Usage: saddletone_editor_benchmark JOB\n");
        return 2;
    }
    // JUCE bears X errors, which windows make without a window manager, in applications only.
    juce::JUCEApplicationBase::createInstance = []() -> juce::JUCEApplicationBase* {
        return nullptr;
    };
    const juce::ScopedJuceInitialiser_GUI juceIsUp;
    namespace ids = gui::parameterIds;

    std::printf("Opening the plug-in's window:\n");
    for (const char* const which : {"the first time", "again"}) {
        const auto start = Clock::now();
        plugin::AuditionProcessor processor;
        const double made = secondsSince(start);
        const std::unique_ptr<juce::AudioProcessorEditor> editor(processor.createEditorIfNeeded());
        editor->addToDesktop(juce::ComponentPeer::windowHasTitleBar);
        editor->setVisible(true);
        const double opened = secondsSince(start);
        const juce::Image drawn = editor->createComponentSnapshot(editor->getLocalBounds());
        std::printf("  %-16s processor %4.0f ms, window %4.0f ms, drawn after %4.0f ms\n", which,
                    1000.0 * made, 1000.0 * (opened - made), 1000.0 * secondsSince(start));
        runMessages(200);
        processor.editorBeingDeleted(editor.get());
    }

    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
    plugin::AuditionProcessor processor;
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
    processor.setPlayConfigDetails(0, 2, sampleRate, 512);
    processor.openJob(juce::File::getCurrentWorkingDirectory().getChildFile(argv[1]));
    if (!waitUntilIdle(processor)) {
        std::fprintf(stderr, "%s\n", processor.snapshot().problem.toRawUTF8());
        return 1;
    }
    processor.prepareToPlay(sampleRate, 512);
    juce::AudioDeviceManager devices;
    juce::AudioProcessorPlayer processorPlayer;
    plugin::Bench bench(devices, &processorPlayer,
                        {.openJobFolder = [] { return juce::File(); },
                         .openJob = [](const juce::File&) {},
                         .pauseAudition = [] {},
                         .takesFolder = juce::File::getSpecialLocation(juce::File::tempDirectory)});
    plugin::TuningDesk desk(processor, plugin::TuningDesk::findPresets());

    const auto start = Clock::now();
    auto screen =
        std::make_unique<gui::AuditionEditor>(processor, &bench, &desk, &processor.blindTests());
    screen->addToDesktop(juce::ComponentPeer::windowHasTitleBar);
    screen->setVisible(true);
    static_cast<void>(screen->createComponentSnapshot(screen->getLocalBounds()));
    std::printf("  %-16s with a job, drawn after %4.0f ms\n", "the program's",
                1000.0 * secondsSince(start));

    processor.setLooping(true);
    processor.play();
    const Player player(processor);
    const auto set = [&](const char* id, double value) {
        gui::setParameter(processor.parameters(), id, value);
    };
    for (const auto& [width, height] : {std::pair {1280, 720}, std::pair {1920, 1080}}) {
        screen->setSize(width, height);
        std::printf("Drawing %d x %d while music plays:\n", width, height);
        screen->goTo(gui::Place::listen);
        measureDrawing("Listen", *screen, [](double) {});
        measureDrawing("Listen, the marker being dragged", *screen, [&](double seconds) {
            set(ids::speedKmh, 70.0 + 60.0 * std::sin(seconds));
        });
        set(ids::speedKmh, 80.0);
        screen->showRide(true);
        measureDrawing("Listen with the ride's panel", *screen, [](double) {});
        screen->showRide(false);
        for (const gui::Place place : {gui::Place::signals, gui::Place::bike, gui::Place::tuning}) {
            screen->goTo(place);
            measureDrawing(gui::placeName(place), *screen, [](double) {});
        }
    }
    processor.pause();
    return 0;
}
