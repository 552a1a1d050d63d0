#pragma once

#include "Core/Job/Job.h"
#include "Gui/AuditionModel.h"

#include <memory>
#include <optional>

namespace saddletone::plugin {

/** A job with everything its candidates name. */
struct LoadedJob {
    job::Job job;
    audition::SceneRequest request;
    std::optional<seat::HeadphoneCalibration> headphones {}; ///< Nothing: not known.
};

/** What of the screens' choice needs a scene of its own. */
struct SceneChoice {
    ride::Helmet helmet = ride::Helmet::fullFace;
    double equaliserSpeedKmh = 0.0;                                 ///< See audition::SceneRequest.
    std::shared_ptr<const audition::CandidateRequest> nowOnBike {}; ///< See audition::SceneRequest.

    bool operator==(const SceneChoice&) const = default;
};

/** A scene with what it was built from, so that a later build can keep what has not changed. */
struct KeptScene {
    std::shared_ptr<const LoadedJob> loaded;
    audition::AuditionScene scene; ///< Shares its kernels with the scene that is played.
    audition::PartitionLayout layout;
    double sampleRate = 48000.0;
    std::shared_ptr<const gui::JobView> view;
    SceneChoice choice;
};

/** A scene, and what the screens show of it. */
struct BuiltScene {
    std::unique_ptr<audition::AuditionScene> scene;
    std::shared_ptr<const KeptScene> kept;
};

/** The choice for a speed: equalisers that follow the speed are built for every 5 km/h, others for
    all speeds at once. Listening on the bike, without a helmet and parked. */
[[nodiscard]] SceneChoice
sceneChoiceFor(const LoadedJob& loaded, ride::Helmet helmet, double speedKmh,
               std::shared_ptr<const audition::CandidateRequest> nowOnBike = nullptr) noexcept;

// Setup (may allocate, not during process); both take a while and throw nothing of their own.
[[nodiscard]] dsp::Result<std::shared_ptr<const LoadedJob>>
loadJobForAudition(const std::filesystem::path& folder);

/** layout: of the engine that will play the scene, at sampleRate. before: what was built last, or
    null; candidates it has with the same measurement and tuning are taken over. */
[[nodiscard]] dsp::Result<BuiltScene>
buildSceneForAudition(const std::shared_ptr<const LoadedJob>& loaded, const SceneChoice& choice,
                      const audition::PartitionLayout& layout, double sampleRate,
                      const KeptScene* before);

} // namespace saddletone::plugin
