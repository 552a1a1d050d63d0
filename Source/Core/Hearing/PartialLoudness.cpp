#include "Core/Hearing/PartialLoudness.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

namespace saddletone::hearing {

namespace {

// Filters from 1.8 to 38.9 Cams (50 Hz to 15 kHz) in steps of 0.1: ANSI S3.4-2007, clause 3.5.
constexpr std::size_t numFilters = 372;
constexpr double firstCams = 1.8;
constexpr double stepCams = 0.1;

// From the free field (frontal) to the eardrum and through the middle ear, dB: ANSI S3.4-2007.
constexpr std::size_t numEarPoints = 40;
constexpr std::array<double, numEarPoints> earHz {
    20,   25,   31.5, 40,   50,    63,    80,    100,   125,   160,   200,   250,  315,  400,
    500,  630,  750,  800,  1000,  1250,  1500,  1600,  2000,  2500,  3000,  3150, 4000, 5000,
    6000, 6300, 8000, 9000, 10000, 11200, 12500, 14000, 15000, 16000, 18000, 20000};
constexpr std::array<double, numEarPoints> outerEarDb {
    0,   0,   0,   0,    0,    0,   0,   0,   0.1, 0.3,  0.5,  0.9,  1.4,  1.6,
    1.7, 2.5, 2.7, 2.6,  2.6,  3.2, 5.2, 6.6, 12,  16.8, 15.3, 15.2, 14.2, 10.7,
    7.1, 6.4, 1.8, -0.9, -1.6, 1.9, 4.9, 2,   -2,  2.5,  2.5,  2.5};
constexpr std::array<double, numEarPoints> middleEarDb {
    -39.6, -32,   -25.85, -21.4, -18.5, -15.9, -14.1, -12.4, -11,   -9.6,  -8.3,  -7.4, -6.2, -4.8,
    -3.8,  -3.3,  -2.9,   -2.6,  -2.6,  -4.5,  -5.4,  -6.1,  -8.5,  -10.4, -7.3,  -7,   -6.6, -7,
    -9.2,  -10.2, -12.2,  -10.8, -10.1, -12.7, -15,   -18.2, -23.8, -32.3, -45.5, -50};

// Excitation at the threshold in quiet, dB: ANSI S3.4-2007; constant from 500 Hz up.
constexpr std::size_t numLowPoints = 11;
constexpr std::array<double, numLowPoints> thresholdHz {50,  63,  80,  100, 125, 160,
                                                        200, 250, 315, 400, 500};
constexpr std::array<double, numLowPoints> thresholdExcitationDb {
    28.18, 23.90, 19.20, 15.68, 12.67, 10.09, 8.08, 6.30, 5.30, 4.50, 3.73};

// Linearising constant A and exponent alpha by the low-frequency gain G in dB: ANSI S3.4-2007.
constexpr std::size_t numGainPoints = 23;
constexpr std::array<double, numGainPoints> linearGainDb {
    -24.54531, -23.78397, -22.78169, -19.78305, -16.21055, -11.23866, -9.45902, -7.38338,
    -5.89392,  -4.97718,  -3.62882,  -2.50042,  -1.77405,  -1.57745,  -1.24006, -0.94596,
    -0.75663,  -0.52501,  -0.35451,  -0.18750,  -0.07845,  -0.02470,  0.0};
constexpr std::array<double, numGainPoints> linearConstant {
    8.85200, 8.63150, 8.35840, 7.65258, 6.99954, 6.10719, 5.82490, 5.55322,
    5.36425, 5.25064, 5.10314, 4.98203, 4.90515, 4.88449, 4.84918, 4.81854,
    4.79890, 4.77494, 4.75736, 4.74019, 4.72899, 4.72349, 4.72096};
constexpr std::array<double, 6> exponentGainDb {-25, -20, -15, -10, -5, 0};
constexpr std::array<double, 6> exponents {0.26692, 0.25016, 0.23679, 0.22228, 0.21055, 0.2};

// Signal to noise at a filter's output at the masked threshold, dB: Moore, Glasberg and Baer 1997,
// read from a public implementation's fit; constant from 1 kHz up.
constexpr std::array<double, 14> ratioHz {50,  63,  80,  100, 125, 160, 200,
                                          250, 315, 400, 500, 630, 800, 1000};
constexpr std::array<double, 14> thresholdRatioDb {13.5, 10.0, 7.1,  4.9,  3.1,  1.5,  0.4,
                                                   -0.5, -1.3, -1.9, -2.3, -2.7, -2.9, -3.0};

constexpr double sonesConstant = 0.046871; // ANSI S3.4-2007, one ear
constexpr double highExcitation = 1e10;    // above it another law holds
constexpr double highDivisor = 1.0707;     // ANSI S3.4-2007
constexpr double highExponent = 0.2;

/** Straight lines between points, the end values beyond the ends. */
double interpolate(std::span<const double> positions, std::span<const double> values,
                   double position)
{
    if (position <= positions.front())
        return values.front();
    if (position >= positions.back())
        return values.back();
    const auto index =
        static_cast<std::size_t>(std::ranges::upper_bound(positions, position) - positions.begin());
    const double share =
        (position - positions[index - 1]) / (positions[index] - positions[index - 1]);
    return values[index - 1] + share * (values[index] - values[index - 1]);
}

/** A line of a spectrum as it reaches the cochlea. */
struct CochlearLine {
    double frequencyHz;
    double power;
};

std::vector<CochlearLine> atCochlea(std::span<const SpectralLine> lines)
{
    std::vector<CochlearLine> result;
    result.reserve(lines.size());
    for (const SpectralLine& line : lines)
        result.push_back(
            {line.frequencyHz,
             dsp::dbToPower(line.levelDb + interpolate(earHz, outerEarDb, line.frequencyHz)
                            + interpolate(earHz, middleEarDb, line.frequencyHz))});
    return result;
}

/** Weight of a rounded-exponential filter at a distance of steepness times relative distance. */
double filterWeight(double distance)
{
    // Beyond it the weight is below -200 dB.
    constexpr double farAway = 52.0;
    return distance < farAway ? (1.0 + distance) * std::exp(-distance) : 0.0;
}

/** Steepness of the filter at a frequency for 51 dB per equivalent rectangular bandwidth. */
double steepness(double frequencyHz)
{
    return 4.0 * frequencyHz / erbWidthHz(frequencyHz);
}

/** Level in dB per equivalent rectangular bandwidth around each line, of all lines together. */
std::vector<double> levelsPerErbDb(std::span<const CochlearLine> lines)
{
    std::vector<double> levelsDb;
    levelsDb.reserve(lines.size());
    for (const CochlearLine& centre : lines) {
        const double slope = steepness(centre.frequencyHz);
        double power = 0.0;
        for (const CochlearLine& line : lines)
            power += line.power
                     * filterWeight(slope * std::abs(line.frequencyHz - centre.frequencyHz)
                                    / centre.frequencyHz);
        levelsDb.push_back(dsp::powerToDb(power));
    }
    return levelsDb;
}

using Excitation = std::array<double, numFilters>;

double filterHz(std::size_t filter)
{
    return erbNumberToHz(firstCams + stepCams * static_cast<double>(filter));
}

/** Excitation by some lines, whose levels per bandwidth set the filters' lower slopes. */
Excitation excitationOf(std::span<const CochlearLine> lines, std::span<const double> levelsDb)
{
    constexpr double neutralLevelDb = 51.0;
    constexpr double slopeChangePerDb = 0.35;
    constexpr double flattest = 0.1;
    const double referenceSteepness = steepness(1000.0);
    Excitation excitation {};
    for (std::size_t filter = 0; filter < numFilters; ++filter) {
        const double centreHz = filterHz(filter);
        const double upper = steepness(centreHz);
        for (std::size_t index = 0; index < lines.size(); ++index) {
            const double distance = (lines[index].frequencyHz - centreHz) / centreHz;
            double slope = upper;
            if (distance < 0.0)
                slope = std::max(flattest, upper
                                               - slopeChangePerDb * (upper / referenceSteepness)
                                                     * (levelsDb[index] - neutralLevelDb));
            excitation[filter] += lines[index].power * filterWeight(slope * std::abs(distance));
        }
    }
    return excitation;
}

/** The constants of one filter's specific loudness. */
class SpecificLoudness {
public:
    explicit SpecificLoudness(double frequencyHz)
    {
        const double thresholdDb = interpolate(thresholdHz, thresholdExcitationDb, frequencyHz);
        const double gainDb = thresholdExcitationDb.back() - thresholdDb;
        threshold = dsp::dbToPower(thresholdDb);
        gain = dsp::dbToPower(gainDb);
        constant = interpolate(linearGainDb, linearConstant, gainDb);
        exponent = interpolate(exponentGainDb, exponents, gainDb);
        ratio = dsp::dbToPower(interpolate(ratioHz, thresholdRatioDb, frequencyHz));
    }

