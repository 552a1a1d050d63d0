#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Audition/SpeedDependence.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/GroupedStates.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Measure/Response.h"
#include "Core/Seat/SeatFilters.h"
#include "Core/Tuning/Tuning.h"

#include <memory>
#include <optional>
#include <span>
#include <string>

namespace saddletone::audition {

/** Something to listen to: a measured response with or without a tuning. The tuning's chains act on
    the speakers that the response is of. */
struct CandidateRequest {
    std::string name;
    measure::Response response;
    tuning::Tuning tuning; ///< No chains: the bike as measured.
    /** A radio that follows the speed; null: it does not. Its states stand for the response. */
    std::shared_ptr<const SpeedDependence> atSpeed {};
    /** How its speakers distort; null or without a supported order: not at all. */
    std::shared_ptr<const measure::HammersteinModel> overdrive {};
    /** Speaker groups measured one by one, whose sum the response is; null: measured at once. Each
        has the chains of its own speakers, and with placement its own place. Not together with
        states that follow the speed, nor with overdrive. */
    std::shared_ptr<const measure::GroupedStates> groups {};

    [[nodiscard]] bool hasSpeedStates() const noexcept
    {
        return atSpeed != nullptr && !atSpeed->states.empty();
    }
    [[nodiscard]] bool isOverdriven() const noexcept
    {
        return overdrive != nullptr && overdrive->speaks();
    }
};

/** A candidate of speaker groups that were measured one by one. */
[[nodiscard]] CandidateRequest
candidateOfGroups(std::string name, std::shared_ptr<const measure::GroupedStates> groups);

/** Fails if the candidate's tuning acts on a part of speakers that were measured together. */
[[nodiscard]] dsp::Result<void> checkTuning(const CandidateRequest& candidate);

/** Everything a scene is built from. */
struct SceneRequest {
    std::vector<CandidateRequest> candidates; ///< 1 to maxCandidates.
    /** What levels refer to; nothing: the first candidate. While the first is edited this is what
        it was before, or its own changes of level could not be heard. */
    std::optional<CandidateRequest> reference {};
    SceneRide ride;
    /** Speed for which equalisers that follow the speed are built. */
    double equaliserSpeedKmh = 0.0;
    /** SPL at the head, dB(A), with the first candidate and pink noise at referenceProgrammeDbfs,
        for responses without a calibration: 50 to 120. An assumption, and shown as one. */
    double assumedProgrammeSplDba = 90.0;
    /** Headphone and head of the listener; null: responses are heard as they are, left at the left
        ear and right at the right one. Levels and loudness are those without it. */
    std::shared_ptr<const seat::ListenerSeat> seat {};
    /** Filters of the seat, where they have been made already; those of another seat or rate are
        passed over. */
    std::shared_ptr<const seat::SeatFilters> seatFilters {};
    /** What the bike plays now, to hear the candidates over its own speakers, see
        buildOnThisBike(); null: over headphones. */
    std::shared_ptr<const CandidateRequest> nowOnBike {};
};

/** The candidate as it is at a speed: its response is the one that its radio has there. */
[[nodiscard]] CandidateRequest candidateAtSpeed(const CandidateRequest& candidate, double speedKmh);

/** Builds kernels for a layout at a sample rate: measured response, tuning and helmet loss in one.
    May take some hundredths of a second a candidate; not for the audio thread. */
[[nodiscard]] dsp::Result<AuditionScene>
buildScene(const SceneRequest& request, const PartitionLayout& layout, double sampleRate);

/** One candidate of a scene that has been built already, to be put in its place without building
    the others again; see candidateAtSpeed(). seatFilters: at sampleRate, or null. */
[[nodiscard]] dsp::Result<SceneCandidate>
buildCandidate(const CandidateRequest& candidate, const SceneReference& reference,
               ride::Helmet helmet, const PartitionLayout& layout, double sampleRate,
               const seat::SeatFilters* seatFilters = nullptr);

/** The taps of one side (left or right) of a candidate as buildScene() makes them without a seat,
    before they are cut into partitions: maxTaps samples at sampleRate. Of speaker groups measured one
    by one it is the sum of those that the side's channel plays, on the scale of a whole bike: see
    seat::wholeOfShareInPlace(). */
[[nodiscard]] dsp::Result<std::vector<float>>
buildKernelTaps(const CandidateRequest& candidate, tuning::OutputGroup side, ride::Helmet helmet,
                double sampleRate, std::size_t maxTaps);

} // namespace saddletone::audition
