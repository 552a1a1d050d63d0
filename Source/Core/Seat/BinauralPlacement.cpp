#include "Core/Seat/BinauralPlacement.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/Units.h"
#include "Core/Seat/SpectrumShape.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

namespace saddletone::seat {

namespace {

using Complex = std::complex<double>;
using EarSpectra = std::array<std::vector<Complex>, numEars>;

constexpr double filterSeconds = 0.03;
constexpr double designSeconds = 0.15;
constexpr double onAxisOctaves = 1.0 / 3.0;
constexpr double diffuseOctaves = 1.0 / 6.0;
/** How far a normalisation may go: sets roll off by 20 dB at their ends, and what is weaker is
    noise. */
constexpr double largestNormalisationDb = 30.0;

std::size_t designSizeOf(double sampleRate, std::size_t impulseFrames)
{
    std::size_t size = 1024;
    while (static_cast<double>(size) < designSeconds * sampleRate || size < 2 * impulseFrames)
        size *= 2;
    return size;
}

EarSpectra spectraOf(const EarImpulses& pair, dsp::RealFft<double>& fft)
{
    EarSpectra spectra;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(pair.impulses[ear], fft.time().begin());
        fft.forward();
        spectra[ear].assign(fft.spectrum().begin(), fft.spectrum().end());
    }
    return spectra;
}

double meanPower(const EarSpectra& spectra, std::size_t bin)
{
    return 0.5 * (std::norm(spectra[leftEar][bin]) + std::norm(spectra[rightEar][bin]));
}

/** Keeps the values at both ends of a range of frequencies beyond it. */
void holdBeyond(double fromHz, double toHz, double binHz, std::vector<double>& values)
{
    const std::size_t last = values.size() - 1;
    const auto first = std::min(last, static_cast<std::size_t>(std::lround(fromHz / binHz)));
    const auto final = std::min(last, static_cast<std::size_t>(std::lround(toHz / binHz)));
    std::fill_n(values.begin(), first, values[first]);
    std::fill(values.begin() + static_cast<std::ptrdiff_t>(final), values.end(), values[final]);
}

/** 1 / sqrt(power), within a range around the middle of the spectrum. */
std::vector<double> inverseGain(const std::vector<double>& power, double binHz)
{
    double middle = 0.0;
    std::size_t count = 0;
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        if (const double frequencyHz = static_cast<double>(bin) * binHz;
            frequencyHz >= 500.0 && frequencyHz <= 2000.0) {
            middle += power[bin];
            ++count;
        }
    middle = std::max(middle / static_cast<double>(std::max<std::size_t>(1, count)), 1e-30);
    const double lowest = middle * dsp::dbToPower(-largestNormalisationDb);
    const double highest = middle * dsp::dbToPower(largestNormalisationDb);
    std::vector<double> gain;
    gain.reserve(power.size());
    for (const double value : power)
        gain.push_back(1.0 / std::sqrt(std::clamp(value, lowest, highest)));
    return gain;
}

/** Filters both ears with a gain of minimum phase. */
void applyGain(const std::vector<double>& gain, dsp::RealFft<double>& fft, EarSpectra& spectra)
{
    const auto impulse = dsp::minimumPhaseImpulse(gain);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    for (auto& spectrum : spectra)
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
            spectrum[bin] *= fft.spectrum()[bin];
}

/** Puts a rigid sphere in the place of the set at low frequencies: 0 dB, and its delay. In between,
    level in dB and phase run from the one to the other, as a sum of both could cancel. */
void extendDown(const Direction& direction, double lowHz, double headCentreFrame, double sampleRate,
                EarSpectra& spectra)
{
    const auto delays = lowFrequencyDelaysSeconds(direction);
    const std::size_t last = spectra[leftEar].size() - 1;
    const double binHz = 0.5 * sampleRate / static_cast<double>(last);
    const auto top = std::min(last, static_cast<std::size_t>(std::floor(2.0 * lowHz / binHz)));
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const double delaySeconds = headCentreFrame / sampleRate + delays[ear];
        double phaseAbove = 0.0;
        for (std::size_t bin = top + 1; bin-- > 0;) {
            const double frequencyHz = static_cast<double>(bin) * binHz;
            const double angle = 2.0 * std::numbers::pi * frequencyHz * delaySeconds;
            const Complex relative = spectra[ear][bin] * std::polar(1.0, angle);
            // Followed downwards from the top, where it is within half a turn.
            const double phase =
                phaseAbove
                + std::remainder(std::arg(relative) - phaseAbove, 2.0 * std::numbers::pi);
            phaseAbove = phase;
            const double octaves = bin == 0 ? -1.0 : std::log2(frequencyHz / lowHz);
            const double share =
                0.5 - 0.5 * std::cos(std::numbers::pi * std::clamp(octaves, 0.0, 1.0));
            const double levelDb = share * dsp::amplitudeToDb(std::abs(relative));
            spectra[ear][bin] = share > 0.0
                                    ? std::polar(dsp::dbToAmplitude(levelDb), share * phase - angle)
                                    : std::polar(1.0, -angle);
        }
    }
}

} // namespace