    /** Compressed excitation above threshold, without the steeper law below it. */
    [[nodiscard]] double compressed(double excitation) const
    {
        if (excitation > highExcitation)
            return std::pow(excitation / highDivisor, highExponent);
        return std::pow(gain * excitation + constant, exponent) - std::pow(constant, exponent);
    }

    /** In sone per Cam for one ear, of a signal in noise. In quiet (noise 0) this is the specific
        loudness of the standard. */
    [[nodiscard]] double inNoise(double signal, double noise) const
    {
        if (!(signal > 0.0))
            return 0.0;
        const double masked = ratio * noise + threshold; // the signal's own threshold in the noise
        const double both = compressed(signal + noise);
        if (signal >= masked)
            return std::max(0.0, sonesConstant
                                     * (both
                                        - (compressed(noise + masked) - compressed(threshold))
                                              * std::pow(masked / signal, 0.3)));
        const double alone = compressed(noise);
        const double whole = compressed(noise + masked) - alone;
        // Far above 100 dB the difference can be lost in rounding; then nothing is heard.
        if (!(whole > 0.0))
            return 0.0;
        return std::max(0.0, sonesConstant * std::pow(2.0 * signal / (signal + masked), 1.5)
                                 * compressed(threshold) / whole * (both - alone));
    }

private:
    double threshold = 1.0;
    double gain = 1.0;
    double constant = 1.0;
    double exponent = 0.2;
    double ratio = 1.0;
};

/** Both ears: twice the sum over the filters. */
double bothEarsSones(const Excitation& signal, const Excitation& noise)
{
    double sum = 0.0;
    for (std::size_t filter = 0; filter < numFilters; ++filter)
        sum += SpecificLoudness(filterHz(filter)).inNoise(signal[filter], noise[filter]);
    return 2.0 * stepCams * sum;
}

/** Third octaves filled evenly with lines, which stand close against the ear's bandwidth. */
std::vector<SpectralLine> linesOf(const ThirdOctaveSpectrum& sound)
{
    constexpr std::size_t linesPerBand = 10;
    std::vector<SpectralLine> lines;
    for (std::size_t band = 0; band < numThirdOctaves; ++band) {
        if (!(sound.levelsDb[band] > dsp::silenceDb))
            continue;
        const dsp::Band limits = thirdOctave(band);
        const double spacingHz =
            (limits.upperHz - limits.lowerHz) / static_cast<double>(linesPerBand);
        const double levelDb =
            sound.levelsDb[band] - dsp::powerToDb(static_cast<double>(linesPerBand));
        for (std::size_t line = 0; line < linesPerBand; ++line)
            lines.push_back(
                {limits.lowerHz + (static_cast<double>(line) + 0.5) * spacingHz, levelDb});
    }
    return lines;
}

} // namespace

double excitationLoudnessSones(std::span<const SpectralLine> lines)
{
    const auto cochlear = atCochlea(lines);
    return bothEarsSones(excitationOf(cochlear, levelsPerErbDb(cochlear)), Excitation {});
}

double excitationLoudnessSones(const ThirdOctaveSpectrum& sound)
{
    return excitationLoudnessSones(linesOf(sound));
}

PartialLoudness partialLoudness(std::span<const SpectralLine> signal,
                                std::span<const SpectralLine> noise)
{
    PartialLoudness loudness;
    loudness.quietSones = excitationLoudnessSones(signal);
    auto together = atCochlea(signal);
    const auto noiseLines = atCochlea(noise);
    together.insert(together.end(), noiseLines.begin(), noiseLines.end());
    // What both put into a filter shapes it, so that their excitations add.
    const auto levelsDb = levelsPerErbDb(together);
    const std::span lines(together);
    const std::span levels(levelsDb);
    const auto masked =
        bothEarsSones(excitationOf(lines.first(signal.size()), levels.first(signal.size())),
                      excitationOf(lines.subspan(signal.size()), levels.subspan(signal.size())));
    loudness.maskedSones = std::min(masked, loudness.quietSones);
    return loudness;
}

PartialLoudness partialLoudness(const ThirdOctaveSpectrum& programme,
                                const ThirdOctaveSpectrum& noise)
{
    return partialLoudness(linesOf(programme), linesOf(noise));
}

} // namespace saddletone::hearing
