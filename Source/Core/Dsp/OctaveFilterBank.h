#pragma once

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/ProcessSpec.h"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::dsp {

/** One fractional-octave filter: 8th-order Butterworth, run at the input's rate halved `halvings`
    times. */
struct OctaveFilter {
    static constexpr std::size_t numSections = 4;

    Band band;
    std::size_t halvings = 0;
    std::array<BiquadCoefficients, numSections> sections {};

    bool operator==(const OctaveFilter&) const = default;

    /** Rate of the filter's output for an input rate. */
    [[nodiscard]] double rate(double sampleRate) const noexcept;
    /** Output over input RMS of a sine of frequencyHz (up to half of sampleRate), with the halving
        filters, wherever the halvings fold it. */
    [[nodiscard]] double magnitude(double frequencyHz, double sampleRate) const noexcept;
};

/** Filters for octaveBands(bandsPerOctave, fromHz, toHz) whose centres lie below half the sample
    rate (32 kHz or more). Each meets class 1 of IEC 61260-1 (and of IEC 1260:1995) at every
    frequency the rate can hold. The edges are drawn in by 2.5 % of the width, so that pink noise
    reads its power between the nominal edges. A band whose upper edge lies at half the rate or
    beyond (20 kHz, third octave, at 44.1 kHz) is a high-pass at its lower edge: there is nothing
    above half the rate to keep out, and endless pink noise reads lower by what is missing
    (0.30 dB). */
[[nodiscard]] std::vector<OctaveFilter> designOctaveFilters(int bandsPerOctave, double fromHz,
                                                            double toHz, double sampleRate);

/** The half-band low-pass in front of every halving: odd number of taps, symmetric, sum 1. Down
    by 99 dB from 0.375 of the rate it runs at. */
[[nodiscard]] std::span<const double> halvingTaps() noexcept;

/** Runs fractional-octave filters over any number of channels, low bands at halved rates. Samples
    are double: low bands of loud signals are measured far below a float's precision. */
class OctaveFilterBank {
public:
    // Setup (may allocate, not during process)
    void prepare(const ProcessSpec& spec, int bandsPerOctave, double fromHz, double toHz);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    void process(ChannelView<const double> block) noexcept;
    /** What the last block gave in a band, at the band's own rate; may be empty. */
    [[nodiscard]] std::span<const double> output(std::size_t channel,
                                                 std::size_t band) const noexcept;

    // Any thread
    /** Ascending; constant after prepare(). */
    [[nodiscard]] const std::vector<OctaveFilter>& filters() const noexcept { return designs; }

private:
    // Bands side by side, for the compiler's vectors.
    static constexpr std::size_t numLanes = 4;
    using Lanes = std::array<double, numLanes>;
    struct Section {
        Lanes b0 {}, b1 {}, b2 {}, a1 {}, a2 {};
    };
    struct History {
        Lanes s1 {}, s2 {};
    };
    struct Group {
        std::size_t firstBand = 0;
        std::size_t numBands = 0;
        std::array<Section, OctaveFilter::numSections> sections {};
    };
    struct Stage { // all that runs at one rate
        std::vector<Group> groups;
    };
    struct ChannelStage {
        std::vector<double> samples; // the halving filter's history, then the block
        std::size_t numFrames = 0;   // of the block
        bool skipsNext = false;      // the next sample is one that halving leaves out
        std::vector<std::array<History, OctaveFilter::numSections>> histories; // one a group
    };

    void runGroup(const Group& group, std::array<History, OctaveFilter::numSections>& histories,
                  std::span<const double> input, std::size_t channel) noexcept;

    std::vector<OctaveFilter> designs;
    std::vector<Stage> stages;
    std::vector<std::vector<ChannelStage>> channelStages;  // [channel][stage]
    std::vector<std::vector<std::vector<double>>> outputs; // [channel][band]
};

} // namespace saddletone::dsp
