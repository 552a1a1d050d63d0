#include "Core/Demo/StateVariableFilter.h"

#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::demo {

StateVariableFilter::StateVariableFilter(double frequencyHz, double q, double sampleRate) noexcept
{
    tune(frequencyHz, q, sampleRate);
}

void StateVariableFilter::tune(double frequencyHz, double q, double sampleRate) noexcept
{
    assert(frequencyHz > 0.0 && frequencyHz < 0.5 * sampleRate && q > 0.0);
    const double warped = std::tan(std::numbers::pi * frequencyHz / sampleRate);
    damping = 1.0 / q;
    feedGain = 1.0 / (1.0 + warped * (warped + damping));
    bandGain = warped * feedGain;
    lowGain = warped * bandGain;
}

} // namespace saddletone::demo
