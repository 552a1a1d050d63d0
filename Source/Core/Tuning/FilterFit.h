#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Tuning/FitCurve.h"
#include "Core/Tuning/Tuning.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace saddletone::tuning {

/** What the filters of a fit may do. */
struct FilterLimits {
    double maxBoostDb = 6.0; ///< Of each filter; 0 to 24.
    double maxCutDb = 12.0;  ///< Of each filter; 0 to 24.
    /** Largest boost of all filters together, 0 to 24: what the whole is turned down by. */
    double headroomDb = 6.0;
    /** How much lower the mean level over the curves may end, that gain included; 0 to 60. */
    double maxLossDb = 6.0;
    double minQ = 0.4;    ///< 0.2 to 10.
    double maxQ = 6.0;    ///< minQ to 20. Shelves: up to maxShelfQ.
    double fromHz = 40.0; ///< Of the filters' frequencies, 20 to 20000.
    double toHz = 16000.0;
    /** A filter without which the error would be larger by less than this is left out. */
    double leastBenefitDb = 0.02;

    bool operator==(const FilterLimits&) const = default;
};

/** Above 0.7071 a shelf overshoots; at 1 by 1.4 dB for a gain of 12 dB. */
inline constexpr double maxShelfQ = 1.0;
inline constexpr int mostFilters = 10;

/** The filters found. */
struct FitResult {
    /** One chain on all speakers: peaking filters, at most one low and one high shelf, ascending,
        and a gain that takes back the largest boost, so that nothing clips that did not before. */
    Tuning tuning;
    std::size_t numFilters = 0;
    double errorBeforeDb = 0.0;
    double errorAfterDb = 0.0;
    BandDeviation largestBefore;
    BandDeviation largestAfter;
    double largestBoostDb = 0.0; ///< Of the filters together; the gain is its opposite.
    double lossDb = 0.0; ///< How much lower the mean level over the curves ends, gain included.
    std::vector<std::string> remarks; ///< Of the curves and of the fit, in plain words.
};

/** Finds at most numFilters (0 to 10) filters that bring all curves closest to their targets.

    More filters never give a larger error; equal arguments give equal results to the bit. Fails if
    a limit is out of range or leaves no room. At least one curve, as makeFitCurve() gives them. */
[[nodiscard]] dsp::Result<FitResult> fitFilters(std::span<const FitCurve> curves,
                                                const FilterLimits& limits, int numFilters);

} // namespace saddletone::tuning
