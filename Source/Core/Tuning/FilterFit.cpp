#include "Core/Tuning/FilterFit.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Tuning/FitProblem.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>
#include <memory>
#include <numeric>
#include <optional>
#include <utility>

#include <nlopt.h>

namespace saddletone::tuning {

namespace {

using Filters = std::vector<FitFilter>;
using Excess = FitProblem::Excess;

// Steps of the damped Gauss-Newton search: enough to tell starts apart, to settle, to the end.
constexpr int stepsToCompare = 12;
constexpr int stepsToSettle = 40;
constexpr int stepsToFinish = 150;

constexpr std::size_t startsPerFilter = 4;
constexpr std::size_t startsToSettle = 6;
constexpr std::size_t startsToFinish = 3;
constexpr std::size_t startsPerPlace = 3;
// What a search begins with: large steps, which may leave the valley they began in, or small ones.
constexpr double boldDamping = 0.01;
constexpr double carefulDamping = 1.0;

constexpr int roundsOfReplacing = 4;

/** Where the numbers of a filter may lie. */
struct Bounds {
    std::array<double, numFilterNumbers> lowest {};
    std::array<double, numFilterNumbers> highest {};
};

std::array<double*, numFilterNumbers> numbersOf(FitFilter& filter)
{
    return {&filter.logHz, &filter.gainDb, &filter.logQ};
}

struct Solution {
    Filters filters;
    double cost = 0.0;
};

/** Solves (matrix + damping of its diagonal) x = right side for the numbers that are free;
    false if the matrix is not positive definite. matrix: on and below the diagonal. */
bool solveDamped(std::span<const double> matrix, std::span<const std::size_t> free, double damping,
                 std::span<const double> rightSide, std::vector<double>& solution)
{
    const std::size_t all = rightSide.size();
    const std::size_t size = free.size();
    // A number that has no effect here (the frequency of a filter with gain 0) must not move.
    constexpr double leastDiagonal = 1e-6;
    std::vector<double> factor(size * size);
    for (std::size_t row = 0; row < size; ++row)
        for (std::size_t column = 0; column <= row; ++column) {
            double sum = matrix[free[row] * all + free[column]];
            if (row == column)
                sum += damping * std::max(sum, leastDiagonal) + leastDiagonal * leastDiagonal;
            for (std::size_t at = 0; at < column; ++at)
                sum -= factor[row * size + at] * factor[column * size + at];
            if (row != column)
                factor[row * size + column] = sum / factor[column * size + column];
            else if (sum <= 0.0)
                return false;
            else
                factor[row * size + row] = std::sqrt(sum);
        }
    std::vector<double> values(size);
    for (std::size_t row = 0; row < size; ++row) {
        double sum = rightSide[free[row]];
        for (std::size_t at = 0; at < row; ++at)
            sum -= factor[row * size + at] * values[at];
        values[row] = sum / factor[row * size + row];
    }
    for (std::size_t row = size; row-- > 0;) {
        double sum = values[row];
        for (std::size_t at = row + 1; at < size; ++at)
            sum -= factor[at * size + row] * values[at];
        values[row] = sum / factor[row * size + row];
    }
    solution.assign(all, 0.0);
    for (std::size_t row = 0; row < size; ++row)
        solution[free[row]] = values[row];
    return true;
}

/** A filter that may be added, with its effect at a small gain. */
struct Shape {
    FitFilter filter;
    std::vector<double> levelDb;
    double power = 0.0; ///< Weighted mean square without its mean.
};

constexpr double shapeGainDb = 3.0;

/** Looks for filters on one problem within limits, one more at a time. */
class Search {
public:
    Search(std::span<const FitCurve> curves, const BoostCeiling& ceiling,
           const FilterLimits& filterLimits, double fromHz, double toHz)
        : problem(curves, ceiling),
          limits(filterLimits),
          lowestLogHz(std::log(fromHz)),
          highestLogHz(std::log(toHz))
    {
        makeShapes();
    }

