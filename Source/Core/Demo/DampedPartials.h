#pragma once

#include <span>
#include <vector>

namespace saddletone::demo {

/** One decaying sine of a struck or plucked sound. */
struct DampedPartial {
    double frequencyHz = 440.0;
    double amplitude = 1.0;
    double decaySeconds = 1.0; ///< Time to fall by 60 dB.
    double phaseRadians = 0.0;
};

/** The sum of the partials from their stroke on. Those above programmeBandwidthHz are left out, so
    nothing folds back. Starts at once: fade the edges where the phases do not start at zero. */
[[nodiscard]] std::vector<float> makeDampedSound(std::span<const DampedPartial> partials,
                                                 double durationSeconds, double sampleRate);

/** Factor per sample of a decay by 60 dB in decaySeconds. */
[[nodiscard]] double decayFactor(double decaySeconds, double sampleRate) noexcept;

/** Raised-cosine fades at both ends, in place; at most half the sound each. */
void fadeEdges(std::span<float> sound, double fadeInSeconds, double fadeOutSeconds,
               double sampleRate) noexcept;

} // namespace saddletone::demo
