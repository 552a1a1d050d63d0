#include "Core/Ride/TreadTone.h"

#include "Core/Ride/EngineTone.h"

#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::ride {

namespace {

constexpr double oneTurn = 4294967296.0; // phase in turns, 32 bits before and after the point
constexpr double tick = static_cast<double>(EngineTone::tickFrames);

} // namespace

void TreadTone::prepare(double newSampleRate)
{
    sampleRate = newSampleRate;
    const auto glideTicks =
        static_cast<std::size_t>(std::lround(EngineTone::glideSeconds * sampleRate / tick));
    frequencyGlide.prepare(glideTicks);
    amplitudeGlide.prepare(glideTicks);
    seek(0);
}

void TreadTone::setTone(double newFrequencyHz, double newAmplitudeLinear) noexcept
{
    const bool isHeard = newFrequencyHz > 0.0 && newFrequencyHz < 0.5 * sampleRate;
    amplitudeLinear = isHeard ? newAmplitudeLinear : 0.0;
    if (isHeard)
        frequencyHz = newFrequencyHz;
}

void TreadTone::seek(std::uint64_t newPosition) noexcept
{
    position = newPosition;
    isFresh = true;
}

void TreadTone::updateStep() noexcept
{
    phasePerFrame =
        static_cast<std::uint64_t>(std::llround(frequencyGlide.current() / sampleRate * oneTurn));
}

void TreadTone::settle() noexcept
{
    frequencyGlide.jumpTo(frequencyHz);
    amplitudeGlide.jumpTo(amplitudeLinear);
    amplitudeBefore = amplitudeLinear;
    updateStep();
}

void TreadTone::skip(std::size_t numFrames) noexcept
{
    if (!isFresh) {
        settle();
        phase += phasePerFrame * numFrames;
    }
    position += numFrames;
}

void TreadTone::add(std::span<float> output) noexcept
{
    assert(position % EngineTone::tickFrames + output.size() <= EngineTone::tickFrames);
    if (output.empty())
        return;
    if (isFresh) {
        settle();
        phase = phasePerFrame * position;
        isFresh = false;
    }
    if (position % EngineTone::tickFrames == 0) {
        frequencyGlide.setTarget(frequencyHz);
        amplitudeGlide.setTarget(amplitudeLinear);
        amplitudeBefore = amplitudeGlide.current();
        (void)frequencyGlide.next();
        (void)amplitudeGlide.next();
        updateStep();
    }
    const double change = amplitudeGlide.current() - amplitudeBefore;
    if (amplitudeBefore != 0.0 || change != 0.0) {
        const auto first = static_cast<double>(position % EngineTone::tickFrames);
        for (std::size_t frame = 0; frame < output.size(); ++frame) {
            const auto turn = static_cast<std::uint32_t>(phase + phasePerFrame * frame);
            const double amplitude =
                amplitudeBefore + change * (first + static_cast<double>(frame)) / tick;
            output[frame] += static_cast<float>(
                amplitude * std::sin(2.0 * std::numbers::pi / oneTurn * static_cast<double>(turn)));
        }
    }
    position += output.size();
    phase += phasePerFrame * output.size();
}

} // namespace saddletone::ride
