#include "Core/Demo/DampedPartials.h"

#include "Core/Demo/BandLimitedCycle.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <numbers>

namespace saddletone::demo {

namespace {

/** Four partials turned together: independent recursions, which a compiler can run in parallel. */
struct RotorGroup {
    static constexpr std::size_t size = 4;
    std::array<double, size> real {};
    std::array<double, size> imaginary {};
    std::array<double, size> stepReal {};
    std::array<double, size> stepImaginary {};

    void set(std::size_t slot, const DampedPartial& partial, double sampleRate)
    {
        const double radius = decayFactor(partial.decaySeconds, sampleRate);
        const double step = dsp::twoPi * partial.frequencyHz / sampleRate;
        real[slot] = partial.amplitude * std::cos(partial.phaseRadians);
        imaginary[slot] = partial.amplitude * std::sin(partial.phaseRadians);
        stepReal[slot] = radius * std::cos(step);
        stepImaginary[slot] = radius * std::sin(step);
    }

    void addTo(std::span<float> sound) noexcept
    {
        for (float& sample : sound) {
            double sum = 0.0;
            for (std::size_t slot = 0; slot < size; ++slot) {
                sum += imaginary[slot];
                const double nextReal =
                    real[slot] * stepReal[slot] - imaginary[slot] * stepImaginary[slot];
                imaginary[slot] =
                    imaginary[slot] * stepReal[slot] + real[slot] * stepImaginary[slot];
                real[slot] = nextReal;
            }
            sample += static_cast<float>(sum);
        }
    }
};

} // namespace

double decayFactor(double decaySeconds, double sampleRate) noexcept
{
    return std::exp(-std::log(1000.0) / (decaySeconds * sampleRate));
}

std::vector<float> makeDampedSound(std::span<const DampedPartial> partials, double durationSeconds,
                                   double sampleRate)
{
    std::vector<DampedPartial> audible;
    std::copy_if(
        partials.begin(), partials.end(), std::back_inserter(audible),
        [](const DampedPartial& partial) { return partial.frequencyHz < programmeBandwidthHz; });

    std::vector<float> sound(static_cast<std::size_t>(durationSeconds * sampleRate));
    for (std::size_t first = 0; first < audible.size(); first += RotorGroup::size) {
        RotorGroup group;
        const std::size_t count = std::min(RotorGroup::size, audible.size() - first);
        for (std::size_t slot = 0; slot < count; ++slot)
            group.set(slot, audible[first + slot], sampleRate);
        group.addTo(sound);
    }
    return sound;
}

void fadeEdges(std::span<float> sound, double fadeInSeconds, double fadeOutSeconds,
               double sampleRate) noexcept
{
    const auto fadeFrames = [&](double seconds) {
        return std::min(static_cast<std::size_t>(seconds * sampleRate), sound.size() / 2);
    };
    const auto fadeGain = [](std::size_t frame, std::size_t numFrames) {
        const double proportion = static_cast<double>(frame) / static_cast<double>(numFrames);
        return static_cast<float>(0.5 - 0.5 * std::cos(std::numbers::pi * proportion));
    };
    const std::size_t fadeInFrames = fadeFrames(fadeInSeconds);
    for (std::size_t frame = 0; frame < fadeInFrames; ++frame)
        sound[frame] *= fadeGain(frame, fadeInFrames);
    const std::size_t fadeOutFrames = fadeFrames(fadeOutSeconds);
    for (std::size_t frame = 0; frame < fadeOutFrames; ++frame)
        sound[sound.size() - 1 - frame] *= fadeGain(frame, fadeOutFrames);
}

} // namespace saddletone::demo
