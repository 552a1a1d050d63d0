#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"

#include <optional>

namespace saddletone::audition {

/** What came out of an offline audition, and at which levels. */
struct Rendering {
    dsp::AudioBuffer audio; ///< Two channels.
    AuditionLevels levels;
    LevelSource levelSource = LevelSource::assumed;
    /** By how much, at most, the programme drives overdriven speakers harder than was measured. */
    double overdriveHeldDb = 0.0;
    std::optional<OnThisBikeFigures> onThisBike {}; ///< See SceneRequest::nowOnBike.
};

/** Renders a programme through the engine that plays it in real time, in blocks of blockFrames, on
    which the samples do not depend: they are those of an engine prepared for blocks of 512 frames,
    and but for rounding those of any other. The programme has one or two channels, and so many
    frames come out: its length plus tailSeconds. Its sample rate is the engine's. */
[[nodiscard]] dsp::Result<Rendering> renderAudition(const SceneRequest& scene,
                                                    const dsp::AudioBuffer& programme,
                                                    const AuditionEngine::Settings& settings,
                                                    const AuditionEngine::Parameters& parameters,
                                                    std::size_t blockFrames = 512,
                                                    double tailSeconds = 0.0);

} // namespace saddletone::audition
