#include "Core/Seat/HeadphoneCorrection.h"

#include "Core/Dsp/Units.h"
#include "Core/Seat/SpectrumShape.h"

#include <algorithm>
#include <cmath>

namespace saddletone::seat {

namespace {

using files::fixedText;
using files::FrequencyTable;

dsp::Result<void> checkTable(const FrequencyTable& table, const std::string& source)
{
    if (table.frequenciesHz.size() < 3
        || table.frequenciesHz.back() < 2.0 * table.frequenciesHz.front())
        return dsp::fail(dsp::ErrorCode::notTrustworthy,
                         "'" + source
                             + "': a headphone's response or target needs at least three lines "
                               "that reach over an octave or more");
    return {};
}

std::string hertz(double frequencyHz)
{
    return fixedText(frequencyHz, frequencyHz < 100.0 ? 1 : 0) + " Hz";
}

/** What the correction costs in words: where it stays short of the ideal by more than half a
    decibel. */
void remarkOnDifference(HeadphoneCorrection& correction, double maxBoostDb)
{
    std::size_t numShort = 0;
    std::size_t worst = 0;
    for (std::size_t index = 0; index < correction.frequenciesHz.size(); ++index) {
        const double differenceDb = std::abs(correction.differenceDb[index]);
        numShort += differenceDb > 0.5 ? 1 : 0;
        if (differenceDb > std::abs(correction.differenceDb[worst]))
            worst = index;
    }
    if (numShort > 0)
        correction.remarks.push_back(
            "The limits (boost of at most " + fixedText(maxBoostDb, 1)
            + " dB, narrow dips left alone) keep the correction off the ideal inverse by more "
              "than 0.5 dB in "
            + std::to_string(numShort) + " of " + std::to_string(correction.frequenciesHz.size())
            + " twelfths of an octave; by most, " + fixedText(correction.differenceDb[worst], 1)
            + " dB, at " + hertz(correction.frequenciesHz[worst]) + ".");
}

} // namespace

dsp::Result<HeadphoneCorrection> correctHeadphone(const FrequencyTable& response,
                                                  const std::optional<FrequencyTable>& target,
                                                  const HeadphoneCorrectionSettings& settings,
                                                  const std::string& source)
{
    if (const auto check =
            checkFilterLimits("headphone correction", settings.sampleRate, settings.numTaps,
                              settings.maxBoostDb, settings.maxCutDb);
        !check)
        return check.unexpected();
    if (const auto check = checkTable(response, source); !check)
        return check.unexpected();
    if (target)
        if (const auto check = checkTable(*target, source + " (target)"); !check)
            return check.unexpected();

    const double middleDb = middleLevelDb(response) - (target ? middleLevelDb(*target) : 0.0);
    const double fromHz = response.frequenciesHz.front();
    const double toHz = response.frequenciesHz.back();
    // The headphone re its target. Beyond the headphone's table nothing is known, so there both
    // are held and a target that goes on does not ask for more.
    const auto errorDbAt = [&](double frequencyHz) {
        const double inside = std::clamp(frequencyHz, fromHz, toHz);
        return response.levelDbAt(inside) - (target ? target->levelDbAt(inside) : 0.0) - middleDb;
    };

    const std::size_t designSize = designSizeFor(settings.sampleRate);
    const double binHz = settings.sampleRate / static_cast<double>(designSize);
    std::vector<double> power(designSize / 2 + 1);
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = dsp::dbToPower(errorDbAt(static_cast<double>(bin) * binHz));
    // A dip lies below what is beside it on both sides; a slope or the foot of a peak does not.
    const auto below = meanPowerAround(power, 0.5 * dipSmoothingOctaves, 0.0);
    const auto above = meanPowerAround(power, 0.0, 0.5 * dipSmoothingOctaves);
    // H / (H^2 + beta) with beta = max(0, H S - H^2, H / boost - H^2) for the smoothed S.
    std::vector<double> gain(power.size());
    for (std::size_t bin = 0; bin < gain.size(); ++bin)
        gain[bin] = std::clamp(
            1.0 / std::sqrt(std::max(power[bin], std::min(below[bin], above[bin]))),
            dsp::dbToAmplitude(-settings.maxCutDb), dsp::dbToAmplitude(settings.maxBoostDb));

    HeadphoneCorrection correction;
    correction.taps = minimumPhaseTaps(gain, settings.numTaps);
    correction.highestGainDb = keepBelow(settings.maxBoostDb, designSize, correction.taps);
    correction.fromHz = fromHz;
    correction.toHz = toHz;
    correction.frequenciesHz =
        curveFrequencies(20.0, std::min(20000.0, 0.45 * settings.sampleRate));
    const auto magnitudes = magnitudesOf(correction.taps, designSize);
    for (const double frequencyHz : correction.frequenciesHz) {
        const auto bin = static_cast<std::size_t>(std::lround(frequencyHz / binHz));
        correction.idealDb.push_back(-errorDbAt(frequencyHz));
        correction.correctionDb.push_back(dsp::amplitudeToDb(magnitudes[bin]));
        correction.differenceDb.push_back(correction.correctionDb.back()
                                          - correction.idealDb.back());
    }
    if (fromHz > 20.0 || toHz < correction.frequenciesHz.back())
        correction.remarks.push_back("The table reaches from " + hertz(fromHz) + " to "
                                     + hertz(toHz) + "; beyond it the correction is held.");
    remarkOnDifference(correction, settings.maxBoostDb);
    return correction;
}

dsp::Result<HeadphoneCorrection>
loadHeadphoneCorrection(const std::filesystem::path& responseFile,
                        const std::filesystem::path& targetFile,
                        const HeadphoneCorrectionSettings& settings)
{
    const auto response = files::readFrequencyTable(responseFile);
    if (!response)
        return response.unexpected();
    std::optional<FrequencyTable> target;
    if (!targetFile.empty()) {
        const auto table = files::readFrequencyTable(targetFile);
        if (!table)
            return table.unexpected();
        target = *table;
    }
    return correctHeadphone(*response, target, settings, responseFile.string());
}

} // namespace saddletone::seat
