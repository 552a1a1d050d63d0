#include "Core/Hearing/Exposure.h"

#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace saddletone::hearing {

using files::fixedText;

double ExposureCriterion::allowedHours(double levelDba) const noexcept
{
    if (levelDba < thresholdDba || !(levelDba > dsp::silenceDb))
        return std::numeric_limits<double>::infinity();
    return referenceHours / std::exp2((levelDba - criterionDba) / exchangeDb);
}

double ExposureCriterion::allowedDba(double hours) const noexcept
{
    return criterionDba + exchangeDb * std::log2(referenceHours / hours);
}

double ExposureCriterion::timeWeightedAverageDba(double percent) const noexcept
{
    return percent > 0.0 ? criterionDba + averageDbPerDecade * std::log10(percent / 100.0)
                         : dsp::silenceDb;
}

double dosePercent(const ExposureCriterion& criterion, std::span<const Exposure> day) noexcept
{
    double share = 0.0;
    for (const Exposure& part : day)
        share += part.hours / criterion.allowedHours(part.levelDba);
    return 100.0 * share;
}

RideDose rideDose(const ExposureCriterion& criterion, double levelDba, double hours) noexcept
{
    const Exposure ride {levelDba, hours};
    RideDose dose;
    dose.levelDba = levelDba;
    dose.dosePercent = dosePercent(criterion, {&ride, 1});
    dose.hoursToFull = criterion.allowedHours(levelDba);
    dose.timeWeightedAverageDba = criterion.timeWeightedAverageDba(dose.dosePercent);
    return dose;
}

ExposureReport assessExposure(const ExposureRequest& request) noexcept
{
    const double noiseDba = request.noiseDba - request.earPlugDb;
    const double musicPower = request.musicDba > dsp::silenceDb
                                  ? dsp::dbToPower(request.musicDba - request.earPlugDb)
                                  : 0.0;
    const double bothDba = dsp::powerToDb(dsp::dbToPower(noiseDba) + musicPower);
    ExposureReport report;
    report.noiseAlone = rideDose(nioshRel, noiseDba, request.hours);
    report.withMusic = rideDose(nioshRel, bothDba, request.hours);
    report.pelWithMusic = rideDose(oshaPel, bothDba, request.hours);
    report.actionWithMusic = rideDose(oshaHearingConservation, bothDba, request.hours);
    report.allowedDba = nioshRel.allowedDba(request.hours);
    const double room = dsp::dbToPower(report.allowedDba) - dsp::dbToPower(noiseDba);
    report.allowedMusicDba = room > 0.0 ? dsp::powerToDb(room) : dsp::silenceDb;
    report.neededPlugDb = std::max(0.0, bothDba + request.earPlugDb - report.allowedDba);
    return report;
}

namespace {

std::string percentText(double percent)
{
    return fixedText(percent, percent < 10.0 ? 1 : 0) + " %";
}

std::string timeText(double hours)
{
    if (!std::isfinite(hours))
        return "no limit";
    if (hours >= 1.0)
        return hours > 24.0 ? "more than a day" : fixedText(hours, 1) + " h";
    const double minutes = 60.0 * hours;
    return minutes >= 1.0 ? fixedText(minutes, minutes < 10.0 ? 1 : 0) + " min"
                          : fixedText(60.0 * minutes, 0) + " s";
}

} // namespace

std::string exposureGuidance(const ExposureRequest& request, const ExposureReport& report)
{
    const bool music = request.musicDba > dsp::silenceDb;
    std::string text = "noise alone: " + fixedText(report.noiseAlone.levelDba, 1)
                       + " dB(A) at the ear, " + percentText(report.noiseAlone.dosePercent)
                       + " of a NIOSH day in " + timeText(request.hours) + ", 100 % after "
                       + timeText(report.noiseAlone.hoursToFull) + "\n";
    if (music)
        text += "noise and music: " + fixedText(report.withMusic.levelDba, 1)
                + " dB(A) at the ear, " + percentText(report.withMusic.dosePercent)
                + " of a NIOSH day, 100 % after " + timeText(report.withMusic.hoursToFull)
                + "; 8 h average " + fixedText(report.withMusic.timeWeightedAverageDba, 1)
                + " dB(A)\n";
    text += "for comparison, OSHA: " + percentText(report.actionWithMusic.dosePercent)
            + " counted from 80 dB(A) (50 % is the action level), "
            + percentText(report.pelWithMusic.dosePercent) + " of the PEL, counted from 90 dB(A)\n";
    if (report.withMusic.levelDba >= nioshCeilingDba)
        text += "This is above the ceiling of 140 dB(A), at which NIOSH allows no time at all.\n";
    if (report.withMusic.dosePercent > 100.0) {
        text += "What helps: ear plugs that take " + fixedText(std::ceil(report.neededPlugDb), 0)
                + " dB or more in all, as they are worn and not as they are labelled";
        if (request.earPlugDb > 0.0)
            text += " (" + fixedText(request.earPlugDb, 0) + " dB are counted already)";
        if (music) {
            text += report.allowedMusicDba > dsp::silenceDb
                        ? "; or music at no more than "
                              + fixedText(report.allowedMusicDba + request.earPlugDb, 1)
                              + " dB(A) outside the plugs"
                        : std::string("; a smaller music level alone is not enough, as the noise "
                                      "exceeds the day by itself");
        }
        text += "; or less time, a slower ride, a better-sealed helmet or another screen.\n";
    } else if (report.withMusic.dosePercent > 50.0) {
        text += "More than half of a day's dose: ear plugs or a smaller target level leave room "
                "for what else the day brings.\n";
    }
    text += "Guidance by published exposure limits, not medical or legal advice; it adds up the "
            "levels given and knows nothing of the ears. Local law comes first, then what a "
            "licensed professional says; some places forbid plugs or music while riding.\n";
    return text;
}

} // namespace saddletone::hearing
