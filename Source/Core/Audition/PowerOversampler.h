#pragma once

#include "Core/Dsp/Biquad.h"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::audition {

/** Where an amplifier runs out of voltage. */
struct AmplifierClip {
    enum class Shape {
        none,
        hard, ///< Cut off flat.
        soft  ///< x / (1 + (x / limit)^4)^(1/4): 1.5 dB less at the limit.
    };
    enum class Source {
        assumed, ///< By the user's judgement.
        measured ///< From a measurement of the amplifier.
    };
    Shape shape = Shape::none;
    Source source = Source::assumed;
    /** Amplitude that is not passed, as the level of a sine (AES17) in the programme after the
        tuning, at the volume of the audition. */
    double limitDbfs = 0.0;

    bool operator==(const AmplifierClip&) const = default;
};

/** Powers 2 to 5 of one channel, made at four times its rate.

    Linear phase: up by 153 taps (flat to 0.35 of the rate, 90 dB down from 0.5 on), down by 89 (flat to
    0.35, 87 dB down from 0.6 on). The fifth power of what passes reaches 2.5 times the rate and folds
    at 4, to 1.5 and above, so nothing folds below 0.4 of the rate; what lies above that is for
    the caller to filter. All outputs are delayByFrames late.

    Beyond the highest drive that a measurement knows, powers are held: their input is scaled down to
    it, at once and back within about a fifth of a second, and their output up again, so that
    distortion stays in proportion to the programme as at that drive. */
class PowerOversampler {
public:
    static constexpr std::size_t factor = 4;
    static constexpr std::size_t maxFrames = 64;
    static constexpr std::size_t delayFrames = 30;
    /** Residual of the clipping (what it adds to its input), then powers 2 to 5. */
    static constexpr std::size_t numOutputs = 5;
    static constexpr std::size_t maxSections = 4;

    struct Parameters {
        /** In front of the powers, at four times the rate; at most maxSections. */
        std::span<const dsp::BiquadCoefficients> driveFilter;
        double driveGainLinear = 1.0;
        double highestDriveLinear = 1.0; ///< After the drive filter; above 0.
        AmplifierClip::Shape clip = AmplifierClip::Shape::none;
        double clipLimitLinear = 1.0; ///< In front of the drive filter; above 0.
    };

    // Setup (may allocate, not during process)
    void prepare(double newSampleRate);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    /** Copies what it is given. */
    void setParameters(const Parameters& parameters) noexcept;
    /** At most maxFrames; every output as long as the input. */
    void process(std::span<const float> input,
                 const std::array<std::span<float>, numOutputs>& outputs) noexcept;

    /** Gain of the hold now; 1 = within what was measured. */
    [[nodiscard]] double holdGain() const noexcept;

private:
    struct Section {
        dsp::BiquadCoefficients coefficients;
        double first = 0.0;
        double second = 0.0;
    };

    void makePowers(std::size_t numFrames) noexcept;

    static constexpr std::size_t upTaps = 153;
    static constexpr std::size_t upReach = (upTaps - 1) / factor; // older frames that count
    static constexpr std::size_t downTaps = 89;
    static constexpr std::size_t downReach = (downTaps - 1) / factor;
    static_assert(upTaps / 2 + downTaps / 2 == factor * delayFrames);

    using Phases = std::array<std::array<float, downReach + maxFrames>, factor>;

    std::array<float, upTaps> up {};
    std::array<float, downTaps> down {};
    double release = 0.0;
    std::array<Section, maxSections> sections {};
    std::size_t numSections = 0;
    double driveGain = 1.0;
    double highestDrive = 1.0;
    double envelope = 0.0;
    AmplifierClip::Shape clip = AmplifierClip::Shape::none;
    float clipLimit = 1.0F;
    std::array<float, upReach + maxFrames> recent {};
    std::array<std::array<float, maxFrames>, factor> raised {};
    std::array<Phases, numOutputs> made {}; // older frames, then those of this call
};

} // namespace saddletone::audition
