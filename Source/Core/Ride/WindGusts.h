#pragma once

#include <cstdint>

namespace saddletone::ride {

/** Slow rise and fall of the wind's level: a Gaussian process in dB, a function of the seed and of
    time alone, so that any moment can be reached at once. It leaves the mean power as it is. */
class WindGusts {
public:
    // Setup (may allocate, not during process)
    explicit WindGusts(std::uint64_t gustSeed) noexcept : seed(gustSeed) {}

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Level in dB re the mean power, at a time from the start. deviationDb: standard deviation;
        timeSeconds: integral time scale, the integral of the autocorrelation from lag 0 on. */
    [[nodiscard]] double levelDb(double seconds, double deviationDb,
                                 double timeSeconds) const noexcept;

private:
    std::uint64_t seed;
};

/** Beat of a screen's edge wake on the helmet: one sine in dB whose frequency wanders between 5 and
    10 Hz, a function of the seed and of time alone. It leaves the mean power as it is. */
class WakeModulation {
public:
    static constexpr double lowestHz = 5.0;
    static constexpr double highestHz = 10.0;

    // Setup (may allocate, not during process)
    explicit WakeModulation(std::uint64_t wakeSeed) noexcept : seed(wakeSeed) {}

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Where the beat stands at a time from the start, -1 to 1. */
    [[nodiscard]] double beat(double seconds) const noexcept;

    /** Linear gain at a beat; depthDb from peak to trough. */
    [[nodiscard]] static double gain(double beat, double depthDb) noexcept;

private:
    std::uint64_t seed;
};

} // namespace saddletone::ride
