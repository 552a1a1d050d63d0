#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AudioSettings.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Bench.h"
#include "Plugin/ChoiceHistory.h"
#include "Plugin/EditLine.h"
#include "Plugin/EventDesk.h"
#include "Plugin/JobDesk.h"
#include "Plugin/Paths.h"
#include "Plugin/TuningDesk.h"
#include "Plugin/WindowScale.h"

#include <juce_audio_devices/juce_audio_devices.h>
#include <juce_audio_utils/juce_audio_utils.h>

#include <algorithm>
#include <array>
#include <iostream>
#include <optional>

namespace saddletone::plugin {

namespace {

// Keys of the settings file.
constexpr const char* safetyNoteSeenKey = "safetyNoteSeen";
constexpr const char* audioDeviceKey = "audioDevice";
constexpr const char* lastJobKey = "lastJob";
constexpr const char* lightLookKey = "lightLook";
constexpr const char* scaleKey = "scalePercent";
constexpr const char* speedUnitKey = "speedUnit";
constexpr const char* recentJobsKey = "recentJobs";
constexpr const char* programmeListKey = "programmeList";
constexpr const char* headphoneKey = "headphoneSplDb";
constexpr const char* ceilingDbaKey = "ceilingDba";
constexpr const char* eventLimitKey = "eventLimitDb";
constexpr const char* microphone0Key = "microphoneTable0Degrees";
constexpr const char* microphone90Key = "microphoneTable90Degrees";
constexpr const char* incidenceKey = "microphoneIncidenceDegrees";

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
    "  --place NAME         place to show: signals, bike, tuning, listen or report\n"
    "  --panel NAME         what Bike shows: analyser, curves, distortion, confidence or\n"
    "                       microphone; what Tuning shows: elements, fit, verdict or cost;\n"
    "                       what Listen shows: blind, ride, figures or seat\n"
    "  --size WxH           its size in pixels, from 1024x700\n"
    "  --speed-mph V        speed to show\n"
    "  --units NAME         what speeds are shown in: mph or km/h\n"
    "  --candidate N        candidate to show, 1 to 8\n"
    "  --list               show the list of files on Listen\n"
    "  --event STAGE        show event mode: setup, waiting, listening, countdown or over\n"
    "  --scale P            how large everything is drawn, 100 to 200 %\n"
    "  --light              the light look\n";

/** A panel of the Bike or the Tuning place, as --panel calls it. */
struct PanelName {
    const char* name;
    gui::BikePanel panel;
    gui::MeasuredAspect aspect = gui::MeasuredAspect::curve;
    gui::TuningPanel tuning = gui::TuningPanel::elements;
    bool isBlindTest = false; ///< Of Listen.
    bool isRide = false;      ///< Of Listen.
    bool isFigures = false;   ///< Of the ride.
    bool isSeat = false;      ///< Of Listen.
};

constexpr std::array panelNames {
    PanelName {"analyser", gui::BikePanel::analyser},
    PanelName {"curves", gui::BikePanel::curves},
    PanelName {"distortion", gui::BikePanel::curves, gui::MeasuredAspect::distortion},
    PanelName {"confidence", gui::BikePanel::curves, gui::MeasuredAspect::confidence},
    PanelName {"microphone", gui::BikePanel::microphone},
    PanelName {.name = "elements", .panel = gui::BikePanel::analyser},
    PanelName {.name = "fit", .panel = gui::BikePanel::analyser, .tuning = gui::TuningPanel::fit},
    PanelName {
        .name = "verdict", .panel = gui::BikePanel::analyser, .tuning = gui::TuningPanel::verdict},
    PanelName {.name = "cost", .panel = gui::BikePanel::analyser, .tuning = gui::TuningPanel::cost},
    PanelName {.name = "blind", .panel = gui::BikePanel::analyser, .isBlindTest = true},
    PanelName {.name = "ride", .panel = gui::BikePanel::analyser, .isRide = true},
    PanelName {
        .name = "figures", .panel = gui::BikePanel::analyser, .isRide = true, .isFigures = true},
    PanelName {.name = "seat", .panel = gui::BikePanel::analyser, .isSeat = true}};

struct CommandLineOptions {
    bool showsHelp = false;
    bool usesLightLook = false;
    bool showsList = false;
    int scalePercent = 100;
    std::optional<juce::File> job;
    std::optional<juce::File> programme;
    std::optional<juce::File> screenshot;
    std::optional<double> speedMph;
    gui::SpeedUnit units = gui::SpeedUnit::mph;
    std::optional<int> candidate;
    juce::String event; ///< Stage to show; empty: none.
    gui::Place place = gui::Place::listen;
    PanelName panel = panelNames.front();
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
        } else if (name == "--scale") {
            options.scalePercent = takeValue().getIntValue();
            if (options.scalePercent < 100 || options.scalePercent > 200)
                problem = "--scale takes 100 to 200";
        } else if (name == "--list") {
            options.showsList = true;
        } else if (name == "--job") {
            options.job = takeFile();
        } else if (name == "--programme") {
            options.programme = takeFile();
        } else if (name == "--screenshot") {
            options.screenshot = takeFile();
        } else if (name == "--speed-mph") {
            const juce::String speed = takeValue();
            if (const auto speedKmh = gui::parseSpeedKmh(speed, gui::SpeedUnit::mph))
                options.speedMph = dsp::kmhToMph(*speedKmh);
            else if (problem.isEmpty())
                problem = "--speed-mph takes a speed, not " + speed;
        } else if (name == "--units") {
            const juce::String units = takeValue();
            if (units == gui::unitName(gui::SpeedUnit::kmh))
                options.units = gui::SpeedUnit::kmh;
            else if (units != gui::unitName(gui::SpeedUnit::mph) && problem.isEmpty())
                problem = "--units takes mph or km/h, not " + units;
        } else if (name == "--candidate") {
            options.candidate = takeValue().getIntValue();
        } else if (name == "--event") {
            options.event = takeValue();
            if (!juce::StringArray {"setup", "waiting", "listening", "countdown", "over"}.contains(
                    options.event)
                && problem.isEmpty())
                problem = "--event takes setup, waiting, listening, countdown or over, not "
                          + options.event;
        } else if (name == "--place") {
            const juce::String place = takeValue();
            const auto* const found = std::ranges::find_if(gui::allPlaces, [&](gui::Place each) {
                return place.equalsIgnoreCase(gui::placeName(each));
            });
            if (found != gui::allPlaces.end())
                options.place = *found;
            else if (problem.isEmpty())
                problem = "--place takes signals, bike, tuning, listen or report, not " + place;
        } else if (name == "--panel") {
            const juce::String panel = takeValue();
            const auto* const found = std::ranges::find_if(
                panelNames, [&](const PanelName& each) { return panel == each.name; });
            if (found != panelNames.end())
                options.panel = *found;
            else if (problem.isEmpty())
                problem = "--panel takes analyser, curves, distortion, confidence, microphone, "
                          "elements, fit, verdict, cost, blind, ride, figures or seat, not "
                          + panel;
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

/** Draws everything that large, in every window. */
void applyScale(int percent)
{
    juce::Desktop::getInstance().setGlobalScaleFactor(static_cast<float>(percent) / 100.0F);
}

/** Whether the smallest window fits on the main display when it is drawn that large. */
bool fitsOnDisplay(int percent)
{
    const juce::Desktop& desktop = juce::Desktop::getInstance();
    const auto* const display = desktop.getDisplays().getPrimaryDisplay();
    if (display == nullptr)
        return percent == 100;
    const auto area = display->userArea.toFloat() * desktop.getGlobalScaleFactor();
    const float factor = static_cast<float>(percent) / 100.0F;
    return percent == 100
           || (factor * gui::AuditionEditor::smallestWidth <= area.getWidth()
               && factor * gui::AuditionEditor::smallestHeight <= area.getHeight());
}

/** Writes the component as a PNG, whole or not at all. */
bool writeScreenshot(juce::Component& component, const juce::File& file, int scalePercent)
{
    const juce::Image image = component.createComponentSnapshot(
        component.getLocalBounds(), true, static_cast<float>(scalePercent) / 100.0F);
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
    bench opens an input, when asked to; the audition hears it only as live programme, which is off
    at every start. */
class StandaloneApp final : public juce::JUCEApplication, private juce::Timer {
public:
    StandaloneApp() = default;

    const juce::String getApplicationName() override { return "Saddletone"; }
    const juce::String getApplicationVersion() override { return JucePlugin_VersionString; }
    bool moreThanOneInstanceAllowed() override { return true; }

    void initialise(const juce::String&) override;
    void shutdown() override;
    void systemRequestedQuit() override;

private:
    class Window;

    void timerCallback() override;
    void openSettings();
    void makeBench();
    void makeJobDesk();
    void makeEventDesk();
    void openAudio();
    void restoreMicrophone();
    void keepMicrophone();
    void restoreList();
    void keepList();
    void showAudioSettings();
    void setForPicture();
    void showEventForPicture();
    void makePicture();
    void fail(const juce::String& message, int returnValue);

    CommandLineOptions options;
    juce::ApplicationProperties properties;
    std::unique_ptr<AuditionProcessor> processor;
    juce::AudioDeviceManager devices;
    juce::AudioProcessorPlayer processorPlayer;
    EditLine edits;
    std::unique_ptr<ChoiceHistory> choices;
    std::unique_ptr<TuningDesk> desk;
    std::unique_ptr<JobDesk> jobDesk;
    std::unique_ptr<Bench> bench;
    double pictureSeconds = 0.0; ///< The event's clock where a picture is made.
    std::unique_ptr<EventDesk> events;
    std::unique_ptr<gui::AuditionEditor> screen;
    std::unique_ptr<Window> window;
    juce::Component::SafePointer<juce::DialogWindow> audioDialog;
    int quietTicks = 0;
    bool isSetForPicture = false;
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
        takePlace({getWidth(), getHeight()});
    }

    /** Draws everything at another scale, in a window that is as large as before for what is in it. */
    void setScalePercent(int percent)
    {
        const juce::Point<int> size(getWidth(), getHeight());
        applyScale(percent);
        if (!isFullScreen() && !isKioskMode())
            takePlace(size);
    }

    /** With or without frame, title and other windows beside it. */
    void fillDisplay(bool shouldFill)
    {
        juce::Desktop& desktop = juce::Desktop::getInstance();
        if (!shouldFill)
            desktop.setKioskModeComponent(nullptr);
        setUsingNativeTitleBar(!shouldFill);
        if (shouldFill)
            desktop.setKioskModeComponent(this, false);
    }

    void closeButtonPressed() override
    {
        juce::JUCEApplication::getInstance()->systemRequestedQuit();
    }

private:
    void takePlace(juce::Point<int> size)
    {
        const auto* const display =
            juce::Desktop::getInstance().getDisplays().getDisplayForRect(getScreenBounds());
        if (display == nullptr) {
            centreWithSize(size.x, size.y);
            return;
        }
        juce::BorderSize<int> frame;
        if (const juce::ComponentPeer* const peer = getPeer())
            if (const auto known = peer->getFrameSizeIfPresent())
                frame = *known;
        setBounds(placeAtScale(size, display->userArea, frame));
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
        if (!options.job && !options.programme)
            restoreList();
        processor->setUsesLightLook(settings.getBoolValue(lightLookKey));
        processor->setSpeedUnit(
            settings.containsKey(speedUnitKey)
                ? (settings.getValue(speedUnitKey) == gui::unitName(gui::SpeedUnit::kmh)
                       ? gui::SpeedUnit::kmh
                       : gui::SpeedUnit::mph)
                : gui::defaultSpeedUnit());
        // Of the headphones in the shop, whatever job is open.
        for (const auto& [key, id] : {std::pair {headphoneKey, gui::parameterIds::headphoneSplDb},
                                      std::pair {ceilingDbaKey, gui::parameterIds::ceilingDba}})
            if (settings.containsKey(key))
                gui::setParameter(processor->parameters(), id, settings.getDoubleValue(key));
        if (!options.job)
            if (const juce::File last(settings.getValue(lastJobKey));
                juce::File::isAbsolutePath(settings.getValue(lastJobKey)) && last.isDirectory())
                options.job = last;
    }
    if (options.screenshot)
        processor->setSpeedUnit(options.units);
    if (options.usesLightLook)
        processor->setUsesLightLook(true);
    if (options.programme)
        processor->openProgramme(*options.programme);

    desk = std::make_unique<TuningDesk>(*processor, TuningDesk::findPresets());
    desk->joinLine(edits);
    choices = std::make_unique<ChoiceHistory>(*processor, edits);
    makeJobDesk();
    makeBench();
    makeEventDesk();
    screen = std::make_unique<gui::AuditionEditor>(
        *processor, bench.get(), desk.get(), &processor->blindTests(), jobDesk.get(), events.get());
    if (options.job)
        jobDesk->openJob(*options.job);
    if (options.screenshot) {
        screen->setSize(options.width, options.height);
        screen->goTo(options.place);
        screen->showProgrammeList(options.showsList);
        screen->bike()->showPanel(options.panel.panel);
        screen->bike()->showAspect(options.panel.aspect);
        screen->tuning()->showPanel(options.panel.tuning);
        startTimerHz(10);
        return;
    }
    processor->onShowAudioSettings = [this] { showAudioSettings(); };
    screen->onFullScreen = [this](bool isFull) {
        // Not from inside the window's own event, as the window is made anew without its frame.
        juce::MessageManager::callAsync(
            [isFull, safe = juce::Component::SafePointer<Window>(window.get())] {
                if (safe != nullptr)
                    safe->fillDisplay(isFull);
            });
        delete audioDialog.getComponent();
    };
    window = std::make_unique<Window>(*screen);
    window->setVisible(true);
    openAudio();
    screen->goTo(options.place);
    restoreMicrophone();
    if (!properties.getUserSettings()->getBoolValue(safetyNoteSeenKey))
        screen->showSafetyNote([this] {
            properties.getUserSettings()->setValue(safetyNoteSeenKey, true);
            properties.saveIfNeeded();
        });
    startTimerHz(30);
}

void StandaloneApp::systemRequestedQuit()
{
    if (events != nullptr && events->isRunning())
        return; // it is left first, which takes more than a key
    if (window == nullptr)
        quit();
    else
        screen->askAboutUnsaved([] { quit(); });
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

void StandaloneApp::makeJobDesk()
{
    const juce::File documents = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory);
    JobDesk::Surroundings surroundings;
    surroundings.jobsFolder = documents.getChildFile("Saddletone jobs");
    surroundings.demoFolder = documents.getChildFile("Saddletone demo (invented)");
    surroundings.openFile = [](const juce::File& file) { file.startAsProcess(); };
    surroundings.showFolder = [](const juce::File& folder) { folder.revealToUser(); };
    RecentJobs recent;
    if (!options.screenshot) {
        if (const auto saved = properties.getUserSettings()->getXmlValue(recentJobsKey))
            recent = RecentJobs::fromXml(*saved);
        surroundings.keepRecent = [this](const RecentJobs& jobs) {
            properties.getUserSettings()->setValue(recentJobsKey, jobs.toXml().get());
            properties.saveIfNeeded();
        };
        surroundings.scalePercent =
            std::clamp(properties.getUserSettings()->getIntValue(scaleKey, 100), 100, 200);
        surroundings.fitsAtScale = fitsOnDisplay;
        surroundings.setScalePercent = [this](int percent) {
            properties.getUserSettings()->setValue(scaleKey, percent);
            properties.saveIfNeeded();
            window->setScalePercent(percent);
        };
        if (fitsOnDisplay(surroundings.scalePercent))
            applyScale(surroundings.scalePercent);
        else
            surroundings.scalePercent = 100;
    }
    jobDesk =
        std::make_unique<JobDesk>(*processor, edits, std::move(surroundings), std::move(recent));
}

void StandaloneApp::makeEventDesk()
{
    EventDesk::Clock clock = EventDesk::steadySeconds;
    EventDesk::LimitMemory limit;
    if (options.screenshot) {
        clock = [this] { return pictureSeconds; };
    } else {
        limit.limitDb =
            properties.getUserSettings()->getDoubleValue(eventLimitKey, EventDesk::usualLimitDb);
        limit.keep = [this](double limitDb) {
            properties.getUserSettings()->setValue(eventLimitKey, limitDb);
            properties.saveIfNeeded();
        };
    }
    events =
        std::make_unique<EventDesk>(*processor, &processor->blindTests(), clock, std::move(limit));
}

void StandaloneApp::makeBench()
{
    Bench::Surroundings surroundings;
    surroundings.openJobFolder = [this] { return jobDesk->openFolder(); };
    surroundings.openJob = [this](const juce::File& folder) {
        // The open job is only read again, and the tuning goes on; another one takes its place.
        const auto job = processor->snapshot().job;
        if (job != nullptr && job->folder == folder)
            processor->openJob(folder);
        else
            screen->openJob(folder);
    };
    surroundings.stateAdded = [this](const juce::File& folder, const std::string& stateId) {
        jobDesk->noteAddedState(folder, stateId);
    };
    surroundings.pauseAudition = [this] {
        processor->pause();
        processor->setLive(false);
    };
    surroundings.takesFolder = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory)
                                   .getChildFile("Saddletone takes");
    bench = std::make_unique<Bench>(devices, &processorPlayer, std::move(surroundings));
    processor->onSetLive = [this](bool shouldBeLive) {
        const int numChannels = bench->setLive(shouldBeLive);
        if (shouldBeLive && numChannels == 0)
            processor->reportProblem(
                "Live input could not be opened. Connect the interface, choose "
                "it on the Bike place, then try again.");
        return numChannels;
    };
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

void StandaloneApp::restoreMicrophone()
{
    const juce::PropertiesFile& settings = *properties.getUserSettings();
    const auto fileOf = [&](const char* key) {
        const juce::String name = settings.getValue(key);
        return juce::File::isAbsolutePath(name) ? toPath(juce::File(name))
                                                : std::filesystem::path();
    };
    MicrophoneChoice choice;
    choice.zeroDegreesFile = fileOf(microphone0Key);
    choice.ninetyDegreesFile = fileOf(microphone90Key);
    if (const auto incidence =
            measure::parseIncidence(settings.getValue(incidenceKey).toStdString()))
        choice.incidence = *incidence;
    if (!(choice == MicrophoneChoice {}))
        bench->restoreMicrophone(choice);
}

void StandaloneApp::restoreList()
{
    const std::unique_ptr<juce::XmlElement> saved =
        properties.getUserSettings()->getXmlValue(programmeListKey);
    if (saved == nullptr)
        return;
    juce::MemoryBlock state;
    juce::AudioProcessor::copyXmlToBinary(*saved, state);
    processor->setStateInformation(state.getData(), static_cast<int>(state.getSize()));
}

void StandaloneApp::keepList()
{
    juce::MemoryBlock state;
    processor->getStateInformation(state);
    const std::unique_ptr<juce::XmlElement> list =
        juce::AudioProcessor::getXmlFromBinary(state.getData(), static_cast<int>(state.getSize()));
    if (list == nullptr)
        return;
    // Without the parameters: every start is a quiet one.
    while (juce::XmlElement* const parameter = list->getChildByName("parameter"))
        list->removeChildElement(parameter, true);
    properties.getUserSettings()->setValue(programmeListKey, list.get());
}

void StandaloneApp::keepMicrophone()
{
    juce::PropertiesFile& settings = *properties.getUserSettings();
    const MicrophoneChoice& choice = bench->microphoneChoice();
    const auto keep = [&](const char* key, const std::filesystem::path& file) {
        settings.setValue(key, file.empty() ? juce::String() : toFile(file).getFullPathName());
    };
    keep(microphone0Key, choice.zeroDegreesFile);
    keep(microphone90Key, choice.ninetyDegreesFile);
    settings.setValue(incidenceKey, toText(std::string(measure::incidenceName(choice.incidence))));
}

void StandaloneApp::showAudioSettings()
{
    if (audioDialog != nullptr) {
        audioDialog->toFront(true);
        return;
    }
    juce::DialogWindow::LaunchOptions launch;
    launch.content.setOwned(std::make_unique<AudioSettings>(devices).release());
    launch.dialogTitle = "Audio settings";
    launch.componentToCentreAround = screen.get();
    launch.dialogBackgroundColour = gui::paletteOf(*screen).background;
    launch.useNativeTitleBar = true;
    launch.resizable = false;
    audioDialog = launch.launchAsync();
}

void StandaloneApp::setForPicture()
{
    if (options.speedMph)
        gui::setParameter(processor->parameters(), gui::parameterIds::speedKmh,
                          dsp::mphToKmh(*options.speedMph));
    if (options.candidate)
        gui::setParameter(processor->parameters(), gui::parameterIds::candidate,
                          static_cast<double>(*options.candidate));
    screen->showBlindTest(options.panel.isBlindTest);
    screen->showRide(options.panel.isRide);
    screen->ride().setShowsFigures(options.panel.isFigures);
    screen->showSeat(options.panel.isSeat);
    if (options.event.isNotEmpty())
        showEventForPicture();
}

void StandaloneApp::showEventForPicture()
{
    screen->openEvent();
    if (options.event == "setup")
        return;
    events->begin(-12.0);
    if (options.event == "waiting")
        return;
    events->touch();
    gui::setParameter(processor->parameters(), gui::parameterIds::speedKmh,
                      dsp::mphToKmh(options.speedMph.value_or(0.0)));
    events->pick(static_cast<std::size_t>(std::max(1, options.candidate.value_or(1)) - 1));
    if (options.event == "over")
        events->end();
    if (options.event != "countdown")
        return;
    constexpr double untouchedSeconds = 97.0;
    pictureSeconds += untouchedSeconds;
    events->update();
}

void StandaloneApp::makePicture()
{
    processor->update();
    bench->update();
    desk->update();
    jobDesk->update();
    const gui::AuditionSnapshot snapshot = processor->snapshot();
    if (snapshot.busy || snapshot.fairness.basis == gui::MatchBasis::measuring || bench->isBusy()
        || desk->isBusy() || jobDesk->isBusy()) {
        quietTicks = 0;
        return;
    }
    // The job's own programme is ordered when the job has come in, one tick later.
    if (++quietTicks < 3)
        return;
    if (options.job && jobDesk->openFolder() == juce::File()) {
        stopTimer();
        fail(snapshot.problem.isNotEmpty() ? snapshot.problem : jobDesk->jobSnapshot().message, 1);
        return;
    }
    if (!isSetForPicture) {
        isSetForPicture = true;
        quietTicks = 0;
        setForPicture();
        return;
    }
    stopTimer();
    screen->refresh();
    if (!writeScreenshot(*screen, *options.screenshot, options.scalePercent)) {
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
    choices->update();
    const gui::JobSnapshot jobs = jobDesk->jobSnapshot();
    window->setName(jobs.open != nullptr ? "Saddletone" + juce::String::fromUTF8(" \xe2\x80\x93 ")
                                               + jobs.open->fields.title
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
        settings.setValue(speedUnitKey, gui::unitName(processor->snapshot().speedUnit));
        for (const auto& [key, id] : {std::pair {headphoneKey, gui::parameterIds::headphoneSplDb},
                                      std::pair {ceilingDbaKey, gui::parameterIds::ceilingDba}})
            settings.setValue(key, gui::parameterValue(processor->parameters(), id));
        keepMicrophone();
        keepList();
        const juce::File lastJob = jobDesk->openFolder();
        settings.setValue(lastJobKey,
                          lastJob != juce::File() ? lastJob.getFullPathName() : juce::String());
        properties.saveIfNeeded();
        devices.removeAudioCallback(&bench->device());
        processorPlayer.setProcessor(nullptr);
        devices.closeAudioDevice();
    }
    delete audioDialog.getComponent();
    window.reset();
    screen.reset();
    events.reset();
    bench.reset();
    jobDesk.reset();
    desk.reset();
    choices.reset();
    processor.reset();
}

} // namespace saddletone::plugin

// The names are JUCE's: its wrapper of the standalone looks for this function.
juce::JUCEApplicationBase* juce_CreateApplication();
juce::JUCEApplicationBase* juce_CreateApplication()
{
    return new saddletone::plugin::StandaloneApp();
}
