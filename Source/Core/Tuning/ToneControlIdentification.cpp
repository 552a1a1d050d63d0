#include "Core/Tuning/ToneControlIdentification.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Tuning/ThirdOctaveCurve.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <optional>

#include <nlopt.h>

namespace saddletone::tuning {

namespace {

using files::fixedText;

constexpr std::size_t leastBands = 15; // five octaves: a shelf and where it ends
// Of the level between two measurements of which nothing but a control was moved. Judgement.
constexpr double levelSpreadDb = 0.25;
constexpr double mostLevelDb = 1.0;
// Spread of a band beside the noise: nothing was moved between the settings. Judgement.
constexpr double bandSpreadDb = 0.1;
constexpr double leastEffectDb = 0.5;
// Of three parameters, a gain in chi-square as large comes by chance less than once in 10^5 times.
constexpr double leastGain = 26.0;
// By how much in chi-square another kind may be worse and still be possible: three standard
// deviations of one parameter.
constexpr double possibleGain = 9.0;
// Analogue circuits and a maker's own filters are not exactly those of the cookbook. Judgement:
// what is left may be a tenth of the control's effect and 0.3 dB, twice as much in a single band.
constexpr double shareOfEffect = 0.1;
constexpr double plainResidualDb = 0.3;

struct ComparedBand {
    double frequencyHz = 0.0;
    std::array<double, numBandParts> partsHz {};
    std::array<double, numBandParts> partShares {};
    double differenceDb = 0.0; ///< Moved less reference.
    double spreadDb = 0.0;     ///< One standard deviation.
};

/** One moved setting beside the first. */
struct ComparedSetting {
    int step = 0;
    std::vector<ComparedBand> bands;
};

struct Comparison {
    int referenceStep = 0;
    std::vector<ComparedSetting> settings;
    std::vector<double> bandsHz;
};

struct Guess {
    ElementType type = ElementType::lowShelf;
    double frequencyHz = 100.0;
    double q = 0.70710678;
    double stepDb = 1.0;
};

dsp::AnalogueSection sectionOf(const Guess& guess, int step)
{
    const double gainDb = guess.stepDb * step;
    switch (guess.type) {
    case ElementType::peaking: return dsp::analoguePeaking(guess.frequencyHz, guess.q, gainDb);
    case ElementType::highShelf: return dsp::analogueHighShelf(guess.frequencyHz, guess.q, gainDb);
    default: return dsp::analogueLowShelf(guess.frequencyHz, guess.q, gainDb);
    }
}

/** What the control does to a band's level from the one step to the other. */
double effectDb(const ComparedBand& band, const dsp::AnalogueSection& from,
                const dsp::AnalogueSection& to)
{
    double power = 0.0;
    for (std::size_t part = 0; part < numBandParts; ++part)
        power += band.partShares[part] * std::norm(to.response(band.partsHz[part]))
                 / std::norm(from.response(band.partsHz[part]));
    return dsp::powerToDb(power);
}

/** How a guess stands to one setting. */
struct Explained {
    std::vector<double> effectsDb;
    double levelDb = 0.0;
    double chiSquare = 0.0;
};

Explained explain(const Comparison& comparison, const ComparedSetting& setting, const Guess& guess)
{
    Explained explained;
    const auto from = sectionOf(guess, comparison.referenceStep);
    const auto to = sectionOf(guess, setting.step);
    double weights = 1.0 / (levelSpreadDb * levelSpreadDb);
    double sum = 0.0;
    for (const ComparedBand& band : setting.bands) {
        explained.effectsDb.push_back(effectDb(band, from, to));
        const double weight = 1.0 / (band.spreadDb * band.spreadDb);
        weights += weight;
        sum += weight * (band.differenceDb - explained.effectsDb.back());
    }
    // The level of least squares, drawn to 0 by what is known of it.
    explained.levelDb = sum / weights;
    explained.chiSquare = std::pow(explained.levelDb / levelSpreadDb, 2.0);
    for (std::size_t index = 0; index < setting.bands.size(); ++index) {
        const ComparedBand& band = setting.bands[index];
        explained.chiSquare += std::pow(
            (band.differenceDb - explained.effectsDb[index] - explained.levelDb) / band.spreadDb,
            2.0);
    }
    return explained;
}

double chiSquareOf(const Comparison& comparison, const Guess& guess)
{
    double sum = 0.0;
    for (const ComparedSetting& setting : comparison.settings)
        sum += explain(comparison, setting, guess).chiSquare;
    return sum;
}

/** Chi-square if nothing but the level had changed. */
double chiSquareOfLevel(const Comparison& comparison)
{
    double sum = 0.0;
    for (const ComparedSetting& setting : comparison.settings) {
        double weights = 0.0;
        double mean = 0.0;
        double square = 0.0;
        for (const ComparedBand& band : setting.bands) {
            const double weight = 1.0 / (band.spreadDb * band.spreadDb);
            weights += weight;
            mean += weight * band.differenceDb;
            square += weight * band.differenceDb * band.differenceDb;
        }
        sum += std::max(0.0, square - mean * mean / weights);
    }
    return sum;
}

constexpr std::size_t numParameters = 3; // log2 of frequency, log2 of q, dB a step

struct Objective {
    const Comparison* comparison = nullptr;
    ElementType type = ElementType::lowShelf;

