#include "Core/Hearing/ProgrammeAtHead.h"

#include "Core/Dsp/Fft.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/SpeakerSet.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace saddletone::hearing {

ThirdOctaveSpectrum programmeSpectrumDbfs(const dsp::AudioBuffer& programme)
{
    const auto analysis = measure::analyseBands(programme, 3, dsp::Weighting::z);
    ThirdOctaveSpectrum spectrum;
    std::ranges::copy_n(
        analysis.levelsDbfs.begin(),
        static_cast<std::ptrdiff_t>(std::min(analysis.levelsDbfs.size(), spectrum.levelsDb.size())),
        spectrum.levelsDb.begin());
    return spectrum;
}

ThirdOctaveSpectrum pinkProgrammeDbfs(double levelDbfs) noexcept
{
    // Three decades have thirty bands; of the two outermost bands half lies outside.
    ThirdOctaveSpectrum pink = pinkSpectrum().raisedBy(levelDbfs - dsp::powerToDb(30.0));
    pink.levelsDb.front() -= dsp::powerToDb(2.0);
    pink.levelsDb.back() -= dsp::powerToDb(2.0);
    return pink;
}

ThirdOctaveSpectrum headGainDb(const measure::Response& response, const tuning::Tuning& tuning,
                               ride::Helmet helmet)
{
    // Bins of at most 0.5 Hz: nine in the band at 20 Hz.
    const std::size_t size = dsp::fastFftSize(std::max(
        response.impulse.size(), static_cast<std::size_t>(std::ceil(2.0 * response.sampleRate))));
    dsp::RealFft<double> fft(size);
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(response.impulse, fft.time().begin());
    fft.forward();
    const double binHz = response.sampleRate / static_cast<double>(size);
    const auto spectrum = fft.spectrum();

    ThirdOctaveSpectrum gain;
    for (std::size_t band = 0; band < numThirdOctaves; ++band) {
        const dsp::Band limits = thirdOctave(band);
        if (limits.centreHz >= 0.5 * response.sampleRate)
            continue;
        const auto first = static_cast<std::size_t>(std::ceil(limits.lowerHz / binHz));
        const auto last = std::min(static_cast<std::size_t>(std::floor(limits.upperHz / binHz)),
                                   fft.numBins() - 1);
        // A tuning is smooth: sixty-four places in a band tell it, whatever the number of bins.
        const std::size_t stride = std::max<std::size_t>(1, (last - first) / 64);
        double sum = 0.0;
        for (std::size_t begin = first; begin <= last; begin += stride) {
            const std::size_t end = std::min(begin + stride, last + 1);
            double power = 0.0;
            for (std::size_t bin = begin; bin < end; ++bin)
                power += std::norm(spectrum[bin]);
            const double frequencyHz = 0.5 * static_cast<double>(begin + end - 1) * binHz;
            double sides = 0.0;
            for (const auto channel : {measure::BikeChannel::left, measure::BikeChannel::right})
                sides += 0.5
                         * std::norm(tuning::tuningResponse(
                             tuning, measure::speakersOnChannel(response.state.speakers, channel),
                             frequencyHz, response.sampleRate));
            sum += power * sides * dsp::dbToPower(-ride::insertionLossDb(helmet, frequencyHz));
        }
        gain.levelsDb[band] = dsp::powerToDb(sum / static_cast<double>(last - first + 1));
    }
    return gain;
}

ThirdOctaveSpectrum ProgrammeAtHead::splDb() const noexcept
{
    return programmeDbfs.raisedBy(gainDb).raisedBy(splAtFullScaleDb + volumeChangeDb);
}

double assumedSplAtFullScaleDb(const ThirdOctaveSpectrum& bareGainDb, double levelDba) noexcept
{
    return levelDba
           - pinkProgrammeDbfs(assumedProgrammeDbfs)
                 .raisedBy(bareGainDb)
                 .totalDb(dsp::Weighting::a);
}

double volumeStepDb(const measure::Response& louder, const measure::Response& reference)
{
    constexpr double lowestHz = 190.0;
    constexpr double highestHz = 4200.0;
    double calibrationDb = 0.0;
    if (louder.hasCalibration && reference.hasCalibration)
        calibrationDb =
            louder.calibration.splAtFullScaleDb() - reference.calibration.splAtFullScaleDb();
    double sum = 0.0;
    double number = 0.0;
    for (const measure::BandConfidence& band : louder.bands)
        for (const measure::BandConfidence& other : reference.bands)
            if (band.trusted && other.trusted && band.frequencyHz > lowestHz
                && band.frequencyHz < highestHz
                && std::abs(band.frequencyHz / other.frequencyHz - 1.0) < 1e-3) {
                sum += band.levelDb - other.levelDb;
                number += 1.0;
            }
    return number > 0.0 ? sum / number + calibrationDb : 0.0;
}

ThirdOctaveSpectrum musicToNoiseDb(const ThirdOctaveSpectrum& programme,
                                   const ThirdOctaveSpectrum& noise) noexcept
{
    ThirdOctaveSpectrum ratio = programme;
    for (std::size_t band = 0; band < numThirdOctaves; ++band)
        if (programme.levelsDb[band] > dsp::silenceDb && noise.levelsDb[band] > dsp::silenceDb)
            ratio.levelsDb[band] -= noise.levelsDb[band];
    return ratio;
}

double headphoneScaleDownDb(double roadDba, double headphoneDba) noexcept
{
    return roadDba - headphoneDba;
}

} // namespace saddletone::hearing
