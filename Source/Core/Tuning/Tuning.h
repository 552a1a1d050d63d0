#pragma once

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/SpeakerGroup.h"
#include "Core/Tuning/Element.h"

#include <array>
#include <complex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::tuning {

/** Where a chain acts, in the words that bike states use for what was measured. */
using OutputGroup = measure::SpeakerGroup;

/** A chain on the group acts on every speaker of the output: left is covered by all and left. */
[[nodiscard]] bool covers(OutputGroup chain, OutputGroup output) noexcept;

struct Chain {
    OutputGroup group = OutputGroup::all;
    std::vector<Element> elements;

    bool operator==(const Chain&) const = default;
};

/** What could be changed on the bike: chains of filters, gains, delays and polarity. */
struct Tuning {
    std::string name;
    std::vector<Chain> chains; ///< Every chain that covers an output acts on it, in this order.

    bool operator==(const Tuning&) const = default;
};

/** A tuning on one output at one sample rate, ready to run. */
struct DesignedTuning {
    double sampleRate = 48000.0;
    double gainLinear = 1.0; ///< Negative where the polarity is turned over.
    /** What the tuning asks for, and what low-passes run ahead of their prototypes. */
    double delaySamples = 0.0;
    double lowPassLeadSamples = 0.0; ///< The second part of it.
    std::vector<dsp::BiquadCoefficients> sections;

    bool operator==(const DesignedTuning&) const = default;

    /** Complex gain at a frequency. */
    [[nodiscard]] std::complex<double> response(double frequencyHz) const noexcept;
};

[[nodiscard]] DesignedTuning designTuning(const Tuning& tuning, OutputGroup output,
                                          double sampleRate);

/** Complex response that is meant on one output: the product of its elements' prototypes. */
[[nodiscard]] std::complex<double> idealResponse(const Tuning& tuning, OutputGroup output,
                                                 double frequencyHz);

/** Complex response of a tuning on one output as it is applied at the sample rate. Designs the
    filters each time: for many frequencies keep a DesignedTuning. */
[[nodiscard]] std::complex<double> tuningResponse(const Tuning& tuning, OutputGroup output,
                                                  double frequencyHz, double sampleRate);

/** Filters an impulse response (double precision), in place. The span should have room behind the
    sound for the filters to ring out, and 31 frames before it for a delay of parts of a sample. */
void applyTuning(const Tuning& tuning, OutputGroup output, double sampleRate,
                 std::span<double> impulse);

/** Fails if a chain acts on some of the output's speakers only: what a microphone hears of several
    speakers at once does not tell what one of them adds to it. */
[[nodiscard]] dsp::Result<void> checkApplies(const Tuning& tuning, OutputGroup output);

/** A limiter acts on the output. It is in no response here, which whoever shows or plays a
    prediction has to say. */
[[nodiscard]] bool hasLimiter(const Tuning& tuning, OutputGroup output) noexcept;

} // namespace saddletone::tuning
