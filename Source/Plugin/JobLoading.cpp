#include "Plugin/JobLoading.h"

#include "Core/Dsp/Units.h"
#include "Plugin/Paths.h"

#include <cmath>

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
    return std::shared_ptr<const LoadedJob>(
        std::make_shared<LoadedJob>(LoadedJob {*std::move(job), *std::move(request)}));
}

dsp::Result<BuiltScene> buildSceneForAudition(const LoadedJob& loaded, ride::Helmet helmet,
                                              const audition::PartitionLayout& layout,
                                              double sampleRate)
{
    audition::SceneRequest request = loaded.request;
    request.helmet = helmet;
    auto scene = audition::buildScene(request, layout, sampleRate);
    if (!scene)
        return scene.unexpected();

    auto view = std::make_shared<gui::JobView>();
    view->folder = toFile(loaded.job.folder);
    view->title = toText(loaded.job.title);
    view->shop = toText(loaded.job.shop);
    view->bike = toText(loaded.job.bike);
    view->invented = loaded.job.invented;
    view->frequenciesHz = makeFrequenciesHz(sampleRate);
    for (std::size_t index = 0; index < scene->candidates.size(); ++index) {
        const audition::SceneCandidate& candidate = scene->candidates[index];
        view->invented = view->invented || request.candidates[index].response.invented;
        auto levels = octaveLevels(request.candidates[index], candidate.level.splAtFullScaleDb,
                                   helmet, view->frequenciesHz, sampleRate, layout.maxTaps());
        if (!levels)
            return levels.unexpected();
        view->candidates.push_back(
            {toText(candidate.name), *std::move(levels), candidate.matchGainDb});
    }
    for (const std::string& programme : loaded.job.programmes)
        if (const auto path = job::resolveInside(loaded.job.folder, programme))
            view->programmes.push_back(toFile(*path));

    BuiltScene built;
    built.scene = std::make_unique<const audition::AuditionScene>(*std::move(scene));
    built.view = std::move(view);
    return built;
}

} // namespace saddletone::plugin
