#include "Plugin/Bench.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Report/Wording.h"
#include "Plugin/MeasuredViews.h"
#include "Plugin/Paths.h"
#include "Plugin/ResponseImport.h"

#include <algorithm>
#include <cmath>

namespace saddletone::plugin {

namespace {

/** The set's own rate: most radios and phones play nothing else without converting. */
constexpr double trackSetRate = 44100.0;
constexpr double noiseTakeSeconds = 12.0;
constexpr std::size_t mostTraces = 5;

/** "03-sweep" as people say it: "03 Sweep". */
juce::String spokenName(const std::string& trackName)
{
    juce::StringArray parts = juce::StringArray::fromTokens(toText(trackName), "-", "");
    for (int index = 0; index < parts.size(); ++index) {
        if (parts[index] == "hz")
            parts.set(index, "Hz");
        else if (parts[index] == "khz")
            parts.set(index, "kHz");
        else if (index == 1)
            parts.set(index,
                      parts[index].substring(0, 1).toUpperCase() + parts[index].substring(1));
    }
    return parts.joinIntoString(" ");
}

/** Whether a signal goes round without a seam that matters. */
bool repeatsLive(const signals::SignalDescription& signal)
{
    return signal.periodFrames > 0 || signal.type == signals::SignalType::white
           || signal.type == signals::SignalType::sine;
}

/** Signals that are made of parts count their length for each part. */
juce::String lengthWords(const signals::SignalRequest& request)
{
    const auto seconds = static_cast<int>(std::lround(request.seconds));
    switch (request.type) {
    case signals::SignalType::bands:
    case signals::SignalType::stepped:
    case signals::SignalType::gainSet: return juce::String(seconds) + " s a tone";
    default: return juce::String(seconds) + " s";
    }
}

/** The rate to make a signal at that is to be played at deviceRate. */
double makingRate(double deviceRate)
{
    const auto& rates = signals::signalSampleRates;
    if (std::ranges::find(rates, deviceRate) != rates.end())
        return deviceRate;
    return deviceRate > 96000.0 ? 96000.0 : 48000.0;
}

std::size_t sweepIndexOf(const std::vector<signals::Track>& tracks)
{
    for (std::size_t index = 0; index < tracks.size(); ++index)
        if (tracks[index].request.type == signals::SignalType::sweep)
            return index;
    return 0;
}

std::string dropoutWords(const measure::TakeRecord& record)
{
    if (record.dropouts.empty())
        return {};
    const std::size_t count = record.dropouts.size() + record.numUnlistedDropouts;
    return "audio was lost in " + std::to_string(count) + (count == 1 ? " place" : " places")
           + ", first at " + report::numberText(record.dropouts.front().timeSeconds, 1) + " s";
}

} // namespace

Bench::Bench(juce::AudioDeviceManager& deviceManager, juce::AudioIODeviceCallback* audition,
             Surroundings surroundings)
    : devices(deviceManager),
      around(std::move(surroundings)),
      audio(audition, &input),
      tracks(signals::shopTracks(trackSetRate)),
      traces(std::make_shared<const std::vector<measure::AnalyserTrace>>()),
      trackName("the sweep of the shop's set"),
      microphone(loadMicrophone({}))
{
    auto views = std::make_shared<std::vector<gui::SignalView>>();
    for (const signals::Track& track : tracks) {
        const bool hasLevel = track.request.type != signals::SignalType::silence
                              && track.request.type != signals::SignalType::calibratedPink;
        views->push_back({spokenName(track.name), toText(track.purpose), toText(track.caution),
                          lengthWords(track.request),
                          hasLevel ? std::optional(track.request.levelDbfs) : std::nullopt});
    }
    signalViews = std::move(views);
    startTimerHz(20);
}

Bench::~Bench()
{
    stopTimer();
    cancelled.store(true);
    works.cancelAll();
    for (juce::ThreadPool* pool : {&signalWorker, &worker, &writer, &reader})
        pool->removeAllJobs(true, -1);
}

void Bench::say(const juce::String& text, bool isProblem)
{
    message = text;
    messageIsProblem = isProblem;
}

bool Bench::isBusy()
{
    return output.preparing || writing.busy || isRecording || isDrawing || !works.isEmpty();
}

void Bench::enterPlace(gui::Place newPlace)
{
    place = newPlace;
    if (place != gui::Place::signals)
        answerLoudQuestion(false); // it is asked where it can be seen
    const bool listens = place == gui::Place::listen || place == gui::Place::tuning;
    audio.setAuditionHeard(listens);
    if (listens)
        stopSignal();
    else if (around.pauseAudition)
        around.pauseAudition();
    if (place != gui::Place::bike && !isRecording)
        closeInput();
    if (place == gui::Place::signals && made.audio == nullptr && !output.preparing)
        orderSignal();
}

void Bench::selectSignal(std::size_t index)
{
    if (index >= tracks.size() || index == output.selected)
        return;
    stopSignal();
    output.selected = index;
    orderSignal();
}

void Bench::orderSignal()
{
    made = {};
    output.preparing = true;
    const std::uint64_t number = ++signalOrder;
    const std::size_t index = output.selected;
    const double rate = audio.sampleRate();
    signalWorker.addJob([this, number, index, rate] {
        MadeSignal result;
        result.index = index;
        result.sampleRate = rate;
        try {
            signals::SignalRequest request = signals::shopTracks(makingRate(rate))[index].request;
            if (request.type == signals::SignalType::pink)
                request.repetition = signals::Repetition::periodic;
            auto signal = signals::makeSignal(request);
            if (signal) {
                result.description = signal->description;
                result.audio =
                    std::make_shared<const dsp::AudioBuffer>(files::resample(signal->audio, rate));
            } else {
                result.problem = signal.error().message;
            }
        } catch (const std::exception& exception) {
            result.problem = std::string("The signal could not be made: ") + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        if (!signalDelivery || signalDelivery->first < number)
            signalDelivery = {number, std::move(result)};
    });
}

void Bench::playSignal()
{
    if (devices.getCurrentAudioDevice() == nullptr) {
        say("There is no audio output; choose one in \"Audio settings\".", true);
        return;
    }
    if (around.pauseAudition)
        around.pauseAudition();
    wantsToPlay = true;
    if (made.audio != nullptr && made.sampleRate == audio.sampleRate())
        startPlaying();
    else if (!output.preparing)
        orderSignal();
}

void Bench::startPlaying()
{
    wantsToPlay = false;
    SignalPlayer::Cue cue;
    cue.audio = made.audio;
    cue.repeats = output.repeats;
    // A marker must come through whole, and there is silence in front of it.
    if (made.description.sweepLayout)
        cue.startRampSeconds =
            std::min(cue.startRampSeconds,
                     0.5 * static_cast<double>(made.description.sweepLayout->firstMarkerFrame)
                         / made.description.sampleRate);
    applyLevel();
    audio.player.play(std::move(cue));
}

void Bench::stopSignal()
{
    wantsToPlay = false;
    wantsToRecord = false;
    audio.player.stop();
    if (isRecording && recordedWords.playsHere)
        finishTake();
}

double Bench::levelLimitDbfs() const
{
    if (made.audio == nullptr || made.description.type == signals::SignalType::silence)
        return 0.0;
    return std::min(0.0, made.description.levelDbfs - made.description.peakDbfs);
}

void Bench::applyLevel()
{
    const double levelDbfs = std::min(output.levelDbfs, levelLimitDbfs());
    const auto gain =
        static_cast<float>(dsp::dbToAmplitude(levelDbfs - made.description.levelDbfs));
    audio.player.setGains(output.side == gui::OutputSide::right ? 0.0F : gain,
                          output.side == gui::OutputSide::left ? 0.0F : gain);
}

void Bench::setSignalLevelDbfs(double levelDbfs)
{
    const double wanted = std::clamp(levelDbfs, gui::quietestSignalDbfs, 0.0);
    output.levelDbfs = wanted;
    if (wanted > gui::askAboveDbfs && !loudAllowed) {
        output.levelDbfs = gui::askAboveDbfs;
        output.asksForLoud = true;
        output.askedDbfs = wanted;
    }
    applyLevel();
}

void Bench::answerLoudQuestion(bool shouldBeLoud)
{
    if (!output.asksForLoud)
        return;
    output.asksForLoud = false;
    loudAllowed = shouldBeLoud;
    if (shouldBeLoud)
        setSignalLevelDbfs(output.askedDbfs);
}

void Bench::setSignalSide(gui::OutputSide side)
{
    output.side = side;
    applyLevel();
}

void Bench::writeTracks(const juce::File& folder)
{
    if (writing.busy)
        return;
    writing = {};
    writing.busy = true;
    cancelled.store(false);
    writtenProportion.store(0.0);
    writer.addJob([this, path = toPath(folder)] {
        WritingDelivery result;
        try {
            const auto written = signals::writeTrackSet(
                path, trackSetRate, files::FileType::wav,
                [this](std::size_t numWritten, std::size_t numTracks) {
                    writtenProportion.store(static_cast<double>(numWritten)
                                            / static_cast<double>(numTracks));
                    return !cancelled.load();
                });
            if (written && written->empty()) {
                result.message = "Cancelled; no tracks were left behind in " + path.string();
            } else if (written) {
                result.message = std::to_string(written->size())
                                 + " tracks and a printable list, track-list.html, are in "
                                 + path.string();
            } else {
                result.message = written.error().message;
                result.failed = true;
            }
        } catch (const std::exception& exception) {
            result.message = path.string() + ": " + exception.what();
            result.failed = true;
        }
        const std::lock_guard lock(deliveryMutex);
        writingDelivery = std::move(result);
    });
}

juce::AudioIODeviceType* Bench::deviceType() const
{
    return devices.getCurrentDeviceTypeObject();
}

void Bench::chooseInput(int deviceIndex, int channelIndex)
{
    inputView.device = deviceIndex;
    inputView.channel = std::max(0, channelIndex);
    if (input.isOpen())
        openInput();
}

void Bench::openInput()
{
    juce::AudioIODeviceType* const type = deviceType();
    const juce::StringArray names =
        type != nullptr ? type->getDeviceNames(true) : juce::StringArray();
    if (type == nullptr || names.isEmpty()) {
        inputView.problem = "No audio input was found. Connect the microphone's interface and "
                            "switch the input on again.";
        return;
    }
    const int index = inputView.device >= 0 && inputView.device < names.size()
                          ? inputView.device
                          : std::max(0, type->getDefaultDeviceIndex(true));
    inputView.device = index;
    juce::AudioDeviceManager::AudioDeviceSetup setup = devices.getAudioDeviceSetup();
    setup.inputDeviceName = names[index];
    if (!type->hasSeparateInputsAndOutputs())
        setup.outputDeviceName = names[index];
    setup.useDefaultInputChannels = false;
    setup.inputChannels.clear();
    setup.inputChannels.setRange(0, std::max(inputView.channel, opensPair ? 1 : 0) + 1, true);
    input.chooseChannel(static_cast<std::size_t>(inputView.channel), names[index].toStdString());
    const juce::String reason = devices.setAudioDeviceSetup(setup, true);
    if (reason.isNotEmpty()) {
        inputView.problem =
            names[index] + " could not be opened (" + reason + "). Is another program using it?";
        closeInput();
        return;
    }
    inputView.problem.clear();
    setAnalyserParameters(analyserParameters); // the calibration is of one input
    if (const juce::AudioIODevice* const device = devices.getCurrentAudioDevice())
        inputView.channels = const_cast<juce::AudioIODevice*>(device)->getInputChannelNames();
}

int Bench::setLive(bool shouldBeLive)
{
    audio.setInputHeard(false);
    if (!shouldBeLive) {
        closeInput();
        return 0;
    }
    opensPair = true;
    openInput();
    opensPair = false;
    const juce::AudioIODevice* const device = devices.getCurrentAudioDevice();
    const int numChannels =
        device != nullptr ? device->getActiveInputChannels().countNumberOfSetBits() : 0;
    audio.setInputHeard(numChannels > 0);
    return numChannels;
}

void Bench::closeInput()
{
    juce::AudioDeviceManager::AudioDeviceSetup setup = devices.getAudioDeviceSetup();
    if (setup.inputDeviceName.isEmpty() && setup.inputChannels.isZero())
        return;
    setup.inputDeviceName = {};
    setup.inputChannels.clear();
    setup.useDefaultInputChannels = false;
    static_cast<void>(devices.setAudioDeviceSetup(setup, true));
}

void Bench::storeTrace()
{
    const measure::AnalyserSnapshot now = input.analyserSnapshot();
    if (now.bands.empty() || traces->size() >= mostTraces)
        return;
    auto more = std::make_shared<std::vector<measure::AnalyserTrace>>(*traces);
    more->push_back(measure::traceOf("Trace " + std::to_string(++numTracesStored), now));
    traces = std::move(more);
}

void Bench::clearTraces()
{
    traces = std::make_shared<const std::vector<measure::AnalyserTrace>>();
    numTracesStored = 0;
}

void Bench::chooseTrack(const juce::File& file)
{
    if (file == juce::File()) {
        chosenTrack.reset();
        trackName = "the sweep of the shop's set";
        return;
    }
    auto loaded = signals::loadSignalDescription(toPath(file));
    if (!loaded) {
        say(toText(loaded.error().message), true);
        return;
    }
    if (!loaded->sweepLayout) {
        say(file.getFileName() + " describes no sweep; choose the description of a sweep track.",
            true);
        return;
    }
    chosenTrack = *std::move(loaded);
    trackName = file.getFileName();
}

std::filesystem::path Bench::takesFolder() const
{
    const juce::File job = around.openJobFolder ? around.openJobFolder() : juce::File();
    return toPath(job != juce::File() ? job.getChildFile("takes") : around.takesFolder);
}

bool Bench::hasOpenJob()
{
    return around.openJobFolder && around.openJobFolder() != juce::File();
}

void Bench::recordTake()
{
    if (isRecording || wantsToRecord)
        return;
    if (!input.isOpen()) {
        say("Switch the input on first.", true);
        return;
    }
    say({}, false);
    const bool needsSignal = words.playsHere && words.purpose == measure::TakePurpose::sweep;
    if (!needsSignal) {
        beginTake();
        return;
    }
    wantsToRecord = true;
    if (const std::size_t sweep = sweepIndexOf(tracks); output.selected != sweep) {
        audio.player.stop();
        output.selected = sweep;
        made = {};
    }
    if (made.audio != nullptr && made.sampleRate == audio.sampleRate())
        beginTake();
    else if (!output.preparing)
        orderSignal();
}

void Bench::beginTake()
{
    wantsToRecord = false;
    recordedWords = words;
    const bool isSweep = words.purpose == measure::TakePurpose::sweep;
    measure::TakeRequest request;
    request.folder = takesFolder();
    request.name = isSweep ? "take" : "noise";
    request.purpose = words.purpose;
    request.place = words.place.toStdString();
    if (words.purpose == measure::TakePurpose::calibration)
        request.name = "calibrator";
    if (!isSweep) {
        request.maxSeconds = noiseTakeSeconds;
    } else if (words.playsHere) {
        recordedTrack = made.description;
    } else if (chosenTrack) {
        recordedTrack = *chosenTrack;
    } else {
        const auto sweep = signals::makeSignal(tracks[sweepIndexOf(tracks)].request);
        if (!sweep) {
            say(toText(sweep.error().message), true);
            return;
        }
        recordedTrack = sweep->description;
    }
    if (isSweep)
        request.stopAfter = recordedTrack;
    if (const auto started = input.recorder().start(request); !started) {
        say(toText(started.error().message), true);
        return;
    }
    isRecording = true;
    if (isSweep && words.playsHere)
        startPlaying();
}

void Bench::stopTake()
{
    if (isRecording)
        finishTake();
}

void Bench::finishTake()
{
    isRecording = false;
    if (recordedWords.playsHere)
        audio.player.stop();
    auto finished = input.recorder().stop();
    if (!finished) {
        say(toText(finished.error().message), true);
        return;
    }
    if (place != gui::Place::bike)
        closeInput();

    Take take;
    take.audioFile = finished->audioFile;
    take.track = recordedTrack;
    take.view.name = toFile(finished->audioFile).getFileNameWithoutExtension();
    take.view.profile = recordedWords.profile.trim();
    take.view.engine = recordedWords.engine;
    take.view.speakers = recordedWords.speakers;
    take.view.place = recordedWords.place.trim();
    const std::string lost = dropoutWords(finished->record);
    const std::string& problem = finished->record.problem;
    if (recordedWords.purpose == measure::TakePurpose::noiseFloor) {
        take.view.state = gui::TakeState::noise;
        take.view.used = problem.empty() && lost.empty();
        take.view.words = toText(!problem.empty() ? problem
                                 : !lost.empty()  ? "Not used: " + lost + "."
                                                 : std::string("Noise of the place, for the SNR."));
        takes.push_back(std::move(take));
        return;
    }
    take.view.words =
        toText(lost.empty() ? std::string("Being measured.") : "Being measured; " + lost + ".");
    takes.push_back(std::move(take));
    if (recordedWords.purpose == measure::TakePurpose::calibration) {
        orderCalibration(takes.size() - 1);
        return;
    }
    const gui::TakeView& view = takes.back().view;
    orderMeasurement(view.profile, view.engine, view.speakers, takes.size() - 1);
}

std::string Bench::chainName() const
{
    const measure::CaptureSpec& spec = input.recorder().spec();
    return spec.device + ", input "
           + std::to_string(spec.deviceChannels.empty() ? 1 : spec.deviceChannels.front() + 1);
}

void Bench::orderCalibration(std::size_t take)
{
    worker.addJob([this, take, file = takes[take].audioFile, chain = chainName(),
                   splDb = recordedWords.calibratorSplDb,
                   work = works.begin("Reading the calibrator's level")] {
        CalibrationDelivery result;
        result.work = work;
        result.take = take;
        try {
            auto record = readCalibrationTake(file, splDb, chain);
            if (record) {
                result.words = "0 dBFS is "
                               + report::numberText(record->calibration.splAtFullScaleDb(), 1)
                               + " dB SPL.";
                if (const auto earlier = latestCalibration(file.parent_path(), chain, file))
                    if (const auto drift = measure::calibrationDrift(*earlier, *record))
                        result.words += " " + drift->sentence;
                result.record = *std::move(record);
            } else {
                result.words = record.error().message;
            }
            const auto noted = result.record ? measure::noteVerdict(file, result.words)
                                             : measure::refuseTake(file, result.words);
            if (!noted)
                result.words += " " + noted.error().message;
        } catch (const std::exception& exception) {
            result.words = std::string("The take could not be read: ") + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        calibrationDeliveries.push_back(std::move(result));
    });
}

void Bench::takeUpCalibration(CalibrationDelivery delivery)
{
    works.end(delivery.work);
    gui::TakeView& view = takes[delivery.take].view;
    view.state = delivery.record ? gui::TakeState::calibration : gui::TakeState::refused;
    view.used = delivery.record.has_value();
    view.words = toText(delivery.words);
    if (!delivery.record)
        return;
    calibration = std::move(delivery.record);
    calibratedChain = calibration->microphone;
    setAnalyserParameters(analyserParameters);
}

void Bench::setAnalyserParameters(const measure::AnalyserParameters& parameters)
{
    analyserParameters = parameters;
    analyserParameters.splOffsetDb.reset();
    if (calibration && calibratedChain == chainName())
        analyserParameters.splOffsetDb = calibration->calibration.splAtFullScaleDb();
    input.setAnalyserParameters(analyserParameters);
}

juce::String Bench::calibrationWords() const
{
    if (!calibration || calibratedChain != chainName())
        return "Not calibrated: levels are relative.";
    const auto days = measure::daysBetween(calibration->date, measure::todayUtc());
    const juce::String age =
        !days || *days == 0 ? juce::String("today") : juce::String(*days) + " days old";
    return "Calibrated " + toText(calibration->date) + " (" + age + ").";
}

void Bench::orderMeasurement(const juce::String& profile, measure::EngineState engine,
                             measure::SpeakerGroup group, std::optional<std::size_t> newTake)
{
    TakesToMeasure alone;
    TakesToMeasure all;
    juce::StringArray placeNames;
    all.name = stateName(profile, engine, group).toStdString();
    all.state.radioProfile = profile.toStdString();
    all.state.engine = engine;
    all.state.speakers = group;
    if (calibration && calibratedChain == chainName())
        all.calibration = calibration->calibration;
    all.microphone = microphone.correction;
    for (const Take& take : takes)
        if (take.view.state == gui::TakeState::noise && take.view.used
            && take.view.engine == engine)
            all.noise = take.audioFile;
    alone = all;

    // Takes of different tracks cannot be averaged: the newest one's track counts.
    for (std::size_t index = 0; index < takes.size(); ++index) {
        const Take& take = takes[index];
        const bool isNew = newTake == index;
        if (take.view.profile != profile || take.view.engine != engine
            || take.view.speakers != group || !take.view.used
            || (take.view.state != gui::TakeState::usable && !isNew))
            continue;
        if (!(all.track == take.track)) {
            all.audioFiles.clear();
            placeNames.clear();
        }
        all.track = take.track;
        all.audioFiles.push_back(take.audioFile);
        placeNames.addIfNotAlreadyThere(take.view.place);
        if (isNew) {
            alone.track = take.track;
            alone.audioFiles = {take.audioFile};
        }
    }
    placeNames.removeEmptyStrings();
    all.state.microphonePlace = placeNames.joinIntoString(", ").toStdString();

    const juce::String workWords = "Measuring " + toText(all.name);
    worker.addJob([this, profile, engine, group, newTake, alone, all, display = curveDisplay,
                   choice = microphone.choice, work = works.begin(workWords)]() mutable {
        MeasuredDelivery result;
        result.work = work;
        result.microphone = choice;
        result.take = newTake;
        result.state.profile = profile;
        result.state.engine = engine;
        result.state.speakers = group;
        dsp::FftStore transforms; // the take alone and all of them need the same
        try {
            const bool isAlone = newTake && all.audioFiles == alone.audioFiles;
            // The take alone is one of the steps where others are measured with it.
            const double aloneShare =
                newTake ? 1.0 / static_cast<double>(isAlone ? 1 : all.audioFiles.size() + 1) : 0.0;
            std::optional<dsp::Result<measure::Response>> single;
            std::optional<dsp::Result<measure::Response>> average;
            if (newTake)
                single = measureTakes(alone, transforms,
                                      [&](double share) { return (*work)(aloneShare * share); });
            if (single && !*single)
                std::erase(all.audioFiles, alone.audioFiles.front());
            if (!isAlone && !all.audioFiles.empty() && !work->isCancelled())
                average = measureTakes(all, transforms, [&](double share) {
                    return (*work)(aloneShare + (1.0 - aloneShare) * share);
                });
            // From here on it is done, whoever cancels.
            result.isCancelled = work->isCancelled();
            if (single && !result.isCancelled)
                result.problem = noteTake(alone.audioFiles.front(), *single, result);
            if (isAlone && *single)
                average = std::move(single);
            if (average && *average && !result.isCancelled) {
                measure::Response& response = **average;
                dress(result.state, makeMeasuredView(response, display));
                result.state.recorded = originOf(all.audioFiles.front());
                result.state.response =
                    std::make_shared<const measure::Response>(std::move(response));
            } else if (average && !*average && !result.isCancelled) {
                result.problem = average->error().message;
            }
        } catch (const std::exception& exception) {
            result.problem = std::string("The take could not be measured: ") + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        measuredDeliveries.push_back(std::move(result));
    });
}

std::string Bench::noteTake(const std::filesystem::path& file,
                            const dsp::Result<measure::Response>& single, MeasuredDelivery& result)
{
    result.refused = !single;
    result.takeWords = single ? trustWords(*single) : single.error().message;
    const auto noted = single ? measure::noteVerdict(file, result.takeWords)
                              : measure::refuseTake(file, result.takeWords);
    return noted ? std::string() : noted.error().message;
}

void Bench::takeUpCancelled(const MeasuredDelivery& delivery)
{
    say("Cancelled; what was measured before stays.", false);
    if (!delivery.take || *delivery.take >= takes.size())
        return;
    gui::TakeView& view = takes[*delivery.take].view;
    view.state = gui::TakeState::unmeasured;
    view.used = false;
    view.words = "Not measured, as it was cancelled. Tick it to have it measured.";
}

void Bench::takeUpMeasurement(MeasuredDelivery delivery)
{
    works.end(delivery.work);
    if (delivery.isCancelled) {
        takeUpCancelled(delivery);
        return;
    }
    if (delivery.take && *delivery.take < takes.size()) {
        gui::TakeView& view = takes[*delivery.take].view;
        view.state = delivery.refused ? gui::TakeState::refused : gui::TakeState::usable;
        view.used = !delivery.refused;
        const juce::String lost = view.words.fromFirstOccurrenceOf("; ", false, false);
        view.words = toText(delivery.takeWords);
        if (lost.isNotEmpty())
            view.words << "; " << lost;
    }
    if (!delivery.problem.empty())
        say(toText(delivery.problem), true);

    const auto found = std::ranges::find_if(measured, [&](const Measured& each) {
        return each.origin == gui::MeasuredOrigin::takes && each.profile == delivery.state.profile
               && each.engine == delivery.state.engine && each.speakers == delivery.state.speakers;
    });
    const juce::String profile = delivery.state.profile;
    const measure::EngineState engine = delivery.state.engine;
    const measure::SpeakerGroup group = delivery.state.speakers;
    if (delivery.state.response == nullptr) {
        // A refused take leaves what the others gave; without any use there is nothing to show.
        const bool hasUsable = std::ranges::any_of(takes, [&](const Take& take) {
            return take.view.profile == profile && take.view.engine == engine
                   && take.view.speakers == group && take.view.used
                   && take.view.state == gui::TakeState::usable;
        });
        if (found != measured.end() && !hasUsable)
            measured.erase(found);
        shownMeasured = std::min(shownMeasured, measured.empty() ? 0 : measured.size() - 1);
    } else if (found != measured.end()) {
        shownMeasured = static_cast<std::size_t>(found - measured.begin());
        replaceState(*found, std::move(delivery.state));
    } else {
        // What was made or imported here stands before what the job has.
        const auto position =
            std::ranges::find(measured, gui::MeasuredOrigin::job, &Measured::origin);
        shownMeasured = static_cast<std::size_t>(position - measured.begin());
        measured.insert(position, std::move(delivery.state));
    }
    compareStates();
    // Another curve was chosen while this was being measured.
    if (!(delivery.microphone == microphone.choice))
        orderMeasurement(profile, engine, group, std::nullopt);
}

void Bench::compareSpeakers()
{
    speakers = nullptr;
    if (shownMeasured >= measured.size())
        return;
    const Measured& shown = measured[shownMeasured];
    std::vector<std::shared_ptr<const measure::Response>> groups {shown.response};
    const auto take = [&](bool fromSameOrigin) {
        for (const Measured& each : measured)
            if (each.profile == shown.profile && each.engine == shown.engine
                && (each.origin == shown.origin) == fromSameOrigin
                && std::ranges::none_of(groups, [&](const auto& taken) {
                       return taken->state.speakers == each.speakers;
                   }))
                groups.push_back(each.response);
    };
    take(true); // what was made the same way tells more
    take(false);
    speakers = std::make_shared<const gui::SpeakersView>(makeSpeakersView(groups));
}

void Bench::compareStates()
{
    compareSpeakers();
    comparison = nullptr;
    if (shownMeasured >= measured.size())
        return;
    const Measured& shown = measured[shownMeasured];
    const bool isParked = shown.engine == measure::EngineState::off;
    const Measured* partner = nullptr;
    for (const Measured& each : measured)
        if (each.profile == shown.profile && each.speakers == shown.speakers
            && (each.engine == measure::EngineState::off) != isParked
            && (partner == nullptr
                || (each.origin == shown.origin && partner->origin != shown.origin)))
            partner = &each;
    if (partner == nullptr)
        return;
    const Measured* const parked = isParked ? &shown : partner;
    const Measured* const other = isParked ? partner : &shown;
    auto view = std::make_shared<gui::ComparisonView>();
    view->comparison = measure::compareResponses(*parked->response, *other->response);
    view->verdict = toText(report::verdictSentence(other->response->state, view->comparison));
    comparison = std::move(view);
}

void Bench::setTakeUsed(std::size_t index, bool shouldBeUsed)
{
    if (index >= takes.size() || takes[index].view.used == shouldBeUsed
        || takes[index].view.state == gui::TakeState::refused
        || takes[index].view.state == gui::TakeState::measuring
        || takes[index].view.state == gui::TakeState::calibration)
        return;
    gui::TakeView& view = takes[index].view;
    view.used = shouldBeUsed;
    std::optional<std::size_t> newTake;
    if (view.state == gui::TakeState::unmeasured) {
        view.state = gui::TakeState::measuring;
        view.words = "Being measured.";
        newTake = index;
    }
    orderMeasurement(view.profile, view.engine, view.speakers, newTake);
}

void Bench::showMeasured(std::size_t index)
{
    if (index >= measured.size())
        return;
    shownMeasured = index;
    compareStates();
}

void Bench::addToJob(const juce::File& folder)
{
    if (shownMeasured >= measured.size())
        return;
    const juce::File target = folder != juce::File()
                                  ? folder
                                  : (around.openJobFolder ? around.openJobFolder() : juce::File());
    if (target == juce::File()) {
        say("No job is open; choose a folder for a new one.", true);
        return;
    }
    worker.addJob([this, path = toPath(target), response = measured[shownMeasured].response,
                   origin = measured[shownMeasured].recorded,
                   work = works.begin("Adding the state to the job")] {
        JobDelivery result;
        result.work = work;
        result.folder = path;
        result.response = response;
        try {
            if (work->isCancelled()) {
                result.message = "Cancelled; nothing was added to the job.";
            } else if (const auto added = addStateToJob(path, *response, origin)) {
                result.stateId = added->id;
                result.message =
                    "Added to the job in " + path.filename().string() + " as " + added->id
                    + (added->isCandidate ? "; it can be heard on Listen."
                                          : "; the job has as many candidates as can be heard side "
                                            "by side, so this one is kept but not on a plate.");
            } else {
                result.message = added.error().message;
            }
        } catch (const std::exception& exception) {
            result.message = path.string() + ": " + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        jobDelivery = std::move(result);
    });
}

void Bench::takeUpAddedState(const JobDelivery& delivery)
{
    works.end(delivery.work);
    say(toText(delivery.message), delivery.stateId.empty() && !delivery.work->isCancelled());
    if (delivery.stateId.empty())
        return;
    if (around.stateAdded)
        around.stateAdded(toFile(delivery.folder), delivery.stateId);
    if (around.openJob)
        around.openJob(toFile(delivery.folder));
    jobStamp = {}; // two changes within a second may look alike
    for (Measured& each : measured)
        if (each.response == delivery.response && each.origin != gui::MeasuredOrigin::job) {
            each.jobStateId = delivery.stateId;
            each.takenOutState.clear();
            dress(each, *each.view);
        }
}

void Bench::dress(Measured& state, gui::MeasuredView view)
{
    view.origin = state.origin;
    view.isInJob = !state.jobStateId.empty();
    switch (state.origin) {
    case gui::MeasuredOrigin::takes:
        view.source = juce::String(view.numTakes) + (view.numTakes == 1 ? " take" : " takes")
                      + (view.isInJob ? ", in the job" : "");
        break;
    case gui::MeasuredOrigin::imported:
        view.source = "imported from " + state.importedFile + (view.isInJob ? ", in the job" : "");
        break;
    case gui::MeasuredOrigin::job:
        // Files may be called anything; the profile tells what stands beside what.
        if (state.profile.isNotEmpty())
            view.name = stateName(state.profile, state.engine, state.speakers);
        view.source = "in the job as " + toText(state.jobStateId);
        break;
    }
    state.view = std::make_shared<const gui::MeasuredView>(std::move(view));
}

void Bench::replaceState(Measured& old, Measured state)
{
    if (!old.jobStateId.empty())
        jobStamp = {}; // the job keeps the old one, which is to be seen beside the new one
    old = std::move(state);
}

void Bench::showResponse(const measure::Response* response)
{
    const auto found = std::ranges::find_if(
        measured, [&](const Measured& each) { return each.response.get() == response; });
    shownMeasured =
        found != measured.end() ? static_cast<std::size_t>(found - measured.begin()) : 0;
    compareStates();
}

std::shared_ptr<const measure::Response> Bench::measuredResponse(std::size_t index) const
{
    return index < measured.size() ? measured[index].response : nullptr;
}

void Bench::orderViews()
{
    // The one that is looked at comes first.
    std::vector<std::shared_ptr<const measure::Response>> stale;
    for (std::size_t index = 0; index < measured.size(); ++index)
        if (!(measured[index].view->display == curveDisplay))
            stale.insert(index == shownMeasured ? stale.begin() : stale.end(),
                         measured[index].response);
    if (stale.empty())
        return;
    isDrawing = true;
    reader.addJob([this, stale, display = curveDisplay] {
        for (const auto& response : stale) {
            ViewDelivery result {response, makeMeasuredView(*response, display)};
            const std::lock_guard lock(deliveryMutex);
            viewDeliveries.push_back(std::move(result));
        }
        const std::lock_guard lock(deliveryMutex);
        viewsDone = true;
    });
}

void Bench::importMeasured(const juce::File& file, gui::ImportKind kind)
{
    ImportDelivery order;
    order.state.profile = words.profile.trim();
    order.state.engine = words.engine;
    order.state.speakers = words.speakers;
    order.state.origin = gui::MeasuredOrigin::imported;
    order.state.importedFile = file.getFileName();
    measure::BikeState state;
    state.radioProfile = order.state.profile.toStdString();
    state.engine = words.engine;
    state.speakers = words.speakers;
    state.microphonePlace = words.place.trim().toStdString();
    order.work = works.begin("Importing " + file.getFileName());
    reader.addJob([this, order, path = toPath(file), kind, state, display = curveDisplay] {
        ImportDelivery result = order;
        Work& work = *order.work;
        try {
            const juce::String name =
                stateName(order.state.profile, order.state.engine, order.state.speakers);
            auto response = importResponse(path, kind, state, name.toStdString(),
                                           [&work](double share) { return work(share); });
            if (response && !work.isCancelled()) {
                dress(result.state, makeMeasuredView(*response, display));
                result.words =
                    path.filename().string() + " was imported as " + response->name + ".";
                result.state.response =
                    std::make_shared<const measure::Response>(*std::move(response));
            } else if (!response) {
                result.words = "Not imported: " + response.error().message;
            }
        } catch (const std::exception& exception) {
            result.words = path.filename().string() + " could not be imported: " + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        importDeliveries.push_back(std::move(result));
    });
}

void Bench::takeUpImport(ImportDelivery delivery)
{
    works.end(delivery.work);
    if (delivery.work->isCancelled()) {
        say("Cancelled; " + delivery.state.importedFile + " was not imported.", false);
        return;
    }
    say(toText(delivery.words), delivery.state.response == nullptr);
    if (delivery.state.response == nullptr)
        return;
    const auto* const response = delivery.state.response.get();
    const auto earlier = std::ranges::find_if(measured, [&](const Measured& each) {
        return each.origin == gui::MeasuredOrigin::imported
               && each.importedFile == delivery.state.importedFile
               && each.profile == delivery.state.profile && each.engine == delivery.state.engine
               && each.speakers == delivery.state.speakers;
    });
    if (earlier != measured.end())
        replaceState(*earlier, std::move(delivery.state));
    else
        measured.insert(std::ranges::find(measured, gui::MeasuredOrigin::job, &Measured::origin),
                        std::move(delivery.state));
    showResponse(response);
}

void Bench::watchJob()
{
    JobStamp now;
    now.folder = around.openJobFolder ? around.openJobFolder() : juce::File();
    if (now.folder != juce::File()) {
        const juce::File document = now.folder.getChildFile("job.json");
        now.changedMs = document.getLastModificationTime().toMilliseconds();
        now.numBytes = document.getSize();
    }
    if (now == jobStamp)
        return;
    if (now.folder != jobStamp.folder && jobStamp.folder != juce::File())
        for (Measured& each : measured)
            if (each.origin != gui::MeasuredOrigin::job) {
                each.takenOutState.clear();
                if (!std::exchange(each.jobStateId, {}).empty())
                    dress(each, *each.view);
            }
    jobStamp = now;
    const std::uint64_t number = ++jobOrder;
    reader.addJob([this, number, folder = now.folder, display = curveDisplay,
                   work = works.begin("Reading the job's measured states")] {
        JobStatesDelivery result;
        result.work = work;
        result.number = number;
        try {
            // What is wrong with the job itself is said where it is opened.
            if (const auto job = folder != juce::File() ? job::loadJob(toPath(folder))
                                                        : dsp::Result<job::Job>(job::Job {})) {
                for (const job::JobState& each : job->states)
                    result.ids.push_back(each.id);
                for (const job::JobState& each : job->states) {
                    if (!(*work)(static_cast<double>(&each - job->states.data())
                                 / static_cast<double>(job->states.size())))
                        break;
                    const auto file = job::resolveInside(job->folder, each.file);
                    auto response = file ? measure::loadResponse(*file)
                                         : dsp::Result<measure::Response>(file.unexpected());
                    if (!response) {
                        result.problem = response.error().message;
                        continue;
                    }
                    Measured state;
                    state.profile = toText(response->state.radioProfile);
                    state.engine = response->state.engine;
                    state.speakers = response->state.speakers;
                    state.origin = gui::MeasuredOrigin::job;
                    state.jobStateId = each.id;
                    dress(state, makeMeasuredView(*response, display));
                    state.response =
                        std::make_shared<const measure::Response>(*std::move(response));
                    result.states.push_back(std::move(state));
                }
            }
        } catch (const std::exception& exception) {
            result.problem =
                std::string("The job's measured states could not be read: ") + exception.what();
        }
        const std::lock_guard lock(deliveryMutex);
        jobStatesDeliveries.push_back(std::move(result));
    });
}

void Bench::takeUpJobStates(JobStatesDelivery delivery)
{
    works.end(delivery.work);
    if (delivery.number != jobOrder)
        return;
    if (delivery.work->isCancelled())
        say("Cancelled; not all of the job's measured states are shown.", false);
    if (!delivery.problem.empty())
        say(toText(delivery.problem), true);
    std::shared_ptr<const measure::Response> shown;
    std::string shownId;
    if (shownMeasured < measured.size()) {
        shown = measured[shownMeasured].response;
        shownId = measured[shownMeasured].jobStateId;
    }
    followJob(delivery.ids);
    std::erase_if(measured,
                  [](const Measured& each) { return each.origin == gui::MeasuredOrigin::job; });
    for (Measured& state : delivery.states) {
        const bool isFromHere = std::ranges::any_of(measured, [&](const Measured& each) {
            return each.origin != gui::MeasuredOrigin::job && each.jobStateId == state.jobStateId;
        });
        if (isFromHere)
            continue;
        if (state.jobStateId == shownId)
            shown = state.response;
        measured.push_back(std::move(state));
    }
    showResponse(shown.get());
}

void Bench::followJob(const std::vector<std::string>& ids)
{
    const auto isThere = [&](const std::string& id) {
        return std::ranges::find(ids, id) != ids.end();
    };
    for (Measured& each : measured) {
        if (each.origin == gui::MeasuredOrigin::job)
            continue;
        if (!each.jobStateId.empty() && !isThere(each.jobStateId))
            each.takenOutState = std::exchange(each.jobStateId, {});
        else if (!each.takenOutState.empty() && isThere(each.takenOutState))
            each.jobStateId = std::exchange(each.takenOutState, {});
        else
            continue;
        dress(each, *each.view);
    }
}

void Bench::restoreMicrophone(const MicrophoneChoice& choice)
{
    orderMicrophone(choice, true);
}

void Bench::chooseMicrophoneCurve(measure::Incidence incidence, const juce::File& file)
{
    MicrophoneChoice choice = wantedMicrophone;
    (incidence == measure::Incidence::zeroDegrees ? choice.zeroDegreesFile
                                                  : choice.ninetyDegreesFile) =
        file == juce::File() ? std::filesystem::path() : toPath(file);
    orderMicrophone(choice, false);
}

void Bench::setMicrophoneIncidence(measure::Incidence incidence)
{
    MicrophoneChoice choice = wantedMicrophone;
    choice.incidence = incidence;
    orderMicrophone(choice, false);
}

void Bench::orderMicrophone(const MicrophoneChoice& choice, bool isRestored)
{
    wantedMicrophone = choice;
    reader.addJob([this, choice, isRestored, work = works.begin("Reading the microphone's table")] {
        MicrophoneDelivery result {work, loadMicrophone(choice), isRestored};
        const std::lock_guard lock(deliveryMutex);
        microphoneDeliveries.push_back(std::move(result));
    });
}

void Bench::takeUpMicrophone(MicrophoneDelivery delivery)
{
    works.end(delivery.work);
    if (!(delivery.loaded.choice == wantedMicrophone))
        return;
    if (!delivery.loaded.problem.empty()) {
        say(toText(delivery.loaded.problem), true);
        // A table that worsens things is not taken; one that was lost since may be put right.
        if (!delivery.isRestored && !microphone.view.isProblem) {
            wantedMicrophone = microphone.choice;
            return;
        }
    }
    microphone = std::move(delivery.loaded);
    for (const Measured& each : measured)
        if (each.origin == gui::MeasuredOrigin::takes)
            orderMeasurement(each.profile, each.engine, each.speakers, std::nullopt);
}

void Bench::update()
{
    audio.player.collectGarbage();
    std::optional<std::pair<std::uint64_t, MadeSignal>> signal;
    std::vector<MeasuredDelivery> results;
    std::vector<CalibrationDelivery> calibrations;
    std::optional<WritingDelivery> written;
    std::optional<JobDelivery> added;
    std::vector<ViewDelivery> views;
    std::vector<ImportDelivery> imports;
    std::vector<JobStatesDelivery> jobStates;
    std::vector<MicrophoneDelivery> microphones;
    {
        const std::lock_guard lock(deliveryMutex);
        signal = std::exchange(signalDelivery, std::nullopt);
        results = std::exchange(measuredDeliveries, {});
        calibrations = std::exchange(calibrationDeliveries, {});
        written = std::exchange(writingDelivery, std::nullopt);
        added = std::exchange(jobDelivery, std::nullopt);
        views = std::exchange(viewDeliveries, {});
        imports = std::exchange(importDeliveries, {});
        jobStates = std::exchange(jobStatesDeliveries, {});
        microphones = std::exchange(microphoneDeliveries, {});
        if (std::exchange(viewsDone, false))
            isDrawing = false;
    }
    if (signal && signal->first == signalOrder) {
        made = std::move(signal->second);
        output.preparing = false;
        if (made.audio == nullptr) {
            say(toText(made.problem), true);
            wantsToPlay = false;
            wantsToRecord = false;
        }
        output.repeats = repeatsLive(made.description);
        applyLevel();
    }
    // The device may have been given another rate meanwhile.
    if (made.audio != nullptr && made.sampleRate != audio.sampleRate())
        orderSignal();
    if (made.audio != nullptr && wantsToPlay)
        startPlaying();
    if (made.audio != nullptr && wantsToRecord)
        beginTake();

    if (isRecording && input.recorder().status().state != measure::CaptureState::recording)
        finishTake();
    for (MeasuredDelivery& result : results)
        takeUpMeasurement(std::move(result));
    for (CalibrationDelivery& result : calibrations)
        takeUpCalibration(std::move(result));
    if (written) {
        writing.busy = false;
        writing.message = toText(written->message);
        writing.failed = written->failed;
    }
    writing.doneProportion = writtenProportion.load();
    if (added)
        takeUpAddedState(*added);
    for (ViewDelivery& result : views)
        for (Measured& each : measured)
            if (each.response == result.response)
                dress(each, std::move(result.view));
    for (ImportDelivery& result : imports)
        takeUpImport(std::move(result));
    watchJob();
    for (JobStatesDelivery& result : jobStates)
        takeUpJobStates(std::move(result));
    for (MicrophoneDelivery& result : microphones)
        takeUpMicrophone(std::move(result));
    if (!isDrawing)
        orderViews();
    if (const auto problem = input.takeProblem())
        inputView.problem = toText(*problem);
}

gui::BenchSnapshot Bench::benchSnapshot()
{
    gui::BenchSnapshot snapshot;
    snapshot.signals = signalViews;
    snapshot.output = output;
    snapshot.output.playing = audio.player.isPlaying() || wantsToPlay;
    snapshot.output.positionSeconds = audio.player.positionSeconds();
    snapshot.output.highestDbfs = levelLimitDbfs();
    snapshot.output.peakDbfs = dsp::amplitudeToDb(static_cast<double>(audio.takeOutputPeak()));
    snapshot.output.hasDevice = devices.getCurrentAudioDevice() != nullptr;
    snapshot.writing = writing;

    snapshot.input = inputView;
    juce::AudioIODeviceType* const type = deviceType();
    if (type != nullptr) {
        snapshot.input.devices = type->getDeviceNames(true);
        if (snapshot.input.device < 0 && !snapshot.input.devices.isEmpty())
            snapshot.input.device = std::max(0, type->getDefaultDeviceIndex(true));
    }
    if (snapshot.input.channels.isEmpty())
        snapshot.input.channels = {"Input 1", "Input 2"};
    snapshot.input.open = input.isOpen();
    if (snapshot.input.open) {
        const measure::LevelMeter& meter = input.recorder().meter(0);
        snapshot.input.sampleRate = input.sampleRate();
        snapshot.input.peakDbfs = meter.peakDbfs();
        snapshot.input.rmsDbfs = meter.rmsDbfs();
        snapshot.input.clipHeld = meter.isClipHeld();
        snapshot.analyser = input.analyserSnapshot();
    }
    snapshot.capture = input.recorder().status();
    snapshot.traces = traces;
    snapshot.words = words;
    snapshot.calibrationWords = calibrationWords();
    snapshot.trackName = trackName;
    for (const Take& take : takes)
        snapshot.takes.push_back(take.view);
    for (const Measured& each : measured)
        snapshot.measured.push_back(each.view);
    snapshot.shownMeasured = shownMeasured;
    snapshot.comparison = comparison;
    snapshot.speakers = speakers;
    snapshot.curveDisplay = curveDisplay;
    snapshot.microphone = microphone.view;
    snapshot.work = works.view(juce::Time::getMillisecondCounter());
    snapshot.message = message;
    snapshot.messageIsProblem = messageIsProblem;
    return snapshot;
}

} // namespace saddletone::plugin
