#pragma once

#include "Core/Job/Job.h"
#include "Gui/AuditionModel.h"

#include <memory>

namespace saddletone::plugin {

/** A job with everything its candidates name. */
struct LoadedJob {
    job::Job job;
    audition::SceneRequest request;
};

/** A scene, and what the screens show of it. */
struct BuiltScene {
    std::unique_ptr<const audition::AuditionScene> scene;
    std::shared_ptr<const gui::JobView> view;
};

// Setup (may allocate, not during process); both take a while and throw nothing of their own.
[[nodiscard]] dsp::Result<std::shared_ptr<const LoadedJob>>
loadJobForAudition(const std::filesystem::path& folder);

/** layout: of the engine that will play the scene, at sampleRate. */
[[nodiscard]] dsp::Result<BuiltScene> buildSceneForAudition(const LoadedJob& loaded,
                                                            ride::Helmet helmet,
                                                            const audition::PartitionLayout& layout,
                                                            double sampleRate);

} // namespace saddletone::plugin
