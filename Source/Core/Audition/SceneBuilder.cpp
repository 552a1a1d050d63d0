#include "Core/Audition/SceneBuilder.h"

#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/NonlinearDesign.h"
#include "Core/Audition/OnThisBike.h"
#include "Core/Audition/ReferenceProgramme.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace saddletone::audition {

namespace {

/** Gain in dB from pink noise to A-weighted SPL: what a candidate's kernel says of the level. */
double kernelLevelDbfsA(const std::vector<float>& left, const std::vector<float>& right,
                        double sampleRate)
{
    const double power = 0.5
                         * (dsp::dbToPower(referenceLevelDbfsA(left, sampleRate))
                            + dsp::dbToPower(referenceLevelDbfsA(right, sampleRate)));
    return dsp::powerToDb(power);
}

double kernelLoudnessLufs(const std::vector<float>& left, const std::vector<float>& right,
                          double sampleRate)
{
    return dsp::powerToDb(0.5
                          * (dsp::dbToPower(referenceLoudnessLufs(left, sampleRate))
                             + dsp::dbToPower(referenceLoudnessLufs(right, sampleRate))));
}

dsp::Result<SceneReference> makeReference(const CandidateRequest& candidate, ride::Helmet helmet,
                                          double assumedProgrammeSplDba, std::size_t maxTaps,
                                          double sampleRate)
{
    SceneReference reference;
    if (candidate.response.hasCalibration) {
        reference.level.source = LevelSource::measured;
        reference.level.splAtFullScaleDb = candidate.response.calibration.splAtFullScaleDb();
    } else {
        // The level is set for the place of the head without a helmet.
        const auto bare = buildSideTaps(candidate, ride::Helmet::none, sampleRate, maxTaps);
        if (!bare)
            return bare.unexpected();
        reference.level.splAtFullScaleDb =
            assumedProgrammeSplDba - kernelLevelDbfsA(bare->left, bare->right, sampleRate);
    }
    const auto heard = buildSideTaps(candidate, helmet, sampleRate, maxTaps);
    if (!heard)
        return heard.unexpected();
    reference.level.splDba =
        kernelLevelDbfsA(heard->left, heard->right, sampleRate) + reference.level.splAtFullScaleDb;
    if (candidate.atSpeed != nullptr)
        reference.speedVolume =
            std::shared_ptr<const ride::SpeedVolume>(candidate.atSpeed, &candidate.atSpeed->volume);
    reference.loudnessDb = kernelLoudnessLufs(heard->left, heard->right, sampleRate)
                           + reference.level.splAtFullScaleDb;
    return reference;
}

/** What does not go together with speaker groups that were measured one by one. */
dsp::Result<void> checkGroups(const CandidateRequest& candidate)
{
    if (candidate.groups == nullptr)
        return {};
    const auto refuse = [&](const std::string& what) -> dsp::Result<void> {
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "candidate '" + candidate.name
                             + "' is put together from speaker groups, and " + what);
    };
    if (candidate.hasSpeedStates())
        return refuse("states that follow the speed are of all speakers at once; leave one of the "
                      "two out");
    if (candidate.isOverdriven())
        return refuse("an overdrive model does not tell which group distorts; leave one of the two "
                      "out");
    return {};
}

/** Level of a candidate's response re the linear kernel of its model: by how much the volume of the
    one was higher, as both were recorded with the same gain. */
dsp::Result<double> overdriveVolumeDb(const CandidateRequest& candidate, double sampleRate,
                                      std::size_t maxTaps)
{
    // Beyond that the recorder's gain was another.
    constexpr double farthestDb = 40.0;
    const measure::HammersteinModel& model = *candidate.overdrive;
    CandidateRequest asMeasured {candidate.name, candidate.response, {}};
    CandidateRequest modelled {model.name, {}, {}};
    modelled.response.sampleRate = model.sampleRate;
    modelled.response.impulse = model.kernels.front();
    modelled.response.arrivalFrame = model.arrivalFrame;
    std::array<double, 2> levelsDb {};
    for (std::size_t index = 0; index < levelsDb.size(); ++index) {
        const auto taps =
            buildKernelTaps(index == 0 ? asMeasured : modelled, tuning::OutputGroup::left,
                            ride::Helmet::none, sampleRate, maxTaps);
        if (!taps)
            return taps.unexpected();
        levelsDb[index] = referenceLevelDbfsA(*taps, sampleRate);
    }
    const double volumeDb = levelsDb[0] - levelsDb[1];
    if (!(std::abs(volumeDb) <= farthestDb))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "candidate '" + candidate.name + "' and its overdrive model '" + model.name
                             + "' are more than 40 dB apart; make the model from states that were "
                               "recorded with the candidate's recorder gain");
    return volumeDb;
}

/** Adds what overdrive needs to a candidate. */
dsp::Result<void> addOverdrive(const CandidateRequest& candidate, ride::Helmet helmet,
                               double sampleRate, std::size_t maxTaps,
                               const seat::SeatFilters* seatFilters, SceneCandidate& built)
{
    const auto volumeDb = overdriveVolumeDb(candidate, sampleRate, maxTaps);
    if (!volumeDb)
        return volumeDb.unexpected();
    auto design = buildNonlinearDesign({.model = *candidate.overdrive,
                                        .tuning = candidate.tuning,
                                        .helmet = helmet,
                                        .speakers = candidate.response.state.speakers,
                                        .seatFilters = seatFilters},
                                       sampleRate);
    if (!design)
        return dsp::fail(design.error().code,
                         "candidate '" + candidate.name + "': " + design.error().message);
    built.overdriveVolumeDb = *volumeDb;
    built.nonlinear = *std::move(design);
    return {};
}