    /** The best with one filter more than a solution, or that solution. */
    [[nodiscard]] Solution extend(const Solution& previous);
    /** Leaves out filters that bring less than the least benefit. */
    [[nodiscard]] Solution prune(Solution solution) const;
    [[nodiscard]] Filters withUsualShelves(Filters filters) const;
    /** Mean level of filters over the curves. */
    [[nodiscard]] double meanDb(const Filters& filters) const { return problem.meanDb(filters); }
    /** The square of the error. */
    [[nodiscard]] double squaredError(const Filters& filters) const
    {
        return problem.cost(filters, Excess::ignored);
    }

private:
    [[nodiscard]] Bounds boundsOf(ElementType type) const;
    void clamp(FitFilter& filter) const;
    void makeShapes();
    [[nodiscard]] std::vector<FitFilter> additions(const Filters& filters, std::size_t count) const;
    [[nodiscard]] std::vector<Filters> evenStarts(std::size_t numFilters) const;
    [[nodiscard]] Solution descend(Filters filters, Excess excess, int numSteps,
                                   double damping = boldDamping) const;
    [[nodiscard]] Solution replaceOneByOne(Solution best, Excess excess) const;
    /** The best first; the others are where it did not come from. */
    [[nodiscard]] std::vector<Solution> searchFrom(const std::vector<Filters>& starts,
                                                   std::size_t numFilters, Excess excess) const;
    [[nodiscard]] Solution meetCeiling(const Solution& solution) const;
    [[nodiscard]] Filters solveConstrained(const Filters& start,
                                           std::span<const BoostPeak> places) const;
    [[nodiscard]] Filters shrink(const Filters& filters) const;

