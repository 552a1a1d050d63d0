#include "Core/Dsp/OctaveFilterBank.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::dsp {

namespace {

constexpr int prototypeOrder = 4; // of the low-pass; twice that as a band-pass
static_assert(prototypeOrder == OctaveFilter::numSections);

// A band goes to the halved rate while its upper edge is at most this share of it. At a quarter
// the square of the band's signal, at twice its frequencies, is not folded either.
constexpr double highestEdgeOfRate = 0.25;

// Above this share of the rate an upper edge counts as beyond half the rate.
constexpr double nyquistEdge = 0.495;

constexpr std::size_t numTaps = 31;
constexpr std::size_t historyFrames = numTaps - 1;

/** Half-band low-pass, windowed after Kaiser (1974) with beta = 0.1102 (100 - 8.7) over 33 points,
    the outer two of which are zero, then scaled to the sum 1. Every second tap off the centre is
    zero. */
constexpr std::array<double, numTaps> halfBandTaps()
{
    constexpr std::array<double, 8> outer {-5.2517475456026301e-05, 0.00048793775796920376,
                                           -0.002171787553117044,   0.0068292128485532263,
                                           -0.017423229403133705,   0.039492737702073927,
                                           -0.089582990887290215,   0.31242209636474327};
    std::array<double, numTaps> all {};
    for (std::size_t index = 0; index < outer.size(); ++index) {
        all[2 * index] = outer[index];
        all[numTaps - 1 - 2 * index] = outer[index];
    }
    all[numTaps / 2] = 0.49999708129131459;
    return all;
}
constexpr std::array<double, numTaps> taps = halfBandTaps();

double halvingMagnitude(double normalisedFrequency) noexcept
{
    double sum = taps[numTaps / 2];
    for (std::size_t tap = 0; tap < numTaps / 2; ++tap)
        sum += 2.0 * taps[tap]
               * std::cos(2.0 * std::numbers::pi * normalisedFrequency
                          * (0.5 * static_cast<double>(numTaps - 1) - static_cast<double>(tap)));
    return std::abs(sum);
}

double warped(double frequencyHz, double rate) noexcept
{
    return std::tan(std::numbers::pi * frequencyHz / rate);
}

/** Edges in the bilinear transform's analogue plane; a missing upper edge is a high-pass. */
struct WarpedEdges {
    double lower = 0.0;
    double upper = 0.0;
    bool isHighPass = false;
};

/** widthShare: of the band's width in octaves that lies between the edges. */
WarpedEdges edgesOf(const Band& band, double rate, double widthShare) noexcept
{
    const double lower = band.centreHz * std::pow(band.lowerHz / band.centreHz, widthShare);
    const double upper = band.centreHz * std::pow(band.upperHz / band.centreHz, widthShare);
    if (band.upperHz >= nyquistEdge * rate)
        return {warped(lower, rate), 0.0, true};
    return {warped(lower, rate), warped(upper, rate), false};
}

/** Squared magnitude of the Butterworth filter between edges at a warped frequency above 0. */
double butterworthPower(const WarpedEdges& edges, double warpedFrequency) noexcept
{
    if (edges.isHighPass)
        return 1.0 / (1.0 + std::pow(edges.lower / warpedFrequency, 4 * prototypeOrder));
    const double detuning = (warpedFrequency * warpedFrequency - edges.lower * edges.upper)
                            / (warpedFrequency * (edges.upper - edges.lower));
    const double square = detuning * detuning;
    return 1.0 / (1.0 + square * square * square * square);
}

/** The share of the width at which pink noise passes with its power between the nominal edges
    (or half the rate). A Butterworth filter between the nominal edges would pass 0.11 dB more. */
double widthShareOf(const Band& band, double rate) noexcept
{
    constexpr std::size_t numPoints = 600;
    // Five widths to each side: what lies beyond is below a millionth.
    const double reach = 5.0 * std::log(band.upperHz / band.lowerHz);
    const double bottom = std::log(band.centreHz) - reach;
    const double top = std::min(std::log(band.centreHz) + reach, std::log(0.5 * rate));
    const double step = (top - bottom) / numPoints;
    std::array<double, numPoints> warpedFrequencies {};
    for (std::size_t point = 0; point < numPoints; ++point)
        warpedFrequencies[point] =
            warped(std::exp(bottom + (static_cast<double>(point) + 0.5) * step), rate);
    const double wanted = std::log(std::min(band.upperHz, 0.5 * rate) / band.lowerHz);
    double narrow = 0.8;
    double wide = 1.2;
    for (int round = 0; round < 30; ++round) {
        const double middle = 0.5 * (narrow + wide);
        const auto edges = edgesOf(band, rate, middle);
        double power = 0.0;
        for (const double frequency : warpedFrequencies)
            power += butterworthPower(edges, frequency) * step;
        (power > wanted ? wide : narrow) = middle;
    }
    return 0.5 * (narrow + wide);
}

std::array<BiquadCoefficients, OctaveFilter::numSections> designSections(const Band& band,
                                                                         double rate)
{
    const auto edges = edgesOf(band, rate, widthShareOf(band, rate));
    std::array<BiquadCoefficients, OctaveFilter::numSections> sections {};
    if (edges.isHighPass) {
        const double edgeHz = std::atan(edges.lower) / std::numbers::pi * rate;
        const auto qs = butterworthQs(2 * prototypeOrder);
        for (std::size_t section = 0; section < sections.size(); ++section)
            sections[section] = designHighPass(edgeHz, qs[section], rate);
        return sections;
    }
    const double width = edges.upper - edges.lower;
    const double centreSquare = edges.lower * edges.upper;
    const double centreOfRate = std::atan(std::sqrt(centreSquare)) / std::numbers::pi;
    std::size_t section = 0;
    for (int pair = 1; pair <= prototypeOrder / 2; ++pair) {
        const std::complex<double> prototype = std::polar(
            1.0, std::numbers::pi * (2.0 * pair + prototypeOrder - 1.0) / (2.0 * prototypeOrder));
        // s^2 - prototype width s + centre^2 = 0 gives two poles; their conjugates belong to the
        // prototype's conjugate.
        const std::complex<double> half = 0.5 * width * prototype;
        const std::complex<double> root = std::sqrt(half * half - centreSquare);
        for (const auto& analogue : {half + root, half - root}) {
            const std::complex<double> pole = (1.0 + analogue) / (1.0 - analogue);
            BiquadCoefficients& c = sections[section++];
            c = {1.0, 0.0, -1.0, -2.0 * pole.real(), std::norm(pole)};
            const double scale = 1.0 / std::abs(c.response(centreOfRate, 1.0));
            c.b0 *= scale;
            c.b2 *= scale;
        }
    }
    return sections;
}

} // namespace

