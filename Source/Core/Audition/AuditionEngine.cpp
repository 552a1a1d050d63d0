#include "Core/Audition/AuditionEngine.h"

#include "Core/Audition/NonlinearDesign.h"
#include "Core/Audition/OnThisBike.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::audition {

namespace {

/** Far above any programme, far below what would overflow in a spectrum. What is beyond is garbage:
    held there it would sound for as long as the response rings. */
constexpr float largestInput = 1000.0F;

/** The ride with a speed that levels and noise agree on; what is not a number is parked. */
RideChoice choiceOf(const AuditionEngine::Parameters& parameters) noexcept
{
    constexpr double fastestKmh = 250.0;
    RideChoice choice = parameters.ride;
    choice.speedKmh =
        std::isfinite(choice.speedKmh) ? std::clamp(choice.speedKmh, 0.0, fastestKmh) : 0.0;
    return choice;
}

const ProgrammeConvolver::Kernels* kernelsOf(const SceneCandidate* candidate) noexcept
{
    return candidate == nullptr ? nullptr : &candidate->kernels;
}

const ProgrammeConvolver::Kernels* noiseKernelsOf(const AuditionScene* scene) noexcept
{
    return scene == nullptr ? nullptr : scene->noiseKernels.get();
}

} // namespace

AuditionEngine::AuditionEngine(const Settings& engineSettings)
    : settings(engineSettings), rideNoise(engineSettings.noiseSeed)
{
}

AuditionEngine::~AuditionEngine()
{
    const AuditionScene* const first = voices[0].scene;
    const AuditionScene* const second = voices[1].scene;
    delete first;
    if (second != first)
        delete second;
    delete pending.load();
    collectGarbage();
}

void AuditionEngine::prepare(const dsp::ProcessSpec& spec)
{
    const auto maxTaps =
        static_cast<std::size_t>(std::ceil(settings.maxKernelSeconds * spec.sampleRate));
    const std::size_t layoutBlock =
        settings.layoutBlockFrames > 0 ? settings.layoutBlockFrames : spec.maxBlockFrames;
    PartitionLayout newLayout =
        PartitionLayout::forTaps(maxTaps, std::max<std::size_t>(1, layoutBlock));

    if (newLayout != partitionLayout || spec.sampleRate != sampleRate) {
        // Kernels of the old rate and layout cannot be played any more.
        if (voices[1].scene != voices[0].scene)
            delete voices[1].scene;
        delete voices[0].scene;
        voices[0].scene = voices[1].scene = nullptr;
        delete pending.exchange(nullptr);
        texturedNoise = nullptr;
        newestTexture = nullptr;
    }
    collectGarbage();

    partitionLayout = std::move(newLayout);
    sampleRate = spec.sampleRate;
    convolver.prepare(partitionLayout);
    noiseConvolver.prepare(noiseLayout(sampleRate));

    const auto toFrames = [&](double seconds) {
        return static_cast<std::size_t>(std::lround(std::max(0.0, seconds) * sampleRate));
    };
    for (Voice& voice : voices) {
        for (dsp::LinearRamp* ramp : {&voice.gain, &voice.radioGain, &voice.overdriveGain})
            ramp->prepare(toFrames(settings.glideSeconds));
        if (voice.branch == nullptr)
            voice.branch = std::make_unique<NonlinearBranch>();
        voice.branch->prepare(spec);
        voice.design = nullptr;
    }
    fadeIn.resize(std::max<std::size_t>(1, toFrames(settings.fadeSeconds)));
    for (std::size_t frame = 0; frame < fadeIn.size(); ++frame)
        fadeIn[frame] =
            static_cast<float>(std::sin(0.5 * std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                        / static_cast<double>(fadeIn.size())));

    rideNoise.prepare(spec);
    for (dsp::LinearRamp* ramp : {&noiseGain, &programmeMix, &untouchedGain})
        ramp->prepare(toFrames(settings.glideSeconds));
    guard.prepare(spec);
    limiter.prepare(spec);
    startRampFrames = toFrames(settings.startRampSeconds);
    reset();
}

void AuditionEngine::publish(std::unique_ptr<AuditionScene> scene)
{
    assert(scene == nullptr || scene->candidates.size() <= maxCandidates);
    if (scene != nullptr && scene->ride.recorded != texturedNoise) {
        texturedNoise = scene->ride.recorded;
        newestTexture = nullptr;
        if (texturedNoise != nullptr) {
            newestTexture =
                std::make_shared<ride::NoiseTexture>(*texturedNoise, settings.noiseSeed);
            newestTexture->prepare({sampleRate, pieceNoise[0].size(), numEars});
        }
    }
    if (scene != nullptr)
        scene->texture = newestTexture;
    collectGarbage();
    delete pending.exchange(scene.release(), std::memory_order_acq_rel);
}

