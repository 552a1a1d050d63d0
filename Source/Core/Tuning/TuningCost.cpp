#include "Core/Tuning/TuningCost.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Tuning/SpeakerExcursion.h"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

namespace saddletone::tuning {

namespace {

using files::fixedText;

constexpr double middleFromHz = 500.0;
constexpr double middleToHz = 2000.0;
// A band belongs to a range if its nominal frequency does; exact centres differ from it by 1 %.
constexpr double nominalTolerance = 1.011;
// A null of a vented box and a narrow filter both lie well between so many points.
constexpr int pointsPerBand = 25;

/** Means over a third octave at even steps over log frequency, which is how pink noise lies. */
struct BandMeans {
    double tuning = 0.0;        ///< |T|^2
    double pressure = 0.0;      ///< |G|^2
    double pressureAfter = 0.0; ///< |G T|^2
    double excursion = 0.0;     ///< |X|^2
    double excursionAfter = 0.0;
};

BandMeans meansOver(const dsp::Band& band, const CostRequest& request)
{
    BandMeans means;
    for (int point = 0; point < pointsPerBand; ++point) {
        const double frequencyHz =
            band.lowerHz
            * std::pow(band.upperHz / band.lowerHz, (point + 0.5) / double {pointsPerBand});
        const double tuned =
            std::norm(idealResponse(request.tuning, request.output, frequencyHz)) / pointsPerBand;
        const double pressure = std::norm(pressureResponse(request.speaker, frequencyHz));
        const double excursion = std::norm(displacementResponse(request.speaker, frequencyHz));
        means.tuning += tuned;
        means.pressure += pressure / pointsPerBand;
        means.pressureAfter += pressure * tuned;
        means.excursion += excursion / pointsPerBand;
        means.excursionAfter += excursion * tuned;
    }
    return means;
}

bool isMiddle(double frequencyHz)
{
    return frequencyHz * nominalTolerance >= middleFromHz
           && frequencyHz <= middleToHz * nominalTolerance;
}

const measure::BandConfidence* trustedBand(const CostRequest& request, double frequencyHz)
{
    if (!request.measured)
        return nullptr;
    for (const measure::BandConfidence& band : request.measured->bands)
        if (band.trusted && std::abs(band.frequencyHz / frequencyHz - 1.0) < 0.01)
            return &band;
    return nullptr;
}

/** What takes a measured level to one re the speaker above its resonance: both agree, in the mean,
    from 500 Hz to 2 kHz. */
double measuredOffsetDb(const CostRequest& request, std::span<const dsp::Band> bands,
                        std::span<const BandMeans> means)
{
    double sum = 0.0;
    double count = 0.0;
    for (std::size_t index = 0; index < bands.size(); ++index) {
        const auto* measured = trustedBand(request, bands[index].centreHz);
        if (measured == nullptr || !isMiddle(bands[index].centreHz))
            continue;
        sum += dsp::powerToDb(means[index].pressure) - measured->levelDb;
        count += 1.0;
    }
    return count > 0.0 ? sum / count : 0.0;
}

double uncertaintyOf(DataStatus status)
{
    switch (status) {
    case DataStatus::measured: return 3.0;
    case DataStatus::dataSheet: return 4.0;
    case DataStatus::assumed: break;
    }
    return 6.0;
}

dsp::Result<void> checkRange(const char* what, double value, double lowest, double highest)
{
    if (value >= lowest && value <= highest)
        return {};
    return dsp::fail(dsp::ErrorCode::outOfRange, std::string(what) + " is " + fixedText(value, 2)
                                                     + ", but must be " + fixedText(lowest, 1)
                                                     + " to " + fixedText(highest, 1));
}

dsp::Result<void> check(const CostRequest& request)
{
    if (const auto applies = checkApplies(request.tuning, request.output); !applies)
        return applies;
    if (const auto level =
            checkRange("the planned level in dB SPL", request.plannedSplDb, 40.0, 130.0);
        !level)
        return level;
    if (const auto distance =
            checkRange("the distance in metres", request.distanceMetres, 0.2, 5.0);
        !distance)
        return distance;
    if (const auto crest = checkRange("the crest factor in dB", request.crestFactorDb, 3.0, 30.0);
        !crest)
        return crest;
    if (const auto power =
            checkRange("the amplifier's power in watts", request.amplifier.powerWatts, 0.1, 5000.0);
        !power)
        return power;
    if (request.measured) {
        const bool hasMiddle =
            std::ranges::any_of(request.measured->bands, [](const measure::BandConfidence& band) {
                return band.trusted && isMiddle(band.frequencyHz);
            });
        if (!hasMiddle)
            return dsp::fail(
                dsp::ErrorCode::notTrustworthy,
                "'" + request.measured->name
                    + "' has no trusted band from 500 Hz to 2 kHz to set the speaker's "
                      "curve against; leave the measured state out or measure again");
    }
    return {};
}

/** Mean squares of one band or of all. */
struct Squares {
    double volts = 0.0;
    double excursionMm = 0.0;
    double pressure = 0.0;

