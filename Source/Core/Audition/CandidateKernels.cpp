#include "Core/Audition/CandidateKernels.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/FractionalDelay.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Measure/SpeakerSet.h"
#include "Core/Seat/ChannelShare.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <optional>
#include <utility>

namespace saddletone::audition {

namespace {

using measure::BikeChannel;
using measure::GroupedStates;
using measure::GroupSum;
using measure::SpeakerGroup;

/** What of the impulse before the direct sound is kept: shorter than the sound's way from any
    speaker to the head, which the measurement cannot see for want of a common clock. */
constexpr double secondsBeforeArrival = 0.0015;
constexpr double fadeOutShare = 0.1;

constexpr std::array channels {BikeChannel::left, BikeChannel::right};

/** Filters taps with the helmet's insertion loss, minimum phase, in place. */
void applyHelmet(ride::Helmet helmet, double sampleRate, std::vector<double>& taps)
{
    if (helmet == ride::Helmet::none)
        return;
    constexpr std::size_t helmetTaps = 4096;
    std::vector<double> magnitude(helmetTaps / 2 + 1);
    for (std::size_t bin = 0; bin < magnitude.size(); ++bin) {
        const double frequencyHz =
            static_cast<double>(bin) * sampleRate / static_cast<double>(helmetTaps);
        magnitude[bin] = dsp::dbToAmplitude(-ride::insertionLossDb(helmet, frequencyHz));
    }
    const auto loss = dsp::minimumPhaseImpulse(magnitude);

    const auto filtered = dsp::convolve(taps, loss);
    std::copy_n(filtered.begin(), taps.size(), taps.begin());
}

/** Half a period of a raised cosine, 0 to 1. */
double rise(std::size_t frame, std::size_t numFrames)
{
    return 0.5
           - 0.5
                 * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                            / static_cast<double>(numFrames));
}

/** A response with the tuning of its speakers, as the head hears it under the helmet. */
dsp::Result<std::vector<double>> responseTaps(const CandidateRequest& candidate,
                                              const measure::Response& response,
                                              SpeakerGroup speakers, double laterSeconds,
                                              ride::Helmet helmet, double sampleRate,
                                              std::size_t maxTaps)
{
    if (const auto applies = tuning::checkApplies(candidate.tuning, speakers); !applies)
        return dsp::fail(applies.error().code,
                         "candidate '" + candidate.name + "': " + applies.error().message);

    const auto before =
        static_cast<std::size_t>(std::lround(secondsBeforeArrival * response.sampleRate));
    const std::size_t begin = response.arrivalFrame > before ? response.arrivalFrame - before : 0;
    std::vector<double> impulse(response.impulse.begin() + static_cast<std::ptrdiff_t>(begin),
                                response.impulse.end());
    const std::size_t fadeIn = response.arrivalFrame - begin;
    for (std::size_t frame = 0; frame < fadeIn; ++frame)
        impulse[frame] *= rise(frame, fadeIn);

    std::vector<double> taps = files::resampleImpulse(impulse, response.sampleRate, sampleRate);
    // Filters need room to ring out; what does not fit is faded below.
    taps.resize(maxTaps, 0.0);
    if (laterSeconds > 0.0)
        dsp::delaySamplesInPlace(laterSeconds * sampleRate, taps);
    tuning::applyTuning(candidate.tuning, speakers, sampleRate, taps);
    applyHelmet(helmet, sampleRate, taps);

    const auto fadeOut = static_cast<std::size_t>(fadeOutShare * static_cast<double>(maxTaps));
    for (std::size_t frame = 0; frame < fadeOut; ++frame)
        taps[maxTaps - 1 - frame] *= rise(frame, fadeOut);
    return taps;
}

bool isOneSided(SpeakerGroup speakers)
{
    return measure::otherSideOf(speakers).has_value();
}

/** The speakers of a state that a channel plays. States of one side are played by both channels if
    there is no other side. */
std::optional<SpeakerGroup> playedBy(BikeChannel channel, SpeakerGroup ofState,
                                     SpeakerGroup ofCandidate)
{
    if (isOneSided(ofCandidate))
        return ofState;
    return measure::groupOnChannel(ofState, channel);
}

/** Whether the state is of one side of a bike that is heard with both. */
bool isHalf(SpeakerGroup ofState, SpeakerGroup ofCandidate)
{
    return isOneSided(ofState) && !isOneSided(ofCandidate);
}

/** What the groups' impulses are together. */
std::vector<double> sumOf(const std::vector<std::vector<double>>& impulses, GroupSum how,
                          double sampleRate)
{
    if (how == GroupSum::power)
        return measure::sumOfPowers(impulses, sampleRate);
    std::vector<double> sum = impulses.front();
    for (std::size_t index = 1; index < impulses.size(); ++index)
        std::ranges::transform(sum, impulses[index], sum.begin(), std::plus<> {});
    return sum;
}

/** Indices of the states, the strongest first: a sum of powers keeps its times. */
std::vector<std::size_t> strongestFirst(const GroupedStates& groups)
{
    std::vector<std::pair<double, std::size_t>> energies;
    for (std::size_t index = 0; index < groups.states.size(); ++index) {
        double energy = 0.0;
        for (const float tap : groups.states[index].impulse)
            energy += static_cast<double>(tap) * static_cast<double>(tap);
        energies.emplace_back(-energy, index);
    }
    std::ranges::sort(energies);
    std::vector<std::size_t> order;
    for (const auto& [energy, index] : energies)
        order.push_back(index);
    return order;
}

dsp::Result<std::vector<double>> groupTaps(const CandidateRequest& candidate, BikeChannel channel,
                                           ride::Helmet helmet, double sampleRate,
                                           std::size_t maxTaps)
{
    const GroupedStates& groups = *candidate.groups;
    std::vector<std::vector<double>> parts;
    for (const std::size_t index : strongestFirst(groups)) {
        const measure::Response& state = groups.states[index];
        const auto speakers = playedBy(channel, state.state.speakers, groups.speakers());
        if (!speakers)
            continue;
        auto taps = responseTaps(candidate, state, *speakers, groups.laterSeconds[index], helmet,
                                 sampleRate, maxTaps);
        if (!taps)
            return taps.unexpected();
        if (isHalf(state.state.speakers, groups.speakers()))
            seat::wholeOfShareInPlace(sampleRate, *taps);
        parts.push_back(*std::move(taps));
    }
    if (parts.empty())
        return std::vector<double>(maxTaps, 0.0);
    return sumOf(parts, groups.sum, sampleRate);
}

dsp::Result<std::vector<float>> finite(const CandidateRequest& candidate,
                                       const std::vector<double>& taps)
{
    std::vector<float> result(taps.begin(), taps.end());
    if (!std::ranges::all_of(result, [](float tap) { return std::isfinite(tap); }))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "candidate '" + candidate.name
                             + "': its tuning drives the result out of range; lower its gains");
    return result;
}

