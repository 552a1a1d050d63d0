#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace saddletone::signals {

/** Facts of the calibrated pink noise of SMPTE ST 2095-1:2015, taken from public copies of its
    pseudo-code; the standard itself was not at hand. */
struct CalibratedPinkFacts {
    static constexpr double levelDbfs = -18.5;    ///< AES17; an RMS of -21.5 dB re 1.0.
    static constexpr double highestPeakDb = -9.5; ///< Re 1.0; samples beyond are limited to it.
    static constexpr double fromHz = 10.0;        ///< -3 dB, fourth-order Butterworth.
    static constexpr double toHz = 22400.0;       ///< The same.
};

/** Pseudorandom whole numbers of the noise: a linear congruential generator that goes through every
    number below its modulus, which is also the noise's period, and so starts over by itself. */
class CalibratedPinkSource {
public:
    /** periodFrames: a power of two; 2^19 up to 48 kHz and 2^20 above in the standard. */
    explicit CalibratedPinkSource(std::size_t periodFrames) noexcept;

    [[nodiscard]] std::uint32_t next() noexcept;

private:
    std::uint32_t state = 0;
    std::uint32_t increment;
    std::uint32_t mask;
};

[[nodiscard]] std::size_t calibratedPinkPeriodFrames(double sampleRate) noexcept;

/** One period of the noise, as it is after one period has filled the filters' memories; repeats
    without a seam. sampleRate: 44100, 48000, 88200 or 96000. At 44.1 kHz the upper band limit lies
    beyond half the sample rate, and the low-pass is left out. */
[[nodiscard]] std::vector<double> makeCalibratedPink(double sampleRate);

} // namespace saddletone::signals
