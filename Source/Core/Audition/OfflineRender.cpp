#include "Core/Audition/OfflineRender.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace saddletone::audition {

dsp::Result<Rendering> renderAudition(const SceneRequest& scene, const dsp::AudioBuffer& programme,
                                      const AuditionEngine::Settings& settings,
                                      const AuditionEngine::Parameters& parameters,
                                      std::size_t blockFrames, double tailSeconds)
{
    if (blockFrames == 0 || programme.numChannels() == 0)
        return dsp::fail(dsp::ErrorCode::outOfRange, "an audition needs a programme of one or two "
                                                     "channels and blocks of at least one frame");
    AuditionEngine engine(settings);
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = programme.sampleRate,
                    .maxBlockFrames = blockFrames,
                    .numChannels = numEars});
    SceneRequest request = scene;
    request.equaliserSpeedKmh = parameters.ride.speedKmh;
    auto built = buildScene(request, engine.layout(), programme.sampleRate);
    if (!built)
        return built.unexpected();
    const SceneCandidate& candidate =
        built->candidates[std::min(parameters.candidate, built->candidates.size() - 1)];

    Rendering rendering;
    rendering.levels = levelsOf(*built, candidate, parameters);
    rendering.levelSource = candidate.level.source;
    rendering.onThisBike = candidate.onThisBike;
    engine.publish(std::make_unique<AuditionScene>(std::move(*built)));
    engine.reset();

    const auto tailFrames =
        static_cast<std::size_t>(std::lround(std::max(0.0, tailSeconds) * programme.sampleRate));
    const std::size_t numFrames = programme.numFrames() + tailFrames;
    const std::size_t numInputs = std::min<std::size_t>(programme.numChannels(), numEars);
    rendering.audio = dsp::makeSilence(programme.sampleRate, numEars, numFrames);

    const dsp::ScopedFlushDenormals flushDenormals;
    float leastHoldGain = 1.0F;
    std::array<std::vector<float>, numEars> input {std::vector<float>(blockFrames),
                                                   std::vector<float>(blockFrames)};
    const std::array<const float*, numEars> inputPointers {input[0].data(), input[1].data()};
    for (std::size_t begin = 0; begin < numFrames; begin += blockFrames) {
        const std::size_t count = std::min(blockFrames, numFrames - begin);
        for (std::size_t channel = 0; channel < numInputs; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                input[channel][frame] = begin + frame < programme.numFrames()
                                            ? programme.channels[channel][begin + frame]
                                            : 0.0F;
        const std::array<float*, numEars> output {rendering.audio.channels[0].data() + begin,
                                                  rendering.audio.channels[1].data() + begin};
        engine.process({inputPointers.data(), numInputs, count}, {output.data(), numEars, count});
        leastHoldGain = std::min(leastHoldGain, engine.driveHoldGain());
    }
    rendering.overdriveHeldDb = std::max(0.0, -dsp::amplitudeToDb(leastHoldGain));
    return rendering;
}

} // namespace saddletone::audition