    [[nodiscard]] Guess guessAt(const double* parameters) const
    {
        return {type, std::exp2(parameters[0]), std::exp2(parameters[1]), parameters[2]};
    }
};

double objectiveValue(unsigned, const double* parameters, double*, void* data)
{
    const auto& objective = *static_cast<const Objective*>(data);
    return chiSquareOf(*objective.comparison, objective.guessAt(parameters));
}

/** Bounds of the search. A radio's controls are broad. */
struct Bounds {
    std::array<double, numParameters> lower {};
    std::array<double, numParameters> upper {};
};

Bounds boundsOf(const Comparison& comparison, ElementType type)
{
    const double mostQ = type == ElementType::peaking ? 6.0 : 1.5;
    return {{std::log2(0.5 * comparison.bandsHz.front()), std::log2(0.25), -12.0},
            {std::log2(2.0 * comparison.bandsHz.back()), std::log2(mostQ), 12.0}};
}

struct Fitted {
    Guess guess;
    double chiSquare = std::numeric_limits<double>::max();
};

Fitted refine(const Objective& objective, const Bounds& bounds,
              std::array<double, numParameters> parameters)
{
    const std::unique_ptr<nlopt_opt_s, decltype(&nlopt_destroy)> optimiser(
        nlopt_create(NLOPT_LN_BOBYQA, numParameters), &nlopt_destroy);
    Objective data = objective;
    constexpr std::array firstSteps {0.25, 0.25, 0.2};
    nlopt_set_lower_bounds(optimiser.get(), bounds.lower.data());
    nlopt_set_upper_bounds(optimiser.get(), bounds.upper.data());
    nlopt_set_min_objective(optimiser.get(), objectiveValue, &data);
    nlopt_set_initial_step(optimiser.get(), firstSteps.data());
    nlopt_set_xtol_abs1(optimiser.get(), 1e-6);
    nlopt_set_maxeval(optimiser.get(), 2000);
    double chiSquare = 0.0;
    // Where rounding stops it early, what it had reached by then is as good.
    nlopt_optimize(optimiser.get(), parameters.data(), &chiSquare);
    const Guess guess = objective.guessAt(parameters.data());
    return {guess, chiSquareOf(*objective.comparison, guess)};
}

/** The best filter of a kind: from the best four of a grid of starts. */
Fitted fitKind(const Comparison& comparison, ElementType type)
{
    const Objective objective {&comparison, type};
    const Bounds bounds = boundsOf(comparison, type);
    double largestDb = 0.0;
    int steps = 1;
    for (const ComparedSetting& setting : comparison.settings)
        for (const ComparedBand& band : setting.bands)
            if (std::abs(band.differenceDb) > std::abs(largestDb)) {
                largestDb = band.differenceDb;
                steps = setting.step - comparison.referenceStep;
            }
    struct Start {
        std::array<double, numParameters> parameters {};
        double chiSquare = 0.0;
    };
    std::vector<Start> starts;
    const auto numHalfOctaves = static_cast<int>(2.0 * (bounds.upper[0] - bounds.lower[0])) + 1;
    for (int half = 0; half < numHalfOctaves; ++half)
        for (const double q : {0.5, 0.9, 1.4})
            for (const double part : {1.0, 0.7, -1.0}) {
                const double stepDb = std::clamp(part * largestDb / steps, -12.0, 12.0);
                const std::array parameters {bounds.lower[0] + 0.5 * half, std::log2(q), stepDb};
                starts.push_back(
                    {parameters, chiSquareOf(comparison, objective.guessAt(parameters.data()))});
            }
    std::ranges::stable_sort(starts, {}, &Start::chiSquare);
    Fitted best;
    for (std::size_t index = 0; index < std::min<std::size_t>(4, starts.size()); ++index)
        if (const Fitted fitted = refine(objective, bounds, starts[index].parameters);
            fitted.chiSquare < best.chiSquare)
            best = fitted;
    return best;
}

const measure::BandConfidence* trustedBand(const measure::Response& response, double frequencyHz)
{
    const auto* const band = measure::bandAt(response, frequencyHz);
    return band != nullptr && band->trusted ? band : nullptr;
}

Comparison compareSettings(std::span<const ToneSetting> settings)
{
    Comparison comparison;
    const measure::Response& reference = settings.front().response;
    comparison.referenceStep = settings.front().step;
    const ThirdOctaveCurve curve = thirdOctaveCurve(reference, FitTarget {}, 20.0, 20000.0);
    for (const ToneSetting& setting : settings.subspan(1))
        comparison.settings.push_back({setting.step, {}});
    for (const ThirdOctave& band : curve.bands) {
        const bool isTrusted = std::ranges::all_of(settings, [&](const ToneSetting& setting) {
            return trustedBand(setting.response, band.frequencyHz) != nullptr;
        });
        if (!isTrusted)
            continue;
        comparison.bandsHz.push_back(band.frequencyHz);
        const auto& from = *trustedBand(reference, band.frequencyHz);
        for (std::size_t index = 1; index < settings.size(); ++index) {
            const auto& to = *trustedBand(settings[index].response, band.frequencyHz);
            comparison.settings[index - 1].bands.push_back(
                {band.frequencyHz, bandPartsHz(band.frequencyHz), band.partShares,
                 to.levelDb - from.levelDb,
                 std::hypot(measure::standardDeviationDb(from), measure::standardDeviationDb(to),
                            bandSpreadDb)});
        }
    }
    return comparison;
}

/** What else than the control was changed between two states; empty if nothing was. */
std::string otherChange(const measure::BikeState& reference, const measure::BikeState& moved)
{
    const auto differs = [](std::string_view what, const std::string& first,
                            const std::string& second) {
        return first == second ? std::string()
                               : std::string(what) + " ('" + first + "' against '" + second + "')";
    };
    for (const std::string& change :
         {differs("radio profile", reference.radioProfile, moved.radioProfile),
          differs("engine", std::string(engineStateName(reference.engine)),
                  std::string(engineStateName(moved.engine))),
          differs("speed", fixedText(reference.speedKmh, 0) + " km/h",
                  fixedText(moved.speedKmh, 0) + " km/h"),
          differs("speakers", measure::speakerGroupWords(reference.speakers),
                  measure::speakerGroupWords(moved.speakers)),
          differs("volume step", reference.volumeStep, moved.volumeStep),
          differs("microphone place", reference.microphonePlace, moved.microphonePlace)})
        if (!change.empty())
            return change;
    return "";
}

dsp::Unexpected refuse(const ToneScale& scale, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy,
                     "tone control '" + scale.name + "': " + reason);
}

std::optional<dsp::Unexpected> checkSettings(std::span<const ToneSetting> settings,
                                             const ToneScale& scale)
{
    const auto wrong = [&](const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "tone control '" + scale.name + "': " + reason);
    };
    if (scale.name.empty() || scale.name.size() > 40)
        return wrong("its name must have 1 to 40 characters");
    if (scale.lowestStep < -100 || scale.lowestStep > 0 || scale.highestStep < 0
        || scale.highestStep > 100 || scale.lowestStep == scale.highestStep)
        return wrong("its steps must go from -100 or more up to 100 or less, with 0 among them");
    if (settings.size() < 2)
        return wrong("it takes measurements at two steps at least");
    for (const ToneSetting& setting : settings)
        if (setting.step < scale.lowestStep || setting.step > scale.highestStep)
            return wrong("step " + std::to_string(setting.step) + " is not among its steps "
                         + std::to_string(scale.lowestStep) + " to "
                         + std::to_string(scale.highestStep));
    for (const ToneSetting& setting : settings.subspan(1)) {
        if (setting.step == settings.front().step)
            return wrong("reference and moved measurement both stand at step "
                         + std::to_string(setting.step)
                         + "; measure at another step, as far off as it goes");
        if (const std::string change =
                otherChange(settings.front().response.state, setting.response.state);
            !change.empty())
            return refuse(scale, "not only the control was moved: '"
                                     + settings.front().response.name + "' and '"
                                     + setting.response.name + "' differ in the " + change
                                     + "; measure both alike");
    }
    return std::nullopt;
}

