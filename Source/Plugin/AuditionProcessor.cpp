#include "Plugin/AuditionProcessor.h"

#include "Core/Audition/OnThisBike.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"
#include "Gui/AuditionEditor.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/DecimalText.h"
#include "Plugin/HostState.h"
#include "Plugin/Paths.h"
#include "Plugin/RidePrograms.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace saddletone::plugin {

namespace {

/** Rise of live programme: long enough to reach for the controls before a feedback is loud. */
constexpr double liveRampSeconds = 2.0;

/** The same job with another seat. */
std::shared_ptr<const LoadedJob>
withSeat(const LoadedJob& before, const job::JobSeat& kept,
         const std::shared_ptr<const seat::ListenerSeat>& listener,
         const std::optional<seat::HeadphoneCalibration>& headphones)
{
    auto seated = std::make_shared<LoadedJob>(before);
    seated->job.seat = kept;
    seated->request.seat = listener;
    seated->headphones = headphones;
    return seated;
}

/** The last seconds up to a position, in steps that are worked out in time. */
ProgrammePlayer::HeardPart momentOf(const ProgrammePlayer::HeardPart& part, double positionSeconds)
{
    constexpr double momentSeconds = 2.0;
    constexpr double stepSeconds = 0.25;
    const double rate = part.audio->sampleRate;
    const auto length = static_cast<std::size_t>(momentSeconds * rate);
    const auto step = static_cast<std::size_t>(stepSeconds * rate);
    const auto position = static_cast<std::size_t>(std::max(0.0, positionSeconds) * rate);
    ProgrammePlayer::HeardPart moment = part;
    // What is shorter than a moment is heard as a whole.
    moment.endFrame =
        std::min(part.endFrame, std::max(part.beginFrame + length, position / step * step));
    moment.beginFrame = moment.endFrame - std::min(length, moment.endFrame - part.beginFrame);
    return moment;
}

/** The window of a host around the screen, which knows no processor. */
class HostEditor final : public juce::AudioProcessorEditor {
public:
    explicit HostEditor(AuditionProcessor& owner)
        : juce::AudioProcessorEditor(owner),
          audition(owner),
          screen(owner, nullptr, nullptr, &owner.blindTests())
    {
        const juce::Point<int> kept = audition.windowSize(); // the next lines resize the window
        addAndMakeVisible(screen);
        setResizable(true, true);
        using Editor = gui::AuditionEditor;
        setResizeLimits(Editor::smallestWidth, Editor::smallestHeight, largestWidth, largestHeight);
        if (kept.x > 0 && kept.y > 0)
            setSize(std::clamp(kept.x, Editor::smallestWidth, largestWidth),
                    std::clamp(kept.y, Editor::smallestHeight, largestHeight));
        else
            setSize(Editor::defaultWidth, Editor::defaultHeight);
    }

    void resized() override
    {
        screen.setBounds(getLocalBounds());
        audition.keepWindowSize(getWidth(), getHeight());
    }

private:
    static constexpr int largestWidth = 3840;
    static constexpr int largestHeight = 2400;

    AuditionProcessor& audition;
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
        std::optional<Order> order = takeWaiting();
        if (!order && job != nullptr)
            order = Order {.folder = job->job.folder, .loaded = job, .setting = setting()};
        if (order)
            started = carryOutNow(*std::move(order));
    }
    if (started != nullptr)
        startRide(*started);
    reset();
}

std::optional<AuditionProcessor::Order> AuditionProcessor::takeWaiting()
{
    if (edited == nullptr || (waiting && !waiting->isEdited))
        return waiting;
    std::shared_ptr<const LoadedJob> newest = std::exchange(edited, nullptr);
    const std::filesystem::path folder = newest->job.folder;
    return Order {.folder = folder, .loaded = std::move(newest), .setting = setting()};
}

