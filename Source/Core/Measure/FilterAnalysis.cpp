#include "Core/Measure/FilterAnalysis.h"

#include "Core/Dsp/OctaveFilterBank.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/WeightingFilter.h"

#include <algorithm>
#include <cmath>
#include <span>

namespace saddletone::measure {

namespace {

constexpr std::size_t blockFrames = 4096;

// The slowest poles of an 8th-order Butterworth band-pass decay by 10.4 dB per reciprocal of its
// width; after ten of these nothing is left.
constexpr double ringingWidths = 10.0;

double energyOf(std::span<const double> samples) noexcept
{
    double sum = 0.0;
    for (const double sample : samples)
        sum += sample * sample;
    return sum;
}

} // namespace

BandAnalysis analyseBandsByFilters(const dsp::AudioBuffer& audio, int bandsPerOctave,
                                   dsp::Weighting weighting)
{
    const dsp::ScopedFlushDenormals flushDenormals;
    const dsp::ProcessSpec spec {audio.sampleRate, blockFrames, 1};
    dsp::OctaveFilterBank bank;
    bank.prepare(spec, bandsPerOctave, 20.0, 20000.0);
    dsp::WeightingFilter weight;
    weight.setParameters({weighting});
    weight.prepare(spec);

    BandAnalysis analysis;
    double narrowestHz = audio.sampleRate;
    for (const dsp::OctaveFilter& filter : bank.filters()) {
        analysis.bands.push_back(filter.band);
        narrowestHz = std::min(narrowestHz, filter.band.upperHz - filter.band.lowerHz);
    }
    const std::size_t numFrames = audio.numFrames();
    const std::size_t numFed =
        numFrames + static_cast<std::size_t>(ringingWidths * audio.sampleRate / narrowestHz);
    std::vector<double> energies(analysis.bands.size(), 0.0); // per frame of the recording's rate
    double totalEnergy = 0.0;
    std::vector<double> block(blockFrames);
    for (const auto& channel : audio.channels) {
        bank.reset();
        weight.reset();
        for (std::size_t begin = 0; begin < numFed; begin += blockFrames) {
            const std::size_t length = std::min(blockFrames, numFed - begin);
            for (std::size_t frame = 0; frame < length; ++frame)
                block[frame] =
                    begin + frame < numFrames ? static_cast<double>(channel[begin + frame]) : 0.0;
            double* pointer = block.data();
            const double* constPointer = pointer;
            weight.process({&constPointer, 1, length}, {&pointer, 1, length});
            totalEnergy += energyOf(std::span(block).first(length));
            bank.process({&constPointer, 1, length});
            for (std::size_t band = 0; band < energies.size(); ++band)
                energies[band] += std::ldexp(energyOf(bank.output(0, band)),
                                             static_cast<int>(bank.filters()[band].halvings));
        }
    }
    const double share =
        numFrames > 0 ? 1.0 / (static_cast<double>(numFrames * audio.numChannels())) : 0.0;
    for (const double energy : energies)
        analysis.levelsDbfs.push_back(dsp::rmsToDbfs(std::sqrt(energy * share)));
    analysis.totalDbfs = dsp::rmsToDbfs(std::sqrt(totalEnergy * share));
    return analysis;
}

} // namespace saddletone::measure
