#pragma once

#include <cstddef>

namespace saddletone::dsp {

/** A value that glides to its target in a straight line over a fixed number of samples, counted
    in samples and not in blocks, so that the result does not depend on how a stream is cut. */
class LinearRamp {
public:
    // Setup (may allocate, not during process)
    void prepare(std::size_t rampSamples) noexcept { length = rampSamples; }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void jumpTo(double newValue) noexcept
    {
        value = newValue;
        target = newValue;
        remaining = 0;
    }

    void setTarget(double newTarget) noexcept
    {
        if (newTarget == target)
            return;
        target = newTarget;
        remaining = length;
        if (remaining == 0)
            value = target;
        else
            step = (target - value) / static_cast<double>(remaining);
    }

    [[nodiscard]] double next() noexcept
    {
        if (remaining == 0)
            return value;
        --remaining;
        value = remaining == 0 ? target : value + step;
        return value;
    }

    [[nodiscard]] bool isMoving() const noexcept { return remaining != 0; }
    [[nodiscard]] double current() const noexcept { return value; }
    [[nodiscard]] double finalValue() const noexcept { return target; }

private:
    double value = 0.0;
    double target = 0.0;
    double step = 0.0;
    std::size_t length = 0;
    std::size_t remaining = 0;
};

} // namespace saddletone::dsp
