#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/SpeakerGroup.h"
#include "Core/Seat/ListenerSeat.h"

#include <array>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace saddletone::seat {

/** Channels of the programme. */
inline constexpr std::size_t numSides = 2;

/** Impulses from each side of the programme to each ear: [ear][side], empty where nothing passes. */
using EarKernels = std::array<std::array<std::vector<float>, numSides>, numEars>;

/** How the channels of the programme play the speakers that a response is of. */
enum class ChannelFeed {
    together, ///< Both at once, as it was measured: each has its share of it.
    alone     ///< The side's own channel, whose response it is.
};

/** Taps of a headphone's correction at a sample rate: as long as 4096 at 48 kHz, or somewhat longer. */
[[nodiscard]] std::size_t numCorrectionTaps(double sampleRate) noexcept;

/** A listener's seat at one sample rate: what stands between the responses at the place of the head
    and the headphones. Making it takes some tenths of a second, as sets of head-related responses
    are large; using it some hundredths. Immutable, and meant to be shared.

    A response of the whole bike is that of both sides together. With placement each channel of the
    programme has a share of it, see shareOfWholeInPlace(). */
class SeatFilters {
public:
    /** Refused: a set or rate that HeadModel refuses, places that the set does not reach, tables
        that correctHeadphone() refuses. seat must not be null. */
    [[nodiscard]] static dsp::Result<std::shared_ptr<const SeatFilters>>
    make(std::shared_ptr<const ListenerSeat> seat, double sampleRate);

    [[nodiscard]] const ListenerSeat& seat() const noexcept { return *listener; }
    [[nodiscard]] double sampleRate() const noexcept { return rate; }
    /** Whether these are the filters of this very seat at this rate. */
    [[nodiscard]] bool isOf(const std::shared_ptr<const ListenerSeat>& other,
                            double sampleRate) const noexcept
    {
        return listener == other && rate == sampleRate;
    }

    /** What the ears hear of the sides' taps, of which there are maxTaps: the last tenth is faded,
        and what would come later is left out. An empty side has no sound. group: the speakers that
        the taps are of. */
    [[nodiscard]] EarKernels earKernels(std::span<const float> left, std::span<const float> right,
                                        measure::SpeakerGroup group,
                                        ChannelFeed feed = ChannelFeed::together) const;

    /** The headphones' correction, for sound that is at the ears already; empty: none. */
    [[nodiscard]] std::span<const double> correctionTaps() const noexcept { return correction; }

private:
    using Pair = std::array<std::vector<double>, numEars>;

    SeatFilters() = default;

    std::shared_ptr<const ListenerSeat> listener;
    double rate = 48000.0;
    std::vector<double> correction; ///< Empty: none.
    /** Placement and correction in one, [rear or not][left or right of the bike]. */
    std::array<std::array<Pair, 2>, 2> placed;
};

} // namespace saddletone::seat