std::shared_ptr<const LoadedJob> AuditionProcessor::carryOutNow(Order order)
{
    number(order);
    Delivery made = carryOut(std::move(order));
    const bool startsRide = !made.order.setting.has_value();
    if (takeUp(made))
        return startsRide ? job : nullptr;
    if (job != nullptr && made.order.loaded != job) {
        // The old job has lost its scene if the rate is another.
        Order old {.folder = job->job.folder, .loaded = job, .setting = setting()};
        number(old);
        old.kept = nullptr;
        made = carryOut(std::move(old));
        takeUp(made);
    }
    return nullptr;
}

void AuditionProcessor::catchUp()
{
    std::shared_ptr<const LoadedJob> started;
    {
        const std::lock_guard lock(publishMutex);
        std::optional<Order> order = takeWaiting();
        if (!order && job != nullptr && wantedChoice() != orderedChoice && !blindDesk.isRunning())
            order = Order {.folder = job->job.folder, .loaded = job, .setting = setting()};
        if (order)
            started = carryOutNow(*std::move(order));
    }
    if (started != nullptr)
        startRide(*started);
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
    if (peak > peakSinceUpdate.load(std::memory_order_relaxed))
        peakSinceUpdate.store(peak, std::memory_order_relaxed);
    framesPlayed.fetch_add(static_cast<std::uint32_t>(numFrames), std::memory_order_relaxed);
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
    // Faster than the timer: what is to be built would come too late, and at another place each time.
    if (isNonRealtime())
        catchUp();
    render(buffer, false);
}

void AuditionProcessor::processBlockBypassed(juce::AudioBuffer<float>& buffer, juce::MidiBuffer&)
{
    render(buffer, true);
}

double AuditionProcessor::getTailLengthSeconds() const
{
    // The noise of a ride goes on without any programme.
    const audition::AuditionEngine::Parameters parameters = reader.engineParameters();
    const bool hasNoise = parameters.monitor == audition::Monitor::programmeAndNoise
                          || parameters.monitor == audition::Monitor::noiseOnly;
    const bool isRiding = parameters.ride.speedKmh > 0.0
                          || parameters.ride.engine == audition::EngineNoise::alsoParked;
    return hasNoise && isRiding ? std::numeric_limits<double>::infinity()
                                : settings.maxKernelSeconds;
}

void AuditionProcessor::setCurrentProgram(int index)
{
    if (index < 0 || index >= getNumPrograms())
        return;
    currentProgram.store(index);
    if (const auto speedKmh = ridePrograms[static_cast<std::size_t>(index)].speedKmh)
        gui::setParameter(state, gui::parameterIds::speedKmh, *speedKmh);
    else if (const std::shared_ptr<const LoadedJob> open = openedJob().loaded)
        setRide(open->job.ride);
}

const juce::String AuditionProcessor::getProgramName(int index)
{
    return index >= 0 && index < getNumPrograms()
               ? juce::String(ridePrograms[static_cast<std::size_t>(index)].name)
               : juce::String();
}

