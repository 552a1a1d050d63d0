#include "Core/Audition/ProgrammeMatch.h"

#include "Core/Audition/AuditionEngine.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Hearing/LoudnessMeter.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <memory>

namespace saddletone::audition {

namespace {

/** Frames between two looks at the wish to stop. */
constexpr std::size_t framesAtOnce = 4096;

} // namespace

std::optional<double> programmeLoudnessLufs(const AuditionScene& scene, std::size_t candidate,
                                            const ProgrammePart& part,
                                            const std::atomic<bool>& stopped)
{
    assert(candidate < scene.candidates.size() && part.audio.numChannels() >= 1);
    AuditionEngine::Settings settings;
    settings.startRampSeconds = 0.0;
    AuditionEngine engine(settings);
    // Candidates may be far apart in level: with pink noise equally loud, each is far enough below
    // the ceiling that it has no part in the loudness, and far enough above the absolute gate of
    // -70 LUFS.
    AuditionEngine::Parameters parameters;
    parameters.ceilingDbfs = 0.0;
    parameters.monitor = Monitor::programmeOnly;
    parameters.match = LevelMatch::equalLoudness;
    engine.setParameters(parameters);
    const double sampleRate = part.audio.sampleRate;
    engine.prepare({.sampleRate = sampleRate, .maxBlockFrames = framesAtOnce, .numChannels = 2});

    AuditionScene alone = scene;
    if (!alone.reference)
        alone.reference = SceneReference {scene.candidates.front().level, 0.0};
    alone.candidates = {scene.candidates[candidate]};
    engine.publish(std::make_unique<AuditionScene>(std::move(alone)));
    engine.reset();

    const dsp::ScopedFlushDenormals flushDenormals;
    hearing::LoudnessMeter meter(sampleRate);
    std::array<std::vector<float>, numEars> output {std::vector<float>(framesAtOnce),
                                                    std::vector<float>(framesAtOnce)};
    const std::array<float*, numEars> ears {output[0].data(), output[1].data()};
    const std::array<const float*, numEars> heard {output[0].data(), output[1].data()};
    const std::size_t end = std::min(part.endFrame, part.audio.numFrames());
    for (std::size_t begin = part.beginFrame; begin < end; begin += framesAtOnce) {
        if (stopped.load(std::memory_order_relaxed))
            return std::nullopt;
        const std::size_t count = std::min(framesAtOnce, end - begin);
        const std::array<const float*, numEars> input {part.audio.channels.front().data() + begin,
                                                       part.audio.channels.back().data() + begin};
        engine.process({input.data(), numEars, count}, {ears.data(), numEars, count});
        meter.add({heard.data(), numEars, count});
    }
    const double lufs = meter.integratedLufs();
    return lufs > dsp::silenceDb ? lufs - scene.candidates[candidate].matchGainDb : lufs;
}

ProgrammeMatch matchLoudness(const AuditionScene& scene,
                             std::span<const std::optional<double>> loudnessLufs)
{
    assert(loudnessLufs.size() == scene.candidates.size());
    const auto isKnown = [](const std::optional<double>& lufs) {
        return lufs && *lufs > dsp::silenceDb;
    };
    // With pink noise a candidate is so much louder than another as its gain is smaller.
    double programmeOverPink = 0.0;
    std::size_t numKnown = 0;
    for (std::size_t index = 0; index < loudnessLufs.size(); ++index)
        if (isKnown(loudnessLufs[index])) {
            programmeOverPink += *loudnessLufs[index] + scene.candidates[index].matchGainDb;
            ++numKnown;
        }
    if (numKnown > 0)
        programmeOverPink /= static_cast<double>(numKnown);
    const auto loudnessOf = [&](std::size_t index) {
        return isKnown(loudnessLufs[index])
                   ? *loudnessLufs[index]
                   : programmeOverPink - scene.candidates[index].matchGainDb;
    };

    ProgrammeMatch match;
    match.isMeasured = numKnown > 0 && numKnown == loudnessLufs.size();
    for (std::size_t index = 0; index < loudnessLufs.size(); ++index) {
        match.differencesDb.push_back(loudnessOf(index) - loudnessOf(0));
        match.matchGainsDb.push_back(scene.candidates.front().matchGainDb
                                     - match.differencesDb.back());
    }
    return match;
}

} // namespace saddletone::audition