double OctaveFilter::rate(double sampleRate) const noexcept
{
    return std::ldexp(sampleRate, -static_cast<int>(halvings));
}

double OctaveFilter::magnitude(double frequencyHz, double sampleRate) const noexcept
{
    double gain = 1.0;
    double stageRate = sampleRate;
    double folded = frequencyHz;
    for (std::size_t halving = 0; halving < halvings; ++halving) {
        gain *= halvingMagnitude(folded / stageRate);
        stageRate *= 0.5;
        if (folded > 0.5 * stageRate)
            folded = stageRate - folded;
    }
    for (const BiquadCoefficients& section : sections)
        gain *= std::abs(section.response(folded, stageRate));
    return gain;
}

std::vector<OctaveFilter> designOctaveFilters(int bandsPerOctave, double fromHz, double toHz,
                                              double sampleRate)
{
    assert(sampleRate >= 32000.0);
    std::vector<OctaveFilter> filters;
    for (const Band& band : octaveBands(bandsPerOctave, fromHz, toHz)) {
        if (band.centreHz >= nyquistEdge * sampleRate)
            break;
        OctaveFilter filter;
        filter.band = band;
        while (band.upperHz <= 0.5 * highestEdgeOfRate * filter.rate(sampleRate))
            ++filter.halvings;
        filter.sections = designSections(band, filter.rate(sampleRate));
        filters.push_back(filter);
    }
    return filters;
}

std::span<const double> halvingTaps() noexcept
{
    return taps;
}

