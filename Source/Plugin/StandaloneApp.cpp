#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Bench.h"

#include <juce_audio_devices/juce_audio_devices.h>
#include <juce_audio_utils/juce_audio_utils.h>

#include <algorithm>
#include <iostream>
#include <optional>

namespace saddletone::plugin {

namespace {

// Keys of the settings file.
constexpr const char* safetyNoteSeenKey = "safetyNoteSeen";
constexpr const char* audioDeviceKey = "audioDevice";
constexpr const char* lastJobKey = "lastJob";
constexpr const char* lightLookKey = "lightLook";

constexpr const char* usage =
    "Usage: Saddletone [--job DIR] [--programme FILE]\n"
    "\n"
    "Hear a motorcycle's audio with another tuning before it is changed.\n"
    "\n"
    "  --job DIR            open a job folder\n"
    "  --programme FILE     load an audio file (WAV, FLAC, Ogg, MP3, AIFF)\n"
    "  --help               show this text\n"
    "\n"
    "Pictures of the window, without sound:\n"
    "  --screenshot F.png   draw the window once the job has loaded, then quit\n"
    "  --place NAME         place to show: signals, bike or listen\n"
    "  --size WxH           its size in pixels, from 1024x700\n"
    "  --speed-mph V        speed to show\n"
    "  --candidate N        candidate to show, 1 to 8\n"
    "  --light              the light look\n";

struct CommandLineOptions {
    bool showsHelp = false;
    bool usesLightLook = false;
    std::optional<juce::File> job;
    std::optional<juce::File> programme;
    std::optional<juce::File> screenshot;
    std::optional<double> speedMph;
    std::optional<int> candidate;
    gui::Place place = gui::Place::listen;
    int width = gui::AuditionEditor::defaultWidth;
    int height = gui::AuditionEditor::defaultHeight;
};

/** problem: set to what is wrong, if anything is. */
CommandLineOptions parseCommandLine(const juce::StringArray& arguments, juce::String& problem)
{
    CommandLineOptions options;
    for (int index = 0; index < arguments.size(); ++index) {
        const juce::String name = arguments[index];
        const auto takeValue = [&]() -> juce::String {
            if (index + 1 < arguments.size())
                return arguments[++index].unquoted();
            problem = name + " needs a value";
            return {};
        };
        const auto takeFile = [&] {
            return juce::File::getCurrentWorkingDirectory().getChildFile(takeValue());
        };
        if (name == "--help" || name == "-h") {
            options.showsHelp = true;
        } else if (name == "--light") {
            options.usesLightLook = true;
        } else if (name == "--job") {
            options.job = takeFile();
        } else if (name == "--programme") {
            options.programme = takeFile();
        } else if (name == "--screenshot") {
            options.screenshot = takeFile();
        } else if (name == "--speed-mph") {
            options.speedMph = takeValue().getDoubleValue();
        } else if (name == "--candidate") {
            options.candidate = takeValue().getIntValue();
        } else if (name == "--place") {
            const juce::String place = takeValue();
            const auto* const found = std::ranges::find_if(gui::allPlaces, [&](gui::Place each) {
                return place.equalsIgnoreCase(gui::placeName(each));
            });
            if (found != gui::allPlaces.end())
                options.place = *found;
            else if (problem.isEmpty())
                problem = "--place takes signals, bike or listen, not " + place;
        } else if (name == "--size") {
            const juce::String size = takeValue();
            options.width = size.upToFirstOccurrenceOf("x", false, true).getIntValue();
            options.height = size.fromFirstOccurrenceOf("x", false, true).getIntValue();
            if (options.width < gui::AuditionEditor::smallestWidth
                || options.height < gui::AuditionEditor::smallestHeight || options.width > 8000
                || options.height > 8000)
                problem = "--size takes WIDTHxHEIGHT, from 1024x700 to 8000x8000, not " + size;
        } else {
            problem = "unknown argument " + name;
        }
    }
    return options;
}

/** Writes the component as a PNG, whole or not at all. */
bool writeScreenshot(juce::Component& component, const juce::File& file)
{
    const juce::Image image = component.createComponentSnapshot(component.getLocalBounds());
    juce::TemporaryFile temporary(file);
    {
        juce::FileOutputStream stream(temporary.getFile());
        if (!stream.openedOk() || !juce::PNGImageFormat().writeImageToStream(image, stream))
            return false;
        stream.flush();
        if (stream.getStatus().failed())
            return false;
    }
    return temporary.overwriteTargetFileWithTemporary();
}

} // namespace

/** The program around the plug-in: a window, audio output, a settings file, and the bench. Only the
    bench opens an input, when asked to; the audition never hears it, so nothing can feed back. */
class StandaloneApp final : public juce::JUCEApplication, private juce::Timer {
public:
    StandaloneApp() = default;

