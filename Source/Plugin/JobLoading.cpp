#include "Plugin/JobLoading.h"

#include "Core/Audition/OnThisBike.h"
#include "Core/Dsp/Units.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string_view>

namespace saddletone::plugin {

namespace {

constexpr double lowestHz = 20.0;
constexpr double highestHz = 20000.0;
constexpr int pointsPerOctave = 24;
constexpr int smoothingPerOctave = 6;

std::vector<double> makeFrequenciesHz(double sampleRate)
{
    const double endHz = std::min(highestHz, 0.45 * sampleRate);
    std::vector<double> frequenciesHz;
    for (int point = 0;; ++point) {
        const double frequencyHz =
            lowestHz * std::exp2(static_cast<double>(point) / pointsPerOctave);
        if (frequencyHz > endHz)
            return frequenciesHz;
        frequenciesHz.push_back(frequencyHz);
    }
}

/** Level in one octave of pink noise that spreads referenceProgrammeDbfs over 20 Hz to 20 kHz. */
double pinkOctaveDbfs()
{
    return audition::referenceProgrammeDbfs - dsp::powerToDb(std::log2(highestHz / lowestHz));
}

/** Octave levels at the ear, from the very taps that are heard; sides are averaged in power. */
dsp::Result<std::vector<double>> octaveLevels(const audition::CandidateRequest& candidate,
                                              double splAtFullScaleDb, ride::Helmet helmet,
                                              std::span<const double> frequenciesHz,
                                              double sampleRate, std::size_t maxTaps)
{
    std::vector<double> power(frequenciesHz.size(), 0.0);
    for (const auto side : {tuning::OutputGroup::left, tuning::OutputGroup::right}) {
        auto taps = audition::buildKernelTaps(candidate, side, helmet, sampleRate, maxTaps);
        if (!taps)
            return taps.unexpected();
        measure::Response kernel;
        kernel.sampleRate = sampleRate;
        kernel.impulse = *std::move(taps);
        const std::vector<double> levelsDb = kernel.magnitudeDb(frequenciesHz, smoothingPerOctave);
        for (std::size_t point = 0; point < power.size(); ++point)
            power[point] += 0.5 * dsp::dbToPower(levelsDb[point]);
    }
    for (double& value : power)
        value = dsp::powerToDb(value) + pinkOctaveDbfs() + splAtFullScaleDb;
    return power;
}

/** The candidate's name, with a word where it is no measurement. */
juce::String shownName(const audition::CandidateRequest& candidate)
{
    const bool isEstimate =
        candidate.groups != nullptr && candidate.groups->sum == measure::GroupSum::power;
    return toText(candidate.name) + (isEstimate ? " (estimate)" : "");
}

bool isSameMeasurement(const measure::Response& first, const measure::Response& second)
{
    return first.sampleRate == second.sampleRate && first.arrivalFrame == second.arrivalFrame
           && first.hasCalibration == second.hasCalibration
           && first.calibration == second.calibration && first.invented == second.invented
           && first.impulse == second.impulse;
}

bool isSameSound(const audition::CandidateRequest& first, const audition::CandidateRequest& second)
{
    return first.tuning.chains == second.tuning.chains && first.atSpeed == second.atSpeed
           && first.overdrive == second.overdrive && first.groups == second.groups
           && isSameMeasurement(first.response, second.response);
}

const audition::CandidateRequest& referenceOf(const audition::SceneRequest& request)
{
    return request.reference ? *request.reference : request.candidates.front();
}

/** A number for what candidates of one measurement have in common. */
std::uint64_t kinshipOf(const measure::Response& response)
{
    const std::string_view bytes(reinterpret_cast<const char*>(response.impulse.data()),
                                 response.impulse.size() * sizeof(float));
    return std::max<std::uint64_t>(1, std::hash<std::string_view> {}(bytes));
}

/** Whether a scene has levels and kernels that may be taken over into another. */
bool isUsable(const KeptScene& before, const audition::SceneRequest& request,
              const audition::PartitionLayout& layout, double sampleRate)
{
    return before.sampleRate == sampleRate && before.layout == layout
           && before.scene.ride.parameters.helmet == request.ride.parameters.helmet
           && before.scene.equaliserSpeedKmh == request.equaliserSpeedKmh && before.scene.reference
           && !request.candidates.empty() && request.candidates.size() <= audition::maxCandidates
           && before.loaded->request.assumedProgrammeSplDba == request.assumedProgrammeSplDba
           && before.loaded->request.seat == request.seat
           && before.choice.nowOnBike == request.nowOnBike
           && isSameSound(referenceOf(before.loaded->request), referenceOf(request));
}

/** Index of a candidate that sounds the same. */
std::optional<std::size_t> findSame(const KeptScene& before,
                                    const audition::CandidateRequest& wanted)
{
    const auto& candidates = before.loaded->request.candidates;
    for (std::size_t index = 0; index < candidates.size(); ++index)
        if (isSameSound(candidates[index], wanted))
            return index;
    return std::nullopt;
}

/** The scene of a request, with what of an earlier one is the same. */
dsp::Result<audition::AuditionScene> buildFrom(const KeptScene& before,
                                               const audition::SceneRequest& request,
                                               const audition::PartitionLayout& layout,
                                               double sampleRate)
{
    audition::AuditionScene scene = before.scene;
    scene.ride = request.ride;
    scene.candidates.clear();
    for (const audition::CandidateRequest& candidate : request.candidates) {
        if (const auto same = findSame(before, candidate)) {
            scene.candidates.push_back(before.scene.candidates[*same]);
            scene.candidates.back().name = candidate.name;
            continue;
        }
        const auto atSpeed = audition::candidateAtSpeed(candidate, request.equaliserSpeedKmh);
        auto built = scene.isOnThisBike()
                         ? audition::buildOnThisBikeCandidate(atSpeed, *scene.reference,
                                                              *scene.bikeNow, layout, sampleRate)
                         : audition::buildCandidate(atSpeed, *scene.reference,
                                                    request.ride.parameters.helmet, layout,
                                                    sampleRate, scene.seatFilters.get());
        if (!built)
            return built.unexpected();
        if (!scene.isOnThisBike())
            built->kinship = kinshipOf(candidate.response);
        scene.candidates.push_back(*std::move(built));
    }
    return scene;
}

} // namespace

dsp::Result<std::shared_ptr<const LoadedJob>>
loadJobForAudition(const std::filesystem::path& folder)
{
    auto job = job::loadJob(folder);
    if (!job)
        return job.unexpected();
    auto request = job::loadSceneRequest(*job);
    if (!request)
        return request.unexpected();
    auto headphones = job::loadHeadphones(*job);
    if (!headphones)
        return headphones.unexpected();
    if (*headphones)
        if (const auto keepable =
                seat::checkKeepable(**headphones, job->seat.headphoneCalibrationFile);
            !keepable)
            return keepable.unexpected();
    return std::shared_ptr<const LoadedJob>(std::make_shared<LoadedJob>(
        LoadedJob {*std::move(job), *std::move(request), *std::move(headphones)}));
}

SceneChoice sceneChoiceFor(const LoadedJob& loaded, ride::Helmet helmet, double speedKmh,
                           std::shared_ptr<const audition::CandidateRequest> nowOnBike) noexcept
{
    if (nowOnBike != nullptr)
        return {ride::Helmet::none, 0.0, std::move(nowOnBike)};
    constexpr double stepKmh = 5.0;
    const bool follows =
        std::ranges::any_of(loaded.request.candidates, &audition::CandidateRequest::hasSpeedStates);
    return {helmet, follows ? stepKmh * std::round(speedKmh / stepKmh) : 0.0};
}

dsp::Result<BuiltScene> buildSceneForAudition(const std::shared_ptr<const LoadedJob>& loaded,
                                              const SceneChoice& choice,
                                              const audition::PartitionLayout& layout,
                                              double sampleRate, const KeptScene* before)
{
    audition::SceneRequest request = loaded->request;
    request.ride.parameters.helmet = choice.helmet;
    request.equaliserSpeedKmh = choice.equaliserSpeedKmh;
    request.nowOnBike = choice.nowOnBike;
    if (before != nullptr)
        request.seatFilters = before->scene.seatFilters;
    const bool keeps = before != nullptr && isUsable(*before, request, layout, sampleRate);
    auto scene = keeps ? buildFrom(*before, request, layout, sampleRate)
                       : audition::buildScene(request, layout, sampleRate);
    if (!scene)
        return scene.unexpected();
    if (!keeps && !scene->isOnThisBike())
        for (std::size_t index = 0; index < scene->candidates.size(); ++index)
            scene->candidates[index].kinship = kinshipOf(request.candidates[index].response);

    auto view = std::make_shared<gui::JobView>();
    view->folder = toFile(loaded->job.folder);
    view->title = toText(loaded->job.title);
    view->shop = toText(loaded->job.shop);
    view->bike = toText(loaded->job.bike);
    view->invented = loaded->job.invented;
    view->isHeadphoneCorrected = request.seat != nullptr && request.seat->isCorrected();
    view->isBinaural = request.seat != nullptr && request.seat->isBinaural();
    view->frequenciesHz = makeFrequenciesHz(sampleRate);
    for (std::size_t index = 0; index < scene->candidates.size(); ++index) {
        const audition::SceneCandidate& candidate = scene->candidates[index];
        view->invented = view->invented || request.candidates[index].response.invented;
        const auto same =
            keeps ? findSame(*before, request.candidates[index]) : std::optional<std::size_t> {};
        if (same) {
            view->candidates.push_back(before->view->candidates[*same]);
            view->candidates.back().name = shownName(request.candidates[index]);
            continue;
        }
        const measure::Response& response = request.candidates[index].response;
        auto levels = octaveLevels(
            audition::candidateAtSpeed(request.candidates[index], choice.equaliserSpeedKmh),
            response.hasCalibration ? response.calibration.splAtFullScaleDb()
                                    : scene->reference->level.splAtFullScaleDb,
            choice.helmet, view->frequenciesHz, sampleRate, layout.maxTaps());
        if (!levels)
            return levels.unexpected();
        view->candidates.push_back(
            {shownName(request.candidates[index]), *std::move(levels), candidate.matchGainDb});
    }
    for (const std::string& programme : loaded->job.programmes)
        if (const auto path = job::resolveInside(loaded->job.folder, programme))
            view->programmes.push_back(toFile(*path));

    auto kept = std::make_shared<KeptScene>();
    kept->loaded = loaded;
    kept->scene = *scene;
    kept->layout = layout;
    kept->sampleRate = sampleRate;
    kept->view = std::move(view);
    kept->choice = choice;
    BuiltScene built;
    built.scene = std::make_unique<audition::AuditionScene>(*std::move(scene));
    built.kept = std::move(kept);
    return built;
}

} // namespace saddletone::plugin
