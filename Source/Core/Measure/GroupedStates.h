#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"

#include <array>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::measure {

/** How the sounds of speaker groups that were measured one by one are added up. */
enum class GroupSum {
    timed, ///< As complex responses, as one recording tells when each of them arrives.
    power  ///< As powers, where nobody knows that: an estimate, without what they do to each other.
};

inline constexpr std::array allGroupSums {GroupSum::timed, GroupSum::power};

/** The word used in files: timed, power. */
[[nodiscard]] std::string_view groupSumName(GroupSum sum) noexcept;
[[nodiscard]] std::optional<GroupSum> parseGroupSum(std::string_view name) noexcept;

/** Responses of speaker groups that were measured one by one and are heard together. */
struct GroupedStates {
    std::vector<Response> states; ///< 2 to 4, of one sample rate; no speaker plays in two of them.
    /** By how much a state's sound passes its arrival frame after that of the earliest; 0 for sums
        of power. */
    std::vector<double> laterSeconds;
    GroupSum sum = GroupSum::timed;

    /** The smallest group of all speakers that play. */
    [[nodiscard]] SpeakerGroup speakers() const noexcept;
    /** "front left, front right and rear". */
    [[nodiscard]] std::string words() const;
};

/** Puts states of one bike together. Refused: fewer than two, speakers that play in two of them,
    another profile, engine or sample rate, a part of them calibrated, states without an impulse;
    with GroupSum::timed states that are not of one recording with a known start of each track. */
[[nodiscard]] dsp::Result<std::shared_ptr<const GroupedStates>>
groupStates(std::vector<Response> states, GroupSum sum);

/** Impulses that arrive without a known time added in power: the first after a filter of minimum
    phase that moves its magnitude, smoothed to twelfth octaves, to that of the sum of powers. As long
    as the first. impulses: at least one, none empty. */
[[nodiscard]] std::vector<double> sumOfPowers(std::span<const std::vector<double>> impulses,
                                              double sampleRate);

/** The response of all groups at once, each playing the same: impulse, bands and their uncertainty,
    with a remark of what it was put together from. impulses: those of the states, or what a tuning
    makes of them, on the states' time. Distortion is left out. */
[[nodiscard]] Response responseOfGroups(const GroupedStates& groups,
                                        std::span<const std::vector<float>> impulses);

/** The same of the states as they were measured. */
[[nodiscard]] Response responseOfGroups(const GroupedStates& groups);

} // namespace saddletone::measure
