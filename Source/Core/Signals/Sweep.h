#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::signals {

/** Exponential sine sweep in its synchronised form (Novak, Lotton and Simon, JAES
    63(10):786-798, 2015): x(t) = sin(2 pi f1 L exp(t / L)), L = T / ln(f2 / f1), with raised-cosine
    fades. Instantaneous frequency f1 exp(t / L); equal energy per octave. */
struct SweepShape {
    double fromHz = 20.0;
    double toHz = 22000.0; ///< Below half the sample rate.
    std::size_t numFrames = 576000;
    std::size_t fadeInFrames = 9600;
    std::size_t fadeOutFrames = 2400;
    double amplitude = 0.25; ///< Linear, re full scale.

    bool operator==(const SweepShape&) const = default;
};

[[nodiscard]] std::vector<double> makeSweep(const SweepShape& shape, double sampleRate);

/** Short linear chirp that stands before and after a sweep: it tells where the track starts in a
    recording and how fast the recorder's clock runs. Between 800 Hz and 8 kHz by default: any
    speaker plays it, and engine noise hardly reaches it. */
struct MarkerShape {
    double fromHz = 800.0;
    double toHz = 8000.0;
    double durationSeconds = 0.4;
    double amplitude = 0.25;

    bool operator==(const MarkerShape&) const = default;
};

[[nodiscard]] std::vector<double> makeMarker(const MarkerShape& shape, double sampleRate);

} // namespace saddletone::signals