    FitProblem problem;
    const FilterLimits& limits;
    double lowestLogHz;
    double highestLogHz;
    std::vector<Shape> shapes;
    Filters unlimited; ///< The best so far, were there no ceiling.
};

Bounds Search::boundsOf(ElementType type) const
{
    const double highestQ = type == ElementType::peaking
                                ? limits.maxQ
                                : std::clamp(maxShelfQ, limits.minQ, limits.maxQ);
    return {{lowestLogHz, -limits.maxCutDb, std::log(limits.minQ)},
            {highestLogHz, limits.maxBoostDb, std::log(highestQ)}};
}

void Search::clamp(FitFilter& filter) const
{
    const Bounds bounds = boundsOf(filter.type);
    const auto numbers = numbersOf(filter);
    for (std::size_t number = 0; number < numFilterNumbers; ++number)
        *numbers[number] =
            std::clamp(*numbers[number], bounds.lowest[number], bounds.highest[number]);
}

void Search::makeShapes()
{
    const auto add = [&](ElementType type, double frequencyHz, double q) {
        Shape shape;
        shape.filter = {type, std::log(frequencyHz), shapeGainDb, std::log(q)};
        const Bounds bounds = boundsOf(type);
        if (shape.filter.logHz < bounds.lowest[0] || shape.filter.logHz > bounds.highest[0])
            return;
        shape.filter.logQ = std::clamp(shape.filter.logQ, bounds.lowest[2], bounds.highest[2]);
        std::vector<double> powers(problem.weightedSquaredHz().size(), 1.0);
        multiplyPowers(shape.filter, problem.weightedSquaredHz(), powers);
        double mean = 0.0;
        for (std::size_t at = 0; at < powers.size(); ++at) {
            shape.levelDb.push_back(dsp::powerToDb(powers[at]));
            mean += problem.weights()[at] * shape.levelDb[at];
            shape.power += problem.weights()[at] * shape.levelDb[at] * shape.levelDb[at];
        }
        shape.power -= mean * mean;
        if (shape.power > 1e-6)
            shapes.push_back(std::move(shape));
    };
    for (const dsp::Band& band : dsp::octaveBands(6, 20.0, 20000.0))
        for (const double q : {0.7, 1.4, 2.8, 5.6})
            add(ElementType::peaking, band.centreHz, q);
    for (const dsp::Band& band : dsp::octaveBands(3, 20.0, 20000.0))
        for (const auto type : {ElementType::lowShelf, ElementType::highShelf})
            add(type, band.centreHz, 0.7);
}

/** Whether two filters are likely to end in one place. */
bool isAlike(const FitFilter& one, const FitFilter& other)
{
    return one.type == other.type && std::abs(one.logHz - other.logHz) < 0.3
           && std::abs(one.logQ - other.logQ) < 1.0;
}

/** The most promising different filters to add, by the straight line of small gains. */
std::vector<FitFilter> Search::additions(const Filters& filters, std::size_t count) const
{
    const std::vector<double> deviations = problem.weightedDeviationsDb(filters);
    struct Candidate {
        FitFilter filter;
        double gain = 0.0;
    };
    std::vector<Candidate> candidates;
    for (const Shape& shape : shapes) {
        if (shape.filter.type != ElementType::peaking
            && std::ranges::find(filters, shape.filter.type, &FitFilter::type) != filters.end())
            continue;
        const double product =
            std::inner_product(deviations.begin(), deviations.end(), shape.levelDb.begin(), 0.0);
        const double factor = std::clamp(-product / shape.power, -limits.maxCutDb / shapeGainDb,
                                         limits.maxBoostDb / shapeGainDb);
        if (factor > 0.0 && !problem.ceiling().isTrustedAt(std::exp(shape.filter.logHz)))
            continue;
        Candidate candidate {shape.filter, -factor * (2.0 * product + factor * shape.power)};
        candidate.filter.gainDb = factor * shapeGainDb;
        candidates.push_back(candidate);
    }
    std::ranges::stable_sort(candidates, std::greater(), &Candidate::gain);
    std::vector<FitFilter> chosen;
    for (const Candidate& candidate : candidates) {
        const bool isLikeOne = std::ranges::any_of(
            chosen, [&](const FitFilter& other) { return isAlike(other, candidate.filter); });
        if (isLikeOne)
            continue;
        chosen.push_back(candidate.filter);
        if (chosen.size() == count)
            break;
    }
    return chosen;
}

/** Filters without gain, spread evenly over log frequency: peaking ones, and with shelves at the
    ends. */
std::vector<Filters> Search::evenStarts(std::size_t numFilters) const
{
    Filters peaking;
    for (std::size_t filter = 0; filter < numFilters; ++filter) {
        const double place = (static_cast<double>(filter) + 0.5) / static_cast<double>(numFilters);
        peaking.push_back(
            {ElementType::peaking, lowestLogHz + place * (highestLogHz - lowestLogHz), 0.0, 0.0});
        clamp(peaking.back());
    }
    std::vector<Filters> starts {peaking};
    if (numFilters >= 2) {
        peaking.front().type = ElementType::lowShelf;
        peaking.back().type = ElementType::highShelf;
        for (FitFilter* shelf : {&peaking.front(), &peaking.back()}) {
            shelf->logQ = std::log(0.7);
            clamp(*shelf);
        }
        starts.push_back(peaking);
    }
    return starts;
}

/** Damped Gauss-Newton steps (Levenberg 1944, Marquardt 1963), cut off at the bounds. */
Solution Search::descend(Filters filters, Excess excess, int numSteps, double damping) const
{
    const std::size_t numNumbers = numFilterNumbers * filters.size();
    FitProblem::Slopes slopes;
    FitProblem::Slopes trialSlopes;
    double cost = problem.cost(filters, excess, slopes);
    std::vector<std::size_t> free;
    std::vector<double> rightSide(numNumbers);
    std::vector<double> move;
    for (int step = 0; step < numSteps; ++step) {
        free.clear();
        for (std::size_t number = 0; number < numNumbers; ++number) {
            FitFilter& filter = filters[number / numFilterNumbers];
            const Bounds bounds = boundsOf(filter.type);
            const std::size_t kind = number % numFilterNumbers;
            const double value = *numbersOf(filter)[kind];
            const double gradient = slopes.gradient[number];
            rightSide[number] = -gradient;
            if ((value > bounds.lowest[kind] || gradient < 0.0)
                && (value < bounds.highest[kind] || gradient > 0.0))
                free.push_back(number);
        }
        bool isLower = false;
        double decrease = 0.0;
        for (int attempt = 0; attempt < 8 && !isLower; ++attempt) {
            if (solveDamped(slopes.curvature, free, damping, rightSide, move)) {
                Filters trial = filters;
                for (std::size_t number = 0; number < numNumbers; ++number)
                    *numbersOf(trial[number / numFilterNumbers])[number % numFilterNumbers] +=
                        move[number];
                for (FitFilter& filter : trial)
                    clamp(filter);
                const double trialCost = problem.cost(trial, excess, trialSlopes);
                isLower = trialCost < cost;
                if (isLower) {
                    decrease = cost - trialCost;
                    cost = trialCost;
                    filters = std::move(trial);
                    std::swap(slopes, trialSlopes);
                }
            }
            damping = isLower ? std::max(0.2 * damping, 1e-8) : 5.0 * damping;
        }
        if (!isLower || decrease < 1e-9 * cost + 1e-14)
            break;
    }
    return {std::move(filters), cost};
}

/** Takes out one filter after the other and looks for a better place for it. */
Solution Search::replaceOneByOne(Solution best, Excess excess) const
{
    for (int round = 0; round < roundsOfReplacing; ++round) {
        bool isBetter = false;
        for (std::size_t filter = 0; filter < best.filters.size(); ++filter) {
            Filters rest = best.filters;
            rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(filter));
            for (const FitFilter& addition : additions(rest, startsPerPlace)) {
                if (isAlike(addition, best.filters[filter]))
                    continue;
                Filters start = rest;
                start.push_back(addition);
                Solution trial = descend(std::move(start), excess, stepsToCompare);
                if (trial.cost > 1.2 * best.cost)
                    continue;
                trial = descend(std::move(trial.filters), excess, stepsToSettle);
                if (trial.cost < best.cost - 1e-6) {
                    best = std::move(trial);
                    isBetter = true;
                    break;
                }
            }
        }
        if (!isBetter)
            break;
    }
    return best;
}

/** Constraints are met to their tolerance only, and at their places only. */
constexpr double constraintMarginDb = 1e-5;

/** What NLopt's callbacks need: filters of a vector of numbers, and the places under constraint.
    Gains are counted in units of 5 dB, which makes slopes by all three numbers alike in size. */
struct ConstrainedProblem {
    const FitProblem& problem;
    Filters filters;
    std::vector<double> squaredHz;
    std::vector<double> mostDb; ///< Of the level, or of the level above its mean.
    std::vector<bool> isLoss;   ///< Which.
    FitProblem::Slopes slopes;

