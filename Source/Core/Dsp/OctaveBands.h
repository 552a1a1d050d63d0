#pragma once

#include "Core/Dsp/Fft.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace saddletone::dsp {

/** One band of a fractional-octave analysis. */
struct Band {
    double centreHz = 1000.0; ///< Exact mid-band frequency.
    double lowerHz = 891.251;
    double upperHz = 1122.018;

    bool operator==(const Band&) const = default;
};

/** Fractional-octave bands by IEC 61260-1, base ten (G = 10^(3/10)), whose centres lie between
    fromHz and toHz. bandsPerOctave: 1, 3, 6, 12, 24. Odd fractions have a centre at 1 kHz, even
    ones an edge there. */
[[nodiscard]] std::vector<Band> octaveBands(int bandsPerOctave, double fromHz, double toHz);

/** The third-octave bands from 20 Hz to 20 kHz, nominal. */
[[nodiscard]] std::vector<Band> thirdOctaveBands();

/** Nominal frequency of a third-octave band by ISO 266, for labels: "31.5", "1000", "12500". */
[[nodiscard]] std::string nominalLabel(double thirdOctaveCentreHz);

/** Frequencies a twelfth of an octave apart from fromHz (above 0) on, up to toHz. */
[[nodiscard]] std::vector<double> twelfthOctavesHz(double fromHz, double toHz);

/** Band powers of a power spectrum given as mean square per bin, bins evenly spaced from 0 Hz by
    binHz; bins at band edges count in part. */
[[nodiscard]] std::vector<double> bandPowers(std::span<const double> powerPerBin, double binHz,
                                             std::span<const Band> bands);

/** One-sided power spectrum of a signal as mean square per bin (Welch 1967: Hann window, half
    overlap, power scaled), segmentFrames even; the sum over bins is the mean square. Signals
    shorter than a segment are analysed in one shorter segment. */
[[nodiscard]] std::vector<double> welchPowerPerBin(std::span<const float> samples,
                                                   std::size_t segmentFrames);

/** The same from the whole signal at once, without a window: exact for signals that repeat with
    its length. Bins are sampleRate / samples.size() apart; the length must be even. */
[[nodiscard]] std::vector<double> periodicPowerPerBin(std::span<const float> samples);

/** The same from consecutive segments of segmentFrames (even), the last one filled up with silence,
    in single precision: quick and small for long signals. The sum over bins is the mean square of
    the signal, so what comes and goes within it counts with its energy. */
[[nodiscard]] std::vector<double> segmentedPowerPerBin(std::span<const float> samples,
                                                       std::size_t segmentFrames);

/** The same with a transform at hand, of segmentFrames. */
[[nodiscard]] std::vector<double> segmentedPowerPerBin(std::span<const float> samples,
                                                       RealFft<float>& fft);

} // namespace saddletone::dsp
