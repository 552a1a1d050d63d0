#include "Core/Hearing/Masking.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace saddletone::hearing {

std::vector<double> spreadOfMasking(std::span<const double> frequenciesHz,
                                    std::span<const double> noiseDb,
                                    std::span<const double> maskerDb)
{
    assert(noiseDb.size() == frequenciesHz.size() && maskerDb.size() == frequenciesHz.size());
    std::vector<double> maskingDb(frequenciesHz.size());
    for (std::size_t band = 0; band < frequenciesHz.size(); ++band) {
        // The lowest band has nothing below it, and its own masker counts in full.
        if (band == 0) {
            maskingDb[band] = maskerDb[band];
            continue;
        }
        double power = dsp::dbToPower(noiseDb[band]);
        for (std::size_t below = 0; below < band; ++below) {
            // 10 lg(0.2315 f) is the width of the third octave at f: the sum is a band level.
            const double slopeDbPerOctave = std::min(
                0.0,
                -80.0 + 0.6 * (maskerDb[below] + 10.0 * std::log10(frequenciesHz[below]) - 6.353));
            const double octaves =
                3.32 * std::log10(0.89 * frequenciesHz[band] / frequenciesHz[below]);
            power += dsp::dbToPower(maskerDb[below] + slopeDbPerOctave * octaves);
        }
        maskingDb[band] = dsp::powerToDb(power);
    }
    return maskingDb;
}

ThirdOctaveSpectrum maskedThreshold(const ThirdOctaveSpectrum& noise, double earPlugDb)
{
    std::array<double, numThirdOctaves> frequenciesHz {};
    std::array<double, numThirdOctaves> widthsDb {};
    std::array<double, numThirdOctaves> insideDb {};
    for (std::size_t band = 0; band < numThirdOctaves; ++band) {
        const dsp::Band limits = thirdOctave(band);
        frequenciesHz[band] = limits.centreHz;
        widthsDb[band] = 10.0 * std::log10(limits.upperHz - limits.lowerHz);
        insideDb[band] =
            std::max(noise.levelsDb[band] - earPlugDb - widthsDb[band], dsp::silenceDb);
    }
    const auto maskingDb = spreadOfMasking(frequenciesHz, insideDb, insideDb);
    ThirdOctaveSpectrum threshold = hearingThreshold();
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        threshold.levelsDb[band] =
            std::max(threshold.levelsDb[band], maskingDb[band] + widthsDb[band]) + earPlugDb;
    return threshold;
}

} // namespace saddletone::hearing
