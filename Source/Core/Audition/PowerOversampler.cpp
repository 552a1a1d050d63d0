#include "Core/Audition/PowerOversampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace saddletone::audition {

namespace {

constexpr double holdReleaseSeconds = 0.2;
// Of Kaiser's window for 90 dB: beta = 0.1102 (A - 8.7) (Kaiser 1974).
constexpr double kaiserBeta = 8.96;

/** Modified Bessel function of the first kind, order 0, by its series. */
double besselI0(double x)
{
    double sum = 1.0;
    double term = 1.0;
    for (int index = 1; index < 60; ++index) {
        term *= 0.25 * x * x / (index * index);
        sum += term;
    }
    return sum;
}

/** Low-pass of linear phase by a windowed sinc with a given gain at 0 Hz. cutoff: middle of the
    transition in cycles per sample. */
void designLowPass(double cutoff, double gain, std::span<float> taps)
{
    const double middle = 0.5 * static_cast<double>(taps.size() - 1);
    std::vector<double> exact(taps.size());
    double sum = 0.0;
    for (std::size_t tap = 0; tap < taps.size(); ++tap) {
        const double x = static_cast<double>(tap) - middle;
        const double radians = 2.0 * std::numbers::pi * cutoff * x;
        const double sinc = x == 0.0 ? 1.0 : std::sin(radians) / radians;
        const double share = x / middle;
        exact[tap] = sinc * besselI0(kaiserBeta * std::sqrt(std::max(0.0, 1.0 - share * share)));
        sum += exact[tap];
    }
    for (std::size_t tap = 0; tap < taps.size(); ++tap)
        taps[tap] = static_cast<float>(gain * exact[tap] / sum);
}

float clipped(float sample, AmplifierClip::Shape shape, float limit)
{
    if (shape == AmplifierClip::Shape::hard)
        return std::clamp(sample, -limit, limit);
    const float ratio = sample / limit;
    const float square = ratio * ratio;
    return sample / std::sqrt(std::sqrt(1.0F + square * square));
}

} // namespace

void PowerOversampler::prepare(double newSampleRate)
{
    constexpr double ofInput = 1.0 / static_cast<double>(factor);
    designLowPass(0.5 * (0.35 + 0.5) * ofInput, static_cast<double>(factor), up);
    designLowPass(0.5 * (0.35 + 0.6) * ofInput, 1.0, down);
    release = std::exp(-1.0 / (holdReleaseSeconds * newSampleRate * static_cast<double>(factor)));
    reset();
}

void PowerOversampler::reset() noexcept
{
    recent.fill(0.0F);
    for (Phases& phases : made)
        for (auto& phase : phases)
            phase.fill(0.0F);
    for (Section& section : sections)
        section.first = section.second = 0.0;
    envelope = 0.0;
}

void PowerOversampler::setParameters(const Parameters& parameters) noexcept
{
    assert(parameters.driveFilter.size() <= maxSections);
    assert(parameters.highestDriveLinear > 0.0 && parameters.clipLimitLinear > 0.0);
    numSections = parameters.driveFilter.size();
    for (std::size_t section = 0; section < numSections; ++section)
        sections[section].coefficients = parameters.driveFilter[section];
    driveGain = parameters.driveGainLinear;
    highestDrive = parameters.highestDriveLinear;
    clip = parameters.clip;
    clipLimit = static_cast<float>(parameters.clipLimitLinear);
}

double PowerOversampler::holdGain() const noexcept
{
    return envelope > highestDrive ? highestDrive / envelope : 1.0;
}

void PowerOversampler::makePowers(std::size_t numFrames) noexcept
{
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        for (std::size_t phase = 0; phase < factor; ++phase) {
            const std::size_t place = downReach + frame;
            const float sample = raised[phase][frame];
            float passed = sample;
            if (clip != AmplifierClip::Shape::none) {
                passed = clipped(sample, clip, clipLimit);
                made[0][phase][place] = passed - sample;
            }
            double filtered = driveGain * static_cast<double>(passed);
            for (std::size_t index = 0; index < numSections; ++index) {
                Section& section = sections[index];
                const dsp::BiquadCoefficients& c = section.coefficients;
                const double output = c.b0 * filtered + section.first;
                section.first = c.b1 * filtered - c.a1 * output + section.second;
                section.second = c.b2 * filtered - c.a2 * output;
                filtered = output;
            }
            envelope = std::max(std::abs(filtered), release * envelope);
            const auto drive = static_cast<float>(filtered);
            const auto held = static_cast<float>(filtered * holdGain());
            float power = drive;
            for (std::size_t output = 1; output < numOutputs; ++output) {
                power *= held;
                made[output][phase][place] = power;
            }
        }
}

void PowerOversampler::process(std::span<const float> input,
                               const std::array<std::span<float>, numOutputs>& outputs) noexcept
{
    const std::size_t numFrames = input.size();
    assert(numFrames <= maxFrames);
    std::ranges::copy(input, recent.begin() + upReach);
    for (std::size_t phase = 0; phase < factor; ++phase) {
        float* const out = raised[phase].data();
        std::fill_n(out, numFrames, 0.0F);
        // Tap by tap over all frames: every output adds its terms in the same order however the
        // stream is cut, and the inner loop is vector code.
        for (std::size_t tap = phase; tap < upTaps; tap += factor) {
            const float weight = up[tap];
            const float* const delayed = recent.data() + (upReach - tap / factor);
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                out[frame] += weight * delayed[frame];
        }
    }
    std::copy(recent.begin() + static_cast<std::ptrdiff_t>(numFrames),
              recent.begin() + static_cast<std::ptrdiff_t>(numFrames + upReach), recent.begin());

    makePowers(numFrames);

    const std::size_t firstOutput = clip == AmplifierClip::Shape::none ? 1 : 0;
    if (firstOutput > 0)
        std::ranges::fill(outputs[0], 0.0F);
    for (std::size_t output = firstOutput; output < numOutputs; ++output) {
        assert(outputs[output].size() == numFrames);
        float* const out = outputs[output].data();
        std::fill_n(out, numFrames, 0.0F);
        for (std::size_t phase = 0; phase < factor; ++phase) {
            auto& samples = made[output][phase];
            // Frame f of the output lies at the raised frame 4 f; tap j weighs raised frame 4 f - j.
            for (std::size_t back = phase == 0 ? 0 : 1; factor * back - phase < downTaps; ++back) {
                const float weight = down[factor * back - phase];
                const float* const delayed = samples.data() + (downReach - back);
                for (std::size_t frame = 0; frame < numFrames; ++frame)
                    out[frame] += weight * delayed[frame];
            }
            std::copy(samples.begin() + static_cast<std::ptrdiff_t>(numFrames),
                      samples.begin() + static_cast<std::ptrdiff_t>(numFrames + downReach),
                      samples.begin());
        }
    }
}

} // namespace saddletone::audition