    static double unit(std::size_t number) { return number % numFilterNumbers == 1 ? 5.0 : 1.0; }
    void take(const double* numbers)
    {
        for (std::size_t number = 0; number < numFilterNumbers * filters.size(); ++number)
            *numbersOf(filters[number / numFilterNumbers])[number % numFilterNumbers] =
                numbers[number] * unit(number);
    }
};

double constrainedCost(unsigned numNumbers, const double* numbers, double* gradient, void* data)
{
    auto& own = *static_cast<ConstrainedProblem*>(data);
    own.take(numbers);
    if (gradient == nullptr)
        return own.problem.cost(own.filters, Excess::ignored);
    const double cost = own.problem.cost(own.filters, Excess::ignored, own.slopes);
    for (std::size_t number = 0; number < numNumbers; ++number)
        gradient[number] = own.slopes.gradient[number] * ConstrainedProblem::unit(number);
    return cost;
}

/** One constraint a place; the last one keeps 0 dB from standing too far above the mean. */
void constrainedExcess(unsigned numConstraints, double* excess, unsigned numNumbers,
                       const double* numbers, double* gradient, void* data)
{
    auto& own = *static_cast<ConstrainedProblem*>(data);
    own.take(numbers);
    const std::size_t size = numConstraints - 1;
    std::vector<double> powers(size, 1.0);
    std::vector<double> slopes(numNumbers * size);
    const auto row = [&](std::size_t number) {
        return std::span<double>(slopes).subspan(number * size, size);
    };
    for (std::size_t filter = 0; filter < own.filters.size(); ++filter)
        multiplyPowers(own.filters[filter], own.squaredHz, powers, row(numFilterNumbers * filter),
                       row(numFilterNumbers * filter + 1), row(numFilterNumbers * filter + 2));
    std::vector<double> meanSlopes(numNumbers);
    const double meanDb = own.problem.meanDb(own.filters, meanSlopes);
    for (std::size_t at = 0; at < size; ++at)
        excess[at] = dsp::powerToDb(powers[at]) - own.mostDb[at] - (own.isLoss[at] ? meanDb : 0.0);
    excess[size] = -meanDb - own.problem.ceiling().maxLossDb() + constraintMarginDb;
    if (gradient == nullptr)
        return;
    for (std::size_t number = 0; number < numNumbers; ++number) {
        const double unit = ConstrainedProblem::unit(number);
        for (std::size_t at = 0; at < size; ++at)
            gradient[at * numNumbers + number] =
                unit * (row(number)[at] - (own.isLoss[at] ? meanSlopes[number] : 0.0));
        gradient[size * numNumbers + number] = -unit * meanSlopes[number];
    }
}

/** Sequential quadratic programming (Kraft 1988, 1994) with the limits at some places. */
Filters Search::solveConstrained(const Filters& start, std::span<const BoostPeak> places) const
{
    ConstrainedProblem own {problem, start, {}, {}, {}, {}};
    for (const BoostPeak& place : places) {
        own.squaredHz.push_back(place.frequencyHz * place.frequencyHz);
        own.mostDb.push_back((place.isLoss ? problem.ceiling().maxLossDb()
                                           : problem.ceiling().boostDbAt(place.frequencyHz))
                             - constraintMarginDb);
        own.isLoss.push_back(place.isLoss);
    }
    std::vector<double> numbers;
    std::vector<double> lowest;
    std::vector<double> highest;
    for (FitFilter& filter : own.filters) {
        const Bounds bounds = boundsOf(filter.type);
        for (std::size_t kind = 0; kind < numFilterNumbers; ++kind) {
            const double unit = ConstrainedProblem::unit(kind);
            numbers.push_back(*numbersOf(filter)[kind] / unit);
            lowest.push_back(bounds.lowest[kind] / unit);
            highest.push_back(bounds.highest[kind] / unit);
        }
    }
    const std::unique_ptr<nlopt_opt_s, void (*)(nlopt_opt)> optimiser(
        nlopt_create(NLOPT_LD_SLSQP, static_cast<unsigned>(numbers.size())), nlopt_destroy);
    const std::vector<double> tolerances(places.size() + 1, 1e-7);
    nlopt_set_min_objective(optimiser.get(), constrainedCost, &own);
    nlopt_set_lower_bounds(optimiser.get(), lowest.data());
    nlopt_set_upper_bounds(optimiser.get(), highest.data());
    nlopt_add_inequality_mconstraint(optimiser.get(), static_cast<unsigned>(tolerances.size()),
                                     constrainedExcess, &own, tolerances.data());
    nlopt_set_ftol_rel(optimiser.get(), 1e-8);
    nlopt_set_maxeval(optimiser.get(), 120);
    double cost = 0.0;
    // Whatever ends it, the best point so far is in numbers; the caller looks at it anew.
    nlopt_optimize(optimiser.get(), numbers.data(), &cost);
    own.take(numbers.data());
    for (FitFilter& filter : own.filters)
        clamp(filter);
    return own.filters;
}

/** Makes gains smaller by one factor until nothing stands above the ceiling: the boosts first, then,
    as a shelf that cuts may overshoot, all. */
Filters Search::shrink(const Filters& filters) const
{
    for (const bool boostsOnly : {true, false}) {
        const auto scaled = [&](double factor) {
            Filters changed = filters;
            for (FitFilter& filter : changed)
                if (!boostsOnly || filter.gainDb > 0.0)
                    filter.gainDb *= factor;
            return changed;
        };
        if (problem.excessDb(scaled(0.0)) > 0.0)
            continue;
        // Mostly it is a matter of a tiny step.
        double allowed = 1.0 - 1e-6;
        double refused = 1.0;
        while (allowed > 0.0 && problem.excessDb(scaled(allowed)) > 0.0) {
            refused = allowed;
            allowed = std::max(0.0, 1.0 - 10.0 * (1.0 - allowed));
        }
        for (int step = 0; step < 16; ++step) {
            const double middle = 0.5 * (allowed + refused);
            (problem.excessDb(scaled(middle)) <= 0.0 ? allowed : refused) = middle;
        }
        return scaled(allowed);
    }
    return {};
}

Solution Search::meetCeiling(const Solution& solution) const
{
    Filters filters = solution.filters;
    if (problem.excessDb(filters) > 0.0) {
        // Constraints where the filters stand near a limit; where the solution then comes above one
        // elsewhere, further ones.
        constexpr double nearDb = 1.0;
        std::vector<BoostPeak> places;
        for (int round = 0; round < 6; ++round) {
            const double countsFromDb = round == 0 ? -nearDb : 0.0;
            const std::size_t numBefore = places.size();
            for (const BoostPeak& peak : problem.boostPeaks(filters))
                if (peak.excessDb > countsFromDb)
                    places.push_back(peak);
            if (round > 0 && places.size() == numBefore)
                break;
            filters = solveConstrained(filters, places);
        }
        if (problem.excessDb(filters) > 0.0)
            filters = shrink(filters);
    }
    const double cost = squaredError(filters);
    return {std::move(filters), cost};
}

std::vector<Solution> Search::searchFrom(const std::vector<Filters>& starts, std::size_t numFilters,
                                         Excess excess) const
{
    // Filters without gain need longer until it shows where they go.
    struct Start {
        Filters filters;
        int numSteps = stepsToCompare;
        double damping = boldDamping;
    };
    std::vector<Start> tries;
    for (const Filters& start : starts)
        tries.push_back({start});
    for (const Filters& start : evenStarts(numFilters))
        for (const double damping : {boldDamping, carefulDamping})
            tries.push_back({start, stepsToFinish, damping});
    std::vector<Solution> found(tries.size());
    dsp::runInParallel(found.size(), [&](std::size_t index) {
        Start& start = tries[index];
        found[index] = descend(std::move(start.filters), excess, start.numSteps, start.damping);
    });
    std::ranges::stable_sort(found, {}, &Solution::cost);
    found.resize(std::min(found.size(), startsToSettle));
    dsp::runInParallel(found.size(), [&](std::size_t index) {
        found[index] = descend(std::move(found[index].filters), excess, stepsToSettle);
    });
    std::ranges::stable_sort(found, {}, &Solution::cost);
    // Several starts may have ended in one place.
    const auto isSame = [](const Solution& one, const Solution& other) {
        return other.cost - one.cost < 1e-4 * one.cost;
    };
    found.erase(std::unique(found.begin(), found.end(), isSame), found.end());
    found.resize(std::min(found.size(), startsToFinish));
    dsp::runInParallel(found.size(), [&](std::size_t index) {
        found[index] = descend(replaceOneByOne(std::move(found[index]), excess).filters, excess,
                               stepsToFinish);
    });
    std::ranges::stable_sort(found, {}, &Solution::cost);
    return found;
}

Solution Search::extend(const Solution& previous)
{
    const auto startsFrom = [&](const Filters& filters) {
        std::vector<Filters> starts;
        for (const FitFilter& addition : additions(filters, startsPerFilter)) {
            starts.push_back(filters);
            starts.back().push_back(addition);
        }
        return starts;
    };
    // First as if there were no ceiling: if what comes out keeps to it, nothing can be better.
    unlimited =
        searchFrom(startsFrom(unlimited), unlimited.size() + 1, Excess::ignored).front().filters;
    Solution best = meetCeiling({unlimited, 0.0});
    if (best.filters != unlimited) {
        std::vector<Filters> starts = startsFrom(previous.filters);
        starts.push_back(unlimited);
        starts.push_back(best.filters);
        for (const Solution& found :
             searchFrom(starts, previous.filters.size() + 1, Excess::counted)) {
            // Meeting the ceiling costs something: what is not better before will not be after.
            if (found.cost >= best.cost)
                continue;
            if (Solution other = meetCeiling(found); other.cost < best.cost)
                best = std::move(other);
        }
    }
    return best.cost < previous.cost ? best : previous;
}

Solution Search::prune(Solution solution) const
{
    while (limits.leastBenefitDb > 0.0 && !solution.filters.empty()) {
        std::optional<Solution> least;
        for (std::size_t filter = 0; filter < solution.filters.size(); ++filter) {
            Filters rest = solution.filters;
            rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(filter));
            Solution trial = descend(std::move(rest), Excess::counted, stepsToCompare);
            if (!least || trial.cost < least->cost)
                least = std::move(trial);
        }
        const double mostError = std::sqrt(solution.cost) + limits.leastBenefitDb;
        if (std::sqrt(least->cost) > mostError)
            break;
        Solution fewer =
            meetCeiling(descend(std::move(least->filters), Excess::counted, stepsToFinish));
        if (std::sqrt(fewer.cost) > mostError)
            break;
        solution = std::move(fewer);
    }
    return solution;
}

