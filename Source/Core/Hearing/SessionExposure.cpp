#include "Core/Hearing/SessionExposure.h"

#include "Core/Dsp/Units.h"

namespace saddletone::hearing {

namespace {

constexpr double secondsPerHour = 3600.0;

} // namespace

void SessionExposure::add(double levelDba, double seconds) noexcept
{
    // Written so that NaN counts as quiet.
    if (!(levelDba >= quietDba) || !(seconds > 0.0))
        return;
    soundSeconds += seconds;
    powerSeconds += dsp::dbToPower(levelDba) * seconds;
    const Exposure part {levelDba, seconds / secondsPerHour};
    dosePercentSum += dosePercent(nioshRel, {&part, 1});
}

SessionExposure SessionExposure::since(const SessionExposure& earlier) const noexcept
{
    SessionExposure part;
    part.soundSeconds = soundSeconds - earlier.soundSeconds;
    part.powerSeconds = powerSeconds - earlier.powerSeconds;
    part.dosePercentSum = dosePercentSum - earlier.dosePercentSum;
    return part;
}

double SessionExposure::averageDba() const noexcept
{
    return soundSeconds > 0.0 ? dsp::powerToDb(powerSeconds / soundSeconds) : dsp::silenceDb;
}

} // namespace saddletone::hearing
