#pragma once

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/PartitionedKernel.h"
#include "Core/Audition/RideSound.h"
#include "Core/Ride/NoiseTexture.h"
#include "Core/Ride/SpeedVolume.h"
#include "Core/Seat/SeatFilters.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::audition {

struct BikeNow;
struct NonlinearDesign;

inline constexpr std::size_t maxCandidates = 8;
inline constexpr std::size_t numEars = 2;

/** What a candidate asks of a bike that plays another one, see buildOnThisBike(). */
struct OnThisBikeFigures {
    bool isUnchanged = false;       ///< It is what the bike plays: the programme passes as it is.
    double highestGainDb = 0.0;     ///< Of the filter, on either side.
    double limitedProportion = 0.0; ///< Of the range, where the limit of boost or cut acts.
    double sentDbfsA = 0.0;         ///< Of the reference programme behind the filter.

    bool operator==(const OnThisBikeFigures&) const = default;
};

/** One candidate, ready to be heard: kernels[output][input], null where nothing passes. */
struct SceneCandidate {
    std::string name;
    std::array<std::array<std::shared_ptr<const PartitionedKernel>, numEars>, numEars> kernels;
    ProgrammeLevel level;
    double matchGainDb = 0.0; ///< Brings the candidate to the loudness of the first.
    /** Candidates of the same number other than 0 come from one measurement and sound alike: from
        one to the other the engine fades with gains that add up to one. */
    std::uint64_t kinship = 0;
    /** Volume of its radio over speed; null: it does not follow the speed. */
    std::shared_ptr<const ride::SpeedVolume> speedVolume {};
    /** How its speakers are overdriven, made for the engine's sample rate; null: they are linear. */
    std::shared_ptr<const NonlinearDesign> nonlinear {};
    /** Volume of the candidate's measurement re the one that the model is of. */
    double overdriveVolumeDb = 0.0;
    /** Of candidates that are heard over the bike's own speakers; nothing: over headphones. */
    std::optional<OnThisBikeFigures> onThisBike {};
};

/** What the levels of a scene's candidates refer to: its first candidate, as it is when the scene
    is built, or another one that the request names. */
struct SceneReference {
    ProgrammeLevel level;
    double loudnessDb = 0.0; ///< At the head, re the loudness of the reference programme.
    std::shared_ptr<const ride::SpeedVolume> speedVolume {}; ///< Of its radio, as above.

    bool operator==(const SceneReference&) const = default;
};

/** The layout of the kernels that the noise goes through. */
[[nodiscard]] PartitionLayout noiseLayout(double sampleRate);

/** Everything of an audition that has to be built off the audio thread. Immutable once it has
    been handed to an engine; its kernels must have been made for that engine's layout. */
struct AuditionScene {
    std::vector<SceneCandidate> candidates;  ///< At most maxCandidates.
    std::optional<SceneReference> reference; ///< Nothing: the level of the first candidate.
    SceneRide ride;
    /** Recorded noise being played: made by the engine the scene is published to, which alone plays
        it. */
    std::shared_ptr<ride::NoiseTexture> texture {};
    /** The speed that the candidates' equalisers were built for, see SpeedDependence. */
    double equaliserSpeedKmh = 0.0;
    /** What the candidates' kernels were brought to the ears with; null: nothing. */
    std::shared_ptr<const seat::SeatFilters> seatFilters {};
    /** Correction of the headphones for the noise, cut for noiseLayout(); null: none. */
    std::shared_ptr<const decltype(SceneCandidate::kernels)> noiseKernels {};
    /** What the bike plays whose own speakers this is for, see buildOnThisBike(); null: it is for
        headphones. */
    std::shared_ptr<const BikeNow> bikeNow {};
    double pinkDbfsA = -20.0; ///< A-weighted level of the reference programme itself.

    [[nodiscard]] bool isOnThisBike() const noexcept { return bikeNow != nullptr; }
};

} // namespace saddletone::audition