void AuditionEngine::collectGarbage()
{
    for (auto& place : retired)
        delete place.exchange(nullptr, std::memory_order_acq_rel);
}

void AuditionEngine::reset() noexcept
{
    if (framesToFade > 0)
        beginFade();
    if (fading)
        finishFade();
    Voice& voice = voices[activeVoice];
    // publish() has emptied both places, and since then at most one fade has ended.
    if (numFreeRetiredPlaces() > 0)
        if (const AuditionScene* next = pending.exchange(nullptr, std::memory_order_acq_rel)) {
            retire(voice.scene);
            voice.scene = next;
        }
    voice.candidate = clampedCandidate(voice.scene);
    voices[1 - activeVoice].scene = nullptr;

    convolver.reset();
    convolver.setVoice(activeVoice, kernelsOf(voice.playing()));
    convolver.setVoice(1 - activeVoice, nullptr);
    noiseConvolver.reset();
    noiseConvolver.setVoice(noiseVoice, noiseKernelsOf(voice.scene));
    noiseConvolver.setVoice(1 - noiseVoice, nullptr);

    guard.reset();
    limiter.reset();
    updateTargets();
    noisePosition = 0;
    rideNoise.reset();
    if (voice.scene != nullptr && voice.scene->texture != nullptr)
        voice.scene->texture->reset();
    for (dsp::LinearRamp* ramp : {&noiseGain, &programmeMix, &untouchedGain, &voice.gain})
        ramp->jumpTo(ramp->finalValue());
    stopOverdrive(voices[1 - activeVoice]);
    startOverdrive(voice);
    framesSinceReset = 0;
    outputPeakLinear.store(0.0F, std::memory_order_relaxed);
    ceilingGainLinear.store(1.0F, std::memory_order_relaxed);
    guardGainLinear.store(1.0F, std::memory_order_relaxed);
    driveHoldGainLinear.store(1.0F, std::memory_order_relaxed);
    earLevel.store(static_cast<float>(dsp::silenceDb), std::memory_order_relaxed);
}

void AuditionEngine::setParameters(const Parameters& newParameters) noexcept
{
    Parameters next = newParameters;
    // From a gain NaN would get into the tails of noise and speakers, and stay there.
    for (double Parameters::*const level :
         {&Parameters::volumeDb, &Parameters::noiseTrimDb, &Parameters::outputLevelDb})
        if (std::isnan(next.*level))
            next.*level = parameters.*level;
    if (next == parameters)
        return;
    parameters = next;
    updateTargets();
}

std::size_t AuditionEngine::clampedCandidate(const AuditionScene* scene) const noexcept
{
    if (scene == nullptr || scene->candidates.empty())
        return 0;
    return std::min(parameters.candidate, scene->candidates.size() - 1);
}

AuditionLevels levelsOf(const AuditionScene& scene, const SceneCandidate& candidate,
                        const AuditionEngine::Parameters& parameters) noexcept
{
    if (scene.isOnThisBike())
        return levelsOnThisBike(scene, candidate, parameters.match,
                                std::clamp(parameters.outputLevelDb, -60.0, 0.0));
    const RideChoice choice = choiceOf(parameters);
    const double volumeDb = std::clamp(parameters.volumeDb, -60.0, 30.0);
    const auto radioGainDb = [&](const std::shared_ptr<const ride::SpeedVolume>& volume) {
        return volumeDb + (volume != nullptr ? volume->gainDbAt(choice.speedKmh) : 0.0);
    };
    const SceneCandidate& first = scene.candidates.front();
    const double lossDb = plugLossDb(scene.ride, choice);

    LevelRequest request;
    request.noise = noiseLevels(scene.ride, choice);
    request.pinkDbfsA = scene.pinkDbfsA;
    request.reference =
        scene.reference
            ? scene.reference->level.raisedBy(radioGainDb(scene.reference->speedVolume) - lossDb)
            : first.level.raisedBy(radioGainDb(first.speedVolume) - lossDb);
    request.candidate = candidate.level.raisedBy(radioGainDb(candidate.speedVolume) - lossDb);
    request.matchGainDb = candidate.matchGainDb;
    request.match = parameters.match;
    request.noiseTrimDb = std::clamp(parameters.noiseTrimDb, -24.0, 12.0);
    request.outputLevelDb = std::clamp(parameters.outputLevelDb, -60.0, 0.0);
    AuditionLevels levels = computeLevels(request);
    levels.plugLossDb = lossDb;
    levels.radioGainDb = radioGainDb(candidate.speedVolume);
    return levels;
}