dsp::Result<seat::EarKernels> placedGroups(const CandidateRequest& candidate, ride::Helmet helmet,
                                           const seat::SeatFilters& filters, std::size_t maxTaps)
{
    const GroupedStates& groups = *candidate.groups;
    std::array<std::array<std::vector<std::vector<double>>, seat::numSides>, numEars> parts;
    for (const std::size_t index : strongestFirst(groups)) {
        const measure::Response& state = groups.states[index];
        const SpeakerGroup ofState = state.state.speakers;
        std::array<std::vector<float>, seat::numSides> sides;
        for (std::size_t side = 0; side < sides.size(); ++side) {
            const auto speakers = playedBy(channels[side], ofState, groups.speakers());
            if (!speakers)
                continue;
            const auto taps = responseTaps(candidate, state, *speakers, groups.laterSeconds[index],
                                           helmet, filters.sampleRate(), maxTaps);
            if (!taps)
                return taps.unexpected();
            auto checked = finite(candidate, *taps);
            if (!checked)
                return checked.unexpected();
            sides[side] = *std::move(checked);
        }
        const auto heard =
            filters.earKernels(sides[0], sides[1], ofState,
                               isHalf(ofState, groups.speakers()) ? seat::ChannelFeed::alone
                                                                  : seat::ChannelFeed::together);
        for (std::size_t ear = 0; ear < numEars; ++ear)
            for (std::size_t side = 0; side < seat::numSides; ++side)
                if (const auto& taps = heard[ear][side]; !taps.empty())
                    parts[ear][side].emplace_back(taps.begin(), taps.end());
    }
    seat::EarKernels kernels;
    for (std::size_t ear = 0; ear < numEars; ++ear)
        for (std::size_t side = 0; side < seat::numSides; ++side)
            if (!parts[ear][side].empty()) {
                const auto sum = sumOf(parts[ear][side], groups.sum, filters.sampleRate());
                kernels[ear][side].assign(sum.begin(), sum.end());
            }
    return kernels;
}

} // namespace

