#include "Core/Measure/BandAnalysis.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <span>

namespace saddletone::measure {

BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                          dsp::Weighting weighting)
{
    BandAnalysis analysis;
    for (const dsp::Band& band : dsp::octaveBands(bandsPerOctave, 20.0, 20000.0))
        if (band.centreHz < 0.5 * audio.sampleRate)
            analysis.bands.push_back(band);

    // The whole recording in one transform: no window widens the lowest bands. An odd last frame
    // is left out.
    const std::size_t numFrames = audio.numFrames() / 2 * 2;
    if (numFrames < 2) {
        analysis.levelsDbfs.assign(analysis.bands.size(), dsp::silenceDb);
        analysis.totalDbfs = dsp::silenceDb;
        return analysis;
    }
    const double binHz = audio.sampleRate / static_cast<double>(numFrames);
    std::vector<double> power(numFrames / 2 + 1, 0.0);
    for (const auto& channel : audio.channels) {
        const auto channelPower = dsp::periodicPowerPerBin(std::span(channel).first(numFrames));
        for (std::size_t bin = 0; bin < power.size(); ++bin)
            power[bin] += channelPower[bin] / static_cast<double>(audio.numChannels());
    }
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