int AuditionProcessor::getNumPrograms()
{
    return static_cast<int>(ridePrograms.size());
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
                order.setting.value_or(RideSetting {ride.helmet, ride.speedKmh, order.nowOnBike});
            auto built = buildSceneForAudition(
                order.loaded,
                sceneChoiceFor(*order.loaded, setting.helmet, setting.speedKmh, setting.nowOnBike),
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
    return {reader.helmet(), reader.engineParameters().ride.speedKmh, nowOnBike};
}

SceneChoice AuditionProcessor::wantedChoice() const noexcept
{
    return sceneChoiceFor(*job, reader.helmet(), reader.engineParameters().ride.speedKmh,
                          nowOnBike);
}

void AuditionProcessor::number(Order& order)
{
    order.number = ++newestOrder;
    order.layout = engine.layout();
    order.sampleRate = engineRate;
    order.isFromFolder = order.loaded == nullptr;
    order.kept = scene;
    if (order.setting && order.loaded != nullptr)
        orderedChoice = sceneChoiceFor(*order.loaded, order.setting->helmet,
                                       order.setting->speedKmh, order.setting->nowOnBike);
}

void AuditionProcessor::placeOrder(Order order)
{
    number(order);
    waiting = order;
    waitingSinceMs = juce::Time::getMillisecondCounter();
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
        // What has been asked for cannot be heard; what was heard before goes on.
        if (made.order.setting && scene != nullptr
            && made.order.setting->nowOnBike != scene->choice.nowOnBike)
            leaveThisBike();
        // A state asks for a folder and keeps its own parameters.
        if (made.order.isFromFolder && made.order.setting)
            unopenedFolder = made.order.folder;
        return false;
    }
    scene = std::move(made.built.kept);
    orderedChoice = scene->choice;
    job = made.order.loaded;
    if (made.order.isFromFolder) {
        if (scene->choice.nowOnBike == nullptr)
            leaveThisBike();
        opened = {job, opened.number + 1};
        unopenedFolder.clear();
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
    seatDesk.update();
    blindDesk.update();
    if (const std::size_t candidate = reader.engineParameters().candidate;
        candidate != switchedTo) {
        switchedTo = candidate;
        if (restartsOnSwitch)
            player.restart();
    }
    recentPeaks[oldestPeak++ % recentPeaks.size()] = peakSinceUpdate.exchange(0.0F);
    const std::lock_guard lock(publishMutex);
    countExposure();
    compare();
}

void AuditionProcessor::countExposure()
{
    const std::uint32_t frames = framesPlayed.load();
    const std::uint32_t numNew = frames - framesCounted;
    framesCounted = frames;
    exposure.add(static_cast<double>(engine.earLevelDba()),
                 static_cast<double>(numNew) / engineRate);
}

void AuditionProcessor::compare()
{
    // What leaves the program for a bike's speakers tells nothing of the loudness at the head.
    const bool isOnThisBike = scene != nullptr && scene->scene.isOnThisBike();
    const bool hasFile = playsProgramme && liveChannels.load() == 0 && !isOnThisBike;
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
    const ProgrammePlayer::HeardPart part =
        hasFile ? player.heardPart() : ProgrammePlayer::HeardPart {};
    roadMeter.want(isOnThisBike ? nullptr : scene, parameters.candidate, matchGainDb, parameters,
                   part);
    roadMeter.update();
    const ProgrammePlayer::State transport = player.state();
    const bool isHeard = part.audio != nullptr && transport.playing && !isOnThisBike;
    momentMeter.want(isHeard ? scene : nullptr, parameters.candidate, matchGainDb, parameters,
                     isHeard ? momentOf(part, transport.positionSeconds) : part);
    momentMeter.update();
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
    heard.isBuilding = waiting.has_value() || edited != nullptr || seatDesk.isStoring();
    return heard;
}

void AuditionProcessor::playEdited(std::shared_ptr<const LoadedJob> newest)
{
    const std::lock_guard lock(publishMutex);
    if (job == nullptr)
        return;
    edited = std::move(newest);
    // Whoever edits tunings knows nothing of the seat, which may have been changed meanwhile.
    if (edited->request.seat != opened.loaded->request.seat)
        edited = withSeat(*edited, opened.loaded->job.seat, opened.loaded->request.seat,
                          opened.loaded->headphones);
    if (!waiting)
        placeEdited();
}

void AuditionProcessor::playSeat(const std::filesystem::path& folder, const job::StoredSeat& stored,
                                 bool setsLevel)
{
    {
        const std::lock_guard lock(publishMutex);
        if (opened.loaded == nullptr || opened.loaded->job.folder != folder)
            return;
        const auto seated = [&stored](const LoadedJob& before) {
            return withSeat(before, stored.seat, stored.listener, stored.headphones);
        };
        opened.loaded = seated(*opened.loaded);
        edited = seated(edited != nullptr                       ? *edited
                        : waiting && waiting->loaded != nullptr ? *waiting->loaded
                                                                : *job);
        if (!waiting)
            placeEdited();
    }
    if (setsLevel)
        gui::setParameter(state, gui::parameterIds::headphoneSplDb,
                          stored.headphones ? stored.headphones->splAtFullScaleDb()
                                            : seat::lowestHeadphoneSplDb);
}

void AuditionProcessor::listenOnThisBike(std::optional<std::size_t> candidate)
{
    const std::lock_guard lock(publishMutex);
    leaveThisBike();
    if (!candidate || job == nullptr || *candidate >= job->request.candidates.size())
        return;
    nowOnBike =
        std::make_shared<const audition::CandidateRequest>(job->request.candidates[*candidate]);
    indexOnBike = *candidate;
}

void AuditionProcessor::leaveThisBike() noexcept
{
    nowOnBike = nullptr;
    indexOnBike = 0;
}

std::optional<std::size_t> AuditionProcessor::candidateOnThisBike()
{
    const std::lock_guard lock(publishMutex);
    return nowOnBike != nullptr ? std::optional(indexOnBike) : std::nullopt;
}

bool AuditionProcessor::isBuildingEdited()
{
    const std::lock_guard lock(publishMutex);
    return edited != nullptr || (waiting && waiting->isEdited);
}

void AuditionProcessor::setRide(const job::JobRide& ride)
{
    gui::setParameter(state, gui::parameterIds::speedKmh, ride.speedKmh);
    gui::setParameter(state, gui::parameterIds::helmet, static_cast<double>(ride.helmet));
    gui::setParameter(state, gui::parameterIds::screen, static_cast<double>(ride.screen));
    gui::setParameter(state, gui::parameterIds::earPlugs, static_cast<double>(ride.earPlugs));
    gui::setParameter(state, gui::parameterIds::engineNoise, static_cast<double>(ride.engineNoise));
}

void AuditionProcessor::startRide(const LoadedJob& loaded)
{
    gui::setParameter(state, gui::parameterIds::candidate, 1.0);
    setRide(loaded.job.ride);
    if (currentProgram.exchange(0) != 0)
        updateHostDisplay(ChangeDetails().withProgramChanged(true));
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
    const std::filesystem::path path = toPath(jobFolder);
    // A job that is only read again goes on as it is heard.
    const bool isSameJob = job != nullptr && toPath(toFile(job->job.folder)) == path;
    placeOrder({.folder = path, .nowOnBike = isSameJob ? nowOnBike : nullptr});
}

bool AuditionProcessor::isOpeningJob()
{
    const std::lock_guard lock(publishMutex);
    return waiting && waiting->isFromFolder;
}

void AuditionProcessor::cancelOpeningJob()
{
    const std::lock_guard lock(publishMutex);
    if (!waiting || !waiting->isFromFolder)
        return;
    ++newestOrder;
    // A state that names it goes on doing so.
    if (waiting->setting)
        unopenedFolder = waiting->folder;
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
    leaveThisBike();
    opened = {nullptr, opened.number + 1};
    unopenedFolder.clear();
    engine.publish(std::make_unique<audition::AuditionScene>());
}

void AuditionProcessor::openProgramme(const juce::File& file)
{
    player.load(toPath(file));
}

void AuditionProcessor::cancelOpening()
{
    if (player.state().busy)
        player.cancelOpening();
    else
        cancelOpeningJob();
}

gui::JobTaskView AuditionProcessor::openingView() const
{
    if (!waiting || !waiting->isFromFolder
        || juce::Time::getMillisecondCounter() - waitingSinceMs < WorkList::shownAfterMs)
        return {};
    return {gui::JobTask::opening, "Opening " + toFile(waiting->folder).getFileName(), -1.0};
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
        row.isCancelled = entry.isCancelled;
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
    if (played->scene.isOnThisBike()) {
        takeHomeJob.refuse("Files to take home are for headphones: choose them under Seat first.");
        return;
    }
    audition::TakeHomeRequest request;
    request.scene = played->loaded->request;
    request.scene.ride.parameters.helmet = played->scene.ride.parameters.helmet;
    request.programmeName = toFile(player.state().file).getFileNameWithoutExtension().toStdString();
    request.title = played->loaded->job.title;
    request.shop = played->loaded->job.shop;
    request.bike = played->loaded->job.bike;
    request.invented = played->view->invented;
    request.date = juce::Time::getCurrentTime().formatted("%Y-%m-%d").toStdString();
    request.parameters = reader.engineParameters();
    request.settings = settings;
    request.folder = toPath(folder);
    takeHomeJob.start(std::move(request), part);
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
        juce::XmlElement* const child = xml.createNewChildElement(stateKeys::programmeTag);
        // Inside the job a file moves with it.
        const juce::File file = toFile(entry.file);
        const auto inside = jobFolder.empty() ? std::optional<std::string> {}
                                              : audition::pathInside(jobFolder, toPath(file));
        child->setAttribute("file", inside ? toText(*inside) : file.getFullPathName());
        if (entry.region) {
            child->setAttribute("loopStartSeconds", exactText(entry.region->startSeconds));
            child->setAttribute("loopEndSeconds", exactText(entry.region->endSeconds));
        }
    }
    xml.setAttribute(stateKeys::currentProgramme, static_cast<int>(list.current()));
    xml.setAttribute(stateKeys::alignedLoudness, player.isAligned());
    xml.setAttribute(stateKeys::restartsOnSwitch, restartsOnSwitch);
}

