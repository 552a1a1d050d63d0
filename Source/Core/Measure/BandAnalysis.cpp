#include "Core/Measure/BandAnalysis.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>
#include <future>
#include <span>
#include <thread>

namespace saddletone::measure {

namespace {

// A transform of more frames no longer fits into a processor's cache, and for ten minutes of stereo
// not into the memory of a small computer. 44 s at 48 kHz.
constexpr std::size_t longestWholeFrames = std::size_t {1} << 21U;
// Lines 0.1 Hz apart: five to the narrowest band there is, a twenty-fourth of an octave at 20 Hz.
constexpr double segmentSeconds = 10.0;

/** Mean square per bin of one channel; numFrames even. The number of bins follows from numFrames
    and sampleRate alone. */
std::vector<double> channelPowerPerBin(std::span<const float> samples, double sampleRate)
{
    // The whole recording in one transform: no window widens the lowest bands.
    if (samples.size() <= longestWholeFrames)
        return dsp::periodicPowerPerBin(samples);
    const auto longest = static_cast<std::size_t>(segmentSeconds * sampleRate);
    const std::size_t numSegments = (samples.size() + longest - 1) / longest;
    return dsp::segmentedPowerPerBin(
        samples, dsp::fastFftSize((samples.size() + numSegments - 1) / numSegments));
}

/** Mean power of all channels per bin. Channels are worked on at once and added in order, so that
    the sum does not depend on the number of processors. */
std::vector<double> meanPowerPerBin(const dsp::AudioBuffer& audio, std::size_t numFrames)
{
    const std::size_t atOnce = std::max(1U, std::thread::hardware_concurrency());
    std::vector<double> power;
    for (std::size_t begin = 0; begin < audio.numChannels(); begin += atOnce) {
        std::vector<std::future<std::vector<double>>> others;
        for (std::size_t channel = begin + 1;
             channel < std::min(begin + atOnce, audio.numChannels()); ++channel)
            others.push_back(std::async(std::launch::async, [&audio, channel, numFrames] {
                return channelPowerPerBin(std::span(audio.channels[channel]).first(numFrames),
                                          audio.sampleRate);
            }));
        const auto add = [&](const std::vector<double>& channelPower) {
            power.resize(channelPower.size(), 0.0);
            for (std::size_t bin = 0; bin < power.size(); ++bin)
                power[bin] += channelPower[bin] / static_cast<double>(audio.numChannels());
        };
        add(channelPowerPerBin(std::span(audio.channels[begin]).first(numFrames),
                               audio.sampleRate));
        for (auto& other : others)
            add(other.get());
    }
    return power;
}

} // namespace

BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                          dsp::Weighting weighting)
{
    BandAnalysis analysis;
    for (const dsp::Band& band : dsp::octaveBands(bandsPerOctave, 20.0, 20000.0))
        if (band.centreHz < 0.5 * audio.sampleRate)
            analysis.bands.push_back(band);

    // An odd last frame is left out.
    const std::size_t numFrames = audio.numFrames() / 2 * 2;
    if (numFrames < 2) {
        analysis.levelsDbfs.assign(analysis.bands.size(), dsp::silenceDb);
        analysis.totalDbfs = dsp::silenceDb;
        return analysis;
    }
    std::vector<double> power = meanPowerPerBin(audio, numFrames);
    const double binHz = 0.5 * audio.sampleRate / static_cast<double>(power.size() - 1);
    double total = 0.0;
    for (std::size_t bin = 0; bin < power.size(); ++bin) {
        if (weighting != dsp::Weighting::z)
            power[bin] *=
                dsp::dbToPower(dsp::weightingDb(weighting, static_cast<double>(bin) * binHz));
        total += power[bin];
    }
    for (const double bandPower : dsp::bandPowers(power, binHz, analysis.bands))
        analysis.levelsDbfs.push_back(dsp::rmsToDbfs(std::sqrt(bandPower)));
    analysis.totalDbfs = dsp::rmsToDbfs(std::sqrt(total));
    return analysis;
}

} // namespace saddletone::measure