void AuditionEngine::updateTargets() noexcept
{
    const AuditionScene* const heard = voices[activeVoice].scene;
    const bool isOnThisBike = heard != nullptr && heard->isOnThisBike();
    // What is known of the headphones says nothing of a bike's speakers.
    guard.setParameters(
        {.headphoneSplAtFullScaleDb = isOnThisBike ? 0.0 : parameters.headphoneSplAtFullScaleDb,
         .ceilingDba = parameters.ceilingDba});
    limiter.setParameters({.ceilingDbfs = parameters.ceilingDbfs});
    for (Voice& voice : voices) {
        voice.overdriveGain.setTarget(parameters.overdriven ? 1.0 : 0.0);
        if (const SceneCandidate* playing = voice.playing()) {
            const AuditionLevels levels = levelsOf(*voice.scene, *playing, parameters);
            voice.gain.setTarget(dsp::dbToAmplitude(levels.programmeGainDb));
            voice.radioGain.setTarget(dsp::dbToAmplitude(levels.radioGainDb));
        }
    }

    const Voice& active = voices[activeVoice];
    const SceneCandidate* playing = active.playing();
    if (playing == nullptr) {
        // Nothing to audition: nothing but silence is safe to assume, unless the programme is wanted
        // as it is.
        noiseGain.setTarget(0.0);
        programmeMix.setTarget(0.0);
        untouchedGain.setTarget(
            parameters.monitor == Monitor::untouched ? dsp::dbToAmplitude(outputLevelDb()) : 0.0);
        return;
    }
    const AuditionLevels levels = levelsOf(*active.scene, *playing, parameters);
    updateNoise(*active.scene, levels);
    const bool hasNoise = parameters.monitor == Monitor::programmeAndNoise
                          || parameters.monitor == Monitor::noiseOnly;
    const bool hasBike = parameters.monitor == Monitor::programmeAndNoise
                         || parameters.monitor == Monitor::programmeOnly
                         || (isOnThisBike && parameters.monitor == Monitor::noiseOnly);
    noiseGain.setTarget(hasNoise && levels.noise.totalDba > dsp::silenceDb
                            ? dsp::dbToAmplitude(outputLevelDb())
                            : 0.0);
    programmeMix.setTarget(hasBike ? 1.0 : 0.0);
    untouchedGain.setTarget(parameters.monitor == Monitor::untouched
                                ? dsp::dbToAmplitude(levels.untouchedGainDb)
                                : 0.0);
}

double AuditionEngine::outputLevelDb() const noexcept
{
    return std::clamp(parameters.outputLevelDb, -60.0, 0.0);
}

void AuditionEngine::updateNoise(const AuditionScene& scene, const AuditionLevels& levels) noexcept
{
    // The scale goes into the noise itself and takes effect with its spectrum: a gain behind it
    // would rise at once when a ride slows down, while the noise is still that of the faster one.
    const double trimDb = std::clamp(parameters.noiseTrimDb, -24.0, 12.0);
    const double noiseScaleDb = levels.scaleDb - outputLevelDb() + trimDb;
    const RideChoice choice = choiceOf(parameters);
    if (scene.texture != nullptr)
        scene.texture->setParameters(
            {.speedKmh = choice.speedKmh,
             .gainDb = scene.ride.recordedSplAtFullScaleDb - levels.plugLossDb + noiseScaleDb});
    else
        rideNoise.setParameters({rideOf(scene.ride, choice), -noiseScaleDb});
}

void AuditionEngine::addNoise(ride::NoiseTexture* texture, std::size_t numFrames,
                              bool isFadingOut) noexcept
{
    const std::array<float*, numEars> pointers {pieceSource[0].data(), pieceSource[1].data()};
    if (texture != nullptr)
        texture->process({pointers.data(), numEars, numFrames});
    else
        rideNoise.process({pointers.data(), numEars, numFrames});
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const float gain =
            fadeIn[isFadingOut ? fadeIn.size() - 1 - fadePosition - frame : fadePosition + frame];
        for (std::size_t ear = 0; ear < numEars; ++ear)
            pieceNoise[ear][frame] += gain * pieceSource[ear][frame];
    }
}