std::vector<SpeakerGroup> outputsOf(const CandidateRequest& candidate)
{
    std::vector<SpeakerGroup> outputs;
    const auto add = [&](SpeakerGroup ofState, SpeakerGroup ofCandidate) {
        for (const BikeChannel channel : channels)
            if (const auto speakers = playedBy(channel, ofState, ofCandidate);
                speakers && std::ranges::find(outputs, *speakers) == outputs.end())
                outputs.push_back(*speakers);
    };
    if (candidate.groups == nullptr)
        add(candidate.response.state.speakers, candidate.response.state.speakers);
    else
        for (const measure::Response& state : candidate.groups->states)
            add(state.state.speakers, candidate.groups->speakers());
    return outputs;
}

dsp::Result<void> checkTuning(const CandidateRequest& candidate)
{
    for (const SpeakerGroup speakers : outputsOf(candidate))
        if (const auto applies = tuning::checkApplies(candidate.tuning, speakers); !applies)
            return applies;
    return {};
}

bool hasLimiterLeftOut(const CandidateRequest& candidate)
{
    return std::ranges::any_of(outputsOf(candidate), [&](SpeakerGroup speakers) {
        return tuning::hasLimiter(candidate.tuning, speakers);
    });
}

dsp::Result<std::vector<float>> buildKernelTaps(const CandidateRequest& candidate,
                                                tuning::OutputGroup side, ride::Helmet helmet,
                                                double sampleRate, std::size_t maxTaps)
{
    if (candidate.response.impulse.empty())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "candidate '" + candidate.name
                             + "' has no impulse response; measure its state first");
    const BikeChannel channel =
        side == tuning::OutputGroup::right ? BikeChannel::right : BikeChannel::left;
    const SpeakerGroup speakers = candidate.response.state.speakers;
    const auto taps = candidate.groups != nullptr
                          ? groupTaps(candidate, channel, helmet, sampleRate, maxTaps)
                          : responseTaps(candidate, candidate.response,
                                         measure::speakersOnChannel(speakers, channel), 0.0, helmet,
                                         sampleRate, maxTaps);
    if (!taps)
        return taps.unexpected();
    return finite(candidate, *taps);
}

dsp::Result<SideTaps> buildSideTaps(const CandidateRequest& candidate, ride::Helmet helmet,
                                    double sampleRate, std::size_t maxTaps)
{
    auto left = buildKernelTaps(candidate, tuning::OutputGroup::left, helmet, sampleRate, maxTaps);
    if (!left)
        return left.unexpected();
    auto right =
        buildKernelTaps(candidate, tuning::OutputGroup::right, helmet, sampleRate, maxTaps);
    if (!right)
        return right.unexpected();
    return SideTaps {*std::move(left), *std::move(right)};
}

dsp::Result<seat::EarKernels> buildEarKernels(const CandidateRequest& candidate,
                                              const SideTaps& sides, ride::Helmet helmet,
                                              const seat::SeatFilters& seatFilters)
{
    if (candidate.groups != nullptr && seatFilters.seat().isBinaural())
        return placedGroups(candidate, helmet, seatFilters, sides.left.size());
    return seatFilters.earKernels(sides.left, sides.right, candidate.response.state.speakers);
}

decltype(SceneCandidate::kernels) partitioned(const PartitionLayout& layout,
                                              const seat::EarKernels& kernels)
{
    decltype(SceneCandidate::kernels) result;
    for (std::size_t ear = 0; ear < numEars; ++ear)
        for (std::size_t side = 0; side < seat::numSides; ++side)
            if (!kernels[ear][side].empty())
                result[ear][side] =
                    std::make_shared<const PartitionedKernel>(layout, kernels[ear][side]);
    return result;
}

} // namespace saddletone::audition