/** The headphones' correction of either ear for the noise; null: none. */
std::shared_ptr<const decltype(SceneCandidate::kernels)>
correctionKernels(const seat::SeatFilters& filters)
{
    const auto correction = filters.correctionTaps();
    if (correction.empty())
        return nullptr;
    const std::vector<float> taps(correction.begin(), correction.end());
    const auto kernel =
        std::make_shared<const PartitionedKernel>(noiseLayout(filters.sampleRate()), taps);
    auto kernels = std::make_shared<decltype(SceneCandidate::kernels)>();
    for (std::size_t ear = 0; ear < numEars; ++ear)
        (*kernels)[ear][ear] = kernel;
    return kernels;
}

} // namespace

PartitionLayout noiseLayout(double sampleRate)
{
    return PartitionLayout::forTaps(seat::numCorrectionTaps(sampleRate));
}

CandidateRequest candidateOfGroups(std::string name,
                                   std::shared_ptr<const measure::GroupedStates> groups)
{
    CandidateRequest candidate;
    candidate.name = std::move(name);
    candidate.response = measure::responseOfGroups(*groups);
    candidate.groups = std::move(groups);
    return candidate;
}

CandidateRequest candidateAtSpeed(const CandidateRequest& candidate, double speedKmh)
{
    CandidateRequest result = candidate;
    if (candidate.hasSpeedStates())
        result.response = responseAtSpeed(*candidate.atSpeed, speedKmh);
    return result;
}

dsp::Result<SceneCandidate> buildCandidate(const CandidateRequest& candidate,
                                           const SceneReference& reference, ride::Helmet helmet,
                                           const PartitionLayout& layout, double sampleRate,
                                           const seat::SeatFilters* seatFilters)
{
    if (const auto fits = checkGroups(candidate); !fits)
        return fits.unexpected();
    const auto sides = buildSideTaps(candidate, helmet, sampleRate, layout.maxTaps());
    if (!sides)
        return sides.unexpected();
    SceneCandidate built;
    built.name = candidate.name;
    if (seatFilters == nullptr) {
        built.kernels[0][0] = std::make_shared<const PartitionedKernel>(layout, sides->left);
        built.kernels[1][1] = std::make_shared<const PartitionedKernel>(layout, sides->right);
    } else {
        const auto atEars = buildEarKernels(candidate, *sides, helmet, *seatFilters);
        if (!atEars)
            return atEars.unexpected();
        built.kernels = partitioned(layout, *atEars);
    }
    if (candidate.response.hasCalibration) {
        built.level.source = LevelSource::measured;
        built.level.splAtFullScaleDb = candidate.response.calibration.splAtFullScaleDb();
    } else {
        // The same recorder gain as for the reference is the best guess there is.
        built.level.source = LevelSource::assumed;
        built.level.splAtFullScaleDb = reference.level.splAtFullScaleDb;
    }
    built.level.splDba =
        kernelLevelDbfsA(sides->left, sides->right, sampleRate) + built.level.splAtFullScaleDb;
    if (candidate.atSpeed != nullptr)
        built.speedVolume =
            std::shared_ptr<const ride::SpeedVolume>(candidate.atSpeed, &candidate.atSpeed->volume);
    // At the head, as recordings may differ in what their full scale stands for.
    const double loudnessDb =
        kernelLoudnessLufs(sides->left, sides->right, sampleRate) + built.level.splAtFullScaleDb;
    built.matchGainDb = reference.loudnessDb - loudnessDb;
    if (candidate.isOverdriven())
        if (const auto added =
                addOverdrive(candidate, helmet, sampleRate, layout.maxTaps(), seatFilters, built);
            !added)
            return added.unexpected();
    return built;
}

dsp::Result<AuditionScene> buildScene(const SceneRequest& request, const PartitionLayout& layout,
                                      double sampleRate)
{
    if (request.candidates.empty() || request.candidates.size() > maxCandidates)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "an audition has 1 to " + std::to_string(maxCandidates)
                             + " candidates, not " + std::to_string(request.candidates.size()));
    if (!(request.assumedProgrammeSplDba >= 50.0 && request.assumedProgrammeSplDba <= 120.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the assumed programme level must lie between 50 and 120 dB(A)");
    if (request.nowOnBike != nullptr)
        return buildOnThisBike(request, layout, sampleRate);

    AuditionScene scene;
    scene.ride = request.ride;
    scene.equaliserSpeedKmh = request.equaliserSpeedKmh;
    const ride::Helmet helmet = request.ride.parameters.helmet;
    const std::array<float, 1> unity {1.0F};
    scene.pinkDbfsA = referenceLevelDbfsA(unity, sampleRate);

    const auto reference = makeReference(
        candidateAtSpeed(request.reference ? *request.reference : request.candidates.front(),
                         request.equaliserSpeedKmh),
        helmet, request.assumedProgrammeSplDba, layout.maxTaps(), sampleRate);
    if (!reference)
        return reference.unexpected();
    scene.reference = *reference;
    if (request.seat != nullptr) {
        scene.seatFilters = request.seatFilters;
        if (scene.seatFilters == nullptr || !scene.seatFilters->isOf(request.seat, sampleRate)) {
            auto made = seat::SeatFilters::make(request.seat, sampleRate);
            if (!made)
                return made.unexpected();
            scene.seatFilters = *std::move(made);
        }
        scene.noiseKernels = correctionKernels(*scene.seatFilters);
    }
    for (const CandidateRequest& candidate : request.candidates) {
        auto built =
            buildCandidate(candidateAtSpeed(candidate, request.equaliserSpeedKmh), *reference,
                           helmet, layout, sampleRate, scene.seatFilters.get());
        if (!built)
            return built.unexpected();
        scene.candidates.push_back(*std::move(built));
    }
    return scene;
}

} // namespace saddletone::audition
