#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace saddletone::seat {

/** Refuses a filter whose sample rate is not 8 to 384 kHz, its taps 256 to 65536, its largest boost 0
    to 24 dB or its largest cut 0 to 40 dB. what: begins the message. */
[[nodiscard]] dsp::Result<void> checkFilterLimits(const std::string& what, double sampleRate,
                                                  std::size_t numTaps, double maxBoostDb,
                                                  double maxCutDb);

/** Points of the transform that filters are designed with, a power of two: at most 0.4 Hz apart,
    so that straight lines over log frequency are smooth at 20 Hz. */
[[nodiscard]] std::size_t designSizeFor(double sampleRate);

/** A power spectrum on evenly spaced bins from 0 Hz, averaged from so many octaves below each bin
    to so many above, the bin itself always included. */
[[nodiscard]] std::vector<double> meanPowerAround(std::span<const double> powerPerBin,
                                                  double octavesBelow, double octavesAbove);

/** The same over a width around each bin. */
[[nodiscard]] std::vector<double> smoothedPower(std::span<const double> powerPerBin,
                                                double widthOctaves);

/** Magnitude of an impulse response at the bins from 0 Hz to Nyquist of a transform of size, which
    is even and no smaller than the impulse. */
[[nodiscard]] std::vector<double> magnitudesOf(std::span<const double> impulse, std::size_t size);

/** The first numTaps of the minimum-phase impulse of a magnitude (2^n + 1 bins), the last tenth of
    them faded. */
[[nodiscard]] std::vector<double> minimumPhaseTaps(std::span<const double> magnitude,
                                                   std::size_t numTaps);

/** Scales taps down where their magnitude passes a limit, which cutting them off may cause by some
    hundredths of a decibel. Returns their highest gain in dB, at most maxGainDb. */
double keepBelow(double maxGainDb, std::size_t designSize, std::vector<double>& taps);

/** Frequencies of a curve for people: twelfths of an octave between two frequencies. */
[[nodiscard]] std::vector<double> curveFrequencies(double fromHz, double toHz);

/** Mean of a curve from 500 Hz to 2 kHz at even steps over log frequency. */
[[nodiscard]] double middleLevelDb(const files::FrequencyTable& table);

} // namespace saddletone::seat
