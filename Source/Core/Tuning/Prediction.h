#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/GroupedStates.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/Tuning.h"

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::tuning {

/** The response expected after a tuning: impulse and band levels with what the tuning means (its
    prototypes), uncertainty and trust as measured, a remark that it is predicted. Distortion is
    left out, as it does not follow from the tuning. Refuses what checkApplies() does. */
[[nodiscard]] dsp::Result<measure::Response>
predictResponse(const measure::Response& measured, const Tuning& tuning, OutputGroup output);

/** The same for speaker groups that were measured one by one: each after the chains of its own
    speakers, and all of them together, each playing the same. */
[[nodiscard]] dsp::Result<measure::Response> predictResponse(const measure::GroupedStates& groups,
                                                             const Tuning& tuning);

/** What counts when a measurement is set against a prediction. */
enum class LevelRule {
    free,   ///< The difference all bands share is taken out: volume or recorder may have moved.
    counted ///< Volume step and recorder were left alone.
};

struct VerifySettings {
    double fromHz = 50.0;
    double toHz = 15000.0;
    LevelRule level = LevelRule::free;
    /** Less is not worth doing the work again: judgement, as for comparisons of states. */
    double toleranceDb = 1.0;
};

enum class PredictionVerdict {
    confirmed, ///< Every band within the two measurements' own uncertainty.
    close,     ///< Not that, but every band within the tolerance.
    failed,    ///< At least one band is beyond both.
    unclear    ///< Too few bands may be relied on in both measurements.
};

/** Name of a verdict in files and messages. */
[[nodiscard]] std::string_view predictionVerdictName(PredictionVerdict verdict) noexcept;

struct VerifiedBand {
    double frequencyHz = 0.0;
    double predictedDb = 0.0;
    double measuredDb = 0.0;
    double differenceDb = 0.0; ///< Measured minus predicted, by the level rule.
    double allowedDb = 0.0;    ///< What both measurements' uncertainty explains.
    bool trusted = false;      ///< In both.

    bool operator==(const VerifiedBand&) const = default;
};

/** A measurement set against a prediction. Uncertainty: the standard deviations of both
    measurements and the repeatability of a microphone put up anew (0.25 dB, judgement) in
    quadrature, times what keeps all bands together inside in 95 of 100 cases (Sidak 1967). */
struct Verification {
    std::vector<VerifiedBand> bands; ///< Third octaves in the range.
    std::size_t numBands = 0;        ///< Trusted in both.
    double levelDifferenceDb = 0.0;  ///< Shared by all bands: measured minus predicted.
    double largestDb = 0.0;          ///< Signed; trusted bands.
    double largestAtHz = 0.0;
    double rmsDb = 0.0;
    /** The band furthest beyond its allowed difference, or closest to it. */
    double worstDb = 0.0;
    double worstAtHz = 0.0;
    double worstAllowedDb = 0.0;
    PredictionVerdict verdict = PredictionVerdict::unclear;
};

[[nodiscard]] Verification verifyPrediction(const measure::Response& predicted,
                                            const measure::Response& after,
                                            const VerifySettings& settings);

/** Verdict, differences and level in plain words. */
[[nodiscard]] std::vector<std::string> verificationSentences(const Verification& verification,
                                                             const VerifySettings& settings);

} // namespace saddletone::tuning
