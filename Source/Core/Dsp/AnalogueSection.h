#pragma once

#include <complex>
#include <vector>

namespace saddletone::dsp {

/** An analogue section of first or second order,
    H(s) = (b0 + b1 s + b2 s^2) / (a0 + a1 s + a2 s^2), where s = j f / frequencyHz. */
struct AnalogueSection {
    double frequencyHz = 1000.0;
    double b0 = 1.0;
    double b1 = 0.0;
    double b2 = 0.0;
    double a0 = 1.0;
    double a1 = 0.0;
    double a2 = 0.0;

    bool operator==(const AnalogueSection&) const = default;

    /** Complex gain at a frequency. */
    [[nodiscard]] std::complex<double> response(double atHz) const noexcept;
};

// Prototypes of R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients".

/** Gain at frequencyHz, 0 dB at both ends. q: centre over bandwidth between the points of half the
    gain in dB, so that a cut mirrors the boost. */
[[nodiscard]] AnalogueSection analoguePeaking(double frequencyHz, double q, double gainDb) noexcept;

/** Shelves: half the gain in dB at frequencyHz. q = 0.7071 is the steepest without overshoot. */
[[nodiscard]] AnalogueSection analogueLowShelf(double frequencyHz, double q,
                                               double gainDb) noexcept;
[[nodiscard]] AnalogueSection analogueHighShelf(double frequencyHz, double q,
                                                double gainDb) noexcept;

[[nodiscard]] AnalogueSection analogueHighPass(double frequencyHz, double q) noexcept;
[[nodiscard]] AnalogueSection analogueLowPass(double frequencyHz, double q) noexcept;
/** -3 dB at frequencyHz. */
[[nodiscard]] AnalogueSection analogueFirstOrderHighPass(double frequencyHz) noexcept;
[[nodiscard]] AnalogueSection analogueFirstOrderLowPass(double frequencyHz) noexcept;

/** Gain 1; the phase turns by -180 degrees at frequencyHz, by -360 far above it. */
[[nodiscard]] AnalogueSection analogueAllPass(double frequencyHz, double q) noexcept;
/** Gain 1; the phase turns by -90 degrees at frequencyHz, by -180 far above it. */
[[nodiscard]] AnalogueSection analogueFirstOrderAllPass(double frequencyHz) noexcept;

/** Silence at frequencyHz, gain 1 at both ends; -3 dB at the edges of a band of width
    frequencyHz / q. */
[[nodiscard]] AnalogueSection analogueNotch(double frequencyHz, double q) noexcept;

/** Which side of a pass's frequency is let through. */
enum class PassBand { belowFrequency, aboveFrequency };

/** Butterworth, order 1 to 8: -3.01 dB at frequencyHz. */
[[nodiscard]] std::vector<AnalogueSection> analogueButterworth(PassBand band, int order,
                                                               double frequencyHz);
/** Linkwitz-Riley, order 2, 4, 6 or 8: a Butterworth of half the order twice over; -6.02 dB at
    frequencyHz. */
[[nodiscard]] std::vector<AnalogueSection> analogueLinkwitzRiley(PassBand band, int order,
                                                                 double frequencyHz);
/** Bessel, order 1 to 8, scaled to -3.01 dB at frequencyHz. The high-pass is the low-pass with s
    and 1/s exchanged, and so has the mirrored magnitude, not the even delay. */
[[nodiscard]] std::vector<AnalogueSection> analogueBessel(PassBand band, int order,
                                                          double frequencyHz);

/** Poles of a Bessel low-pass whose -3.01 dB point is at 1 rad/s: the upper one of each pair, and
    the real one of an odd order last. order: 1 to 8. */
[[nodiscard]] std::vector<std::complex<double>> besselPoles(int order);

} // namespace saddletone::dsp