    const juce::String getApplicationName() override { return "Saddletone"; }
    const juce::String getApplicationVersion() override { return JucePlugin_VersionString; }
    bool moreThanOneInstanceAllowed() override { return true; }

    void initialise(const juce::String&) override;
    void shutdown() override;
    void systemRequestedQuit() override { quit(); }

private:
    class Window;

    void timerCallback() override;
    void openSettings();
    void makeBench();
    void openAudio();
    void showAudioSettings();
    void makePicture();
    void fail(const juce::String& message, int returnValue);

    CommandLineOptions options;
    juce::ApplicationProperties properties;
    std::unique_ptr<gui::Look> dialogLook; // of windows beside the screen, such as file choosers
    std::unique_ptr<AuditionProcessor> processor;
    juce::AudioDeviceManager devices;
    juce::AudioProcessorPlayer processorPlayer;
    std::unique_ptr<Bench> bench;
    std::unique_ptr<gui::AuditionEditor> screen;
    std::unique_ptr<Window> window;
    juce::Component::SafePointer<juce::DialogWindow> audioDialog;
    int quietTicks = 0;
};

class StandaloneApp::Window final : public juce::DocumentWindow {
public:
    explicit Window(juce::Component& content)
        : juce::DocumentWindow("Saddletone", juce::Colours::black, allButtons)
    {
        setUsingNativeTitleBar(true);
        setContentNonOwned(&content, true);
        setResizable(true, false);
        setResizeLimits(gui::AuditionEditor::smallestWidth, gui::AuditionEditor::smallestHeight,
                        8000, 8000);
        centreWithSize(getWidth(), getHeight());
    }

    void closeButtonPressed() override
    {
        juce::JUCEApplication::getInstance()->systemRequestedQuit();
    }
};

void StandaloneApp::fail(const juce::String& message, int returnValue)
{
    std::cerr << "Saddletone: " << message << std::endl;
    setApplicationReturnValue(returnValue);
    quit();
}

void StandaloneApp::initialise(const juce::String&)
{
    juce::String problem;
    options = parseCommandLine(getCommandLineParameterArray(), problem);
    if (options.showsHelp) {
        std::cout << usage;
        quit();
        return;
    }
    if (problem.isNotEmpty()) {
        fail(problem + "; --help lists what there is", 2);
        return;
    }

    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
    processor = std::make_unique<AuditionProcessor>();
    juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
    processor->setLooping(true);

    if (!options.screenshot) {
        openSettings();
        const juce::PropertiesFile& settings = *properties.getUserSettings();
        processor->setUsesLightLook(settings.getBoolValue(lightLookKey));
        if (!options.job)
            if (const juce::File last(settings.getValue(lastJobKey));
                juce::File::isAbsolutePath(settings.getValue(lastJobKey)) && last.isDirectory())
                options.job = last;
    }
    if (options.usesLightLook)
        processor->setUsesLightLook(true);
    if (options.programme)
        processor->openProgramme(*options.programme);
    if (options.job)
        processor->openJob(*options.job);

    dialogLook = std::make_unique<gui::Look>(processor->usesLightLook());
    juce::LookAndFeel::setDefaultLookAndFeel(dialogLook.get());
    makeBench();
    screen = std::make_unique<gui::AuditionEditor>(*processor, bench.get());
    if (options.screenshot) {
        screen->setSize(options.width, options.height);
        screen->goTo(options.place);
        startTimerHz(10);
        return;
    }
    processor->onShowAudioSettings = [this] { showAudioSettings(); };
    window = std::make_unique<Window>(*screen);
    window->setVisible(true);
    openAudio();
    screen->goTo(options.place);
    if (!properties.getUserSettings()->getBoolValue(safetyNoteSeenKey))
        screen->showSafetyNote([this] {
            properties.getUserSettings()->setValue(safetyNoteSeenKey, true);
            properties.saveIfNeeded();
        });
    startTimerHz(4);
}

void StandaloneApp::openSettings()
{
    juce::PropertiesFile::Options places;
    places.applicationName = getApplicationName();
    places.filenameSuffix = ".settings";
    places.osxLibrarySubFolder = "Application Support";
#if JUCE_LINUX || JUCE_BSD
    places.folderName = "~/.config/Saddletone";
#else
    places.folderName = "Saddletone";
#endif
    properties.setStorageParameters(places);
}

void StandaloneApp::makeBench()
{
    Bench::Surroundings surroundings;
    surroundings.openJobFolder = [this] {
        const auto job = processor->snapshot().job;
        return job != nullptr ? job->folder : juce::File();
    };
    surroundings.openJob = [this](const juce::File& folder) { processor->openJob(folder); };
    surroundings.pauseAudition = [this] { processor->pause(); };
    surroundings.takesFolder = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory)
                                   .getChildFile("Saddletone takes");
    bench = std::make_unique<Bench>(devices, &processorPlayer, std::move(surroundings));
}