    [[nodiscard]] Squares operator*(const Squares& other) const noexcept
    {
        return {volts * other.volts, excursionMm * other.excursionMm, pressure * other.pressure};
    }
};

DriveState driveState(const CostRequest& request, std::span<const CostBand> bands,
                      std::span<const Squares> squares)
{
    Squares sum;
    for (const Squares& square : squares) {
        sum.volts += square.volts;
        sum.excursionMm += square.excursionMm;
        sum.pressure += square.pressure;
    }
    const Speaker& speaker = request.speaker;
    const double crest = dsp::dbToAmplitude(request.crestFactorDb);
    const auto largest = std::ranges::max_element(squares, {}, &Squares::excursionMm);
    DriveState state;
    state.splDb = pressureToSplDb(std::sqrt(sum.pressure));
    state.wattsPerSpeaker = sum.volts / speaker.nominalImpedanceOhm;
    state.peakVolts = crest * std::sqrt(sum.volts);
    state.peakExcursionMm = crest * std::sqrt(sum.excursionMm);
    state.largestBandHz = bands[static_cast<std::size_t>(largest - squares.begin())].frequencyHz;
    state.excursionMarginDb =
        dsp::amplitudeToDb(speaker.xmaxMm) - dsp::amplitudeToDb(state.peakExcursionMm);
    state.clipMarginDb =
        clipMarginDb(request.amplifier, std::sqrt(sum.volts), request.crestFactorDb);
    state.powerMarginDb =
        dsp::powerToDb(speaker.powerLimitWatts) - dsp::powerToDb(state.wattsPerSpeaker);
    state.splAtExcursionLimitDb = state.splDb + state.excursionMarginDb;
    state.splAtClippingDb = state.splDb + state.clipMarginDb;
    return state;
}

std::vector<ExtraPower> extraPowerOf(std::span<const CostBand> bands)
{
    std::vector<ExtraPower> parts {{0.0, 100.0, 0.0}, {100.0, 1000.0, 0.0}, {1000.0, 20000.0, 0.0}};
    for (const CostBand& band : bands) {
        auto part = parts.begin();
        while (part + 1 != parts.end() && band.frequencyHz * nominalTolerance >= part->toHz)
            ++part;
        part->watts += band.wattsAfter - band.wattsBefore;
    }
    return parts;
}

/** Finds where the boost lies. */
void placeBoost(TuningCost& cost)
{
    const auto largest = std::ranges::max_element(cost.bands, {}, &CostBand::boostDb);
    cost.largestBoostDb = largest->boostDb;
    cost.largestBoostHz = largest->frequencyHz;
    const double half = 0.5 * largest->boostDb;
    auto first = largest;
    while (first != cost.bands.begin() && (first - 1)->boostDb >= half)
        --first;
    auto last = largest;
    while (last + 1 != cost.bands.end() && (last + 1)->boostDb >= half)
        ++last;
    cost.boostFromHz = first->frequencyHz;
    cost.boostToHz = last->frequencyHz;
}

std::string hertz(double frequencyHz)
{
    return dsp::nominalLabel(frequencyHz) + " Hz";
}

std::string signedDb(double valueDb)
{
    return (valueDb >= 0.0 ? "+" : "") + fixedText(valueDb, 1) + " dB";
}

/** Whether a limit is met, in view of the uncertainty. */
std::string marginWords(double marginDb, double uncertaintyDb, const std::string& limit)
{
    if (marginDb >= uncertaintyDb)
        return "stays clear of " + limit;
    if (marginDb >= 0.0)
        return "comes close to " + limit + ", and within the uncertainty may go beyond";
    if (marginDb > -uncertaintyDb)
        return "goes beyond " + limit + " by the figures, though within the uncertainty";
    return "goes beyond " + limit;
}

/** The limit that comes first, then the other. */
std::string limitWords(const DriveState& state)
{
    const auto place = [](double splDb, double marginDb) {
        return fixedText(splDb, 1) + " dB SPL (" + signedDb(marginDb) + " of volume)";
    };
    const std::string cone = place(state.splAtExcursionLimitDb, state.excursionMarginDb);
    const std::string clipping = place(state.splAtClippingDb, state.clipMarginDb);
    return state.excursionMarginDb < state.clipMarginDb
               ? cone + ", where the cone reaches its limit; the amplifier clips at " + clipping
               : clipping + ", where the amplifier clips; the cone reaches its limit at " + cone;
}

std::string enclosureWords(const Speaker& speaker)
{
    const Enclosure& enclosure = speaker.enclosure;
    switch (enclosure.kind) {
    case EnclosureKind::sealed:
        return "in a sealed volume of " + fixedText(enclosure.volumeLitres, 1) + " litres";
    case EnclosureKind::vented:
        return "in a volume of " + fixedText(enclosure.volumeLitres, 1)
               + " litres with a port tuned to " + fixedText(enclosure.tuningHz, 0) + " Hz";
    case EnclosureKind::freeAir: break;
    }
    return "in free air, front and back taken to be kept apart";
}

} // namespace

OutputGroup costedOutput(const Tuning& tuning)
{
    return checkApplies(tuning, OutputGroup::all) ? OutputGroup::all : OutputGroup::left;
}

dsp::Result<TuningCost> computeCost(const CostRequest& request)
{
    if (const auto checked = check(request); !checked)
        return checked.unexpected();
    const Speaker& speaker = request.speaker;
    TuningCost cost;
    cost.sensitivityDbSpl = sensitivityDbSpl(speaker);
    const auto resonance = systemResonance(speaker);
    cost.resonanceHz = resonance.frequencyHz;
    cost.resonanceQ = resonance.q;
    cost.uncertaintyDb = uncertaintyOf(speaker.status);
    cost.hasLimiter = hasLimiter(request.tuning, request.output);

    std::vector<Squares> before;
    std::vector<Squares> after;
    double flatPressure = 0.0;
    const auto thirdOctaves = dsp::thirdOctaveBands();
    std::vector<BandMeans> means;
    for (const dsp::Band& band : thirdOctaves)
        means.push_back(meansOver(band, request));
    const double offsetDb = measuredOffsetDb(request, thirdOctaves, means);
    for (std::size_t index = 0; index < means.size(); ++index) {
        const BandMeans& mean = means[index];
        CostBand costBand;
        costBand.frequencyHz = thirdOctaves[index].centreHz;
        costBand.boostDb = dsp::powerToDb(mean.tuning);
        double pressure = mean.pressure;
        if (const auto* measured = trustedBand(request, costBand.frequencyHz)) {
            const double levelDb = measured->levelDb + offsetDb;
            pressure = dsp::dbToPower(levelDb);
            const double excessDb = levelDb - dsp::powerToDb(mean.pressure);
            if (costBand.frequencyHz * nominalTolerance < middleFromHz)
                costBand.radioBoostDb = std::clamp(excessDb, 0.0, mostRadioBoostDb);
            if (costBand.radioBoostDb > 0.0 && excessDb > cost.measuredExcessDb) {
                cost.measuredExcessDb = excessDb;
                cost.measuredExcessHz = costBand.frequencyHz;
            }
        }
        const double volts = dsp::dbToPower(costBand.radioBoostDb);
        before.push_back({volts, volts * mean.excursion, pressure});
        after.push_back({volts * mean.tuning, volts * mean.excursionAfter,
                         pressure * mean.pressureAfter / mean.pressure});
        flatPressure += pressure;
        cost.bands.push_back(costBand);
    }

    // Up to here for one unit in every band; a speaker that is as loud at all frequencies as above
    // its resonance would need wattsForSpl() for the sum of pressures.
    const double volts = speaker.nominalImpedanceOhm / flatPressure
                         * wattsForSpl(request.plannedSplDb, cost.sensitivityDbSpl,
                                       request.distanceMetres, speaker.numSpeakers);
    const Squares scale {volts, volts * std::pow(staticExcursionMmPerVolt(speaker), 2.0),
                         std::pow(splDbToPressure(request.plannedSplDb), 2.0) / flatPressure};
    const double crest = dsp::dbToAmplitude(request.crestFactorDb);
    for (std::size_t index = 0; index < cost.bands.size(); ++index) {
        CostBand& band = cost.bands[index];
        before[index] = before[index] * scale;
        after[index] = after[index] * scale;
        band.wattsBefore = before[index].volts / speaker.nominalImpedanceOhm;
        band.wattsAfter = after[index].volts / speaker.nominalImpedanceOhm;
        band.excursionBeforeMm = crest * std::sqrt(before[index].excursionMm);
        band.excursionAfterMm = crest * std::sqrt(after[index].excursionMm);
        band.splBeforeDb = pressureToSplDb(std::sqrt(before[index].pressure));
        band.splAfterDb = pressureToSplDb(std::sqrt(after[index].pressure));
    }
    cost.before = driveState(request, cost.bands, before);
    cost.after = driveState(request, cost.bands, after);
    cost.extraWatts = cost.after.wattsPerSpeaker - cost.before.wattsPerSpeaker;
    cost.extraPower = extraPowerOf(cost.bands);
    placeBoost(cost);
    if (cost.measuredExcessDb > mostRadioBoostDb)
        cost.uncertaintyDb = uncertaintyOf(DataStatus::assumed);
    return cost;
}

std::vector<std::string> costSentences(const CostRequest& request, const TuningCost& cost)
{
    const Speaker& speaker = request.speaker;
    const DriveState& before = cost.before;
    const DriveState& after = cost.after;
    const double uncertaintyDb = cost.uncertaintyDb;
    const std::string plusMinus = " (+-" + fixedText(uncertaintyDb, 0) + " dB)";
    std::vector<std::string> sentences;

    sentences.push_back("Level at the rider's head, pink noise, volume left alone: "
                        + fixedText(before.splDb, 1) + " dB SPL before, "
                        + fixedText(after.splDb, 1) + " dB SPL with the tuning.");
    std::string power =
        "Power, mean, of each speaker: " + fixedText(before.wattsPerSpeaker, 2) + " W before, "
        + fixedText(after.wattsPerSpeaker, 2) + " W with the tuning ("
        + signedDb(dsp::powerToDb(after.wattsPerSpeaker) - dsp::powerToDb(before.wattsPerSpeaker))
        + ").";
    power += cost.largestBoostDb > 0.05
                 ? " Largest boost: " + signedDb(cost.largestBoostDb) + " at "
                       + hertz(cost.largestBoostHz) + ", "
                       + fixedText(dsp::dbToPower(cost.largestBoostDb), 1)
                       + " times the power there; half of it or more from "
                       + hertz(cost.boostFromHz) + " to " + hertz(cost.boostToHz) + "."
                 : std::string(" The tuning boosts nowhere.");
    power += " Extra power: " + fixedText(cost.extraPower[0].watts, 2) + " W below 100 Hz, "
             + fixedText(cost.extraPower[1].watts, 2) + " W from 100 Hz to 1 kHz, "
             + fixedText(cost.extraPower[2].watts, 2) + " W above.";
    sentences.push_back(std::move(power));

    sentences.push_back(
        "Amplifier of " + fixedText(request.amplifier.powerWatts, 0) + " W: margin to clipping "
        + signedDb(before.clipMarginDb) + " before, " + signedDb(after.clipMarginDb)
        + " with the tuning" + plusMinus + ", for peaks " + fixedText(request.crestFactorDb, 0)
        + " dB above the mean"
        + (request.crestFactorDb > loudMusicCrestFactorDb
               ? "; loudly mastered music, peaks about " + fixedText(loudMusicCrestFactorDb, 0)
                     + " dB above its mean (judgement), leaves "
                     + fixedText(request.crestFactorDb - loudMusicCrestFactorDb, 0) + " dB more"
               : std::string())
        + ". With the tuning it " + marginWords(after.clipMarginDb, uncertaintyDb, "clipping")
        + ".");
    sentences.push_back("Cone: peaks of " + fixedText(before.peakExcursionMm, 2)
                        + " mm before (most at " + hertz(before.largestBandHz) + "), "
                        + fixedText(after.peakExcursionMm, 2) + " mm with the tuning (most at "
                        + hertz(after.largestBandHz) + "), of " + fixedText(speaker.xmaxMm, 1)
                        + " mm" + plusMinus + ". With the tuning it "
                        + marginWords(after.excursionMarginDb, uncertaintyDb, "its limit") + ".");
    if (after.powerMarginDb < uncertaintyDb)
        sentences.push_back(
            "Heat: the mean power "
            + marginWords(after.powerMarginDb, uncertaintyDb,
                          "the speaker's limit of " + fixedText(speaker.powerLimitWatts, 0) + " W")
            + ".");
    sentences.push_back("Highest level before: " + limitWords(before) + ".");
    sentences.push_back("Highest level with the tuning: " + limitWords(after) + ".");

    std::string data = "Data: speaker '" + speaker.name + "'"
                       + (speaker.invented ? ", an invented one" : "") + ", "
                       + (speaker.status == DataStatus::dataSheet  ? "from its data sheet"
                          : speaker.status == DataStatus::measured ? "measured"
                                                                   : "assumed")
                       + ", " + std::to_string(speaker.numSpeakers) + " alike, "
                       + enclosureWords(speaker) + ".";
    if (!speaker.qms)
        data += " Its mechanical Q is assumed (" + fixedText(assumedQms, 0) + ").";
    sentences.push_back(std::move(data));
    std::string estimate = "Estimate: " + fixedText(cost.sensitivityDbSpl, 1)
                           + " dB SPL for 1 W at 1 m out of these data, "
                           + fixedText(request.distanceMetres, 2)
                           + " m to the head without walls, speakers adding by power, pink noise; "
                             "margins are uncertain by "
                           + fixedText(uncertaintyDb, 0) + " dB (judgement).";
    if (!request.measured)
        estimate += " The radio is taken to be flat: what it boosts by itself costs more.";
    else if (cost.measuredExcessDb > mostRadioBoostDb)
        estimate +=
            " The bike measured " + fixedText(cost.measuredExcessDb, 1)
            + " dB more than the speaker's own curve at " + hertz(cost.measuredExcessHz)
            + ", more than a radio boosts: these are not the data of its speakers, or walls "
              "help. "
            + fixedText(mostRadioBoostDb, 0) + " dB are counted as the radio's boost.";
    else if (cost.measuredExcessDb > 0.05)
        estimate += " The bike measured up to " + fixedText(cost.measuredExcessDb, 1)
                    + " dB more than the speaker's own curve, at " + hertz(cost.measuredExcessHz)
                    + ", which is counted as a boost of the radio's.";
    else
        estimate +=
            " The bike measured no bass beyond the speaker's own curve, so the radio is taken "
            "to be flat.";
    sentences.push_back(std::move(estimate));
    if (cost.hasLimiter)
        sentences.emplace_back("The tuning's limiter is not in these figures; it would hold the "
                               "highest peaks back.");
    return sentences;
}

} // namespace saddletone::tuning