bool AuditionEngine::renderNoise(std::size_t numFrames) noexcept
{
    const Voice& active = voices[activeVoice];
    const Voice& old = voices[1 - activeVoice];
    ride::NoiseTexture* const texture =
        active.scene != nullptr ? active.scene->texture.get() : nullptr;
    ride::NoiseTexture* const oldTexture =
        fading && old.scene != nullptr ? old.scene->texture.get() : texture;
    const bool isHeard = noiseGain.current() != 0.0 || noiseGain.isMoving();
    if (!isHeard) {
        rideNoise.skip(numFrames);
        if (texture != nullptr)
            texture->skip(numFrames);
    } else if (texture == oldTexture) {
        const std::array<float*, numEars> pointers {pieceNoise[0].data(), pieceNoise[1].data()};
        if (texture != nullptr) {
            texture->process({pointers.data(), numEars, numFrames});
            rideNoise.skip(numFrames);
        } else {
            rideNoise.process({pointers.data(), numEars, numFrames});
        }
    } else {
        for (auto& ear : pieceNoise)
            std::ranges::fill(ear, 0.0F);
        addNoise(texture, numFrames, false);
        addNoise(oldTexture, numFrames, true);
        if (texture != nullptr && oldTexture != nullptr)
            rideNoise.skip(numFrames);
    }
    noisePosition += numFrames;
    return isHeard;
}

/** Brings pieceNoise to the headphones. */
void AuditionEngine::correctNoise(bool isHeard, std::size_t numFrames) noexcept
{
    assert(noiseConvolver.framesToVisit() == convolver.framesToVisit());
    if (!isHeard)
        for (auto& ear : pieceNoise)
            ear.fill(0.0F);
    // Fed always, so that a correction to come has its past.
    noiseConvolver.push(pieceNoise, numFrames);
    if (!isHeard)
        return;
    const bool isCorrected = noiseKernelsOf(voices[activeVoice].scene) != nullptr;
    if (!(fading && noiseSwitches)) {
        if (isCorrected)
            noiseConvolver.render(noiseVoice, pieceNoise);
        return;
    }
    const bool wasCorrected = noiseKernelsOf(voices[1 - activeVoice].scene) != nullptr;
    pieceSource = pieceNoise;
    pieceBefore = pieceNoise;
    if (isCorrected)
        noiseConvolver.render(noiseVoice, pieceSource);
    if (wasCorrected)
        noiseConvolver.render(1 - noiseVoice, pieceBefore);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        // Both are the same noise, so the gains add up to one.
        const float after = fadeIn[fadePosition + frame];
        const float before = fadeIn[fadeIn.size() - 1 - fadePosition - frame];
        for (std::size_t ear = 0; ear < numEars; ++ear)
            pieceNoise[ear][frame] =
                after * after * pieceSource[ear][frame] + before * before * pieceBefore[ear][frame];
    }
}

void AuditionEngine::beginSwitch(const AuditionScene* scene, std::size_t candidate) noexcept
{
    Voice& next = voices[1 - activeVoice];
    next.scene = scene;
    next.candidate = candidate;
    convolver.beginVoice(1 - activeVoice, kernelsOf(next.playing()));
    startOverdrive(next);
    noiseSwitches = noiseKernelsOf(scene) != noiseKernelsOf(voices[activeVoice].scene);
    if (noiseSwitches)
        noiseConvolver.beginVoice(1 - noiseVoice, noiseKernelsOf(scene));
    framesToFade = switchDelayFrames();
}

void AuditionEngine::beginFade() noexcept
{
    Voice& next = voices[1 - activeVoice];
    const SceneCandidate* const from = voices[activeVoice].playing();
    const SceneCandidate* const to = next.playing();
    fadesAlike =
        from != nullptr && to != nullptr && from->kinship != 0 && from->kinship == to->kinship;
    activeVoice = 1 - activeVoice;
    if (noiseSwitches)
        noiseVoice = 1 - noiseVoice;
    framesToFade = 0;
    fading = true;
    fadePosition = 0;
    const AuditionScene* const before = voices[1 - activeVoice].scene;
    const AuditionScene* const scene = voices[activeVoice].scene;
    if (scene != nullptr && scene->texture != nullptr
        && (before == nullptr || before->texture != scene->texture))
        scene->texture->seek(noisePosition);
    updateTargets();
    next.gain.jumpTo(next.gain.finalValue());
}

