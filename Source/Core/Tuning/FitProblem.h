#pragma once

#include "Core/Tuning/FitCurve.h"
#include "Core/Tuning/FitFilter.h"

#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::tuning {

/** What all filters of a fit together may do.

    Boost: up to the headroom where any curve is trusted; beyond, the limit falls by
    untrustedSlopeDbPerOctave to untrustedBoostDb.
    Loss: as the whole is turned down by its largest boost, filters could lift a place without limit
    by lowering everything else. So no place, and not 0 dB, may stand above the mean level of the
    filters by more than the largest loss. */
class BoostCeiling {
public:
    BoostCeiling(std::span<const FitCurve> curves, double headroomDb, double maxLossDb);

    /** Limit of the level, whatever its mean. */
    [[nodiscard]] double boostDbAt(double frequencyHz) const;
    /** Limit of the level above its mean. */
    [[nodiscard]] double maxLossDb() const noexcept { return maxLoss; }
    [[nodiscard]] bool isTrustedAt(double frequencyHz) const;
    /** Where any curve is trusted, neighbours joined, ascending. */
    [[nodiscard]] const std::vector<dsp::Band>& trustedRanges() const noexcept { return ranges; }

private:
    [[nodiscard]] double octavesFromTrusted(double frequencyHz) const;

    std::vector<dsp::Band> ranges;
    double headroom;
    double maxLoss;
    // What is beyond the audible range belongs to its outermost band.
    double lowestHz = 0.0;
    double highestHz = 0.0;
};

/** Boost may reach into bands that no measurement is trusted in as a filter's flank only.
    Judgement. */
inline constexpr double untrustedBoostDb = 0.5;
inline constexpr double untrustedSlopeDbPerOctave = 24.0;

/** Level of filters together at a frequency. */
[[nodiscard]] double filtersLevelDb(std::span<const FitFilter> filters, double frequencyHz);

/** The most that filters together add anywhere from 10 Hz to 24 kHz; at least 0. */
[[nodiscard]] double largestBoostDb(std::span<const FitFilter> filters);

/** A place where filters together come closest to the ceiling, or above it. */
struct BoostPeak {
    double frequencyHz = 0.0;
    double levelDb = 0.0;
    double excessDb = 0.0; ///< Above the lower of both limits; below 0: so much room.
    bool isLoss = false;   ///< The lower limit is that of the loss.
};

/** The square of a fit's error as a function of its filters, with slopes. What is beyond the ceiling
    can count too, so that a search without constraints stays near what is allowed. */
class FitProblem {
public:
    enum class Excess { ignored, counted };

    /** Slopes of the cost by the filters' numbers: logHz, gainDb, logQ of the first, and so on. */
    struct Slopes {
        std::vector<double> gradient;
        /** Second slopes by Gauss and Newton, n by n, on and below the diagonal. */
        std::vector<double> curvature;
        std::vector<double> levels; ///< Scratch: slope of every level by every number.
    };

    /** curves: at least one. */
    FitProblem(std::span<const FitCurve> curves, const BoostCeiling& ceiling);

    [[nodiscard]] double cost(std::span<const FitFilter> filters, Excess excess) const;
    [[nodiscard]] double cost(std::span<const FitFilter> filters, Excess excess,
                              Slopes& slopes) const;

    /** Mean level of filters over the curves' points, and its slopes. */
    [[nodiscard]] double meanDb(std::span<const FitFilter> filters) const;
    [[nodiscard]] double meanDb(std::span<const FitFilter> filters,
                                std::span<double> gradient) const;

    /** Every place from 10 Hz to 24 kHz where the filters together come closest to the ceiling:
        looked for in forty-eighths of an octave, then closed in on. */
    [[nodiscard]] std::vector<BoostPeak> boostPeaks(std::span<const FitFilter> filters) const;
    /** The largest excess of all limits; 0 or less: all are kept. */
    [[nodiscard]] double excessDb(std::span<const FitFilter> filters) const;

    [[nodiscard]] const BoostCeiling& ceiling() const noexcept { return limit; }
    /** The frequencies of the problem that have a weight, squared, ascending. */
    [[nodiscard]] std::span<const double> weightedSquaredHz() const noexcept
    {
        return squaredHz().first(numWeighted);
    }
    /** Their weights, which sum to 1, and the weighted deviations left by filters. */
    [[nodiscard]] std::span<const double> weights() const noexcept
    {
        return std::span(weight).first(numWeighted);
    }
    [[nodiscard]] std::vector<double>
    weightedDeviationsDb(std::span<const FitFilter> filters) const;

private:
    struct Curve {
        std::vector<double> levelDb; ///< Less the target; 0 where the curve has no point.
        std::vector<double> share;   ///< Of the weight; the sum is 1.
    };
    /** Cost with what its slopes are made of, by the level at each frequency. */
    struct Sums {
        double cost = 0.0;
        std::vector<double> slope;         ///< Half of the first slope.
        std::vector<double> curvature;     ///< Half of the second.
        std::vector<double> lossCurvature; ///< The part of it that counts from the mean.
        double lossSum = 0.0;              ///< Sum of that, with the limit at 0 dB.
    };

    [[nodiscard]] std::span<const double> squaredHz() const noexcept { return squares; }
    [[nodiscard]] std::size_t usedSize(Excess excess) const noexcept
    {
        return excess == Excess::counted ? squares.size() : numWeighted;
    }
    /** Level of filters at the first so many frequencies. */
    [[nodiscard]] std::vector<double> changeDb(std::span<const FitFilter> filters,
                                               std::size_t size) const;
    [[nodiscard]] Sums addUp(std::span<const double> changeDb, Excess excess) const;

    BoostCeiling limit;
    std::vector<double> gridHz; ///< Where the ceiling is looked at closely.
    std::vector<double> gridBoostDb;
    std::vector<double> squares; ///< Of frequencies; those with a weight first.
    std::size_t numWeighted = 0;
    std::vector<double> boostDb;
    std::vector<double> weight;
    std::vector<Curve> curves;
};

} // namespace saddletone::tuning
