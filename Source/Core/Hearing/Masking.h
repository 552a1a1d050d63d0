#pragma once

#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <span>
#include <vector>

namespace saddletone::hearing {

/** What noise does to third octaves above it: equivalent masking spectrum level Z of ANSI
    S3.5-1997, third-octave procedure. All levels are spectrum levels in dB re (20 uPa)^2 per Hz.

    noiseDb: the noise. maskerDb: what spreads upwards from each band, that is the noise or, where
    it is louder, what else masks (the standard's B). Ascending third octaves. Slopes are those of
    the standard, -80 + 0.6 dB per octave and dB of band level, and never rise: above a band level
    of 133 dB, which it does not foresee, a masker spreads without loss. */
[[nodiscard]] std::vector<double> spreadOfMasking(std::span<const double> frequenciesHz,
                                                  std::span<const double> noiseDb,
                                                  std::span<const double> maskerDb);

/** Level that a third octave of a programme must reach to be heard in noise: the larger of what
    spreadOfMasking() gives and the hearing threshold, dB SPL in the band. At this level the
    programme is as strong in the band as what masks it; a steady tone is heard some 3 dB sooner
    above 500 Hz and some dB later below 200 Hz (Moore, Glasberg and Baer 1997).

    The standard has bands from 160 Hz to 8 kHz; the same rule is taken from 20 Hz to 20 kHz here,
    which is an extension. earPlugDb: what plugs take from the noise and the programme alike; the
    spectra are those outside them, and so is the result. */
[[nodiscard]] ThirdOctaveSpectrum maskedThreshold(const ThirdOctaveSpectrum& noise,
                                                  double earPlugDb = 0.0);

} // namespace saddletone::hearing
