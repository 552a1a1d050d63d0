#include "Core/Audition/SceneBuilder.h"

#include "Core/Audition/NonlinearDesign.h"
#include "Core/Audition/OnThisBike.h"
#include "Core/Audition/ReferenceProgramme.h"
#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace saddletone::audition {

namespace {

/** What of the impulse before the direct sound is kept: shorter than the sound's way from any
    speaker to the head, which the measurement cannot see for want of a common clock. */
constexpr double secondsBeforeArrival = 0.0015;
constexpr double fadeOutShare = 0.1;

/** Filters taps with the helmet's insertion loss, minimum phase, in place. */
void applyHelmet(ride::Helmet helmet, double sampleRate, std::vector<double>& taps)
{
    if (helmet == ride::Helmet::none)
        return;
    constexpr std::size_t helmetTaps = 4096;
    std::vector<double> magnitude(helmetTaps / 2 + 1);
    for (std::size_t bin = 0; bin < magnitude.size(); ++bin) {
        const double frequencyHz =
            static_cast<double>(bin) * sampleRate / static_cast<double>(helmetTaps);
        magnitude[bin] = dsp::dbToAmplitude(-ride::insertionLossDb(helmet, frequencyHz));
    }
    const auto loss = dsp::minimumPhaseImpulse(magnitude);

    const auto filtered = dsp::convolve(taps, loss);
    std::copy_n(filtered.begin(), taps.size(), taps.begin());
}

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

struct Sides {
    std::vector<float> left;
    std::vector<float> right;
};

dsp::Result<Sides> buildSides(const CandidateRequest& candidate, ride::Helmet helmet,
                              double sampleRate, std::size_t maxTaps)
{
    auto left = buildKernelTaps(candidate, tuning::OutputGroup::left, helmet, sampleRate, maxTaps);
    if (!left)
        return left.unexpected();
    auto right =
        buildKernelTaps(candidate, tuning::OutputGroup::right, helmet, sampleRate, maxTaps);
    if (!right)
        return right.unexpected();
    return Sides {*std::move(left), *std::move(right)};
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
        const auto bare = buildSides(candidate, ride::Helmet::none, sampleRate, maxTaps);
        if (!bare)
            return bare.unexpected();
        reference.level.splAtFullScaleDb =
            assumedProgrammeSplDba - kernelLevelDbfsA(bare->left, bare->right, sampleRate);
    }
    const auto heard = buildSides(candidate, helmet, sampleRate, maxTaps);
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
                               double sampleRate, std::size_t maxTaps, SceneCandidate& built)
{
    const auto volumeDb = overdriveVolumeDb(candidate, sampleRate, maxTaps);
    if (!volumeDb)
        return volumeDb.unexpected();
    auto design = buildNonlinearDesign(
        {.model = *candidate.overdrive, .tuning = candidate.tuning, .helmet = helmet}, sampleRate);
    if (!design)
        return dsp::fail(design.error().code,
                         "candidate '" + candidate.name + "': " + design.error().message);
    built.overdriveVolumeDb = *volumeDb;
    built.nonlinear = *std::move(design);
    return {};
}

} // namespace

dsp::Result<std::vector<float>> buildKernelTaps(const CandidateRequest& candidate,
                                                tuning::OutputGroup side, ride::Helmet helmet,
                                                double sampleRate, std::size_t maxTaps)
{
    const measure::Response& response = candidate.response;
    if (response.impulse.empty())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "candidate '" + candidate.name
                             + "' has no impulse response; measure its state first");

    if (const auto applies = tuning::checkApplies(candidate.tuning, side); !applies)
        return dsp::fail(applies.error().code,
                         "candidate '" + candidate.name + "': " + applies.error().message);

    const auto before =
        static_cast<std::size_t>(std::lround(secondsBeforeArrival * response.sampleRate));
    const std::size_t begin = response.arrivalFrame > before ? response.arrivalFrame - before : 0;
    std::vector<double> impulse(response.impulse.begin() + static_cast<std::ptrdiff_t>(begin),
                                response.impulse.end());
    const std::size_t fadeIn = response.arrivalFrame - begin;
    for (std::size_t frame = 0; frame < fadeIn; ++frame)
        impulse[frame] *= 0.5
                          - 0.5
                                * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                           / static_cast<double>(fadeIn));

    std::vector<double> taps = files::resampleImpulse(impulse, response.sampleRate, sampleRate);
    // Filters need room to ring out; what does not fit is faded below.
    taps.resize(maxTaps, 0.0);
    tuning::applyTuning(candidate.tuning, side, sampleRate, taps);
    applyHelmet(helmet, sampleRate, taps);

    const auto fadeOut = static_cast<std::size_t>(fadeOutShare * static_cast<double>(maxTaps));
    for (std::size_t frame = 0; frame < fadeOut; ++frame)
        taps[maxTaps - 1 - frame] *=
            0.5
            - 0.5
                  * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                             / static_cast<double>(fadeOut));

    std::vector<float> result(taps.begin(), taps.end());
    if (!std::ranges::all_of(result, [](float tap) { return std::isfinite(tap); }))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "candidate '" + candidate.name
                             + "': its tuning drives the result out of range; lower its gains");
    return result;
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
    const auto sides = buildSides(candidate, helmet, sampleRate, layout.maxTaps());
    if (!sides)
        return sides.unexpected();
    SceneCandidate built;
    built.name = candidate.name;
    if (seatFilters == nullptr) {
        built.kernels[0][0] = std::make_shared<const PartitionedKernel>(layout, sides->left);
        built.kernels[1][1] = std::make_shared<const PartitionedKernel>(layout, sides->right);
    } else {
        const auto atEars =
            seatFilters->earKernels(sides->left, sides->right, candidate.response.state.speakers);
        for (std::size_t ear = 0; ear < numEars; ++ear)
            for (std::size_t side = 0; side < seat::numSides; ++side)
                if (!atEars[ear][side].empty())
                    built.kernels[ear][side] =
                        std::make_shared<const PartitionedKernel>(layout, atEars[ear][side]);
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
        if (const auto added = addOverdrive(candidate, helmet, sampleRate, layout.maxTaps(), built);
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
