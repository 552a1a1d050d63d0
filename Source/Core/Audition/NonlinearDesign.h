#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Audition/PartitionedKernel.h"
#include "Core/Audition/PowerOversampler.h"
#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Ride/Helmet.h"
#include "Core/Seat/SeatFilters.h"
#include "Core/Tuning/Tuning.h"

#include <array>
#include <cstddef>
#include <memory>
#include <vector>

namespace saddletone::audition {

/** How a candidate's speakers are overdriven. */
struct NonlinearRequest {
    measure::HammersteinModel model {};
    tuning::Tuning tuning {}; ///< Of the candidate, ahead of the speaker.
    ride::Helmet helmet = ride::Helmet::none;
    /** Volume of the audition re the one that the model is of: -60 to 40. */
    double volumeDb = 0.0;
    AmplifierClip clip {};
    /** Speakers that the model is of. */
    measure::SpeakerGroup speakers = measure::SpeakerGroup::all;
    /** What brings their sound to the ears, made for the design's sample rate; null: left is left
        and right is right. */
    const seat::SeatFilters* seatFilters = nullptr;
};

/** One side of a NonlinearDesign. */
struct NonlinearSide {
    double gainLinear = 1.0;                       ///< Of tuning and volume.
    std::vector<dsp::BiquadCoefficients> sections; ///< Of the tuning.
};

/** What a NonlinearBranch runs, for one sample rate. Immutable once made. */
struct NonlinearDesign {
    double sampleRate = 48000.0;
    std::array<NonlinearSide, 2> sides; ///< Left, right.
    /** From the sides to the ears, for each output of the oversampler: the clipping's residual and
        powers 2 to 5. */
    std::array<decltype(SceneCandidate::kernels), PowerOversampler::numOutputs> kernels;
    std::vector<dsp::BiquadCoefficients> driveFilter;
    double driveGainLinear = 1.0;
    double highestDriveLinear = 1.0;
    AmplifierClip::Shape clip = AmplifierClip::Shape::none;
    double clipLimitLinear = 1.0;
};

/** Longest kernels of a branch, in taps. */
inline constexpr std::size_t nonlinearTaps = 8192;

/** Sections of a tuning that a branch runs at most. */
inline constexpr std::size_t maxTuningSections = 192;

/** The layout of a branch's kernels. */
[[nodiscard]] PartitionLayout nonlinearLayout();

/** Builds what a branch runs. Kernels are made by buildKernelTaps(), as the linear path's, so they
    have the same 1.5 ms ahead of the arrival, of which the delay of the oversampling (30 frames) is
    taken away: the branch keeps time with the linear path to a fraction of a frame. A tuning's
    delays, which commute with powers, are in the kernels; its filters run ahead of the powers. The
    seat comes behind the kernels, as it does behind the linear ones, and delays as much.
    Refused: a tuning that acts on part of the speakers, or of more than maxTuningSections, and
    numbers out of range. */
[[nodiscard]] dsp::Result<std::unique_ptr<const NonlinearDesign>>
buildNonlinearDesign(const NonlinearRequest& request, double sampleRate);

} // namespace saddletone::audition
