#pragma once

#include "Core/Tuning/FitCurve.h"
#include "Plugin/TuningDocument.h"

#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace saddletone::plugin {

/** What a candidate's tuning adds at a frequency, in dB: left and right as they are applied, averaged
    in power; of speaker groups what it does to their sum, each playing the same. */
[[nodiscard]] tuning::LevelDbAt appliedLevelDbOf(const DraftCandidate& candidate);

/** Makes the curves of the tuning plot. Measurements are averaged over twelfths of an octave once and
    remembered, so that the picture keeps up with a drag. */
class TuningCurveMaker {
public:
    TuningCurveMaker();

    /** Forgets the measurements of another job. */
    void reset();
    void setTarget(tuning::FitTarget newTarget, tuning::FitRange newRange);
    [[nodiscard]] const tuning::FitTarget& target() const noexcept { return wanted; }
    [[nodiscard]] const tuning::FitRange& range() const noexcept { return fitRange; }

    /** beside: indices of candidates that are shown beside the edited one. */
    [[nodiscard]] std::shared_ptr<const gui::TuningCurves>
    make(const TuningDocument& document, std::size_t edited, std::span<const std::size_t> beside);

private:
    struct Measured {
        std::shared_ptr<const measure::Response> response;
        std::vector<double> levelsDb;
        std::vector<bool> isTrusted;
        double meanDb = 0.0; ///< Of the trusted points.
        /** Against the target; nothing: not made yet. */
        std::optional<dsp::Result<tuning::FitCurve>> curve;
    };

    [[nodiscard]] Measured& measuredOf(const std::shared_ptr<const measure::Response>& response);
    [[nodiscard]] std::vector<double> predictedDb(const Measured& measured,
                                                  const tuning::LevelDbAt& change) const;
    void addTarget(Measured& measured, const tuning::LevelDbAt& change,
                   gui::TuningCurves& curves) const;

    std::vector<double> frequenciesHz;
    tuning::FitTarget wanted;
    tuning::FitRange fitRange;
    std::vector<Measured> known;
};

} // namespace saddletone::plugin