/** A high shelf is a low shelf of the opposite gain and a change of level, and the level is free. Of
    the two the one is taken that acts on the nearer end, as people expect it, if limits allow. */
Filters Search::withUsualShelves(Filters filters) const
{
    // The middle of the audible range, 20 Hz to 20 kHz, in log frequency.
    const double middleLogHz = 0.5 * (std::log(20.0) + std::log(20000.0));
    std::vector<std::size_t> misplaced;
    for (std::size_t index = 0; index < filters.size(); ++index) {
        const bool isBelow = filters[index].logHz < middleLogHz;
        if (filters[index].type == (isBelow ? ElementType::highShelf : ElementType::lowShelf))
            misplaced.push_back(index);
    }
    // There are two shelves at most: both change places, or one does.
    std::vector<std::vector<std::size_t>> attempts {misplaced};
    for (const std::size_t index : misplaced)
        attempts.push_back({index});
    for (const auto& attempt : attempts) {
        Filters changed = filters;
        bool isAllowed = true;
        for (const std::size_t index : attempt) {
            FitFilter& shelf = changed[index];
            shelf.type = shelf.type == ElementType::lowShelf ? ElementType::highShelf
                                                             : ElementType::lowShelf;
            shelf.gainDb = -shelf.gainDb;
            const FitFilter wanted = shelf;
            clamp(shelf);
            isAllowed = isAllowed && shelf == wanted;
        }
        for (const auto type : {ElementType::lowShelf, ElementType::highShelf})
            isAllowed = isAllowed && std::ranges::count(changed, type, &FitFilter::type) <= 1;
        if (isAllowed && problem.excessDb(changed) <= 0.0)
            return changed;
    }
    return filters;
}

