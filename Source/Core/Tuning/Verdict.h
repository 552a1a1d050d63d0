#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/FilterFit.h"
#include "Core/Tuning/FitTarget.h"
#include "Core/Tuning/ThirdOctaveCurve.h"
#include "Core/Tuning/ToneControls.h"
#include "Core/Tuning/Tuning.h"

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::tuning {

/** What it may take, the least first. */
enum class Means { nothing, toneControls, otherProfile, otherProfileAndToneControls, dsp };

inline constexpr std::array allMeans {Means::nothing, Means::toneControls, Means::otherProfile,
                                      Means::otherProfileAndToneControls, Means::dsp};

/** Name of a means in files: "other-profile". */
[[nodiscard]] std::string_view meansName(Means means) noexcept;

/** Which states have to be good enough. Parked: standing, engine off; running: all others. */
enum class CountedStates { parked, running, parkedAndRunning };

/** What is good enough: Straying::sizeDb of every state that counts is at most withinDb. */
struct Sufficiency {
    double withinDb = 3.0; ///< 0.5 to 20.
    double fromHz = 80.0;  ///< 20 to 20000, at least an octave below toHz.
    double toHz = 12000.0;
    FitTarget target; ///< Flat unless set.
    CountedStates counted = CountedStates::parkedAndRunning;
};

struct VerdictRequest {
    std::vector<measure::Response> states;
    std::string currentProfile; ///< In use now; empty: the only one measured.
    std::optional<ToneControls> toneControls;
    Sufficiency sufficiency;
    FilterLimits filterLimits; ///< Of the DSP.
    int maxFilters = mostFilters;
};

/** How a means stands to what is good enough. */
enum class Standing {
    sufficient,
    /** As far as measured; but a state that counts was not measured. */
    open,
    insufficient,
    unavailable ///< Nothing to judge it by.
};

/** Name of a standing in files. */
[[nodiscard]] std::string_view standingName(Standing standing) noexcept;

/** What came of one means, with the profile and the setting that suit it best. */
struct MeansResult {
    Means means = Means::nothing;
    Standing standing = Standing::unavailable;
    std::string profile;
    /** The measurements' uncertainty (95 %) reaches across the limit. */
    bool isJust = false;
    std::optional<Straying> parked;  ///< Of the worst state; none where not measured.
    std::optional<Straying> running; ///< The same.
    /** Bands of the range that did not count in every state, as they cannot be trusted. */
    std::vector<double> untrustedHz;
    std::vector<int> toneSteps;   ///< Where tone controls take part.
    std::optional<Tuning> tuning; ///< Tone controls or filters found.
    std::size_t numFilters = 0;   ///< DSP: the fewest that suffice, or the best found.
    /** DSP: what no setting can fall below, as it acts on the parked and on the running curve alike:
        a quarter of the span of their difference. 0 where one of them was not measured. */
    double leastPossibleDb = 0.0;
    std::string reason; ///< In plain words.
};

/** A DSP set while parked, taken on the road. */
struct ParkedDsp {
    std::string profile;
    std::size_t numFilters = 0;
    Tuning tuning;
    Straying parked;
    Straying running;
    bool holds = false; ///< Good enough with the engine running.
    std::string reason; ///< In plain words.
};

/** What a bike takes. */
struct Verdict {
    std::vector<MeansResult> means; ///< One of each, in their order.
    /** Index of the smallest sufficient means; where there is none, of the smallest open one. */
    std::optional<std::size_t> chosen;
    /** Of the profile in use, or of the one that the DSP means takes; none unless that was measured
        parked and running. */
    std::optional<ParkedDsp> parkedDsp;
    std::string sentence;           ///< The verdict in plain words.
    std::vector<std::string> notes; ///< What it does not cover, the gravest first.
};

/** Finds the smallest sufficient means. Tone controls are tried at every setting, filters are
    fitted to all states that count together, from one filter to maxFilters until they suffice; both
    are judged by their analogue prototypes.

    A state of which fewer than half of the bands can be trusted counts as not measured. Nothing is
    concluded about what was not measured.

    Fails where no verdict can be given: no state, an unknown profile in use, no state that counts
    of it, a limit out of range. */
[[nodiscard]] dsp::Result<Verdict> giveVerdict(const VerdictRequest& request);

} // namespace saddletone::tuning