void AuditionProcessor::restorePlaylist(const juce::XmlElement& xml)
{
    player.setAligned(xml.getBoolAttribute(stateKeys::alignedLoudness, false));
    restartsOnSwitch = xml.getBoolAttribute(stateKeys::restartsOnSwitch, false);
    const juce::String& jobFolder = xml.getStringAttribute(stateKeys::jobFolder);
    std::vector<std::filesystem::path> files;
    std::vector<std::optional<audition::LoopRegion>> regions;
    for (const juce::XmlElement* const child :
         xml.getChildWithTagNameIterator(stateKeys::programmeTag)) {
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
            regions.emplace_back(audition::LoopRegion {readNumber(*child, "loopStartSeconds", 0.0),
                                                       readNumber(*child, "loopEndSeconds", 0.0)});
        else
            regions.emplace_back();
    }
    player.unload();
    player.add(files);
    for (std::size_t index = 0; index < regions.size(); ++index)
        if (regions[index])
            player.setRegion(index, regions[index]);
    if (const int current = xml.getIntAttribute(stateKeys::currentProgramme, 0); current > 0)
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
        snapshot.opening = openingView();
        if (scene != nullptr) {
            const audition::AuditionScene& played = scene->scene;
            snapshot.job = scene->view;
            snapshot.ride = played.ride;
            // It would tell one candidate from another.
            if (!blindDesk.isRunning()) {
                snapshot.road = roadMeter.road();
                snapshot.roadNow = momentMeter.road();
            }
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
            if (played.isOnThisBike()) {
                snapshot.nowOnBike = toText(played.bikeNow->name);
                snapshot.choice = {.engine = audition::EngineNoise::off};
            }
            snapshot.isOverdriven =
                heard.nonlinear != nullptr && parameters.overdriven && !blindDesk.isRunning();
        }
    }
    snapshot.match = parameters.match;
    if (!snapshot.nowOnBike)
        snapshot.choice = parameters.ride;
    snapshot.speedUnit = speedUnit.load();
    snapshot.noiseTrimDb = parameters.noiseTrimDb;
    snapshot.ceilingDbfs = parameters.ceilingDbfs;
    snapshot.outputPeakDbfs = dsp::amplitudeToDb(static_cast<double>(
        std::max(peakSinceUpdate.load(), *std::ranges::max_element(recentPeaks))));
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
    snapshot.exposure = exposure;

    const ProgrammePlayer::State transport = player.state();
    snapshot.busy = snapshot.busy || transport.busy;
    if (transport.busy)
        snapshot.opening = player.opening();
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
    juce::XmlElement xml = makeHostState();
    {
        const std::lock_guard lock(publishMutex);
        // A job that is still being loaded belongs to the state as well, and so does one that is
        // not to be found here and now.
        const std::filesystem::path folder = waiting                   ? waiting->folder
                                             : !unopenedFolder.empty() ? unopenedFolder
                                             : job != nullptr          ? job->job.folder
                                                                       : std::filesystem::path();
        if (!folder.empty())
            xml.setAttribute(stateKeys::jobFolder, toFile(folder).getFullPathName());
        addUnknownPart(xml, unknownState.get());
    }
    if (const ProgrammePlayer::State transport = player.state(); transport.loaded)
        xml.setAttribute(stateKeys::programmeFile, toFile(transport.file).getFullPathName());
    savePlaylist(xml);
    xml.setAttribute(stateKeys::loop, player.state().looping);
    xml.setAttribute(stateKeys::lightLook, lightLook.load());
    xml.setAttribute(stateKeys::speedUnit, gui::unitName(speedUnit.load()));
    if (const juce::Point<int> size = windowSize(); size.x > 0 && size.y > 0) {
        xml.setAttribute(stateKeys::windowWidth, size.x);
        xml.setAttribute(stateKeys::windowHeight, size.y);
    }
    xml.setAttribute(stateKeys::program, currentProgram.load());
    saveParameters(xml, state);
    copyXmlToBinary(xml, destination);
}

