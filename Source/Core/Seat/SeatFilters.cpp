#include "Core/Seat/SeatFilters.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Seat/BinauralPlacement.h"
#include "Core/Seat/ChannelShare.h"
#include "Core/Seat/HeadphoneCorrection.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <optional>

namespace saddletone::seat {

namespace {

/** What one channel of the programme has of the taps. */
std::vector<double> shareOf(std::span<const float> taps, bool isOneSided, ChannelFeed feed,
                            double sampleRate)
{
    std::vector<double> share(taps.begin(), taps.end());
    if (feed == ChannelFeed::alone)
        return share;
    if (!isOneSided)
        shareOfWholeInPlace(sampleRate, share);
    else
        // Both channels of a state of one side come from one place and always add up.
        for (double& tap : share)
            tap *= 0.5;
    return share;
}

/** taps through a filter, as long as before; the end is faded. */
std::vector<float> filtered(std::span<const double> taps, std::span<const double> filter)
{
    const auto whole = dsp::convolve(taps, filter);
    std::vector<float> heard(whole.begin(),
                             whole.begin() + static_cast<std::ptrdiff_t>(taps.size()));
    const std::size_t fade = taps.size() / 10;
    for (std::size_t frame = 0; frame < fade; ++frame)
        heard[heard.size() - 1 - frame] *= static_cast<float>(
            0.5
            - 0.5
                  * std::cos(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                             / static_cast<double>(fade)));
    return heard;
}

/** What the ears differ by in level at a speaker's distance and did not at that of the set; the
    mean power of both ears stays. */
std::array<double, numEars> distanceGains(const Direction& direction,
                                          const std::optional<double>& metres, double setMetres)
{
    if (!metres)
        return {1.0, 1.0};
    const auto wanted = nearFieldGains(direction, *metres);
    const auto there = nearFieldGains(direction, setMetres);
    std::array<double, numEars> gains {wanted[leftEar] / there[leftEar],
                                       wanted[rightEar] / there[rightEar]};
    const double mean = std::hypot(gains[leftEar], gains[rightEar]) / std::numbers::sqrt2;
    for (double& gain : gains)
        gain /= mean;
    return gains;
}

} // namespace

std::size_t numCorrectionTaps(double sampleRate) noexcept
{
    std::size_t taps = 4096;
    while (static_cast<double>(taps) < 0.07 * sampleRate && taps < 65536)
        taps *= 2;
    return taps;
}

dsp::Result<std::shared_ptr<const SeatFilters>>
SeatFilters::make(std::shared_ptr<const ListenerSeat> seat, double sampleRate)
{
    assert(seat != nullptr);
    std::shared_ptr<SeatFilters> made(new SeatFilters);
    made->rate = sampleRate;
    if (const auto placed = checkPlaces(seat->places); !placed)
        return placed.unexpected();
    if (seat->headphone) {
        auto correction =
            correctHeadphone(*seat->headphone, seat->target,
                             {.sampleRate = sampleRate, .numTaps = numCorrectionTaps(sampleRate)},
                             seat->headphoneSource);
        if (!correction)
            return correction.unexpected();
        made->correction = std::move(correction->taps);
    }
    if (seat->head) {
        auto model = HeadModel::fromContent(*seat->head, seat->headSource, sampleRate);
        if (!model)
            return model.unexpected();
        const BinauralPlacement placement(*std::move(model), {});
        for (const bool isRear : {false, true})
            for (const auto side : {BikeSide::left, BikeSide::right}) {
                const auto filters = placement.filters(
                    placeOf(isRear ? measure::SpeakerGroup::rear : measure::SpeakerGroup::front,
                            side, seat->places));
                if (!filters)
                    return filters.unexpected();
                Pair& pair = made->placed[isRear ? 1 : 0][side == BikeSide::left ? 0 : 1];
                const auto gains = distanceGains(
                    filters->direction, isRear ? seat->places.rearMetres : seat->places.frontMetres,
                    placement.headModel().distanceMetres());
                for (std::size_t ear = 0; ear < numEars; ++ear) {
                    pair[ear] = made->correction.empty()
                                    ? filters->taps[ear]
                                    : dsp::convolve(filters->taps[ear], made->correction);
                    for (double& tap : pair[ear])
                        tap *= gains[ear];
                }
            }
    }
    made->listener = std::move(seat);
    return std::shared_ptr<const SeatFilters>(std::move(made));
}

EarKernels SeatFilters::earKernels(std::span<const float> left, std::span<const float> right,
                                   measure::SpeakerGroup group, ChannelFeed feed) const
{
    using measure::SpeakerGroup;
    EarKernels kernels;
    const std::array sides {left, right};
    const bool isOneSided = measure::otherSideOf(group).has_value();
    const bool isRear = group == SpeakerGroup::rear || group == SpeakerGroup::rearLeft
                        || group == SpeakerGroup::rearRight;
    for (std::size_t side = 0; side < numSides; ++side) {
        if (sides[side].empty())
            continue;
        if (!listener->isBinaural()) {
            const std::vector<double> taps(sides[side].begin(), sides[side].end());
            kernels[side][side] = filtered(taps, correction);
            continue;
        }
        const auto share = shareOf(sides[side], isOneSided, feed, rate);
        const std::size_t from = isOneSided ? (measure::isLeftSide(group) ? 0 : 1) : side;
        for (std::size_t ear = 0; ear < numEars; ++ear)
            kernels[ear][side] = filtered(share, placed[isRear ? 1 : 0][from][ear]);
    }
    return kernels;
}

} // namespace saddletone::seat