void AuditionEngine::finishFade() noexcept
{
    Voice& old = voices[1 - activeVoice];
    stopOverdrive(old);
    if (old.scene != voices[activeVoice].scene)
        retire(old.scene);
    old.scene = nullptr;
    convolver.setVoice(1 - activeVoice, nullptr);
    if (noiseSwitches)
        noiseConvolver.setVoice(1 - noiseVoice, nullptr);
    noiseSwitches = false;
    fading = false;
}

float AuditionEngine::fadeGain(std::size_t position) const noexcept
{
    return fadesAlike ? fadeIn[position] * fadeIn[position] : fadeIn[position];
}

std::size_t AuditionEngine::numFreeRetiredPlaces() const noexcept
{
    return static_cast<std::size_t>(std::ranges::count_if(retired, [](const auto& place) {
        return place.load(std::memory_order_acquire) == nullptr;
    }));
}

void AuditionEngine::retire(const AuditionScene* scene) noexcept
{
    for (auto& place : retired)
        if (place.load(std::memory_order_acquire) == nullptr) {
            place.store(scene, std::memory_order_release);
            return;
        }
    assert(false);
}

void AuditionEngine::startSwitches() noexcept
{
    if (fading || framesToFade > 0)
        return;
    const Voice& voice = voices[activeVoice];
    // A scene is taken only when the places for those it may replace are free.
    if (numFreeRetiredPlaces() == retired.size())
        if (const AuditionScene* next = pending.exchange(nullptr, std::memory_order_acq_rel)) {
            beginSwitch(next, clampedCandidate(next));
            return;
        }
    if (const std::size_t wanted = clampedCandidate(voice.scene); wanted != voice.candidate)
        beginSwitch(voice.scene, wanted);
}

void AuditionEngine::startOverdrive(Voice& voice) noexcept
{
    const SceneCandidate* const playing = voice.playing();
    const NonlinearDesign* const design = playing != nullptr ? playing->nonlinear.get() : nullptr;
    // Taking up a design forgets a past that a voice without one does not have.
    if (design != nullptr || voice.design != nullptr)
        voice.branch->setDesign(design);
    voice.design = design;
    voice.branchIsBehind = false;
    voice.overdriveGain.jumpTo(parameters.overdriven ? 1.0 : 0.0);
    if (playing != nullptr)
        voice.radioGain.jumpTo(
            dsp::dbToAmplitude(levelsOf(*voice.scene, *playing, parameters).radioGainDb));
}

void AuditionEngine::stopOverdrive(Voice& voice) noexcept
{
    if (voice.design != nullptr)
        voice.branch->setDesign(nullptr);
    voice.design = nullptr;
}

/** Fills pieceOverdrive; false: the voice adds nothing. */
bool AuditionEngine::renderOverdrive(Voice& voice, std::size_t numFrames) noexcept
{
    if (voice.design == nullptr)
        return false;
    if (voice.overdriveGain.current() == 0.0 && !voice.overdriveGain.isMoving()) {
        voice.branchIsBehind = true;
        return false;
    }
    if (voice.branchIsBehind) {
        voice.branch->reset();
        voice.radioGain.jumpTo(voice.radioGain.finalValue());
        voice.branchIsBehind = false;
    }
    const double measured = dsp::dbToAmplitude(voice.playing()->overdriveVolumeDb);
    // What the voice's gain does of the radio's is taken off again.
    std::array<float, ProgrammeConvolver::maxPieceFrames> back;
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double radio = voice.radioGain.next();
        back[frame] = static_cast<float>(1.0 / radio);
        const auto drive = static_cast<float>(measured * radio);
        for (std::size_t ear = 0; ear < numEars; ++ear)
            pieceDriven[ear][frame] = drive * pieceInput[ear][frame];
    }
    const std::array<const float*, numEars> driven {pieceDriven[0].data(), pieceDriven[1].data()};
    const std::array<float*, numEars> added {pieceOverdrive[0].data(), pieceOverdrive[1].data()};
    voice.branch->process({driven.data(), numEars, numFrames}, std::span(back).first(numFrames),
                          {added.data(), numEars, numFrames});
    leastHoldGain = std::min(leastHoldGain, voice.branch->holdGain());
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const auto heard = static_cast<float>(voice.overdriveGain.next());
        for (auto& ear : pieceOverdrive)
            ear[frame] *= heard;
    }
    return true;
}

