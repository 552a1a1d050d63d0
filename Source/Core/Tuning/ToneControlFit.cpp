#include "Core/Tuning/ToneControlFit.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <functional>
#include <iterator>
#include <limits>

namespace saddletone::tuning {

namespace {

/** What each step of a control does at each place of the curves, and how that piles up. */
struct Effects {
    /** By control, then by step from the lowest, then by place. */
    std::vector<std::vector<std::vector<double>>> ofSteps;
    std::vector<double> ofNone; ///< With all controls left away.
};

template <typename GainAt>
std::vector<std::vector<std::vector<double>>>
effectsOfSteps(const ToneControls& model, const std::vector<double>& placesHz, GainAt&& gainAt)
{
    std::vector<std::vector<std::vector<double>>> effects;
    for (const ToneControl& control : model.controls) {
        auto& ofControl = effects.emplace_back();
        for (int step = control.lowestStep(); step <= control.highestStep(); ++step) {
            const Element element = control.element(step);
            auto& ofStep = ofControl.emplace_back();
            for (const double placeHz : placesHz)
                ofStep.push_back(gainAt(elementResponse(element, placeHz)));
        }
    }
    return effects;
}

struct Candidate {
    std::vector<int> steps;
    double errorDb = 0.0;
};

int numMoves(const std::vector<int>& steps)
{
    int moves = 0;
    for (const int step : steps)
        moves += std::abs(step);
    return moves;
}

/** Tries all settings. Controls are taken one after the other and what those before have done is
    kept, so that a setting costs one pass over the places. */
template <typename Combine, typename ErrorOf>
class CompleteSearch {
public:
    CompleteSearch(const ToneControls& controls, const Effects& effectsOfControls,
                   Combine combineTwo, ErrorOf errorOfSum)
        : model(controls),
          effects(effectsOfControls),
          combine(std::move(combineTwo)),
          errorOf(std::move(errorOfSum)),
          sums(controls.controls.size() + 1, effects.ofNone),
          steps(controls.controls.size(), 0)
    {
    }

    Candidate best()
    {
        turn(0);
        return *std::ranges::min_element(candidates, [](const Candidate& left,
                                                        const Candidate& right) {
            const int leftMoves = numMoves(left.steps);
            const int rightMoves = numMoves(right.steps);
            return leftMoves != rightMoves ? leftMoves < rightMoves : left.errorDb < right.errorDb;
        });
    }

    double errorDbAtRest() const
    {
        auto atRest = effects.ofNone;
        for (std::size_t index = 0; index < model.controls.size(); ++index)
            pile(atRest, effects.ofSteps[index][restIndex(index)], atRest);
        return errorOf(atRest);
    }

private:
    std::size_t restIndex(std::size_t control) const
    {
        return static_cast<std::size_t>(-model.controls[control].lowestStep());
    }

    void pile(const std::vector<double>& before, const std::vector<double>& effect,
              std::vector<double>& after) const
    {
        for (std::size_t place = 0; place < before.size(); ++place)
            after[place] = combine(before[place], effect[place]);
    }

    void turn(std::size_t control)
    {
        if (control == model.controls.size()) {
            consider(errorOf(sums[control]));
            return;
        }
        steps[control] = model.controls[control].lowestStep();
        for (const auto& effect : effects.ofSteps[control]) {
            pile(sums[control], effect, sums[control + 1]);
            turn(control + 1);
            ++steps[control];
        }
    }

    void consider(double errorDb)
    {
        if (errorDb > leastDb + equalErrorDb)
            return;
        if (errorDb < leastDb) {
            leastDb = errorDb;
            std::erase_if(candidates, [&](const Candidate& candidate) {
                return candidate.errorDb > leastDb + equalErrorDb;
            });
        }
        candidates.push_back({steps, errorDb});
    }

    const ToneControls& model;
    const Effects& effects;
    Combine combine;
    ErrorOf errorOf;
    std::vector<std::vector<double>> sums;
    std::vector<int> steps;
    std::vector<Candidate> candidates;
    double leastDb = std::numeric_limits<double>::max();
};

template <typename Combine, typename ErrorOf>
ToneControlFit searchCompletely(const ToneControls& model, const Effects& effects, Combine combine,
                                ErrorOf errorOf)
{
    CompleteSearch search(model, effects, std::move(combine), std::move(errorOf));
    const Candidate best = search.best();
    return {best.steps, toneTuning(model, best.steps), search.errorDbAtRest(), best.errorDb};
}

} // namespace

ToneControlFit fitToneControls(std::span<const FitCurve> curves, const ToneControls& model)
{
    assert(!curves.empty());
    Effects effects;
    std::vector<double> placesHz;
    std::vector<double> weights;
    std::vector<double> weightSums;
    for (const FitCurve& curve : curves) {
        weightSums.push_back(0.0);
        for (const FitPoint& point : curve.points) {
            placesHz.push_back(point.frequencyHz);
            effects.ofNone.push_back(point.levelDb - point.targetDb);
            weights.push_back(point.weight);
            weightSums.back() += point.weight;
        }
    }
    effects.ofSteps = effectsOfSteps(model, placesHz, [](std::complex<double> response) {
        return dsp::amplitudeToDb(std::abs(response));
    });
    const auto errorOf = [&](const std::vector<double>& deviationsDb) {
        double sum = 0.0;
        std::size_t place = 0;
        for (std::size_t curve = 0; curve < curves.size(); ++curve) {
            double mean = 0.0;
            double square = 0.0;
            for (std::size_t point = 0; point < curves[curve].points.size(); ++point, ++place) {
                mean += weights[place] * deviationsDb[place];
                square += weights[place] * deviationsDb[place] * deviationsDb[place];
            }
            mean /= weightSums[curve];
            sum += std::max(0.0, square / weightSums[curve] - mean * mean);
        }
        return std::sqrt(sum / static_cast<double>(curves.size()));
    };
    return searchCompletely(model, effects, std::plus<double> {}, errorOf);
}

ToneControlFit fitToneControlsToWorst(std::span<const ThirdOctaveCurve> curves,
                                      const ToneControls& model)
{
    assert(!curves.empty());
    Effects effects;
    std::vector<double> placesHz;
    for (const ThirdOctaveCurve& curve : curves)
        for (const ThirdOctave& band : curve.bands) {
            const double level = dsp::dbToPower(band.deviationDb);
            for (const double share : band.partShares)
                effects.ofNone.push_back(level * share);
            std::ranges::copy(bandPartsHz(band.frequencyHz), std::back_inserter(placesHz));
        }
    effects.ofSteps = effectsOfSteps(
        model, placesHz, [](std::complex<double> response) { return std::norm(response); });
    const auto errorOf = [&](const std::vector<double>& powers) {
        double worstRatio = 1.0;
        std::size_t place = 0;
        for (const ThirdOctaveCurve& curve : curves) {
            double lowest = std::numeric_limits<double>::max();
            double highest = 0.0;
            for (std::size_t band = 0; band < curve.bands.size(); ++band) {
                double power = 0.0;
                for (std::size_t part = 0; part < numBandParts; ++part, ++place)
                    power += powers[place];
                lowest = std::min(lowest, power);
                highest = std::max(highest, power);
            }
            if (!curve.bands.empty())
                worstRatio = std::max(worstRatio, highest / lowest);
        }
        return 0.5 * dsp::powerToDb(worstRatio);
    };
    return searchCompletely(model, effects, std::multiplies<double> {}, errorOf);
}

} // namespace saddletone::tuning