std::string decibels(double levelDb)
{
    return files::fixedText(levelDb, 2) + " dB";
}

dsp::Result<void> checkLimits(const FilterLimits& limits, int numFilters)
{
    const auto check = [](const std::string& name, double value, double lowest,
                          double highest) -> dsp::Result<void> {
        if (value >= lowest && value <= highest)
            return {};
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         name + " is " + files::fixedText(value, 3) + ", but must be from "
                             + files::fixedText(lowest, 2) + " to " + files::fixedText(highest, 2));
    };
    for (const auto& checked :
         {check("number of filters", numFilters, 0.0, mostFilters),
          check("maxBoostDb", limits.maxBoostDb, 0.0, 24.0),
          check("maxCutDb", limits.maxCutDb, 0.0, 24.0),
          check("headroomDb", limits.headroomDb, 0.0, 24.0),
          check("maxLossDb", limits.maxLossDb, 0.0, 60.0), check("minQ", limits.minQ, 0.2, 10.0),
          check("maxQ", limits.maxQ, limits.minQ, 20.0),
          check("fromHz", limits.fromHz, 20.0, 20000.0),
          check("toHz", limits.toHz, limits.fromHz, 20000.0),
          check("leastBenefitDb", limits.leastBenefitDb, 0.0, 10.0)})
        if (!checked)
            return checked;
    return {};
}

} // namespace

