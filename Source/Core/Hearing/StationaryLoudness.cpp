#include "Core/Hearing/StationaryLoudness.h"

#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>

namespace saddletone::hearing {

namespace {

constexpr std::size_t firstBand = 1; // 25 Hz among the third octaves from 20 Hz
constexpr std::size_t numLowBands = 11;
constexpr std::size_t numCriticalBands = 20;
constexpr double highestLowLevelDb = 120.0;

// Equal-loudness corrections of the bands from 25 to 250 Hz. A band takes the first row in which
// its level does not exceed the limit less the correction.
constexpr std::size_t numLevelRows = 8;
constexpr std::array<double, numLevelRows> rowLimitsDb {45, 55, 65, 71, 80, 90, 100, 120};
constexpr std::array<std::array<double, numLowBands>, numLevelRows> lowCorrectionsDb {{
    {-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0},
    {-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0},
    {-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0},
    {-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0},
    {-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0},
    {-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0},
    {-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0},
    {-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0},
}};

using CriticalBands = std::array<double, numCriticalBands>;

constexpr CriticalBands quietThresholdDb {30, 18, 12, 8, 7, 6, 5, 4, 3, 3,
                                          3,  3,  3,  3, 3, 3, 3, 3, 3, 3};
constexpr CriticalBands earTransmissionDb {0,    0,    0,    0,    0,    0,  0,    0, 0, 0,
                                           -0.5, -1.6, -3.2, -5.4, -5.6, -4, -1.5, 2, 5, 12};
constexpr CriticalBands diffuseFieldDb {0, 0,    0.5, 0.9,  1.2, 1.6, 2.3, 2.8, 3,   2,
                                        0, -1.4, -2,  -1.9, -1,  0.5, 3,   4,   4.3, 4};
constexpr CriticalBands bandwidthDb {-0.25, -0.6, -0.8, -0.8, -0.5, 0,   0.5, 1.1, 1.5, 1.7,
                                     1.8,   1.8,  1.7,  1.6,  1.4,  1.2, 0.8, 0.5, 0,   -0.5};

// Upper ends of the critical bands in Bark; the last one only takes the slopes up to 24 Bark.
constexpr std::array<double, numCriticalBands + 1> upperEndsBark {
    0.9,  1.8,  2.8,  3.5,  4.4,  5.4,  6.6,  7.9,  9.2,  10.6, 12.3,
    13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24.0};

// Upper slopes in sone per Bark per Bark: rows by specific loudness, columns by critical band.
constexpr std::size_t numSlopeRows = 18;
constexpr std::size_t numSlopeColumns = 8;
constexpr std::array<double, numSlopeRows> slopeRowFloors {21.5, 18,   15.1, 11.5, 9,     6.1,
                                                           4.4,  3.1,  2.13, 1.36, 0.82,  0.42,
                                                           0.30, 0.22, 0.15, 0.10, 0.035, 0};
constexpr std::array<std::array<double, numSlopeColumns>, numSlopeRows> slopes {{
    {13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5},
    {9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5},
    {7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9},
    {6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2},
    {4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7},
    {3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2},
    {2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7},
    {2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3},
    {1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1},
    {1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82},
    {0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62},
    {0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42},
    {0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22},
    {0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17},
    {0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11},
    {0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08},
    {0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05},
    {0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02},
}};

double lowCorrectionDb(std::size_t band, double levelDb)
{
    std::size_t row = 0;
    while (row + 1 < numLevelRows && levelDb > rowLimitsDb[row] - lowCorrectionsDb[row][band])
        ++row;
    return lowCorrectionsDb[row][band];
}

/** Levels of the critical bands: the three lowest are sums of third octaves, the others are third
    octaves from 315 Hz up. */
CriticalBands criticalBandLevelsDb(const ThirdOctaveSpectrum& sound)
{
    constexpr std::array<std::size_t, 4> groupStarts {0, 6, 9, numLowBands};
    CriticalBands levelsDb {};
    for (std::size_t group = 0; group + 1 < groupStarts.size(); ++group) {
        double power = 0.0;
        for (std::size_t band = groupStarts[group]; band < groupStarts[group + 1]; ++band) {
            const double level = sound.levelsDb[firstBand + band];
            power += dsp::dbToPower(level + lowCorrectionDb(band, level));
        }
        levelsDb[group] = dsp::powerToDb(power);
    }
    for (std::size_t band = 3; band < numCriticalBands; ++band)
        levelsDb[band] = sound.levelsDb[firstBand + band + 8];
    return levelsDb;
}

/** Specific loudness inside the critical bands, before slopes; 0 in the last place. */
std::array<double, numCriticalBands + 1> coreLoudness(const CriticalBands& levelsDb,
                                                      SoundField field)
{
    constexpr double thresholdFactor = 0.25;
    std::array<double, numCriticalBands + 1> core {};
    for (std::size_t band = 0; band < numCriticalBands; ++band) {
        const double excitationDb = levelsDb[band] - earTransmissionDb[band]
                                    + (field == SoundField::diffuse ? diffuseFieldDb[band] : 0.0);
        if (excitationDb <= quietThresholdDb[band])
            continue;
        const double above =
            dsp::dbToPower(excitationDb - bandwidthDb[band] - quietThresholdDb[band]);
        core[band] = std::max(
            0.0, 0.0635 * std::pow(10.0, 0.025 * quietThresholdDb[band])
                     * (std::pow(1.0 - thresholdFactor + thresholdFactor * above, 0.25) - 1.0));
    }
    // Within the lowest band the threshold itself depends on frequency.
    core[0] *= std::min(1.0, 0.4 + 0.32 * std::pow(core[0], 0.2));
    return core;
}

/** A slope's row for a specific loudness: the first whose floor it stands above. */
std::size_t slopeRow(double specific)
{
    std::size_t row = 0;
    while (row + 1 < numSlopeRows && specific <= slopeRowFloors[row])
        ++row;
    return row;
}

/** A piece of the pattern of specific loudness over critical-band rate: a straight line. */
struct Piece {
    double fromBark;
    double toBark;
    double fromSpecific;
    double toSpecific;
};

void addPiece(const Piece& piece, StationaryLoudness& loudness)
{
    const double width = piece.toBark - piece.fromBark;
    if (!(width > 0.0))
        return;
    loudness.sones += 0.5 * width * (piece.fromSpecific + piece.toSpecific);
    // A step belongs to the piece that it ends in; the small amount is rounding of tenths.
    constexpr double rounding = 1e-6;
    auto step = static_cast<std::size_t>(std::floor(10.0 * piece.fromBark + rounding)) + 1;
    for (; step <= StationaryLoudness::numSteps
           && 0.1 * static_cast<double>(step) <= piece.toBark + rounding;
         ++step) {
        const double share = (0.1 * static_cast<double>(step) - piece.fromBark) / width;
        loudness.specificSonesPerBark[step - 1] =
            piece.fromSpecific + share * (piece.toSpecific - piece.fromSpecific);
    }
}

} // namespace

dsp::Result<StationaryLoudness> stationaryLoudness(const ThirdOctaveSpectrum& sound,
                                                   SoundField field)
{
    for (std::size_t band = 0; band < numLowBands; ++band)
        if (sound.levelsDb[firstBand + band] > highestLowLevelDb)
            return dsp::fail(
                dsp::ErrorCode::outOfRange,
                "loudness by ISO 532-1 ends at 120 dB in the bands up to 250 Hz, but the band at "
                    + dsp::nominalLabel(thirdOctave(firstBand + band).centreHz) + " Hz has "
                    + files::fixedText(sound.levelsDb[firstBand + band], 1)
                    + " dB; give a lower level");

    const auto core = coreLoudness(criticalBandLevelsDb(sound), field);
    StationaryLoudness loudness;
    double bark = 0.0;
    double specific = 0.0;
    for (std::size_t band = 0; band < core.size(); ++band) {
        const std::size_t column = std::min(band > 0 ? band - 1 : 0, numSlopeColumns - 1);
        const double end = upperEndsBark[band];
        while (bark < end) {
            if (specific <= core[band]) {
                addPiece({bark, end, core[band], core[band]}, loudness);
                specific = core[band];
                bark = end;
                continue;
            }
            // The slope of what lies below covers this band until it falls to the band's own.
            const std::size_t row = slopeRow(specific);
            const double floor = std::max(slopeRowFloors[row], core[band]);
            double next = bark + (specific - floor) / slopes[row][column];
            double reached = floor;
            if (next > end) {
                next = end;
                reached = specific - (end - bark) * slopes[row][column];
            }
            addPiece({bark, next, specific, reached}, loudness);
            bark = next;
            specific = reached;
        }
    }
    loudness.phons = sonesToPhons(loudness.sones);
    return loudness;
}

double sonesToPhons(double sones) noexcept
{
    if (sones >= 1.0)
        return 40.0 + 10.0 * std::log2(sones);
    // The standard gives no less than 3 phon.
    return std::max(3.0, 40.0 * std::pow(std::max(sones, 0.0) + 0.0005, 0.35));
}

} // namespace saddletone::hearing
