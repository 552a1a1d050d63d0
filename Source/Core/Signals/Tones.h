#pragma once

#include <cstddef>
#include <vector>

namespace saddletone::signals {

/** A sine with raised-cosine fades, starting at phase 0. */
struct ToneShape {
    double frequencyHz = 1000.0;   ///< Below half the sample rate.
    double amplitude = 0.1;        ///< Linear, re full scale.
    std::size_t numFrames = 48000; ///< Fades included.
    std::size_t fadeFrames = 960;  ///< At each end.
};

[[nodiscard]] std::vector<double> makeTone(const ToneShape& shape, double sampleRate);

/** A warble: a sine whose frequency goes up and down between two limits in equal time per octave
    (triangular over log frequency), with raised-cosine fades. It has the constant amplitude of a
    sine and spreads over a band like noise, so that a place's narrow dips and peaks average out. */
struct WarbleShape {
    double fromHz = 891.251;
    double toHz = 1122.018;         ///< Above fromHz, below half the sample rate.
    double amplitude = 0.1;         ///< Linear, re full scale.
    std::size_t numFrames = 192000; ///< Fades included.
    std::size_t fadeFrames = 4800;  ///< At each end.
};

/** Times per second that the warble of a band goes up and down: 4 Hz, in narrow bands an eighth of
    the band's width. The sidebands of a modulation reach about its rate beyond the swing (Carson,
    Proc. IRE 10:57-64, 1922), so a faster one would leave a narrow band. */
[[nodiscard]] double warbleRateHz(const WarbleShape& shape) noexcept;

[[nodiscard]] std::vector<double> makeWarble(const WarbleShape& shape, double sampleRate);

} // namespace saddletone::signals
