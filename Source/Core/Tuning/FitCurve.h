#pragma once

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/Tuning.h"

#include <cstddef>
#include <functional>
#include <span>
#include <string>
#include <vector>

namespace saddletone::tuning {

/** Where a response is compared with a target. */
struct FitRange {
    double fromHz = 40.0;
    double toHz = 16000.0;

    bool operator==(const FitRange&) const = default;
};

/** One twelfth of an octave of a response and what it should be. */
struct FitPoint {
    double frequencyHz = 0.0;
    double levelDb = 0.0; ///< Power-averaged over the twelfth; inside a narrow dip see NarrowDip.
    double targetDb = 0.0;
    /** 1; 0 where the response is not trusted or the target not known; narrowDipWeight in a narrow
        dip. */
    double weight = 0.0;

    bool operator==(const FitPoint&) const = default;
};

/** A dip that no filter should fill: narrower than a third of an octave at half its depth and more
    than 2 dB below the curve smoothed over a third of an octave. It comes from two paths that
    cancel each other, which more level does not change and a head that moves does. Its points take
    the mean level of what is beside it. */
struct NarrowDip {
    double frequencyHz = 0.0; ///< Deepest point.
    double depthDb = 0.0;     ///< Below the smoothed curve; positive.

    bool operator==(const NarrowDip&) const = default;
};

/** Weight of points inside a narrow dip: what they hold now is a guess from their neighbours.
    Judgement. */
inline constexpr double narrowDipWeight = 0.1;

/** A measured response beside its target, on the grid of exact twelfth-octave frequencies
    (IEC 61260-1): what a fit makes small. */
struct FitCurve {
    std::string name;             ///< Of the response.
    std::vector<FitPoint> points; ///< Ascending; at least one has a weight.
    std::vector<NarrowDip> narrowDips;
    /** Third octaves of the whole audible range in which the response is not trusted. */
    std::vector<dsp::Band> untrustedBands;
    std::vector<std::string> remarks; ///< What was left out and why, in plain words.
};

/** Fails if less than an octave of the range can be used. */
[[nodiscard]] dsp::Result<FitCurve> makeFitCurve(const measure::Response& response,
                                                 const FitTarget& target, const FitRange& range);

/** Level in dB that a change adds at a frequency. */
using LevelDbAt = std::function<double(double frequencyHz)>;

/** No change. */
[[nodiscard]] double noChangeDb(double frequencyHz) noexcept;

/** What a tuning means on an output: the magnitude of its ideal response. */
[[nodiscard]] LevelDbAt levelDbOf(const Tuning& tuning, OutputGroup output = OutputGroup::all);

/** A change's level at each of a curve's points. */
[[nodiscard]] std::vector<double> changeDbAt(const FitCurve& curve, const LevelDbAt& change);

/** level + change - target of each point, the weighted mean taken out: the overall level is free.
    changeDb: one value a point. */
[[nodiscard]] std::vector<double> deviationsDb(const FitCurve& curve,
                                               std::span<const double> changeDb);

/** Root of the weighted mean square of deviationsDb(). */
[[nodiscard]] double curveErrorDb(const FitCurve& curve, std::span<const double> changeDb);

/** The error that fits make small: the root of the mean of the squares of the curves' errors, the
    same change on all of them. At least one curve. */
[[nodiscard]] double fitErrorDb(std::span<const FitCurve> curves, const LevelDbAt& change);

/** Mean deviation over a third octave. */
struct BandDeviation {
    double frequencyHz = 0.0; ///< Exact mid-band.
    double deviationDb = 0.0; ///< Positive: louder than the target.
    std::size_t curve = 0;    ///< Index of the curve.

    bool operator==(const BandDeviation&) const = default;
};

/** Deviations of one curve in those third octaves that have a weight, ascending. */
[[nodiscard]] std::vector<BandDeviation> bandDeviations(const FitCurve& curve,
                                                        const LevelDbAt& change);

/** The largest in magnitude over all curves. */
[[nodiscard]] BandDeviation largestDeviation(std::span<const FitCurve> curves,
                                             const LevelDbAt& change);

} // namespace saddletone::tuning
