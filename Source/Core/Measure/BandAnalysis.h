#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/FftStore.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Weighting.h"

#include <vector>

namespace saddletone::measure {

/** Banded levels of a recording. */
struct BandAnalysis {
    std::vector<dsp::Band> bands;
    std::vector<double> levelsDbfs; ///< AES17, weighted, one a band; the channels' mean power.
    double totalDbfs = 0.0;         ///< AES17, weighted, of all frequencies.
};

/** Long-term levels in fractional octaves (bandsPerOctave 3, 6, 12 or 24) from a Fourier analysis
    of the whole recording, in one transform up to 2^21 frames, in transforms of about 10 s beyond.
    Bands from 20 Hz to 20 kHz; not those of which more than a tenth lies beyond half the sample
    rate, as they would read low. transforms: where those of 10 s come from. */
[[nodiscard]] BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                                        dsp::Weighting weighting, dsp::FftStore& transforms);
/** The same with transforms of its own. */
[[nodiscard]] BandAnalysis analyseBands(const dsp::AudioBuffer& audio, int bandsPerOctave,
                                        dsp::Weighting weighting);

} // namespace saddletone::measure
