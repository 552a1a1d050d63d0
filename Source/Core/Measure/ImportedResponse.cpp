#include "Core/Measure/ImportedResponse.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/RecordingChecks.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

namespace saddletone::measure {

namespace {

using files::fixedText;
using files::FrequencyTable;

constexpr double highestRatio = 0.4583;      // of the sample rate: as test signals
constexpr double soundPressureFromDb = 30.0; // a gain from track to recording is smaller
constexpr double widestGapOctaves = 1.0;
constexpr double largestPhaseStep = 2.0 * std::numbers::pi / 3.0;
constexpr double secondsBefore = 0.35;   // as measured responses
constexpr double dynamicRangeDb = 120.0; // of dsp::minimumPhaseImpulse
constexpr double shortestImpulseSeconds = 0.005;
constexpr double longestImpulseSeconds = 2.0;

dsp::Unexpected refuse(const ImportSettings& settings, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "'" + settings.source + "': " + reason);
}

std::string hertz(double frequencyHz)
{
    return fixedText(frequencyHz, frequencyHz < 100.0 ? 1 : 0) + " Hz";
}

/** Mean level of a table from 500 Hz to 2 kHz at even steps over log frequency. */
double middleLevelDb(const FrequencyTable& table)
{
    double sum = 0.0;
    constexpr int numSteps = 49;
    for (int step = 0; step < numSteps; ++step)
        sum += table.levelDbAt(500.0 * std::exp2(2.0 * step / (numSteps - 1)));
    return sum / numSteps;
}

/** Whether a table has lines close enough to a frequency to tell its level. */
bool isCovered(const FrequencyTable& table, double frequencyHz)
{
    const auto above = std::ranges::lower_bound(table.frequenciesHz, frequencyHz);
    if (above == table.frequenciesHz.begin() || above == table.frequenciesHz.end())
        return true; // the range decides at the ends
    return std::log2(*above / *(above - 1)) <= widestGapOctaves;
}

/** Fills in the bands; a band is trusted inside the response's range where isKnown says so. */
template <typename IsKnown>
void fillBands(Response& response, IsKnown isKnown)
{
    const auto bands =
        dsp::octaveBands(3, 20.0, std::min(20000.0, highestRatio * response.sampleRate));
    std::vector<double> centres;
    for (const dsp::Band& band : bands)
        centres.push_back(band.centreHz);
    const auto levelsDb = response.magnitudeDb(centres, 3);
    for (std::size_t index = 0; index < bands.size(); ++index) {
        BandConfidence confidence;
        confidence.frequencyHz = bands[index].centreHz;
        confidence.levelDb = levelsDb[index];
        confidence.snrDb = assumedSnrDb;
        confidence.uncertaintyDb = assumedUncertaintyDb;
        confidence.interval95Db = 1.96 * assumedUncertaintyDb; // of a normal distribution
        // A table that ends at a band's nominal frequency or edge reaches it.
        confidence.trusted = bands[index].lowerHz >= response.fromHz * 0.99
                             && bands[index].upperHz <= response.toHz * 1.01
                             && isKnown(bands[index].centreHz);
        response.bands.push_back(confidence);
    }
    response.snrDb = assumedSnrDb;
    response.remarks.push_back("Imported: uncertainty and noise are not known; "
                               + fixedText(assumedUncertaintyDb, 0)
                               + " dB (one standard deviation) and a signal-to-noise ratio of "
                               + fixedText(assumedSnrDb, 0) + " dB are assumed.");
}

/** Phase in radians that goes on from line to line by less than half a turn. */
std::vector<double> unwrapped(const std::vector<double>& phasesRadians)
{
    std::vector<double> result = phasesRadians;
    for (std::size_t line = 1; line < result.size(); ++line)
        result[line] =
            result[line - 1]
            + std::remainder(phasesRadians[line] - phasesRadians[line - 1], 2.0 * std::numbers::pi);
    return result;
}

/** Without the delay that turns the phase by the same angle for every hertz. */
std::vector<double> withoutDelay(const FrequencyTable& table, const std::vector<double>& phases)
{
    const double slope = (phases.back() - phases.front())
                         / (table.frequenciesHz.back() - table.frequenciesHz.front());
    std::vector<double> result = phases;
    for (std::size_t line = 0; line < result.size(); ++line)
        result[line] -= slope * table.frequenciesHz[line];
    return result;
}

/** Straight over frequency; to the nearest half turn at 0 Hz; the end value above. */
double phaseAt(const FrequencyTable& table, const std::vector<double>& phases, double frequencyHz)
{
    const auto& frequencies = table.frequenciesHz;
    if (frequencyHz >= frequencies.back())
        return phases.back();
    if (frequencyHz <= frequencies.front()) {
        const double atZero = std::numbers::pi * std::round(phases.front() / std::numbers::pi);
        return atZero + (phases.front() - atZero) * frequencyHz / frequencies.front();
    }
    const auto above = static_cast<std::size_t>(std::ranges::upper_bound(frequencies, frequencyHz)
                                                - frequencies.begin());
    const double position =
        (frequencyHz - frequencies[above - 1]) / (frequencies[above] - frequencies[above - 1]);
    return phases[above - 1] + position * (phases[above] - phases[above - 1]);
}

/** Points of the transform that curves are drawn with, a power of two: at most 0.4 Hz apart. */
std::size_t gridSizeFor(double sampleRate)
{
    std::size_t size = 1U << 15U;
    while (sampleRate / static_cast<double>(size) > 0.4)
        size *= 2;
    return size;
}

/** Impulse response of gridSizeFor() taps, time 0 at its first; negative times at its end. */
std::vector<double> gridImpulse(const FrequencyTable& table, const std::vector<double>& phases,
                                double sampleRate)
{
    const std::size_t gridSize = gridSizeFor(sampleRate);
    const double binHz = sampleRate / static_cast<double>(gridSize);
    if (phases.empty()) {
        std::vector<double> magnitude(gridSize / 2 + 1);
        for (std::size_t bin = 0; bin < magnitude.size(); ++bin)
            magnitude[bin] = dsp::dbToAmplitude(table.levelDbAt(static_cast<double>(bin) * binHz));
        return dsp::minimumPhaseImpulse(magnitude);
    }
    dsp::RealFft<double> fft(gridSize);
    for (std::size_t bin = 0; bin < fft.numBins(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        fft.spectrum()[bin] = std::polar(dsp::dbToAmplitude(table.levelDbAt(frequencyHz)),
                                         phaseAt(table, phases, frequencyHz));
    }
    fft.spectrum()[fft.numBins() - 1] = fft.spectrum()[fft.numBins() - 1].real();
    fft.inverse();
    return {fft.time().begin(), fft.time().end()};
}

/** Puts a circular impulse into the response: secondsBefore in front of its time 0 (arrival), and
    so many seconds after it; the last tenth of both is faded. */
void placeImpulse(Response& response, std::span<const double> circular, std::size_t arrival,
                  double secondsAfter)
{
    const double rate = response.sampleRate;
    const auto numBefore = static_cast<std::size_t>(std::lround(secondsBefore * rate));
    const std::size_t numAfter =
        std::min(static_cast<std::size_t>(secondsAfter * rate), circular.size() - numBefore);
    response.arrivalFrame = numBefore;
    response.impulse.assign(numBefore + numAfter, 0.0F);
    for (std::size_t frame = 0; frame < response.impulse.size(); ++frame) {
        const double value =
            circular[(arrival + circular.size() - numBefore + frame) % circular.size()];
        const double fade =
            frame < numBefore
                ? dsp::raisedCosine(10.0 * static_cast<double>(frame)
                                    / static_cast<double>(numBefore))
                : dsp::raisedCosine(10.0 * static_cast<double>(response.impulse.size() - frame)
                                    / static_cast<double>(numAfter));
        response.impulse[frame] = static_cast<float>(fade * value);
    }
}

/** Largest deviation of a response from the table it was made of, in dB, within its range less a
    margin at both ends. */
double deviationDb(const Response& response, const FrequencyTable& table, double marginRatio)
{
    std::vector<double> frequencies;
    constexpr std::size_t mostPoints = 150;
    const std::size_t stride = table.frequenciesHz.size() / mostPoints + 1;
    for (std::size_t line = 0; line < table.frequenciesHz.size(); line += stride)
        if (table.frequenciesHz[line] >= response.fromHz * marginRatio
            && table.frequenciesHz[line] * marginRatio <= response.toHz)
            frequencies.push_back(table.frequenciesHz[line]);
    const auto levelsDb = response.magnitudeDb(frequencies, 0);
    const double highestDb = *std::ranges::max_element(table.levelsDb);
    double largest = 0.0;
    for (std::size_t index = 0; index < frequencies.size(); ++index) {
        const double wantedDb = table.levelDbAt(frequencies[index]);
        // What lies 80 dB below the rest does not decide how long the response is.
        if (wantedDb > highestDb - 80.0)
            largest = std::max(largest, std::abs(levelsDb[index] - wantedDb));
    }
    return largest;
}

/** A response of the shortest length that gives a curve back to 0.05 dB; returns what is left. */
double synthesise(Response& response, const FrequencyTable& table,
                  const std::vector<double>& phases)
{
    // A given phase bends sharply where its table ends, and the curve rings beside that place.
    const double marginRatio = phases.empty() ? 1.0 : 1.2;
    double deviation = 0.0;
    const auto circular = gridImpulse(table, phases, response.sampleRate);
    const auto highest = std::ranges::max_element(
        circular, [](double a, double b) { return std::abs(a) < std::abs(b); });
    // A minimum-phase response begins where it begins; one of known phase about its highest peak.
    const std::size_t arrival =
        phases.empty() ? 0 : static_cast<std::size_t>(highest - circular.begin());
    for (const double secondsAfter : {0.3, 0.6, 1.2, 2.3}) {
        placeImpulse(response, circular, arrival, secondsAfter);
        deviation = deviationDb(response, table, marginRatio);
        if (deviation < 0.05)
            break;
    }
    return deviation;
}

dsp::Result<void> checkSettings(const ImportSettings& settings)
{
    if (!(settings.sampleRate >= 8000.0 && settings.sampleRate <= 384000.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the sample rate of an imported response must be 8000 to 384000 Hz");
    return {};
}

Response emptyResponse(const ImportSettings& settings, double sampleRate)
{
    Response response;
    response.name = settings.name;
    response.state = settings.state;
    response.sampleRate = sampleRate;
    return response;
}

void remarkOnRange(Response& response)
{
    response.remarks.push_back("The table reaches from " + hertz(response.fromHz) + " to "
                               + hertz(response.toHz)
                               + "; beyond it the end values are kept, not to be trusted.");
}

void remarkOnFloor(Response& response, const FrequencyTable& table)
{
    const auto [lowest, highest] = std::ranges::minmax_element(table.levelsDb);
    if (*highest - *lowest > dynamicRangeDb)
        response.remarks.push_back("Levels more than " + fixedText(dynamicRangeDb, 0)
                                   + " dB below the highest were raised to that.");
}

} // namespace

dsp::Result<Response> importTable(const FrequencyTable& original, const ImportSettings& settings)
{
    if (const auto check = checkSettings(settings); !check)
        return check.unexpected();
    const double highestHz = highestRatio * settings.sampleRate;
    if (original.frequenciesHz.size() < 3
        || original.frequenciesHz.back() < 2.0 * original.frequenciesHz.front())
        return refuse(settings, "a response needs a table of at least three lines that reach over "
                                "an octave or more");
    if (original.frequenciesHz[1] > highestHz)
        return refuse(settings, "the table has no two lines below " + hertz(highestHz)
                                    + ", which is as far as a sample rate of "
                                    + hertz(settings.sampleRate) + " reaches");

    Response response = emptyResponse(settings, settings.sampleRate);
    response.fromHz = std::max(1.0, original.frequenciesHz.front());
    response.toHz = std::min(original.frequenciesHz.back(), highestHz);
    response.remarks.push_back("Imported from the table '" + settings.source + "'.");
    FrequencyTable table = original;
    if (const double middleDb = middleLevelDb(table); std::abs(middleDb) > soundPressureFromDb) {
        for (double& levelDb : table.levelsDb)
            levelDb -= middleDb;
        response.remarks.push_back("Levels are relative: the table's mean from 500 Hz to 2 kHz, "
                                   + fixedText(middleDb, 1) + " dB, was set to 0 dB.");
    }

    std::vector<double> phases;
    if (table.phasesRadians.empty()) {
        response.remarks.emplace_back("Phase unknown, made minimum phase.");
    } else {
        phases = unwrapped(table.phasesRadians);
        phases = withoutDelay(table, phases);
        double largestStep = 0.0;
        for (std::size_t line = 1; line < phases.size(); ++line)
            largestStep = std::max(
                largestStep,
                std::abs(std::remainder(table.phasesRadians[line] - table.phasesRadians[line - 1],
                                        2.0 * std::numbers::pi)));
        if (largestStep > largestPhaseStep) {
            phases.clear();
            response.remarks.push_back(
                "The phase turns by up to " + fixedText(largestStep * 180.0 / std::numbers::pi, 0)
                + " degrees from line to line, too far to be followed: phase unknown, made "
                  "minimum phase.");
        } else {
            response.remarks.emplace_back(
                "Phase from the table; a delay common to all frequencies was taken out.");
        }
    }
    remarkOnRange(response);
    if (phases.empty())
        remarkOnFloor(response, table);
    if (const double deviation = synthesise(response, table, phases); deviation > 0.1)
        response.remarks.push_back("The response differs from the table by up to "
                                   + fixedText(deviation, 2)
                                   + " dB, as its lines change faster than it can follow.");
    fillBands(response, [&](double centreHz) { return isCovered(table, centreHz); });
    if (std::ranges::any_of(response.bands, [&](const BandConfidence& band) {
            return band.frequencyHz > response.fromHz && band.frequencyHz < response.toHz
                   && !isCovered(table, band.frequencyHz);
        }))
        response.remarks.emplace_back("Where the table's lines stand more than an octave apart, "
                                      "bands between them are not to be trusted.");
    return response;
}

dsp::Result<Response> importThirdOctaves(const FrequencyTable& table,
                                         const ImportSettings& settings)
{
    if (const auto check = checkSettings(settings); !check)
        return check.unexpected();
    FrequencyTable levels;
    for (std::size_t line = 0; line < table.frequenciesHz.size(); ++line) {
        const double frequencyHz = table.frequenciesHz[line];
        const double centreHz = std::pow(10.0, 0.1 * std::round(10.0 * std::log10(frequencyHz)));
        // Nominal frequencies lie within 1.6 % of the exact ones (ISO 266).
        if (std::abs(frequencyHz / centreHz - 1.0) > 0.02)
            return refuse(settings, hertz(frequencyHz)
                                        + " is no mid-band of a third octave; import a table of "
                                          "other frequencies as a response table");
        if (!levels.frequenciesHz.empty() && centreHz < levels.frequenciesHz.back() * 1.01)
            return refuse(settings, "the band of " + hertz(frequencyHz) + " stands in it twice");
        levels.frequenciesHz.push_back(centreHz);
        levels.levelsDb.push_back(table.levelsDb[line]);
    }
    const double highestHz = highestRatio * settings.sampleRate;
    if (std::ranges::count_if(levels.frequenciesHz,
                              [&](double centreHz) { return centreHz < highestHz; })
        < 3)
        return refuse(settings, "a response needs at least three third-octave bands below "
                                    + hertz(highestHz));

    double sumDb = 0.0;
    int numMiddle = 0;
    for (std::size_t band = 0; band < levels.frequenciesHz.size(); ++band)
        if (levels.frequenciesHz[band] > 490.0 && levels.frequenciesHz[band] < 2050.0) {
            sumDb += levels.levelsDb[band];
            ++numMiddle;
        }
    const bool hasMiddle = numMiddle > 0;
    if (!hasMiddle) {
        for (const double levelDb : levels.levelsDb)
            sumDb += levelDb;
        numMiddle = static_cast<int>(levels.levelsDb.size());
    }
    const double meanDb = sumDb / numMiddle;
    for (double& levelDb : levels.levelsDb)
        levelDb -= meanDb;

    // The curve's points are moved until its mean power in each band is the band's level: a point
    // drawn at the level itself would leave peaks too low and dips too high.
    FrequencyTable curve = levels;
    constexpr int numRounds = 30;
    constexpr int stepsPerBand = 40;
    for (int round = 0; round < numRounds; ++round) {
        const FrequencyTable drawn = curve;
        for (std::size_t band = 0; band < levels.frequenciesHz.size(); ++band) {
            double power = 0.0;
            for (int step = 0; step < stepsPerBand; ++step) {
                const double lower = levels.frequenciesHz[band] * std::pow(10.0, -0.05);
                const double upper = levels.frequenciesHz[band] * std::pow(10.0, 0.05);
                power += dsp::dbToPower(
                    drawn.levelDbAt(lower + (step + 0.5) / stepsPerBand * (upper - lower)));
            }
            curve.levelsDb[band] += levels.levelsDb[band] - dsp::powerToDb(power / stepsPerBand);
        }
    }

    Response response = emptyResponse(settings, settings.sampleRate);
    response.fromHz = std::max(1.0, levels.frequenciesHz.front() * std::pow(10.0, -0.05));
    response.toHz = std::min(levels.frequenciesHz.back() * std::pow(10.0, 0.05), highestHz);
    response.remarks.push_back("Imported from third-octave levels, '" + settings.source
                               + "', taken as those of pink noise.");
    response.remarks.push_back("Levels are relative: the mean "
                               + std::string(hasMiddle ? "from 500 Hz to 2 kHz" : "of all bands")
                               + ", " + fixedText(meanDb, 1) + " dB, was set to 0 dB.");
    response.remarks.emplace_back(
        "Phase unknown, made minimum phase. Nothing narrower than a third octave is known.");
    remarkOnRange(response);
    remarkOnFloor(response, curve);
    // Third octaves are too coarse to ask for more than the longest response gives.
    [[maybe_unused]] const double deviation = synthesise(response, curve, {});
    fillBands(response, [&](double centreHz) {
        return std::ranges::any_of(levels.frequenciesHz, [&](double knownHz) {
            return std::abs(knownHz / centreHz - 1.0) < 0.02;
        });
    });
    return response;
}

dsp::Result<Response> importImpulse(const dsp::AudioBuffer& audio, const ImportSettings& settings)
{
    if (settings.channel && *settings.channel >= audio.numChannels())
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "'" + settings.source + "' has " + std::to_string(audio.numChannels())
                             + " channel(s), not " + std::to_string(*settings.channel + 1)
                             + "; channels count from 1");
    const std::span<const float> chosen =
        settings.channel ? std::span(audio.channels[*settings.channel]) : loudestChannel(audio);
    const std::vector<double> samples(chosen.begin(), chosen.end());
    double peak = 0.0;
    for (const double sample : samples)
        peak = std::max(peak, std::abs(sample));
    if (peak < 1e-9)
        return refuse(settings, "the impulse response is silent");

    const auto start = static_cast<std::size_t>(
        std::ranges::find_if(samples, [&](double sample) { return std::abs(sample) >= 0.1 * peak; })
        - samples.begin());
    const double rate = audio.sampleRate;
    const std::size_t searchEnd =
        std::min(samples.size(), start + 1 + static_cast<std::size_t>(0.001 * rate));
    std::size_t arrival = start;
    for (std::size_t frame = start; frame < searchEnd; ++frame)
        if (std::abs(samples[frame]) > std::abs(samples[arrival]))
            arrival = frame;
    const double secondsAfter = static_cast<double>(samples.size() - arrival) / rate;
    if (secondsAfter < shortestImpulseSeconds)
        return refuse(settings, "the impulse response ends " + fixedText(1000.0 * secondsAfter, 1)
                                    + " ms after its arrival; at least 5 ms are needed");

    Response response = emptyResponse(settings, rate);
    const std::size_t first =
        arrival - std::min(arrival, static_cast<std::size_t>(secondsBefore * rate));
    const std::size_t last =
        std::min(samples.size(), arrival + static_cast<std::size_t>(longestImpulseSeconds * rate));
    response.arrivalFrame = arrival - first;
    response.impulse.reserve(last - first);
    const auto numFaded = static_cast<double>(last - arrival) / 10.0;
    for (std::size_t frame = first; frame < last; ++frame) {
        // Only what is cut off is faded; a response that has died away by itself stays as it is.
        const double fade = last < samples.size()
                                ? dsp::raisedCosine(static_cast<double>(last - frame) / numFaded)
                                : 1.0;
        response.impulse.push_back(static_cast<float>(fade * samples[frame]));
    }
    // A stretch of T seconds tells frequencies apart that differ by 1 / T, and none below.
    const double lowestHz = 1.0 / std::min(secondsAfter, longestImpulseSeconds);
    response.fromHz = std::max(20.0, lowestHz);
    response.toHz = std::min(20000.0, highestRatio * rate);
    response.remarks.push_back(
        "Imported from the impulse response '" + settings.source + "'"
        + (audio.numChannels() > 1 && !settings.channel ? ", its loudest channel." : "."));
    if (lowestHz > 20.0)
        response.remarks.push_back("It lasts " + fixedText(secondsAfter, 3)
                                   + " s after its arrival: to be trusted from " + hertz(lowestHz)
                                   + " on.");
    if (last < samples.size())
        response.remarks.push_back("What comes more than " + fixedText(longestImpulseSeconds, 0)
                                   + " s after its arrival was left out.");
    fillBands(response, [](double) { return true; });
    return response;
}

} // namespace saddletone::measure
