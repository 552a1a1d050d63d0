#include "Core/Hearing/SpeechIntelligibility.h"

#include "Core/Hearing/Masking.h"

#include <algorithm>

namespace saddletone::hearing {

namespace {

constexpr std::size_t firstBand = 9; // 160 Hz among the third octaves from 20 Hz

constexpr SpeechBands nominalHz {160,  200,  250,  315,  400,  500,  630,  800,  1000,
                                 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000};
constexpr SpeechBands averageImportance {0.0083, 0.0095, 0.0150, 0.0289, 0.0440, 0.0578,
                                         0.0653, 0.0711, 0.0818, 0.0844, 0.0882, 0.0898,
                                         0.0868, 0.0844, 0.0771, 0.0527, 0.0364, 0.0185};
constexpr SpeechBands spinImportance {0.0000, 0.0255, 0.0256, 0.0360, 0.0362, 0.0514,
                                      0.0616, 0.0770, 0.0718, 0.0718, 0.1075, 0.0921,
                                      0.1026, 0.0922, 0.0719, 0.0461, 0.0306, 0.0000};
constexpr SpeechBands normalDb {32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01,
                                23.00, 20.15, 17.32, 13.18, 11.55, 9.33,  5.31,  2.59,  1.13};
constexpr SpeechBands raisedDb {33.81, 33.92, 38.98, 38.57, 39.11, 40.15, 38.78, 36.37, 33.86,
                                31.89, 28.58, 25.32, 22.35, 20.15, 16.78, 11.47, 7.67,  5.07};
// 400 Hz: two public implementations of the standard have 43.30, a third 43.40.
constexpr SpeechBands loudDb {35.29, 37.76, 41.55, 43.78, 43.30, 44.85, 45.55, 44.05, 42.16,
                              40.53, 37.70, 34.39, 30.98, 28.21, 25.41, 18.35, 13.87, 11.39};
constexpr SpeechBands shoutDb {30.77, 36.65, 42.50, 46.51, 47.40, 49.24, 51.21, 51.44, 51.31,
                               49.63, 47.65, 44.32, 40.80, 38.13, 34.41, 28.24, 23.45, 20.72};
constexpr SpeechBands internalNoiseDb {0.6,   -1.7,  -3.9,  -6.1,  -8.2,  -9.7,
                                       -10.8, -11.9, -12.5, -13.5, -15.4, -17.7,
                                       -21.2, -24.2, -25.9, -23.6, -15.8, -7.1};

/** Width of a band as the standard has it: 15.65 dB at 160 Hz, 1 dB more from band to band. */
constexpr double bandwidthDb(std::size_t band)
{
    return 15.65 + static_cast<double>(band);
}

} // namespace

SpeechIntelligibility speechIntelligibility(const SpeechInNoise& scene) noexcept
{
    SpeechBands maskerDb {};
    for (std::size_t band = 0; band < numSpeechBands; ++band)
        maskerDb[band] = std::max(scene.noiseDb[band], scene.speechDb[band] - 24.0);
    const auto maskingDb = spreadOfMasking(nominalHz, scene.noiseDb, maskerDb);

    const SpeechBands& importance =
        scene.importance == BandImportance::spinSentences ? spinImportance : averageImportance;
    const double bothEarsDb = scene.listening == Listening::bothEars ? 1.7 : 0.0;
    SpeechIntelligibility result;
    for (std::size_t band = 0; band < numSpeechBands; ++band) {
        const double innerDb = internalNoiseDb[band] + scene.hearingLossDb[band] - bothEarsDb;
        result.disturbanceDb[band] = std::max(maskingDb[band], innerDb);
        result.levelDistortion[band] =
            std::clamp(1.0 - (scene.speechDb[band] - normalDb[band] - 10.0) / 160.0, 0.0, 1.0);
        result.audibility[band] =
            std::clamp((scene.speechDb[band] - result.disturbanceDb[band] + 15.0) / 30.0, 0.0, 1.0);
        result.audibleShare += importance[band] * result.audibility[band];
        result.index += importance[band] * result.levelDistortion[band] * result.audibility[band];
    }
    return result;
}

SpeechBands speechSpectrumDb(VocalEffort effort) noexcept
{
    switch (effort) {
    case VocalEffort::raised: return raisedDb;
    case VocalEffort::loud: return loudDb;
    case VocalEffort::shout: return shoutDb;
    case VocalEffort::normal: break;
    }
    return normalDb;
}

ThirdOctaveSpectrum speechProgramme() noexcept
{
    ThirdOctaveSpectrum speech;
    for (std::size_t band = 0; band < numSpeechBands; ++band)
        speech.levelsDb[firstBand + band] = normalDb[band] + bandwidthDb(band);
    return speech;
}

SpeechBands speechBands(const ThirdOctaveSpectrum& spectrum) noexcept
{
    SpeechBands bands {};
    for (std::size_t band = 0; band < numSpeechBands; ++band)
        bands[band] = spectrum.levelsDb[firstBand + band] - bandwidthDb(band);
    return bands;
}

} // namespace saddletone::hearing
