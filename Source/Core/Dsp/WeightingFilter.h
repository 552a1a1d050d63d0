#pragma once

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Dsp/Weighting.h"

#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::dsp {

/** A weighting of IEC 61672-1 as second-order sections; Z has none. */
struct WeightingDesign {
    std::array<BiquadCoefficients, 3> sections {};
    std::size_t numSections = 0;

    bool operator==(const WeightingDesign&) const = default;

    [[nodiscard]] std::complex<double> response(double frequencyHz,
                                                double sampleRate) const noexcept;
};

/** The weighting's poles at a sample rate of 32 kHz or more, 0 dB at 1 kHz. The three low poles go
    through the bilinear transform. The double pole at 12.2 kHz keeps its decay, and its zeros are
    set so that the magnitude is right at 0 Hz, near 14 kHz and near 19.4 kHz: a bilinear pole
    would read 4 dB too low at 16 kHz and 44.1 kHz. From 10 Hz to 20 kHz the whole is within
    0.16 dB of the standard's formula at 44.1 kHz, 0.08 dB at 48 kHz and 0.01 dB at 88.2 kHz and
    more. */
[[nodiscard]] WeightingDesign designWeighting(Weighting weighting, double sampleRate) noexcept;

struct WeightingFilterParameters {
    Weighting weighting = Weighting::a;

    bool operator==(const WeightingFilterParameters&) const = default;
};

/** Weights audio in the time domain, without delay. Samples are double, since what a weighting
    leaves of low bands is measured afterwards. */
class WeightingFilter {
public:
    // Setup (may allocate, not during process)
    void prepare(const ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    /** A change of weighting clears the history. */
    void setParameters(const WeightingFilterParameters& parameters) noexcept;
    /** The output may be the input. */
    void process(ChannelView<const double> input, ChannelView<double> output) noexcept;

private:
    struct History {
        double s1 = 0.0;
        double s2 = 0.0;
    };
    double sampleRate = 48000.0;
    WeightingFilterParameters current;
    WeightingDesign design;
    std::vector<std::array<History, 3>> histories; // one a channel
};

} // namespace saddletone::dsp