void OctaveFilterBank::prepare(const ProcessSpec& spec, int bandsPerOctave, double fromHz,
                               double toHz)
{
    designs = designOctaveFilters(bandsPerOctave, fromHz, toHz, spec.sampleRate);
    std::size_t numStages = 1;
    for (const OctaveFilter& filter : designs)
        numStages = std::max(numStages, filter.halvings + 1);
    stages.assign(numStages, {});
    for (std::size_t band = 0; band < designs.size(); ++band) {
        auto& groups = stages[designs[band].halvings].groups;
        if (groups.empty() || groups.back().numBands == numLanes)
            groups.push_back({band, 0, {}});
        Group& group = groups.back();
        const std::size_t lane = group.numBands++;
        for (std::size_t section = 0; section < OctaveFilter::numSections; ++section) {
            const BiquadCoefficients& c = designs[band].sections[section];
            group.sections[section].b0[lane] = c.b0;
            group.sections[section].b1[lane] = c.b1;
            group.sections[section].b2[lane] = c.b2;
            group.sections[section].a1[lane] = c.a1;
            group.sections[section].a2[lane] = c.a2;
        }
    }
    channelStages.assign(spec.numChannels, std::vector<ChannelStage>(numStages));
    outputs.assign(spec.numChannels, std::vector<std::vector<double>>(designs.size()));
    for (auto& channel : channelStages)
        for (std::size_t stage = 0; stage < numStages; ++stage) {
            channel[stage].samples.resize(historyFrames + (spec.maxBlockFrames >> stage) + 1);
            channel[stage].histories.resize(stages[stage].groups.size());
        }
    for (auto& channel : outputs)
        for (std::size_t band = 0; band < designs.size(); ++band)
            channel[band].resize((spec.maxBlockFrames >> designs[band].halvings) + 1);
    reset();
}

void OctaveFilterBank::reset() noexcept
{
    for (auto& channel : channelStages)
        for (ChannelStage& stage : channel) {
            std::ranges::fill(stage.samples, 0.0);
            std::ranges::fill(stage.histories, std::array<History, OctaveFilter::numSections> {});
            stage.numFrames = 0;
            stage.skipsNext = false;
        }
}

void OctaveFilterBank::process(ChannelView<const double> block) noexcept
{
    assert(block.numChannels() == channelStages.size());
    for (std::size_t channel = 0; channel < channelStages.size(); ++channel) {
        auto& own = channelStages[channel];
        const auto source = block[channel];
        assert(historyFrames + source.size() < own.front().samples.size());
        std::ranges::copy(source, own.front().samples.begin() + historyFrames);
        own.front().numFrames = source.size();
        for (std::size_t stage = 0; stage < stages.size(); ++stage) {
            ChannelStage& current = own[stage];
            const std::span<const double> all(current.samples);
            const auto input = all.subspan(historyFrames, current.numFrames);
            for (std::size_t group = 0; group < stages[stage].groups.size(); ++group)
                runGroup(stages[stage].groups[group], current.histories[group], input, channel);
            if (stage + 1 < stages.size()) {
                ChannelStage& next = own[stage + 1];
                next.numFrames = 0;
                for (std::size_t frame = current.skipsNext ? 1 : 0; frame < current.numFrames;
                     frame += 2) {
                    // Every second tap off the centre is zero, and the taps are symmetric.
                    const auto window = all.subspan(frame, numTaps);
                    double sum = taps[numTaps / 2] * window[numTaps / 2];
                    for (std::size_t tap = 0; tap < numTaps / 2; tap += 2)
                        sum += taps[tap] * (window[tap] + window[numTaps - 1 - tap]);
                    next.samples[historyFrames + next.numFrames++] = sum;
                }
                if (current.numFrames % 2 == 1)
                    current.skipsNext = !current.skipsNext;
            }
            std::copy_n(current.samples.begin() + static_cast<std::ptrdiff_t>(current.numFrames),
                        historyFrames, current.samples.begin());
        }
    }
}

void OctaveFilterBank::runGroup(const Group& group,
                                std::array<History, OctaveFilter::numSections>& histories,
                                std::span<const double> input, std::size_t channel) noexcept
{
    auto history = histories;
    std::array<double*, numLanes> targets {};
    for (std::size_t lane = 0; lane < group.numBands; ++lane)
        targets[lane] = outputs[channel][group.firstBand + lane].data();
    for (std::size_t frame = 0; frame < input.size(); ++frame) {
        Lanes lanes;
        lanes.fill(input[frame]);
        for (std::size_t section = 0; section < OctaveFilter::numSections; ++section) {
            const Section& c = group.sections[section];
            History& h = history[section];
            for (std::size_t lane = 0; lane < numLanes; ++lane) {
                const double x = lanes[lane];
                const double y = c.b0[lane] * x + h.s1[lane];
                h.s1[lane] = c.b1[lane] * x - c.a1[lane] * y + h.s2[lane];
                h.s2[lane] = c.b2[lane] * x - c.a2[lane] * y;
                lanes[lane] = y;
            }
        }
        for (std::size_t lane = 0; lane < group.numBands; ++lane)
            targets[lane][frame] = lanes[lane];
    }
    histories = history;
}

std::span<const double> OctaveFilterBank::output(std::size_t channel,
                                                 std::size_t band) const noexcept
{
    return std::span(outputs[channel][band])
        .first(channelStages[channel][designs[band].halvings].numFrames);
}

} // namespace saddletone::dsp