void StandaloneApp::openAudio()
{
    const std::unique_ptr<juce::XmlElement> saved =
        properties.getUserSettings()->getXmlValue(audioDeviceKey);
    const juce::String reason = devices.initialise(0, 2, saved.get(), true);
    processorPlayer.setProcessor(processor.get());
    devices.addAudioCallback(&bench->device());
    if (devices.getCurrentAudioDevice() == nullptr)
        processor->reportProblem(
            "There is no sound, as no audio output could be opened"
            + (reason.isNotEmpty() ? " (" + reason + ")" : juce::String())
            + ". Connect headphones or an audio interface, then choose it in \"Audio settings\".");
}

void StandaloneApp::showAudioSettings()
{
    if (audioDialog != nullptr) {
        audioDialog->toFront(true);
        return;
    }
    auto selector = std::make_unique<juce::AudioDeviceSelectorComponent>(devices, 0, 0, 2, 2, false,
                                                                         false, true, false);
    selector->setSize(560, 420);
    selector->setItemHeight(30);
    juce::DialogWindow::LaunchOptions launch;
    launch.content.setOwned(selector.release());
    launch.dialogTitle = "Audio settings";
    launch.componentToCentreAround = screen.get();
    launch.dialogBackgroundColour = dialogLook->palette().background;
    launch.useNativeTitleBar = true;
    launch.resizable = false;
    audioDialog = launch.launchAsync();
}

void StandaloneApp::makePicture()
{
    processor->update();
    bench->update();
    const gui::AuditionSnapshot snapshot = processor->snapshot();
    if (snapshot.busy || bench->isBusy())
        return;
    // The job's own programme is ordered when the job has come in, one tick later.
    if (++quietTicks < 3)
        return;
    stopTimer();
    if (options.job && snapshot.job == nullptr) {
        fail(snapshot.problem, 1);
        return;
    }
    if (options.speedMph)
        gui::setParameter(processor->parameters(), gui::parameterIds::speedKmh,
                          dsp::mphToKmh(*options.speedMph));
    if (options.candidate)
        gui::setParameter(processor->parameters(), gui::parameterIds::candidate,
                          static_cast<double>(*options.candidate));
    screen->refresh();
    if (!writeScreenshot(*screen, *options.screenshot)) {
        fail(options.screenshot->getFullPathName() + " could not be written; is its folder there?",
             1);
        return;
    }
    quit();
}

void StandaloneApp::timerCallback()
{
    if (options.screenshot) {
        makePicture();
        return;
    }
    const gui::AuditionSnapshot snapshot = processor->snapshot();
    window->setName(snapshot.job != nullptr
                        ? "Saddletone" + juce::String::fromUTF8(" \xe2\x80\x93 ")
                              + snapshot.job->title
                        : juce::String("Saddletone"));
}

void StandaloneApp::shutdown()
{
    stopTimer();
    if (window != nullptr) {
        juce::PropertiesFile& settings = *properties.getUserSettings();
        bench->closeInput(); // or the next start would open it unasked
        if (const auto deviceState = devices.createStateXml())
            settings.setValue(audioDeviceKey, deviceState.get());
        settings.setValue(lightLookKey, processor->usesLightLook());
        if (const auto job = processor->snapshot().job)
            settings.setValue(lastJobKey, job->folder.getFullPathName());
        properties.saveIfNeeded();
        devices.removeAudioCallback(&bench->device());
        processorPlayer.setProcessor(nullptr);
        devices.closeAudioDevice();
    }
    delete audioDialog.getComponent();
    window.reset();
    screen.reset();
    bench.reset();
    processor.reset();
    juce::LookAndFeel::setDefaultLookAndFeel(nullptr);
}

} // namespace saddletone::plugin

// The names are JUCE's: its wrapper of the standalone looks for this function.
juce::JUCEApplicationBase* juce_CreateApplication();
juce::JUCEApplicationBase* juce_CreateApplication()
{
    return new saddletone::plugin::StandaloneApp();
}