BinauralPlacement::BinauralPlacement(HeadModel newModel, const PlacementSettings& newSettings)
    : model(std::move(newModel)),
      settings(newSettings),
      designSize(designSizeOf(model.sampleRate(), model.impulseFrames())),
      filterTaps(static_cast<std::size_t>(std::ceil(filterSeconds * model.sampleRate())))
{
    assert(settings.lowHz >= 50.0 && settings.lowHz <= 500.0);
    dsp::RealFft<double> fft(designSize);
    std::vector<double> power(fft.numBins(), 0.0);
    const auto shares = model.sphereShares();
    for (std::size_t index = 0; index < shares.size(); ++index) {
        if (shares[index] <= 0.0)
            continue;
        const auto spectra = spectraOf(model.measured()[index], fft);
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] += shares[index] * meanPower(spectra, bin);
    }
    const double binHz = model.sampleRate() / static_cast<double>(designSize);
    commonGain = inverseGain(smoothedPower(power, diffuseOctaves), binHz);
    // Two octaves further down than the set is used, so that the phase of its loudspeaker's
    // roll-off is undone where the sphere takes over.
    holdBeyond(0.25 * settings.lowHz, model.highestHz(), binHz, commonGain);
}

dsp::Result<EarFilters> BinauralPlacement::filters(const Direction& direction) const
{
    const auto pair = model.at(direction);
    if (!pair)
        return pair.unexpected();
    const double rate = model.sampleRate();
    const double binHz = rate / static_cast<double>(designSize);
    dsp::RealFft<double> fft(designSize);
    EarSpectra spectra = spectraOf(*pair, fft);
    applyGain(commonGain, fft, spectra);
    extendDown(direction, settings.lowHz, model.headCentreFrame(), rate, spectra);

    if (settings.normalisation == PlacementNormalisation::onAxis) {
        std::vector<double> power(fft.numBins());
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] = meanPower(spectra, bin);
        std::vector<double> total(power.size(), 1.0);
        // A smoothed inverse leaves something of the curve; the second pass takes most of that out.
        for (int pass = 0; pass < 2; ++pass) {
            auto gain = inverseGain(smoothedPower(power, onAxisOctaves), binHz);
            holdBeyond(0.0, model.highestHz(), binHz, gain);
            for (std::size_t bin = 0; bin < power.size(); ++bin) {
                total[bin] *= gain[bin];
                power[bin] *= gain[bin] * gain[bin];
            }
        }
        applyGain(total, fft, spectra);
    }

    EarFilters result;
    result.direction = direction;
    result.sampleRate = rate;
    result.headCentreFrame = model.headCentreFrame();
    const std::size_t fade = filterTaps / 10;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        result.delaysSeconds[ear] = (pair->arrivalFrames[ear] - model.headCentreFrame()) / rate;
        std::ranges::copy(spectra[ear], fft.spectrum().begin());
        fft.spectrum()[fft.numBins() - 1] = fft.spectrum()[fft.numBins() - 1].real();
        fft.inverse();
        const auto kept = fft.time().first(filterTaps);
        result.taps[ear].assign(kept.begin(), kept.end());
        for (std::size_t frame = 0; frame < fade; ++frame)
            result.taps[ear][filterTaps - 1 - frame] *=
                0.5
                - 0.5
                      * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                 / static_cast<double>(fade));
    }
    return result;
}

std::array<std::vector<float>, numEars> convolveToEars(std::span<const float> taps,
                                                       const EarFilters& filters)
{
    const std::vector<double> response(taps.begin(), taps.end());
    std::array<std::vector<float>, numEars> ears;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const auto heard = dsp::convolve(response, filters.taps[ear]);
        ears[ear].assign(heard.begin(), heard.end());
    }
    return ears;
}

} // namespace saddletone::seat
