#include "Core/Signals/Multitone.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

namespace saddletone::signals {

namespace {

/** Where the wave is clipped, above its RMS, and how often. Found by trial at 44.1 and 48 kHz: lower
    or higher limits end at higher crests, and further passes win little. */
constexpr double clipAboveRmsDb = 7.0;
constexpr int numClipPasses = 800;

void writeSpectrum(std::span<const SignalTone> tones, std::span<std::complex<double>> spectrum)
{
    std::ranges::fill(spectrum, std::complex<double> {});
    // An inverse transform of X and its mirror image gives an amplitude of 2 |X| / size.
    const double scale = static_cast<double>(spectrum.size() - 1);
    for (const SignalTone& tone : tones)
        spectrum[tone.cyclesPerPeriod] =
            std::polar(scale * dsp::dbToAmplitude(tone.levelDbfs), tone.phaseRadians);
}

double highestMagnitude(std::span<const double> samples)
{
    double highest = 0.0;
    for (const double sample : samples)
        highest = std::max(highest, std::abs(sample));
    return highest;
}

/** Phase 2 pi sum over l < n of (n - l) p_l with the powers p as shares of the whole. */
void setSchroederPhases(std::span<SignalTone> tones, double levelDbfs)
{
    double phaseTurns = 0.0;
    double shareBefore = 0.0;
    for (SignalTone& tone : tones) {
        phaseTurns += shareBefore;
        shareBefore += dsp::dbToPower(tone.levelDbfs - levelDbfs);
        tone.phaseRadians = -2.0 * std::numbers::pi * (phaseTurns - std::floor(phaseTurns));
    }
}

void lowerCrest(std::vector<SignalTone>& tones, double levelDbfs)
{
    // Two frames a cycle of the highest tone would do; twice as many show the wave between them.
    const std::size_t size = dsp::fastFftSize(4 * (tones.back().cyclesPerPeriod + 1));
    dsp::RealFft<double> fft(size);
    const double limit = dsp::dbfsToRms(levelDbfs) * dsp::dbToAmplitude(clipAboveRmsDb);
    std::vector<SignalTone> best = tones;
    double lowestPeak = std::numeric_limits<double>::infinity();
    for (int pass = 0; pass < numClipPasses; ++pass) {
        writeSpectrum(tones, fft.spectrum());
        fft.inverse();
        if (const double peak = highestMagnitude(fft.time()); peak < lowestPeak) {
            lowestPeak = peak;
            best = tones;
        }
        for (double& sample : fft.time())
            sample = std::clamp(sample, -limit, limit);
        fft.forward();
        for (SignalTone& tone : tones)
            tone.phaseRadians = std::arg(fft.spectrum()[tone.cyclesPerPeriod]);
    }
    tones = std::move(best);
}

} // namespace

std::vector<SignalTone> chooseTones(const MultitoneShape& shape)
{
    const auto centres = dsp::octaveBands(shape.tonesPerOctave, shape.fromHz, shape.toHz);
    std::vector<SignalTone> tones;
    if (centres.empty())
        return tones;
    const double centreLevelDbfs =
        shape.levelDbfs - dsp::powerToDb(static_cast<double>(centres.size()));
    for (const dsp::Band& centre : centres) {
        const auto cycles = static_cast<std::size_t>(std::lround(
            centre.centreHz * static_cast<double>(shape.periodFrames) / shape.sampleRate));
        assert(cycles > 0 && 2 * cycles < shape.periodFrames);
        if (!tones.empty() && tones.back().cyclesPerPeriod == cycles)
            tones.back().levelDbfs = dsp::powerToDb(dsp::dbToPower(tones.back().levelDbfs)
                                                    + dsp::dbToPower(centreLevelDbfs));
        else
            tones.push_back({cycles, centreLevelDbfs, 0.0});
    }
    setSchroederPhases(tones, shape.levelDbfs);
    lowerCrest(tones, shape.levelDbfs);
    return tones;
}

std::vector<double> makeMultitone(std::span<const SignalTone> tones, std::size_t periodFrames)
{
    dsp::RealFft<double> fft(periodFrames);
    writeSpectrum(tones, fft.spectrum());
    fft.inverse();
    return {fft.time().begin(), fft.time().end()};
}

} // namespace saddletone::signals
