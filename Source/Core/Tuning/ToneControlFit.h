#pragma once

#include "Core/Tuning/FitCurve.h"
#include "Core/Tuning/ThirdOctaveCurve.h"
#include "Core/Tuning/ToneControls.h"

#include <span>
#include <vector>

namespace saddletone::tuning {

/** How a radio's tone controls are best set. */
struct ToneControlFit {
    std::vector<int> steps; ///< One for each control of the model.
    Tuning tuning;          ///< The controls that are turned, on all outputs.
    /** What was made small, with all controls at 0 and as set: fitErrorDb(), or the largest
        Straying::sizeDb. */
    double errorBeforeDb = 0.0;
    double errorDb = 0.0;

    bool operator==(const ToneControlFit&) const = default;
};

/** Settings whose errors differ by less are as good as each other: the one with fewer steps away
    from 0 in all is taken, then the one with the smaller error. A tenth of what the best of
    measurements tell. */
inline constexpr double equalErrorDb = 0.01;

/** The setting of the least fitErrorDb() over all curves, by trying every one. At least one
    curve. */
[[nodiscard]] ToneControlFit fitToneControls(std::span<const FitCurve> curves,
                                             const ToneControls& model);

/** The setting whose worst curve strays least from its target, by trying every one. At least one
    curve. */
[[nodiscard]] ToneControlFit fitToneControlsToWorst(std::span<const ThirdOctaveCurve> curves,
                                                    const ToneControls& model);

} // namespace saddletone::tuning
