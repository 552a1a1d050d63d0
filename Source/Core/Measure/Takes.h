#pragma once

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::measure {

/** A band with what is known of the noise in it. */
struct BandNoise {
    dsp::Band band;
    double perBin = 0.0; ///< Expected |noise|^2 of one take's spectrum, mean per bin.
    bool swept = true;   ///< The sweep covers it whole.
};

/** A take left out of the average in some bands. */
struct TakeRejection {
    std::size_t take = 0; ///< Index, from 0.
    double fromHz = 0.0;
    double toHz = 0.0;

    bool operator==(const TakeRejection&) const = default;
};

/** Several takes of one response made into one. Per-band vectors follow the bands given. */
struct CombinedTakes {
    std::vector<double> impulse;
    std::vector<double> spreadDb;     ///< Standard deviation of the band's level between takes.
    std::vector<std::size_t> numKept; ///< Takes that the band rests on.
    std::vector<bool> inPhase; ///< The takes agree in phase and level: they are of one place.
    std::vector<TakeRejection> rejections;
    std::vector<double> lagFrames; ///< By which each take came later than the first.
};

/** By how many frames, to a small fraction, a take lags a reference: where the correlation of 200 Hz
    to 6 kHz is largest within 5 ms. Half spectra of fft's size; fft is used for the work. */
[[nodiscard]] double lagOfTake(std::span<const std::complex<double>> reference,
                               std::span<const std::complex<double>> take,
                               dsp::RealFft<double>& fft, double sampleRate);

/** Averages impulse responses of one length, aligned to the first by the maximum of their
    correlation (to a small fraction of a frame).

    Where the takes agree in phase the mean is complex, so that noise falls with their number;
    where they do not (several head places, or high up after the microphone moved), or where it would
    fall short of the mean power by more than 5 % and the noise, powers are averaged and the phase is
    the first take's.

    A disturbance hits a sweep for a moment, and so a few bands of one take. With three takes or
    more, a take is left out of a band and of its neighbours if the energy of its difference from
    the median take (the median of real and imaginary parts per bin) is more than eight times the
    median of all takes' there, and above -50 dB re the response. That is only done where the takes
    otherwise differ by no more than the noise explains (four times its power, or -40 dB), so that a
    place which differs is not taken for a disturbance; at least half the takes, and two, always
    remain. */
[[nodiscard]] CombinedTakes combineTakes(std::span<const std::vector<double>> impulses,
                                         double sampleRate, std::span<const BandNoise> bands);

/** Two-sided 95 % point of Student's t distribution. degreesOfFreedom: 1 or more, not only whole. */
[[nodiscard]] double studentT95(double degreesOfFreedom) noexcept;

} // namespace saddletone::measure