void AuditionProcessor::setStateInformation(const void* data, int numBytes)
{
    if (data == nullptr || numBytes <= 0)
        return; // a host that has kept nothing
    const auto read = readHostState(data, numBytes);
    if (!read) {
        reportProblem(toText(read.error().message));
        return;
    }
    const juce::XmlElement& xml = **read;
    // Sessions from before the unit could be chosen say nothing of it.
    if (const juce::String unit = xml.getStringAttribute(stateKeys::speedUnit); unit.isNotEmpty())
        speedUnit.store(unit == gui::unitName(gui::SpeedUnit::kmh) ? gui::SpeedUnit::kmh
                                                                   : gui::SpeedUnit::mph);

    restoreParameters(xml, state);
    player.setLooping(xml.getBoolAttribute(stateKeys::loop, false));
    lightLook.store(xml.getBoolAttribute(stateKeys::lightLook, false));
    if (xml.hasAttribute(stateKeys::windowWidth))
        keepWindowSize(xml.getIntAttribute(stateKeys::windowWidth),
                       xml.getIntAttribute(stateKeys::windowHeight));
    currentProgram.store(
        std::clamp(xml.getIntAttribute(stateKeys::program, 0), 0, getNumPrograms() - 1));

    const juce::String& jobFolder = xml.getStringAttribute(stateKeys::jobFolder);
    if (juce::File::isAbsolutePath(jobFolder)) {
        const std::lock_guard lock(publishMutex);
        leaveThisBike();
        unopenedFolder.clear();
        placeOrder({.folder = toPath(juce::File(jobFolder)), .setting = setting()});
    } else {
        closeJob();
    }
    {
        const std::lock_guard lock(publishMutex);
        unknownState = unknownPart(xml, state);
    }
    const juce::String programmeFile = xml.getStringAttribute(stateKeys::programmeFile);
    if (!playsProgramme)
        return;
    if (xml.getChildByName(stateKeys::programmeTag) != nullptr)
        restorePlaylist(xml);
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
