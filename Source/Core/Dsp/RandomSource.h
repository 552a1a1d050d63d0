#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace saddletone::dsp {

/** Seeded random numbers, the same on every platform: SplitMix64 (Steele, Lea and Flood,
    OOPSLA 2014). Cheap enough for the audio thread; not for cryptography. */
class RandomSource {
public:
    explicit RandomSource(std::uint64_t seed = 0) noexcept : state(seed) {}

    [[nodiscard]] std::uint64_t nextBits() noexcept
    {
        state += 0x9E3779B97F4A7C15ULL;
        std::uint64_t z = state;
        z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27U)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31U);
    }

    /** Uniform in [0, 1). */
    [[nodiscard]] double nextUniform() noexcept
    {
        return static_cast<double>(nextBits() >> 11U) * 0x1.0p-53;
    }

    /** Normal with mean 0 and standard deviation 1 (Box-Muller, one of the pair). */
    [[nodiscard]] double nextGaussian() noexcept
    {
        const double radius = std::sqrt(-2.0 * std::log(1.0 - nextUniform()));
        return radius * std::cos(2.0 * std::numbers::pi * nextUniform());
    }

private:
    std::uint64_t state;
};

/** Mixes a stream number into a seed, so that streams of one seed are unrelated. */
[[nodiscard]] inline std::uint64_t mixSeed(std::uint64_t seed, std::uint64_t stream) noexcept
{
    RandomSource source(seed ^ (stream * 0xD1342543DE82EF95ULL));
    return source.nextBits();
}

} // namespace saddletone::dsp
