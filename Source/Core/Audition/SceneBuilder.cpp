#include "Core/Audition/SceneBuilder.h"

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

    AuditionScene scene;
    scene.helmet = request.helmet;
    scene.wind = request.wind;
    const std::array<float, 1> unity {1.0F};
    scene.pinkDbfsA = referenceLevelDbfsA(unity, sampleRate);

    double firstBareDbfsA = 0.0;
    double firstLoudness = 0.0;
    for (const CandidateRequest& candidate : request.candidates) {
        // The level is set, or calibrated, for the place of the head without a helmet.
        const auto bareLeft = buildKernelTaps(candidate, tuning::OutputGroup::left,
                                              ride::Helmet::none, sampleRate, layout.maxTaps());
        const auto bareRight = buildKernelTaps(candidate, tuning::OutputGroup::right,
                                               ride::Helmet::none, sampleRate, layout.maxTaps());
        const auto left = buildKernelTaps(candidate, tuning::OutputGroup::left, request.helmet,
                                          sampleRate, layout.maxTaps());
        const auto right = buildKernelTaps(candidate, tuning::OutputGroup::right, request.helmet,
                                           sampleRate, layout.maxTaps());
        for (const auto* taps : {&bareLeft, &bareRight, &left, &right})
            if (!*taps)
                return taps->unexpected();
        const double bareDbfsA = kernelLevelDbfsA(*bareLeft, *bareRight, sampleRate);
        const double heardDbfsA = kernelLevelDbfsA(*left, *right, sampleRate);
        if (scene.candidates.empty())
            firstBareDbfsA = bareDbfsA;

        SceneCandidate built;
        built.name = candidate.name;
        built.kernels[0][0] = std::make_shared<const PartitionedKernel>(layout, *left);
        built.kernels[1][1] = std::make_shared<const PartitionedKernel>(layout, *right);
        if (candidate.response.hasCalibration) {
            built.level.source = LevelSource::measured;
            built.level.splAtFullScaleDb = candidate.response.calibration.splAtFullScaleDb();
        } else {
            // The same recorder gain as for the first is the best guess there is.
            const bool firstMeasured = request.candidates.front().response.hasCalibration;
            built.level.source = LevelSource::assumed;
            built.level.splAtFullScaleDb = firstMeasured
                                               ? scene.candidates.front().level.splAtFullScaleDb
                                               : request.assumedProgrammeSplDba - firstBareDbfsA;
        }
        built.level.splDba = heardDbfsA + built.level.splAtFullScaleDb;
        // At the head, as recordings may differ in what their full scale stands for.
        const double loudness =
            kernelLoudnessLufs(*left, *right, sampleRate) + built.level.splAtFullScaleDb;
        if (scene.candidates.empty())
            firstLoudness = loudness;
        built.matchGainDb = firstLoudness - loudness;
        scene.candidates.push_back(std::move(built));
    }
    return scene;
}

} // namespace saddletone::audition
