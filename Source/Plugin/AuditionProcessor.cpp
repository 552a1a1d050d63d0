#include "Plugin/AuditionProcessor.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Paths.h"

#include <array>
#include <cmath>

namespace saddletone::plugin {

namespace {

constexpr int stateSchemaVersion = 1;
constexpr const char* stateTag = "saddletone";
constexpr const char* parameterTag = "parameter";
constexpr const char* playlistTag = "programme";
constexpr const char* speedUnitKey = "speedUnit";

/** Rise of live programme: long enough to reach for the controls before a feedback is loud. */
constexpr double liveRampSeconds = 2.0;

/** The window of a host around the screen, which knows no processor. */
class HostEditor final : public juce::AudioProcessorEditor {
public:
    explicit HostEditor(AuditionProcessor& owner)
        : juce::AudioProcessorEditor(owner), screen(owner, nullptr, nullptr, &owner.blindTests())
    {
        addAndMakeVisible(screen);
        setResizable(true, true);
        setResizeLimits(gui::AuditionEditor::smallestWidth, gui::AuditionEditor::smallestHeight,
                        3840, 2400);
        setSize(gui::AuditionEditor::defaultWidth, gui::AuditionEditor::defaultHeight);
    }

    void resized() override { screen.setBounds(getLocalBounds()); }

private:
    gui::AuditionEditor screen;
};

} // namespace

AuditionProcessor::AuditionProcessor()
    : juce::AudioProcessor(BusesProperties()
                               .withInput("Programme", juce::AudioChannelSet::stereo(), true)
                               .withOutput("Headphones", juce::AudioChannelSet::stereo(), true)),
      state(*this, nullptr, "parameters", makeParameterLayout()),
      reader(state),
      playsProgramme(wrapperType == wrapperType_Standalone),
      engine(settings)
{
    engine.prepare({.sampleRate = engineRate});
    startTimerHz(30);
}

AuditionProcessor::~AuditionProcessor()
{
    stopTimer();
    ++newestOrder;
    loader.removeAllJobs(true, -1);
}

bool AuditionProcessor::isBusesLayoutSupported(const BusesLayout& layouts) const
{
    const juce::AudioChannelSet input = layouts.getMainInputChannelSet();
    const bool isInputKnown = input == juce::AudioChannelSet::stereo()
                              || input == juce::AudioChannelSet::mono()
                              || (playsProgramme && input.isDisabled());
    return isInputKnown && layouts.getMainOutputChannelSet() == juce::AudioChannelSet::stereo();
}

void AuditionProcessor::prepareToPlay(double sampleRate, int maxBlockFrames)
{
    const dsp::ProcessSpec spec {sampleRate, static_cast<std::size_t>(std::max(1, maxBlockFrames)),
                                 2};
    player.prepare(spec);
    blindDesk.listening().prepare(sampleRate);

    std::shared_ptr<const LoadedJob> started;
    {
        const std::lock_guard lock(publishMutex);
        engine.prepare(spec);
        engineRate = sampleRate;
        engine.setParameters(reader.engineParameters());

        // Carried out here and not in the background, so that the first block already plays it;
        // an offline host would not wait.
        Order order;
        if (waiting && !waiting->isEdited)
            order = *waiting;
        else if (edited != nullptr)
            order = {.folder = edited->job.folder,
                     .loaded = std::exchange(edited, nullptr),
                     .setting = setting()};
        else if (waiting)
            order = *waiting;
        else if (job != nullptr)
            order = {.folder = job->job.folder, .loaded = job, .setting = setting()};
        if (order.loaded != nullptr || !order.folder.empty()) {
            order.number = ++newestOrder;
            order.layout = engine.layout();
            order.sampleRate = sampleRate;
            order.isFromFolder = order.loaded == nullptr;
            order.kept = scene;
            Delivery made = carryOut(std::move(order));
            const bool startsRide = !made.order.setting.has_value();
            if (takeUp(made)) {
                if (startsRide)
                    started = job;
            } else if (job != nullptr && made.order.loaded != job) {
                // The old job has lost its scene if the rate is another.
                made = carryOut({.number = newestOrder.load(),
                                 .folder = job->job.folder,
                                 .loaded = job,
                                 .setting = setting(),
                                 .layout = engine.layout(),
                                 .sampleRate = sampleRate});
                takeUp(made);
            }
        }
    }
    if (started != nullptr)
        startRide(*started);
    reset();
}

void AuditionProcessor::reset()
{
    engine.setParameters(blindDesk.listening().parametersOver(reader.engineParameters()));
    engine.reset();
}

void AuditionProcessor::render(juce::AudioBuffer<float>& buffer, bool isBypassed) noexcept
{
    const juce::ScopedNoDenormals noDenormals;
    const dsp::ScopedFlushDenormals flush;

    const auto numFrames = static_cast<std::size_t>(buffer.getNumSamples());
    if (buffer.getNumChannels() < 2) {
        buffer.clear();
        return;
    }
    for (int channel = 2; channel < buffer.getNumChannels(); ++channel)
        buffer.clear(channel, 0, buffer.getNumSamples());

    const std::array<float*, 2> outputs {buffer.getWritePointer(0), buffer.getWritePointer(1)};
    const std::array<const float*, 2> inputs {outputs[0], outputs[1]};
    std::size_t numInputs = getMainBusNumInputChannels() == 1 ? 1 : 2;
    if (playsProgramme) {
        const dsp::ChannelView<float> programme(outputs.data(), 2, numFrames);
        if (liveChannels.load(std::memory_order_relaxed) > 0) {
            renderLive(programme);
        } else {
            player.process(programme);
            liveFrames = 0;
        }
        numInputs = 2;
    }

    audition::AuditionEngine::Parameters parameters = reader.engineParameters();
    if (isParked.load(std::memory_order_relaxed)) {
        parameters.ride.speedKmh = 0.0;
        parameters.ride.earPlugs = ride::EarPlugs::none;
        parameters.volumeDb = 0.0;
        parameters.monitor = audition::Monitor::programmeOnly;
    }
    if (isBypassed)
        parameters.monitor = audition::Monitor::untouched;
    blindDesk.listening().process(engine, parameters, {inputs.data(), numInputs, numFrames},
                                  {outputs.data(), 2, numFrames});

    const float peak = engine.outputPeak();
    if (peak > peakSinceSnapshot.load(std::memory_order_relaxed))
        peakSinceSnapshot.store(peak, std::memory_order_relaxed);
}

void AuditionProcessor::renderLive(dsp::ChannelView<float> programme) noexcept
{
    const bool isMono = liveChannels.load(std::memory_order_relaxed) == 1;
    const double rampFrames = liveRampSeconds * getSampleRate();
    for (std::size_t frame = 0; frame < programme.numFrames(); ++frame) {
        const auto gain = static_cast<float>(
            std::min(1.0, static_cast<double>(liveFrames++) / std::max(1.0, rampFrames)));
        programme[0][frame] *= gain;
        programme[1][frame] = isMono ? programme[0][frame] : gain * programme[1][frame];
    }
}

void AuditionProcessor::processBlock(juce::AudioBuffer<float>& buffer, juce::MidiBuffer&)
{
    render(buffer, false);
}

void AuditionProcessor::processBlockBypassed(juce::AudioBuffer<float>& buffer, juce::MidiBuffer&)
{
    render(buffer, true);
}

double AuditionProcessor::getTailLengthSeconds() const
{
    return settings.maxKernelSeconds;
}

juce::AudioProcessorParameter* AuditionProcessor::getBypassParameter() const
{
    return state.getParameter(gui::parameterIds::bypass);
}

AuditionProcessor::Delivery AuditionProcessor::carryOut(Order order)
{
    Delivery made;
    try {
        if (order.loaded == nullptr) {
            auto loaded = loadJobForAudition(order.folder);
            if (loaded)
                order.loaded = *std::move(loaded);
            else
                made.problem = loaded.error().message;
        }
        if (order.loaded != nullptr) {
            const job::JobRide& ride = order.loaded->job.ride;
            const RideSetting setting =
                order.setting.value_or(RideSetting {ride.helmet, ride.speedKmh});
            auto built = buildSceneForAudition(
                order.loaded, sceneChoiceFor(*order.loaded, setting.helmet, setting.speedKmh),
                order.layout, order.sampleRate, order.kept.get());
            if (built)
                made.built = *std::move(built);
            else
                made.problem = built.error().message;
        }
    } catch (const std::exception& exception) {
        made.problem =
            order.folder.string() + ": " + exception.what() + "; the job could not be opened";
    }
    made.order = std::move(order);
    return made;
}

AuditionProcessor::RideSetting AuditionProcessor::setting() const noexcept
{
    return {reader.helmet(), reader.engineParameters().ride.speedKmh};
}

SceneChoice AuditionProcessor::wantedChoice() const noexcept
{
    return sceneChoiceFor(*job, reader.helmet(), reader.engineParameters().ride.speedKmh);
}

void AuditionProcessor::placeOrder(Order order)
{
    order.number = ++newestOrder;
    order.layout = engine.layout();
    order.sampleRate = engineRate;
    order.isFromFolder = order.loaded == nullptr;
    order.kept = scene;
    if (order.setting && order.loaded != nullptr)
        orderedChoice =
            sceneChoiceFor(*order.loaded, order.setting->helmet, order.setting->speedKmh);
    waiting = order;
    loader.addJob([this, task = std::move(order)] {
        if (task.number != newestOrder.load())
            return;
        Delivery made = carryOut(task);
        const std::lock_guard lock(deliveryMutex);
        if (!delivery || delivery->order.number < made.order.number)
            delivery = std::move(made);
    });
}

bool AuditionProcessor::takeUp(Delivery& made)
{
    if (made.order.number != newestOrder.load())
        return false;
    waiting.reset();
    if (made.built.scene == nullptr) {
        problem = toText(made.problem);
        return false;
    }
    scene = std::move(made.built.kept);
    orderedChoice = {scene->scene.ride.parameters.helmet, scene->scene.equaliserSpeedKmh};
    job = made.order.loaded;
    if (made.order.isFromFolder) {
        opened = {job, opened.number + 1};
        edited = nullptr; // it was made from the job before
    }
    publishedGainsDb.clear();
    engine.publish(std::move(made.built.scene));
    return true;
}

void AuditionProcessor::update()
{
    std::optional<Delivery> made;
    {
        const std::lock_guard lock(deliveryMutex);
        made = std::exchange(delivery, std::nullopt);
    }
    std::shared_ptr<const LoadedJob> started;
    {
        const std::lock_guard lock(publishMutex);
        engine.collectGarbage();
        if (made) {
            const bool startsRide = !made->order.setting.has_value();
            if (takeUp(*made) && startsRide)
                started = job;
        }
        if (started == nullptr && !waiting && edited != nullptr)
            placeEdited();
        else if (started == nullptr && !waiting && job != nullptr && wantedChoice() != orderedChoice
                 && !blindDesk.isRunning())
            placeOrder({.folder = job->job.folder, .loaded = job, .setting = setting()});
    }
    if (started != nullptr)
        startRide(*started);

    player.update();
    if (const auto reason = player.takeProblem())
        reportProblem(toText(*reason));
    blindDesk.update();
    if (const std::size_t candidate = reader.engineParameters().candidate;
        candidate != switchedTo) {
        switchedTo = candidate;
        if (restartsOnSwitch)
            player.restart();
    }
    const std::lock_guard lock(publishMutex);
    compare();
}

void AuditionProcessor::compare()
{
    const bool hasFile = playsProgramme && liveChannels.load() == 0;
    matchMeter.want(scene, hasFile ? player.heardPart() : ProgrammePlayer::HeardPart {});
    static_cast<void>(matchMeter.update());
    compared = matchMeter.match();
    const audition::AuditionEngine::Parameters parameters = reader.engineParameters();
    double matchGainDb = 0.0;
    if (scene != nullptr) {
        const std::size_t heard =
            std::min(parameters.candidate, scene->scene.candidates.size() - 1);
        matchGainDb = compared && compared->matchGainsDb.size() == scene->scene.candidates.size()
                          ? compared->matchGainsDb[heard]
                          : scene->scene.candidates[heard].matchGainDb;
    }
    roadMeter.want(scene, parameters.candidate, matchGainDb, parameters,
                   hasFile ? player.heardPart() : ProgrammePlayer::HeardPart {});
    roadMeter.update();
    // During a blind test nothing changes.
    if (scene == nullptr || blindDesk.isRunning() || !compared || !hasFile
        || parameters.match != audition::LevelMatch::equalLoudness)
        return;
    // Gains as published, or of pink noise as the scene was built.
    bool isOther = false;
    for (std::size_t index = 0; index < compared->matchGainsDb.size(); ++index) {
        const double before = index < publishedGainsDb.size()
                                  ? publishedGainsDb[index]
                                  : scene->scene.candidates[index].matchGainDb;
        isOther = isOther || std::abs(before - compared->matchGainsDb[index]) > 0.01;
    }
    if (!isOther)
        return;
    auto matched = std::make_unique<audition::AuditionScene>(scene->scene);
    for (std::size_t index = 0; index < matched->candidates.size(); ++index)
        matched->candidates[index].matchGainDb = compared->matchGainsDb[index];
    publishedGainsDb = compared->matchGainsDb;
    engine.publish(std::move(matched));
}

void AuditionProcessor::placeEdited()
{
    std::shared_ptr<const LoadedJob> newest = std::exchange(edited, nullptr);
    const std::filesystem::path folder = newest->job.folder;
    placeOrder(
        {.folder = folder, .loaded = std::move(newest), .setting = setting(), .isEdited = true});
}

AuditionProcessor::OpenedJob AuditionProcessor::openedJob()
{
    const std::lock_guard lock(publishMutex);
    return opened;
}

AuditionProcessor::Heard AuditionProcessor::heard()
{
    Heard heard;
    heard.parameters = reader.engineParameters();
    heard.playsProgramme = playsProgramme;
    heard.programme = player.state();
    const std::lock_guard lock(publishMutex);
    heard.scene = scene;
    heard.isBuilding = waiting.has_value() || edited != nullptr;
    return heard;
}

void AuditionProcessor::playEdited(std::shared_ptr<const LoadedJob> newest)
{
    const std::lock_guard lock(publishMutex);
    if (job == nullptr)
        return;
    edited = std::move(newest);
    if (!waiting)
        placeEdited();
}

bool AuditionProcessor::isBuildingEdited()
{
    const std::lock_guard lock(publishMutex);
    return edited != nullptr || (waiting && waiting->isEdited);
}

void AuditionProcessor::startRide(const LoadedJob& loaded)
{
    gui::setParameter(state, gui::parameterIds::candidate, 1.0);
    const job::JobRide& ride = loaded.job.ride;
    gui::setParameter(state, gui::parameterIds::speedKmh, ride.speedKmh);
    gui::setParameter(state, gui::parameterIds::helmet, static_cast<double>(ride.helmet));
    gui::setParameter(state, gui::parameterIds::screen, static_cast<double>(ride.screen));
    gui::setParameter(state, gui::parameterIds::earPlugs, static_cast<double>(ride.earPlugs));
    gui::setParameter(state, gui::parameterIds::engineNoise, static_cast<double>(ride.engineNoise));
    gui::setParameter(state, gui::parameterIds::radioVolumeDb, 0.0);
    if (loaded.headphones)
        gui::setParameter(state, gui::parameterIds::headphoneSplDb,
                          loaded.headphones->splAtFullScaleDb());
    const ProgrammePlayer::State transport = player.state();
    if (!playsProgramme || transport.loaded || transport.busy)
        return;
    std::vector<std::filesystem::path> files;
    for (const std::string& programme : loaded.job.programmes)
        if (const auto path = job::resolveInside(loaded.job.folder, programme))
            files.push_back(*path);
    player.add(files);
}

void AuditionProcessor::reportProblem(const juce::String& message)
{
    const std::lock_guard lock(publishMutex);
    problem = message;
}

void AuditionProcessor::dismissProblem()
{
    const std::lock_guard lock(publishMutex);
    problem.clear();
}

void AuditionProcessor::openJob(const juce::File& folder)
{
    const juce::File jobFolder =
        folder.getFileName() == "job.json" ? folder.getParentDirectory() : folder;
    const std::lock_guard lock(publishMutex);
    placeOrder({.folder = toPath(jobFolder)});
}

bool AuditionProcessor::isOpeningJob()
{
    const std::lock_guard lock(publishMutex);
    return waiting && waiting->isFromFolder;
}

void AuditionProcessor::cancelOpening()
{
    const std::lock_guard lock(publishMutex);
    if (!waiting || !waiting->isFromFolder)
        return;
    ++newestOrder;
    waiting.reset();
}

void AuditionProcessor::closeJob()
{
    const std::lock_guard lock(publishMutex);
    ++newestOrder;
    waiting.reset();
    job = nullptr;
    scene = nullptr;
    edited = nullptr;
    opened = {nullptr, opened.number + 1};
    engine.publish(std::make_unique<audition::AuditionScene>());
}

void AuditionProcessor::openProgramme(const juce::File& file)
{
    player.load(toPath(file));
}

void AuditionProcessor::addProgrammes(const std::vector<juce::File>& files, std::size_t before)
{
    std::vector<std::filesystem::path> paths;
    for (const juce::File& file : files)
        paths.push_back(toPath(file));
    player.add(paths, before);
}

void AuditionProcessor::setLive(bool shouldBeLive)
{
    if (shouldBeLive == (liveChannels.load() > 0))
        return;
    liveChannels.store(0);
    const int numChannels = onSetLive ? onSetLive(shouldBeLive) : 0;
    if (shouldBeLive && numChannels > 0) {
        player.pause();
        liveChannels.store(std::min(numChannels, 2));
    }
}

gui::ProgrammeListView AuditionProcessor::programmeList()
{
    gui::ProgrammeListView view;
    const audition::ProgrammeList list = player.list();
    view.isAligned = player.isAligned();
    for (const audition::ProgrammeEntry& entry : list.entries()) {
        gui::ProgrammeRow row;
        row.name = toFile(entry.file).getFileName();
        row.durationSeconds = entry.durationSeconds;
        row.loudnessLufs = entry.loudnessLufs;
        if (view.isAligned && entry.loudnessLufs)
            row.gainDb = audition::alignmentGainDb(*entry.loudnessLufs);
        row.region = entry.region;
        row.isUnreadable = entry.isUnreadable;
        view.rows.push_back(std::move(row));
    }
    view.current = list.current();
    view.restartsOnSwitch = restartsOnSwitch;
    view.canBeLive = onSetLive != nullptr;
    view.isLive = liveChannels.load() > 0;
    view.keptWords = keptWords;
    view.takeHome = takeHomeJob.view();
    return view;
}

void AuditionProcessor::keepInJob()
{
    const std::shared_ptr<const LoadedJob> open = openedJob().loaded;
    if (open == nullptr) {
        keptWords = "Open a job first; there is none to keep the files in.";
        return;
    }
    // Read again, as others may have changed it on disk since it was opened.
    auto read = job::loadJob(open->job.folder);
    if (!read) {
        keptWords = toText(read.error().message);
        return;
    }
    read->programmes.clear();
    const std::filesystem::path folder = toPath(toFile(read->folder));
    const audition::ProgrammeList list = player.list();
    for (const audition::ProgrammeEntry& entry : list.entries())
        if (const auto inside = audition::pathInside(folder, toPath(toFile(entry.file))))
            read->programmes.push_back(*inside);
    if (const auto saved = job::saveJob(*read); !saved) {
        keptWords = toText(saved.error().message);
        return;
    }
    const auto numKept = static_cast<int>(read->programmes.size());
    const int numLeft = static_cast<int>(list.entries().size()) - numKept;
    keptWords = juce::String(numKept) + (numKept == 1 ? " file is" : " files are")
                + " kept in the job"
                + (numLeft > 0 ? "; " + juce::String(numLeft)
                                     + " outside its folder cannot be: copy them into it first."
                               : juce::String("."));
}

void AuditionProcessor::takeHome(const juce::File& folder)
{
    keptWords.clear();
    const ProgrammePlayer::HeardPart part = player.heardPart();
    std::shared_ptr<const KeptScene> played;
    {
        const std::lock_guard lock(publishMutex);
        played = scene;
    }
    if (played == nullptr || part.audio == nullptr) {
        takeHomeJob.refuse("Open a job and a programme first: there is nothing to write yet.");
        return;
    }
    audition::TakeHomeRequest request;
    request.scene = played->loaded->request;
    request.scene.ride.parameters.helmet = played->scene.ride.parameters.helmet;
    request.programme.sampleRate = part.audio->sampleRate;
    const auto gain = static_cast<float>(dsp::dbToAmplitude(part.gainDb));
    for (const std::vector<float>& channel : part.audio->channels) {
        auto& cut = request.programme.channels.emplace_back(
            channel.begin() + static_cast<std::ptrdiff_t>(part.beginFrame),
            channel.begin() + static_cast<std::ptrdiff_t>(part.endFrame));
        for (float& sample : cut)
            sample *= gain;
    }
    request.programmeName = toFile(player.state().file).getFileNameWithoutExtension().toStdString();
    request.title = played->loaded->job.title;
    request.shop = played->loaded->job.shop;
    request.bike = played->loaded->job.bike;
    request.invented = played->view->invented;
    request.date = juce::Time::getCurrentTime().formatted("%Y-%m-%d").toStdString();
    request.parameters = reader.engineParameters();
    request.settings = settings;
    request.folder = toPath(folder);
    takeHomeJob.start(std::move(request));
}

void AuditionProcessor::savePlaylist(juce::XmlElement& xml)
{
    std::filesystem::path jobFolder;
    {
        const std::lock_guard lock(publishMutex);
        if (job != nullptr)
            jobFolder = toPath(toFile(job->job.folder));
    }
    const audition::ProgrammeList list = player.list();
    for (const audition::ProgrammeEntry& entry : list.entries()) {
        juce::XmlElement* const child = xml.createNewChildElement(playlistTag);
        // Inside the job a file moves with it.
        const juce::File file = toFile(entry.file);
        const auto inside = jobFolder.empty() ? std::optional<std::string> {}
                                              : audition::pathInside(jobFolder, toPath(file));
        child->setAttribute("file", inside ? toText(*inside) : file.getFullPathName());
        if (entry.region) {
            child->setAttribute("loopStartSeconds", entry.region->startSeconds);
            child->setAttribute("loopEndSeconds", entry.region->endSeconds);
        }
    }
    xml.setAttribute("currentProgramme", static_cast<int>(list.current()));
    xml.setAttribute("alignedLoudness", player.isAligned());
    xml.setAttribute("restartsOnSwitch", restartsOnSwitch);
}

void AuditionProcessor::restorePlaylist(const juce::XmlElement& xml)
{
    player.setAligned(xml.getBoolAttribute("alignedLoudness", false));
    restartsOnSwitch = xml.getBoolAttribute("restartsOnSwitch", false);
    const juce::String jobFolder = xml.getStringAttribute("jobFolder");
    std::vector<std::filesystem::path> files;
    std::vector<std::optional<audition::LoopRegion>> regions;
    for (const juce::XmlElement* const child : xml.getChildWithTagNameIterator(playlistTag)) {
        const juce::String name = child->getStringAttribute("file");
        if (juce::File::isAbsolutePath(name)) {
            files.push_back(toPath(juce::File(name)));
        } else {
            if (!juce::File::isAbsolutePath(jobFolder))
                continue;
            const auto path = job::resolveInside(toPath(juce::File(jobFolder)), name.toStdString());
            if (!path)
                continue;
            files.push_back(*path);
        }
        if (child->hasAttribute("loopEndSeconds"))
            regions.emplace_back(
                audition::LoopRegion {child->getDoubleAttribute("loopStartSeconds"),
                                      child->getDoubleAttribute("loopEndSeconds")});
        else
            regions.emplace_back();
    }
    player.unload();
    player.add(files);
    for (std::size_t index = 0; index < regions.size(); ++index)
        if (regions[index])
            player.setRegion(index, regions[index]);
    if (const int current = xml.getIntAttribute("currentProgramme", 0); current > 0)
        player.select(static_cast<std::size_t>(current));
}

void AuditionProcessor::showAudioSettings()
{
    if (onShowAudioSettings)
        onShowAudioSettings();
}

gui::AuditionSnapshot AuditionProcessor::snapshot()
{
    const audition::AuditionEngine::Parameters parameters = reader.engineParameters();
    gui::AuditionSnapshot snapshot;
    {
        const std::lock_guard lock(publishMutex);
        snapshot.problem = problem;
        snapshot.busy = waiting && !waiting->isEdited;
        if (scene != nullptr) {
            const audition::AuditionScene& played = scene->scene;
            snapshot.job = scene->view;
            snapshot.ride = played.ride;
            // It would tell one candidate from another.
            if (!blindDesk.isRunning())
                snapshot.road = roadMeter.road();
            snapshot.candidate = std::min(parameters.candidate, played.candidates.size() - 1);
            const audition::SceneCandidate& heard = played.candidates[snapshot.candidate];
            audition::SceneCandidate matched = heard;
            if (compared && compared->matchGainsDb.size() == played.candidates.size()) {
                matched.matchGainDb = compared->matchGainsDb[snapshot.candidate];
                snapshot.fairness.differencesDb = compared->differencesDb;
                snapshot.fairness.matchGainsDb = compared->matchGainsDb;
                if (matchMeter.isMeasuring())
                    snapshot.fairness.basis = gui::MatchBasis::measuring;
                else if (compared->isMeasured)
                    snapshot.fairness.basis = gui::MatchBasis::programme;
            }
            snapshot.levels = audition::levelsOf(played, matched, parameters);
            snapshot.levelSource = heard.level.source;
            snapshot.isOverdriven =
                heard.nonlinear != nullptr && parameters.overdriven && !blindDesk.isRunning();
        }
    }
    snapshot.match = parameters.match;
    snapshot.choice = parameters.ride;
    snapshot.speedUnit = speedUnit.load();
    snapshot.noiseTrimDb = parameters.noiseTrimDb;
    snapshot.ceilingDbfs = parameters.ceilingDbfs;
    snapshot.outputPeakDbfs =
        dsp::amplitudeToDb(static_cast<double>(peakSinceSnapshot.exchange(0.0F)));
    snapshot.ceilingGainDb = dsp::amplitudeToDb(static_cast<double>(engine.ceilingGain()));
    if (blindDesk.isRunning()) {
        // A meter would tell one candidate from another.
        snapshot.outputPeakDbfs = dsp::silenceDb;
        snapshot.ceilingGainDb = 0.0;
    }
    snapshot.headphoneSplDb = parameters.headphoneSplAtFullScaleDb;
    snapshot.ceilingDba = parameters.ceilingDba;
    snapshot.earLevelDba = static_cast<double>(engine.earLevelDba());
    snapshot.guardGainDb = dsp::amplitudeToDb(static_cast<double>(engine.guardGain()));

    const ProgrammePlayer::State transport = player.state();
    snapshot.busy = snapshot.busy || transport.busy;
    snapshot.player.available = playsProgramme;
    snapshot.player.loaded = transport.loaded;
    snapshot.player.playing = transport.playing;
    snapshot.player.looping = transport.looping;
    snapshot.player.positionSeconds = transport.positionSeconds;
    snapshot.player.durationSeconds = transport.durationSeconds;
    if (transport.loaded)
        snapshot.player.title = toFile(transport.file).getFileName();
    return snapshot;
}

void AuditionProcessor::getStateInformation(juce::MemoryBlock& destination)
{
    juce::XmlElement xml(stateTag);
    xml.setAttribute("schemaVersion", stateSchemaVersion);
    {
        const std::lock_guard lock(publishMutex);
        // A job that is still being loaded belongs to the state as well.
        if (waiting)
            xml.setAttribute("jobFolder", toFile(waiting->folder).getFullPathName());
        else if (job != nullptr)
            xml.setAttribute("jobFolder", toFile(job->job.folder).getFullPathName());
    }
    if (const ProgrammePlayer::State transport = player.state(); transport.loaded)
        xml.setAttribute("programmeFile", toFile(transport.file).getFullPathName());
    savePlaylist(xml);
    xml.setAttribute("loop", player.state().looping);
    xml.setAttribute("lightLook", lightLook.load());
    xml.setAttribute(speedUnitKey, gui::unitName(speedUnit.load()));
    for (juce::AudioProcessorParameter* const each : getParameters()) {
        const auto* const parameter = dynamic_cast<juce::RangedAudioParameter*>(each);
        if (parameter == nullptr)
            continue;
        juce::XmlElement* const child = xml.createNewChildElement(parameterTag);
        child->setAttribute("id", parameter->getParameterID());
        child->setAttribute("value",
                            static_cast<double>(parameter->convertFrom0to1(parameter->getValue())));
    }
    copyXmlToBinary(xml, destination);
}

void AuditionProcessor::setStateInformation(const void* data, int numBytes)
{
    const std::unique_ptr<juce::XmlElement> xml = getXmlFromBinary(data, numBytes);
    if (xml == nullptr || !xml->hasTagName(stateTag))
        return;
    const int version = xml->getIntAttribute("schemaVersion", 0);
    if (version < 1 || version > stateSchemaVersion)
        return;

    for (const juce::XmlElement* const child : xml->getChildWithTagNameIterator(parameterTag)) {
        juce::RangedAudioParameter* const parameter =
            state.getParameter(child->getStringAttribute("id"));
        const double value = child->getDoubleAttribute("value", std::nan(""));
        if (parameter == nullptr || !std::isfinite(value))
            continue;
        const juce::NormalisableRange<float>& range = parameter->getNormalisableRange();
        const float kept = std::clamp(static_cast<float>(value), range.start, range.end);
        parameter->setValueNotifyingHost(parameter->convertTo0to1(kept));
    }
    player.setLooping(xml->getBoolAttribute("loop", false));
    lightLook.store(xml->getBoolAttribute("lightLook", false));
    // Sessions from before the unit could be chosen say nothing of it.
    if (const juce::String unit = xml->getStringAttribute(speedUnitKey); unit.isNotEmpty())
        speedUnit.store(unit == gui::unitName(gui::SpeedUnit::kmh) ? gui::SpeedUnit::kmh
                                                                   : gui::SpeedUnit::mph);

    const juce::String jobFolder = xml->getStringAttribute("jobFolder");
    if (juce::File::isAbsolutePath(jobFolder)) {
        const std::lock_guard lock(publishMutex);
        placeOrder({.folder = toPath(juce::File(jobFolder)), .setting = setting()});
    } else {
        closeJob();
    }
    const juce::String programmeFile = xml->getStringAttribute("programmeFile");
    if (!playsProgramme)
        return;
    if (xml->getChildByName(playlistTag) != nullptr)
        restorePlaylist(*xml);
    else if (juce::File::isAbsolutePath(programmeFile))
        player.load(toPath(juce::File(programmeFile)));
    else
        player.unload();
}

juce::AudioProcessorEditor* AuditionProcessor::createEditor()
{
    return new HostEditor(*this); // JUCE's wrappers take it over
}

} // namespace saddletone::plugin

juce::AudioProcessor* JUCE_CALLTYPE createPluginFilter()
{
    auto processor = std::make_unique<saddletone::plugin::AuditionProcessor>();
    processor->setSpeedUnit(saddletone::gui::defaultSpeedUnit());
    return processor.release(); // JUCE's wrappers take it over
}
