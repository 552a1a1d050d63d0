#pragma once

#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/Result.h"
#include "Core/Seat/SeatFilters.h"

#include <array>
#include <cstddef>
#include <vector>

namespace saddletone::audition {

/** Whether the tuning has a limiter that acts on the candidate's speakers, which no kernel has. */
[[nodiscard]] bool hasLimiterLeftOut(const CandidateRequest& candidate);

/** The speakers that have a tuning of their own: of each state those that one channel plays. */
[[nodiscard]] std::vector<measure::SpeakerGroup> outputsOf(const CandidateRequest& candidate);

/** Taps of both sides of a candidate, left and right: see buildKernelTaps(). */
struct SideTaps {
    std::vector<float> left;
    std::vector<float> right;
};

[[nodiscard]] dsp::Result<SideTaps> buildSideTaps(const CandidateRequest& candidate,
                                                  ride::Helmet helmet, double sampleRate,
                                                  std::size_t maxTaps);

/** What the ears hear of a candidate's sides, see buildSideTaps(), through a seat. Of speaker groups
    that were measured one by one each is heard from its own place. */
[[nodiscard]] dsp::Result<seat::EarKernels> buildEarKernels(const CandidateRequest& candidate,
                                                            const SideTaps& sides,
                                                            ride::Helmet helmet,
                                                            const seat::SeatFilters& seatFilters);

/** The same with partitions, null where nothing passes. */
[[nodiscard]] decltype(SceneCandidate::kernels) partitioned(const PartitionLayout& layout,
                                                            const seat::EarKernels& kernels);

} // namespace saddletone::audition
