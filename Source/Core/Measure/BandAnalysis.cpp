#include "Core/Measure/BandAnalysis.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/SignalSums.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <span>
#include <utility>
#include <vector>

namespace saddletone::measure {

namespace {

// A transform of more frames no longer fits into a processor's cache, and for ten minutes of stereo
// not into the memory of a small computer. 44 s at 48 kHz.
constexpr std::size_t longestWholeFrames = std::size_t {1} << 21U;
// Lines 0.1 Hz apart: five to the narrowest band there is, a twenty-fourth of an octave at 20 Hz.
constexpr double segmentSeconds = 10.0;

/** Frames of a segment of a recording too long for one transform. */
std::size_t segmentFrames(std::size_t numFrames, double sampleRate)
{
    const auto longest = static_cast<std::size_t>(segmentSeconds * sampleRate);
    const std::size_t numSegments = (numFrames + longest - 1) / longest;
    return dsp::fastFftSize((numFrames + numSegments - 1) / numSegments);
}

/** Mean power of all channels per bin. Channels are worked on at once and added in order, so that
    the sum does not depend on the number of processors. */
std::vector<double> meanPowerPerBin(const dsp::AudioBuffer& audio, std::size_t numFrames,
                                    dsp::FftStore& transforms)
{
    constexpr std::size_t channelsAtOnce = 4; // bounds the memory
    // The whole recording in one transform: no window widens the lowest bands.
    std::vector<double> power;
    for (std::size_t first = 0; first < audio.numChannels(); first += channelsAtOnce) {
        std::vector<std::vector<double>> ofChannels(
            std::min(channelsAtOnce, audio.numChannels() - first));
        dsp::runInParallel(ofChannels.size(), [&](std::size_t index) {
            const auto samples = std::span(audio.channels[first + index]).first(numFrames);
            if (numFrames <= longestWholeFrames) {
                ofChannels[index] = dsp::periodicPowerPerBin(samples);
                return;
            }
            const auto fft = transforms.real<float>(segmentFrames(numFrames, audio.sampleRate),
                                                    dsp::FftDirections::forwardOnly);
            ofChannels[index] = dsp::segmentedPowerPerBin(samples, *fft);
        });
        for (std::vector<double>& ofChannel : ofChannels)
            if (power.empty())
                power = std::move(ofChannel);
            else
                std::ranges::transform(power, ofChannel, power.begin(), std::plus<> {});
    }
    const double share = 1.0 / static_cast<double>(audio.numChannels());
    for (double& value : power)
        value *= share;
    return power;
}

/** Share of a band that may lie beyond half the sample rate: 20 kHz at 44.1 kHz misses 0.07, which
    costs 0.3 dB. */
constexpr double mostMissing = 0.1;

} // namespace

BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                          dsp::Weighting weighting, dsp::FftStore& transforms)
{
    BandAnalysis analysis;
    for (const dsp::Band& band : dsp::octaveBands(bandsPerOctave, 20.0, 20000.0))
        if (band.upperHz - 0.5 * audio.sampleRate <= mostMissing * (band.upperHz - band.lowerHz))
            analysis.bands.push_back(band);

    // An odd last frame is left out.
    const std::size_t numFrames = audio.numFrames() / 2 * 2;
    if (numFrames < 2) {
        analysis.levelsDbfs.assign(analysis.bands.size(), dsp::silenceDb);
        analysis.totalDbfs = dsp::silenceDb;
        return analysis;
    }
    std::vector<double> power = meanPowerPerBin(audio, numFrames, transforms);
    const double binHz = 0.5 * audio.sampleRate / static_cast<double>(power.size() - 1);
    if (weighting != dsp::Weighting::z)
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] *=
                dsp::dbToPower(dsp::weightingDb(weighting, static_cast<double>(bin) * binHz));
    for (const double bandPower : dsp::bandPowers(power, binHz, analysis.bands))
        analysis.levelsDbfs.push_back(dsp::rmsToDbfs(std::sqrt(bandPower)));
    analysis.totalDbfs = dsp::rmsToDbfs(std::sqrt(dsp::sumOf(power)));
    return analysis;
}

BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                          dsp::Weighting weighting)
{
    dsp::FftStore transforms;
    return analyseBands(audio, bandsPerOctave, weighting, transforms);
}

} // namespace saddletone::measure