void AuditionEngine::renderVoice(std::size_t voice, std::size_t numFrames) noexcept
{
    convolver.render(voice, pieceVoice);
    if (renderOverdrive(voices[voice], numFrames))
        for (std::size_t ear = 0; ear < numEars; ++ear)
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                pieceVoice[ear][frame] += pieceOverdrive[ear][frame];
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const auto gain = static_cast<float>(voices[voice].gain.next());
        for (std::size_t ear = 0; ear < numEars; ++ear)
            pieceVoice[ear][frame] *= gain;
    }
}

void AuditionEngine::processPiece(dsp::ChannelView<const float> input,
                                  dsp::ChannelView<float> output, std::size_t begin,
                                  std::size_t numFrames) noexcept
{
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const auto source = input[std::min(ear, input.numChannels() - 1)].subspan(begin, numFrames);
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            // Written so that NaN counts as beyond.
            pieceInput[ear][frame] = std::abs(source[frame]) <= largestInput ? source[frame] : 0.0F;
    }
    convolver.push(pieceInput, numFrames);

    renderVoice(activeVoice, numFrames);
    const std::size_t fadeLength = fadeIn.size();
    for (std::size_t ear = 0; ear < numEars; ++ear)
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            pieceOutput[ear][frame] =
                pieceVoice[ear][frame] * (fading ? fadeGain(fadePosition + frame) : 1.0F);
    if (fading) {
        renderVoice(1 - activeVoice, numFrames);
        for (std::size_t ear = 0; ear < numEars; ++ear)
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                pieceOutput[ear][frame] +=
                    pieceVoice[ear][frame] * fadeGain(fadeLength - 1 - fadePosition - frame);
    } else if (framesToFade > 0) {
        // Not heard yet; so its tail begins to grow.
        static_cast<void>(renderOverdrive(voices[1 - activeVoice], numFrames));
    }

    const bool noiseHeard = renderNoise(numFrames);
    correctNoise(noiseHeard, numFrames);

    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const auto mix = static_cast<float>(programmeMix.next());
        const auto noise = static_cast<float>(noiseGain.next());
        const auto untouched = static_cast<float>(untouchedGain.next());
        float ramp = 1.0F;
        if (framesSinceReset < startRampFrames) {
            const double position =
                static_cast<double>(framesSinceReset) / static_cast<double>(startRampFrames);
            ramp = static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * position));
            ++framesSinceReset;
        }
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            float sum = mix * pieceOutput[ear][frame] + untouched * pieceInput[ear][frame];
            if (noiseHeard)
                sum += noise * pieceNoise[ear][frame];
            output[ear][begin + frame] = ramp * sum;
        }
    }

    convolver.advance();
    noiseConvolver.advance();
    if (framesToFade > 0) {
        framesToFade -= numFrames;
        if (framesToFade == 0)
            beginFade();
        return;
    }
    if (fading) {
        fadePosition += numFrames;
        if (fadePosition == fadeLength)
            finishFade();
    }
}

void AuditionEngine::process(dsp::ChannelView<const float> input,
                             dsp::ChannelView<float> output) noexcept
{
    assert(input.numChannels() >= 1 && output.numChannels() == numEars);
    assert(input.numFrames() == output.numFrames());
    leastHoldGain = 1.0F;
    std::size_t done = 0;
    while (done < output.numFrames()) {
        startSwitches();
        std::size_t piece = std::min(output.numFrames() - done, convolver.framesToVisit());
        // A fade begins and ends with a piece, so that it and the next switch begin at the same frame
        // however the stream is cut.
        if (framesToFade > 0)
            piece = std::min(piece, framesToFade);
        if (fading)
            piece = std::min(piece, fadeIn.size() - fadePosition);
        processPiece(input, output, done, piece);
        done += piece;
    }
    guard.process(output);
    limiter.process(output);

    float peak = 0.0F;
    for (std::size_t ear = 0; ear < numEars; ++ear)
        for (const float sample : output[ear])
            peak = std::max(peak, std::abs(sample));
    outputPeakLinear.store(peak, std::memory_order_relaxed);
    ceilingGainLinear.store(static_cast<float>(limiter.currentGain()), std::memory_order_relaxed);
    guardGainLinear.store(static_cast<float>(guard.currentGain()), std::memory_order_relaxed);
    driveHoldGainLinear.store(leastHoldGain, std::memory_order_relaxed);
    earLevel.store(static_cast<float>(guard.levelDba()), std::memory_order_relaxed);
}

} // namespace saddletone::audition
