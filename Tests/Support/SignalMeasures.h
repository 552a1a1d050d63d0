#pragma once

#include <span>
#include <vector>

namespace saddletone::test {

// Slow, plain measures of signals to hold the core's against.

/** Mean of the squares. */
[[nodiscard]] double meanSquare(std::span<const float> samples);

/** RMS level by AES17 in dBFS: a full-scale sine reads 0. */
[[nodiscard]] double levelDbfs(std::span<const float> samples);

/** Mean square per bin of the whole signal, taken as one period; its length must be even. Bins are
    sampleRate / samples.size() apart. */
[[nodiscard]] std::vector<double> lineSpectrum(std::span<const float> samples);

/** Power between two frequencies of a line spectrum; lines at the limits count by the share of
    their width that lies inside. */
[[nodiscard]] double powerBetween(std::span<const double> lines, double binHz, double fromHz,
                                  double toHz);

/** Largest distance between the distribution of samples and the normal one with mean 0 and the
    samples' own RMS (Kolmogorov-Smirnov); 0 to 1. */
[[nodiscard]] double distanceFromNormal(std::span<const float> samples);

/** Frequency in cycles per sample of a sine whose frequency hardly changes, by least squares of
    x[n-1] + x[n+1] = 2 cos(omega) x[n]. */
[[nodiscard]] double normalisedFrequencyOf(std::span<const double> samples);

} // namespace saddletone::test
