#pragma once

#include "Core/Hearing/Exposure.h"

namespace saddletone::hearing {

/** What has reached an ear so far: how long, how loud on average, and what of a day's dose that is.

    Fed with the A-weighted level, time weighting S, at least a few times a second. */
class SessionExposure {
public:
    /** Below this nothing counts as heard, and time does not run; judgement: a quiet room. */
    static constexpr double quietDba = 40.0;

    /** So many seconds at a level; less than none, or a level that is no number, count nothing. */
    void add(double levelDba, double seconds) noexcept;
    /** What came after an earlier state of the same session. */
    [[nodiscard]] SessionExposure since(const SessionExposure& earlier) const noexcept;

    [[nodiscard]] double seconds() const noexcept { return soundSeconds; }
    /** Equivalent continuous level over seconds(); dsp::silenceDb where there was nothing. */
    [[nodiscard]] double averageDba() const noexcept;
    /** Of a day by NIOSH, see nioshRel. */
    [[nodiscard]] double nioshDosePercent() const noexcept { return dosePercentSum; }

    bool operator==(const SessionExposure&) const = default;

private:
    double soundSeconds = 0.0;
    double powerSeconds = 0.0; // of 10^(L/10)
    double dosePercentSum = 0.0;
};

} // namespace saddletone::hearing