dsp::Result<FitResult> fitFilters(std::span<const FitCurve> curves, const FilterLimits& limits,
                                  int numFilters)
{
    assert(!curves.empty());
    if (const auto checked = checkLimits(limits, numFilters); !checked)
        return checked.unexpected();
    const BoostCeiling ceiling(curves, limits.headroomDb, limits.maxLossDb);
    assert(!ceiling.trustedRanges().empty());
    const double fromHz = std::max(limits.fromHz, ceiling.trustedRanges().front().lowerHz);
    const double toHz = std::min(limits.toHz, ceiling.trustedRanges().back().upperHz);
    if (fromHz > toHz)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "fromHz and toHz leave no room for filters: the measurement is trusted "
                         "from "
                             + files::fixedText(ceiling.trustedRanges().front().lowerHz, 0)
                             + " Hz to "
                             + files::fixedText(ceiling.trustedRanges().back().upperHz, 0) + " Hz");

    Search search(curves, ceiling, limits, fromHz, toHz);
    Solution solution {{}, search.squaredError({})};
    Solution kept = solution;
    for (int filter = 0; filter < numFilters; ++filter) {
        const std::size_t numBefore = solution.filters.size();
        solution = search.extend(solution);
        if (solution.filters.size() == numBefore)
            break;
        const Solution pruned = search.prune(solution);
        // More filters never end worse; and they have to bring something.
        const auto numMore =
            static_cast<double>(pruned.filters.size()) - static_cast<double>(kept.filters.size());
        if (pruned.cost < kept.cost
            && std::sqrt(kept.cost) - std::sqrt(pruned.cost)
                   >= std::max(0.0, numMore) * limits.leastBenefitDb)
            kept = pruned;
    }

    FitResult result;
    kept.filters = search.withUsualShelves(std::move(kept.filters));
    std::ranges::stable_sort(kept.filters, {}, &FitFilter::logHz);
    Chain chain;
    for (const FitFilter& filter : kept.filters)
        chain.elements.push_back(elementOf(filter));
    result.numFilters = kept.filters.size();
    result.largestBoostDb = largestBoostDb(kept.filters);
    result.lossDb = result.largestBoostDb - search.meanDb(kept.filters);
    if (result.largestBoostDb > 0.0) {
        Element gain;
        gain.gainDb = -result.largestBoostDb;
        chain.elements.push_back(gain);
    }
    result.tuning.name = "Fitted filters";
    result.tuning.chains.push_back(std::move(chain));
    const LevelDbAt change = levelDbOf(result.tuning);
    result.errorBeforeDb = fitErrorDb(curves, noChangeDb);
    result.errorAfterDb = fitErrorDb(curves, change);
    result.largestBefore = largestDeviation(curves, noChangeDb);
    result.largestAfter = largestDeviation(curves, change);

    for (const FitCurve& curve : curves)
        result.remarks.insert(result.remarks.end(), curve.remarks.begin(), curve.remarks.end());
    if (result.numFilters < static_cast<std::size_t>(numFilters))
        result.remarks.push_back(
            std::to_string(result.numFilters) + " of " + std::to_string(numFilters)
            + (result.numFilters == 1 ? " filters is used" : " filters are used")
            + "; within the limits a further one would lower the error by less than "
            + decibels(limits.leastBenefitDb) + ".");
    constexpr double nearDb = 0.05;
    if (result.numFilters > 0 && result.largestBoostDb > limits.headroomDb - nearDb)
        result.remarks.push_back("The filters together reach the largest boost that is allowed ("
                                 + decibels(limits.headroomDb) + "); more would fit closer.");
    if (result.numFilters > 0 && result.lossDb > limits.maxLossDb - nearDb)
        result.remarks.push_back("The whole becomes as much quieter as is allowed ("
                                 + decibels(limits.maxLossDb) + "); more would fit closer.");
    return result;
}

} // namespace saddletone::tuning
