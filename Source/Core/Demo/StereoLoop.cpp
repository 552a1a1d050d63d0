#include "Core/Demo/StereoLoop.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::demo {

namespace {

constexpr double roomDecaySeconds = 0.6;
constexpr double roomDampingHz = 5000.0;

class DelayLine {
public:
    DelayLine(double delaySeconds, double sampleRate)
        : samples(static_cast<std::size_t>(std::lround(delaySeconds * sampleRate)))
    {
    }

    [[nodiscard]] double oldest() const noexcept { return samples[position]; }

    void push(double sample) noexcept
    {
        samples[position] = sample;
        position = position + 1 == samples.size() ? 0 : position + 1;
    }

private:
    std::vector<double> samples;
    std::size_t position = 0;
};

/** Comb filter whose echoes lose treble on every round, as they do at real walls. */
class DampedComb {
public:
    DampedComb(double delaySeconds, double sampleRate)
        : line(delaySeconds, sampleRate),
          feedback(std::exp(-std::log(1000.0) * delaySeconds / roomDecaySeconds)),
          smoothing(1.0 - std::exp(-2.0 * std::numbers::pi * roomDampingHz / sampleRate))
    {
    }

    [[nodiscard]] double process(double input) noexcept
    {
        const double echo = line.oldest();
        damped += smoothing * (echo - damped);
        line.push(input + feedback * damped);
        return echo;
    }

private:
    DelayLine line;
    double feedback;
    double smoothing;
    double damped = 0.0;
};

class AllPass {
public:
    AllPass(double delaySeconds, double sampleRate) : line(delaySeconds, sampleRate) {}

    [[nodiscard]] double process(double input) noexcept
    {
        constexpr double gain = 0.7; // Schroeder 1962.
        const double delayed = line.oldest();
        const double inner = input + gain * delayed;
        line.push(inner);
        return delayed - gain * inner;
    }

private:
    DelayLine line;
};

/** One ear's side of the room. The delays are mutually prime enough not to ring together; the other
    side's are longer by spreadSeconds, so the two differ. */
class RoomSide {
public:
    RoomSide(double spreadSeconds, double sampleRate)
        : combs {DampedComb(0.0297 + spreadSeconds, sampleRate),
                 DampedComb(0.0353 + spreadSeconds, sampleRate),
                 DampedComb(0.0389 + spreadSeconds, sampleRate),
                 DampedComb(0.0437 + spreadSeconds, sampleRate)},
          allPasses {AllPass(0.0050 + spreadSeconds, sampleRate),
                     AllPass(0.0017 + spreadSeconds, sampleRate)}
    {
    }

    [[nodiscard]] double process(double input) noexcept
    {
        double sum = 0.0;
        for (DampedComb& comb : combs)
            sum += comb.process(input);
        for (AllPass& allPass : allPasses)
            sum = allPass.process(sum);
        return sum / static_cast<double>(combs.size());
    }

private:
    std::array<DampedComb, 4> combs;
    std::array<AllPass, 2> allPasses;
};

} // namespace

StereoLoop::StereoLoop(double sampleRate, double durationSeconds)
    : dry(dsp::makeSilence(sampleRate, 2,
                           static_cast<std::size_t>(std::lround(durationSeconds * sampleRate)))),
      roomSend(dry.numFrames())
{
}

void StereoLoop::add(double startSeconds, std::span<const float> sound, const Placement& placement)
{
    const auto numFrames = static_cast<long long>(dry.numFrames());
    assert(numFrames > 0);
    const long long start = std::llround(startSeconds * dry.sampleRate) % numFrames;
    auto frame = static_cast<std::size_t>(start < 0 ? start + numFrames : start);

    const double angle = 0.25 * std::numbers::pi * (1.0 + placement.panProportion);
    const auto leftGain = static_cast<float>(placement.gainLinear * std::cos(angle));
    const auto rightGain = static_cast<float>(placement.gainLinear * std::sin(angle));
    const auto roomGain = static_cast<float>(placement.gainLinear * placement.roomProportion);
    for (const float sample : sound) {
        dry.channels[0][frame] += leftGain * sample;
        dry.channels[1][frame] += rightGain * sample;
        roomSend[frame] += roomGain * sample;
        frame = frame + 1 == dry.numFrames() ? 0 : frame + 1;
    }
}

dsp::AudioBuffer StereoLoop::mixWithRoom() const
{
    dsp::AudioBuffer mix = dry;
    const std::array<double, 2> spreadSeconds {0.0, 0.00113};

    // Four decay times of run-up leave -240 dB of the empty room's silence at the loop point.
    const std::size_t runUpFrames = std::min(
        mix.numFrames(), static_cast<std::size_t>(4.0 * roomDecaySeconds * mix.sampleRate));
    for (std::size_t channel = 0; channel < mix.numChannels(); ++channel) {
        RoomSide side(spreadSeconds[channel], mix.sampleRate);
        for (std::size_t frame = mix.numFrames() - runUpFrames; frame < mix.numFrames(); ++frame)
            static_cast<void>(side.process(roomSend[frame]));
        for (std::size_t frame = 0; frame < mix.numFrames(); ++frame)
            mix.channels[channel][frame] += static_cast<float>(side.process(roomSend[frame]));
    }
    return mix;
}

} // namespace saddletone::demo