std::string bandWords(double frequencyHz)
{
    return dsp::nominalLabel(frequencyHz) + " Hz";
}

std::string kindWords(ElementType type)
{
    switch (type) {
    case ElementType::peaking: return "peaking filter";
    case ElementType::highShelf: return "high shelf";
    default: return "low shelf";
    }
}

} // namespace

dsp::Result<IdentifiedToneControl> identifyToneControl(std::span<const ToneSetting> settings,
                                                       const ToneScale& scale)
{
    if (const auto fault = checkSettings(settings, scale))
        return *fault;
    const Comparison comparison = compareSettings(settings);
    if (comparison.bandsHz.size() < leastBands)
        return refuse(
            scale, "only " + std::to_string(comparison.bandsHz.size())
                       + " third octaves can be trusted in all measurements, and it takes "
                       + std::to_string(leastBands) + "; measure again, louder or with more takes");

    std::array<Fitted, 3> kinds;
    constexpr std::array types {ElementType::lowShelf, ElementType::highShelf,
                                ElementType::peaking};
    for (std::size_t kind = 0; kind < types.size(); ++kind)
        kinds[kind] = fitKind(comparison, types[kind]);
    std::ranges::stable_sort(kinds, {}, &Fitted::chiSquare);
    const Guess best = kinds.front().guess;

    IdentifiedToneControl identified;
    identified.numBands = comparison.bandsHz.size();
    double squares = 0.0;
    double variances = 0.0;
    double largestEffectDb = 0.0;
    double largestDifferenceDb = 0.0;
    for (const ComparedSetting& setting : comparison.settings) {
        const Explained explained = explain(comparison, setting, best);
        if (std::abs(explained.levelDb) > std::abs(identified.levelDb))
            identified.levelDb = explained.levelDb;
        for (std::size_t index = 0; index < setting.bands.size(); ++index) {
            const ComparedBand& band = setting.bands[index];
            const double leftDb =
                band.differenceDb - explained.effectsDb[index] - explained.levelDb;
            squares += leftDb * leftDb;
            variances += band.spreadDb * band.spreadDb;
            if (std::abs(leftDb) > std::abs(identified.largestDb)) {
                identified.largestDb = leftDb;
                identified.largestAtHz = band.frequencyHz;
            }
            largestEffectDb = std::max(largestEffectDb, std::abs(explained.effectsDb[index]));
            largestDifferenceDb = std::max(largestDifferenceDb, std::abs(band.differenceDb));
        }
    }
    const auto numValues =
        static_cast<double>(comparison.settings.size() * comparison.bandsHz.size());
    identified.rmsDb = std::sqrt(squares / numValues);
    identified.expectedRmsDb = std::sqrt(variances / numValues);

    if (chiSquareOfLevel(comparison) - kinds.front().chiSquare < leastGain
        || largestEffectDb < leastEffectDb)
        return refuse(scale, "the measurements differ by no more than they can tell (at most "
                                 + fixedText(largestDifferenceDb, 1)
                                 + " dB, and no shelf or peak in it); move the control further, or "
                                   "measure again, louder or with more takes");
    const double mostRmsDb = shareOfEffect * largestEffectDb + plainResidualDb
                             + dsp::normal95 * identified.expectedRmsDb;
    if (identified.rmsDb > mostRmsDb || std::abs(identified.largestDb) > 2.0 * mostRmsDb)
        return refuse(scale, "neither a shelf nor a peaking filter explains the difference: it "
                             "leaves "
                                 + fixedText(identified.rmsDb, 1) + " dB RMS and "
                                 + fixedText(identified.largestDb, 1) + " dB at "
                                 + bandWords(identified.largestAtHz)
                                 + "; see that nothing else was changed, no other control and no "
                                   "loudness switch");
    if (std::abs(identified.levelDb) > mostLevelDb)
        return refuse(scale, "besides the control, the level differs by "
                                 + fixedText(identified.levelDb, 1)
                                 + " dB; keep volume and recorder as they are and measure again");
    if (best.frequencyHz < 0.9 * comparison.bandsHz.front()
        || best.frequencyHz > 1.1 * comparison.bandsHz.back())
        return refuse(scale, "its frequency lies outside the trusted bands from "
                                 + bandWords(comparison.bandsHz.front()) + " to "
                                 + bandWords(comparison.bandsHz.back())
                                 + ", so it cannot be told; measure over a wider range");
    if (best.stepDb < 0.0)
        return refuse(scale, "it turns down when its step goes up; see whether the steps of the "
                             "two measurements are the wrong way round");

    ToneControl& control = identified.control;
    control.name = scale.name;
    control.type = best.type;
    control.frequencyHz = best.frequencyHz;
    control.q = best.q;
    control.stepDb = best.stepDb;
    control.lowestDb = scale.lowestStep * best.stepDb;
    control.highestDb = scale.highestStep * best.stepDb;
    control.status = ToneControlStatus::measured;
    control.remark = "from " + std::to_string(settings.size()) + " measurements, leaving "
                     + fixedText(identified.rmsDb, 2) + " dB RMS in "
                     + std::to_string(identified.numBands) + " third octaves";
    if (best.stepDb < 0.1 || control.lowestDb < -24.0 || control.highestDb > 24.0)
        return refuse(scale, "a step would be " + fixedText(best.stepDb, 2) + " dB and the range "
                                 + fixedText(control.lowestDb, 1) + " dB to "
                                 + fixedText(control.highestDb, 1)
                                 + " dB, which no radio has; check the steps");
    for (std::size_t kind = 1; kind < kinds.size(); ++kind)
        if (kinds[kind].chiSquare < kinds.front().chiSquare + possibleGain)
            identified.remarks.push_back(
                "a " + kindWords(kinds[kind].guess.type) + " at "
                + fixedText(kinds[kind].guess.frequencyHz, 0)
                + " Hz would explain the measurements nearly as well; move the control further to "
                  "tell them apart");
    int nearest = settings.front().step;
    int farthest = nearest;
    for (const ToneSetting& setting : settings) {
        nearest = std::min(nearest, setting.step);
        farthest = std::max(farthest, setting.step);
    }
    if (nearest > scale.lowestStep || farthest < scale.highestStep)
        identified.remarks.push_back("measured from step " + std::to_string(nearest) + " to "
                                     + std::to_string(farthest)
                                     + "; beyond, every step is taken to be as large");
    return identified;
}

} // namespace saddletone::tuning
