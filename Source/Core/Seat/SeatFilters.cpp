#include "Core/Seat/SeatFilters.h"

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"
#include "Core/Seat/BinauralPlacement.h"
#include "Core/Seat/HeadphoneCorrection.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <optional>

namespace saddletone::seat {

namespace {

/** Where the sound of both sides stops adding up in phase at an ear: a quarter of a period of what
    the ears' arrivals differ by, 0.28 ms from the front and 0.36 ms from the rear (3 r/c sin(angle)
    of the default places), is 890 and 690 Hz; the middle of the shelf lies somewhat lower. */
constexpr double coherentBelowHz = 600.0;

/** As long as 4096 taps at 48 kHz, in a power of two. */
std::size_t correctionTaps(double sampleRate)
{
    std::size_t taps = 4096;
    while (static_cast<double>(taps) < 0.07 * sampleRate && taps < 65536)
        taps *= 2;
    return taps;
}

/** The share of the bike's response that one channel of the programme has. */
std::vector<double> shareOf(std::span<const float> taps, bool isOneSided, double sampleRate)
{
    std::vector<double> share(taps.begin(), taps.end());
    const double gain = isOneSided ? 0.5 : std::numbers::sqrt2 / 2.0;
    for (double& tap : share)
        tap *= gain;
    // Both channels of a state of one side come from one place and always add up.
    if (!isOneSided)
        dsp::filterInPlace(
            dsp::bilinearBiquad(dsp::analogueLowShelf(coherentBelowHz, std::numbers::sqrt2 / 2.0,
                                                      dsp::amplitudeToDb(gain)),
                                sampleRate),
            share);
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
                             {.sampleRate = sampleRate, .numTaps = correctionTaps(sampleRate)},
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
                                   measure::SpeakerGroup group) const
{
    using measure::SpeakerGroup;
    EarKernels kernels;
    const std::array sides {left, right};
    const bool isOneSided = measure::otherSideOf(group).has_value();
    const bool isRear = group == SpeakerGroup::rear || group == SpeakerGroup::rearLeft
                        || group == SpeakerGroup::rearRight;
    for (std::size_t side = 0; side < numSides; ++side) {
        if (!listener->isBinaural()) {
            const std::vector<double> taps(sides[side].begin(), sides[side].end());
            kernels[side][side] = filtered(taps, correction);
            continue;
        }
        const auto share = shareOf(sides[side], isOneSided, rate);
        const std::size_t from = isOneSided ? (measure::isLeftSide(group) ? 0 : 1) : side;
        for (std::size_t ear = 0; ear < numEars; ++ear)
            kernels[ear][side] = filtered(share, placed[isRear ? 1 : 0][from][ear]);
    }
    return kernels;
}

} // namespace saddletone::seat
