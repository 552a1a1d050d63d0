#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <cmath>
#include <vector>

namespace saddletone::hearing {

namespace {

constexpr double lowestExponent = -1.7; // 20 Hz = 1000 Hz times 10^-1.7, IEC 61260-1

// ANSI S3.4-2007: ERB = 24.673 (0.004368 f + 1), Cams = 21.366 lg(0.004368 f + 1).
constexpr double erbAtZeroHz = 24.673;
constexpr double erbSlope = 0.004368;
constexpr double camsPerDecade = 21.366;

} // namespace

dsp::Band thirdOctave(std::size_t band) noexcept
{
    const double exponent = lowestExponent + 0.1 * static_cast<double>(band);
    return {1000.0 * std::pow(10.0, exponent), 1000.0 * std::pow(10.0, exponent - 0.05),
            1000.0 * std::pow(10.0, exponent + 0.05)};
}

double ThirdOctaveSpectrum::totalDb(dsp::Weighting weighting) const noexcept
{
    double sum = 0.0;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        if (levelsDb[band] > dsp::silenceDb)
            sum += dsp::dbToPower(levelsDb[band]
                                  + dsp::weightingDb(weighting, thirdOctave(band).centreHz));
    return dsp::powerToDb(sum);
}

ThirdOctaveSpectrum ThirdOctaveSpectrum::raisedBy(double gainDb) const noexcept
{
    ThirdOctaveSpectrum raised = *this;
    for (double& level : raised.levelsDb)
        if (level > dsp::silenceDb)
            level += gainDb;
    return raised;
}

ThirdOctaveSpectrum ThirdOctaveSpectrum::raisedBy(const ThirdOctaveSpectrum& gainDb) const noexcept
{
    ThirdOctaveSpectrum raised;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        if (levelsDb[band] > dsp::silenceDb && gainDb.levelsDb[band] > dsp::silenceDb)
            raised.levelsDb[band] = levelsDb[band] + gainDb.levelsDb[band];
    return raised;
}

ThirdOctaveSpectrum ThirdOctaveSpectrum::scaledToDba(double levelDba) const noexcept
{
    const double now = totalDb(dsp::Weighting::a);
    return now > dsp::silenceDb ? raisedBy(levelDba - now) : *this;
}

ThirdOctaveSpectrum powerSum(const ThirdOctaveSpectrum& first,
                             const ThirdOctaveSpectrum& second) noexcept
{
    ThirdOctaveSpectrum sum;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        sum.levelsDb[band] = dsp::powerToDb(dsp::dbToPower(first.levelsDb[band])
                                            + dsp::dbToPower(second.levelsDb[band]));
    return sum;
}

ThirdOctaveSpectrum spectrumOfPower(std::span<const double> powerPerBin, double binHz)
{
    std::vector<dsp::Band> bands;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        bands.push_back(thirdOctave(band));
    const auto powers = dsp::bandPowers(powerPerBin, binHz, bands);
    ThirdOctaveSpectrum spectrum;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        spectrum.levelsDb[band] = dsp::rmsToDbfs(std::sqrt(powers[band]));
    return spectrum;
}

ThirdOctaveSpectrum pinkSpectrum() noexcept
{
    ThirdOctaveSpectrum pink;
    pink.levelsDb.fill(0.0);
    return pink;
}

ThirdOctaveSpectrum hearingThreshold() noexcept
{
    return {{78.5, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4,
             11.4, 8.6,  6.2,  4.4,  3.0,  2.2,  2.4,  3.5,  1.7,  -1.3, -4.2,
             -6.0, -5.4, -1.5, 6.0,  12.6, 13.9, 12.3, 40.2, 70.4}};
}

double erbNumber(double frequencyHz) noexcept
{
    return camsPerDecade * std::log10(erbSlope * frequencyHz + 1.0);
}

double erbNumberToHz(double cams) noexcept
{
    return (std::pow(10.0, cams / camsPerDecade) - 1.0) / erbSlope;
}

double erbWidthHz(double frequencyHz) noexcept
{
    return erbAtZeroHz * (erbSlope * frequencyHz + 1.0);
}

} // namespace saddletone::hearing
