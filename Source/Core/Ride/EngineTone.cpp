#include "Core/Ride/EngineTone.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Ride/EarNoise.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>

namespace saddletone::ride {

namespace {

// Angle in cycles as a fixed-point number with 40 bits after the point.
constexpr unsigned fractionBits = 40;
constexpr double oneCycle = 1099511627776.0; // 2^40
constexpr std::uint64_t fractionMask = (std::uint64_t {1} << fractionBits) - 1;

// 4096 points hold half-order 128 with 32 points a period: straight lines between them leave images
// 60 dB below it.
constexpr unsigned tableBits = 12;
constexpr std::size_t tableSize = std::size_t {1} << tableBits;
constexpr unsigned positionBits = fractionBits - tableBits;

// A pulse has died away (25 nepers at corner order 2) when the next begins; its size and time change
// this long before, as the rise of a pulse reaches a little ahead of it.
constexpr double leadDegrees = 12.0;
constexpr double mostDeviations = 3.0;

std::uint64_t toAngle(double degrees) noexcept
{
    return static_cast<std::uint64_t>(
        std::llround(degrees / FiringPattern::degreesPerCycle * oneCycle));
}

} // namespace

void EngineTone::prepare(double newSampleRate)
{
    sampleRate = newSampleRate;
    hopFrames = EarNoise::hopFramesAt(sampleRate);
    fft.clear();
    fft.emplace_back(tableSize);
    for (Voice& voice : voices)
        voice.table.assign(tableSize + 1, 0.0F);
    rpmGlide.prepare(static_cast<std::size_t>(
        std::lround(glideSeconds * sampleRate / static_cast<double>(tickFrames))));
    seek(0);
}

void EngineTone::seek(std::uint64_t newPosition) noexcept
{
    position = newPosition;
    angleIsUnknown = true;
    tableIsUnknown = true;
}

void EngineTone::holdSpeed() noexcept
{
    rpmGlide.jumpTo(parameters.rpm);
    anglePerFrame =
        toAngle(rpmGlide.current() / 120.0 / sampleRate * FiringPattern::degreesPerCycle);
}

void EngineTone::skip(std::size_t numFrames) noexcept
{
    if (!angleIsUnknown) {
        holdSpeed();
        crankAngle += anglePerFrame * numFrames;
    }
    tableIsUnknown = true;
    position += numFrames;
}

void EngineTone::makeTable(Voice& voice, double rpm) noexcept
{
    voice.made = parameters;
    voice.made.rpm = rpm;
    voice.isSilent = !(parameters.levelDbfsA > dsp::silenceDb) || !(rpm > 0.0);
    if (voice.isSilent)
        return;
    const EngineModel& model = parameters.model;
    for (std::size_t index = 0; index < model.firing.numCylinders; ++index)
        voice.cylinders[index] = {.angle = toAngle(model.firing.anglesDegrees[index])};

    std::array<double, numHalfOrders> amplitudes {};
    enginePulseAmplitudes(model, rpm, 0.45 * sampleRate, amplitudes);
    const double level = dsp::dbToAmplitude(parameters.levelDbfsA);
    const auto spectrum = fft.front().spectrum();
    std::ranges::fill(spectrum, std::complex<float> {});
    constexpr double half = 0.5 * static_cast<double>(tableSize);
    for (std::size_t index = 0; index < numHalfOrders; ++index) {
        const std::size_t halfOrder = index + 1;
        const double loss = insertionLossDb(parameters.helmet, halfOrderHz(halfOrder, rpm));
        const double order = 0.5 * static_cast<double>(halfOrder);
        // The phase of a sudden rise that dies away: a first-order low-pass.
        const auto value = std::polar(half * level * amplitudes[index] * dsp::dbToAmplitude(-loss),
                                      -std::atan(order / model.pulseCornerOrder));
        spectrum[halfOrder] = {static_cast<float>(value.real()), static_cast<float>(value.imag())};
    }
    // With its mean a pulse ends at nothing, so that the size of the next can change unheard.
    const double meanOfPulse = 0.5 * level * amplitudes[0] / model.pulseAmplitude(1)
                               * dsp::dbToAmplitude(-insertionLossDb(parameters.helmet, 0.0));
    spectrum.front() = {static_cast<float>(2.0 * half * meanOfPulse), 0.0F};
    fft.front().inverse();
    std::ranges::copy(fft.front().time(), voice.table.begin());
    voice.table.back() = voice.table.front();
    voice.offset = static_cast<float>(meanOfPulse * static_cast<double>(model.firing.numCylinders));
}

float EngineTone::sampleOf(Voice& voice, std::uint64_t angle) noexcept
{
    if (voice.isSilent)
        return 0.0F;
    const std::uint64_t lead = toAngle(leadDegrees);
    const EngineModel& model = voice.made.model;
    float sum = -voice.offset;
    for (std::size_t index = 0; index < model.firing.numCylinders; ++index) {
        Cylinder& cylinder = voice.cylinders[index];
        const std::uint64_t cycle = (angle + lead - cylinder.angle) >> fractionBits;
        if (cycle != cylinder.cycle) {
            cylinder.cycle = cycle;
            dsp::RandomSource random(
                dsp::mixSeed(seed, cycle * FiringPattern::maxCylinders + index));
            const auto deviation = [&random] {
                return std::clamp(random.nextGaussian(), -mostDeviations, mostDeviations);
            };
            cylinder.gain = static_cast<float>(1.0 + model.amplitudeJitter * deviation());
            cylinder.offset = toAngle(model.timingJitterDegrees * deviation());
        }
        const std::uint64_t place = (angle - cylinder.angle - cylinder.offset) & fractionMask;
        const auto point = static_cast<std::size_t>(place >> positionBits);
        constexpr float toUnit = 1.0F / static_cast<float>(std::uint64_t {1} << positionBits);
        const float between =
            toUnit * static_cast<float>(place & ((std::uint64_t {1} << positionBits) - 1));
        const float before = voice.table[point];
        sum += cylinder.gain * (before + between * (voice.table[point + 1] - before));
    }
    return sum;
}

void EngineTone::add(std::span<float> output) noexcept
{
    assert(position % tickFrames + output.size() <= tickFrames);
    if (output.empty())
        return;
    if (tableIsUnknown) {
        holdSpeed();
        isFading = false;
        makeTable(voices[activeVoice], rpmGlide.current());
        tableIsUnknown = false;
    }
    if (angleIsUnknown) {
        crankAngle = anglePerFrame * position;
        angleIsUnknown = false;
    }
    if (position % tickFrames == 0) {
        rpmGlide.setTarget(parameters.rpm);
        anglePerFrame =
            toAngle(rpmGlide.next() / 120.0 / sampleRate * FiringPattern::degreesPerCycle);
    }
    if (position % hopFrames == 0) {
        if (isFading) {
            activeVoice = 1 - activeVoice;
            isFading = false;
        }
        Parameters wanted = parameters;
        wanted.rpm = rpmGlide.current();
        if (wanted != voices[activeVoice].made) {
            makeTable(voices[1 - activeVoice], wanted.rpm);
            isFading = true;
        }
    }

    Voice& active = voices[activeVoice];
    Voice& next = voices[1 - activeVoice];
    if (isFading && !(active.isSilent && next.isSilent)) {
        const float perFrame = 1.0F / static_cast<float>(hopFrames);
        const auto first = static_cast<float>(position % hopFrames);
        for (std::size_t frame = 0; frame < output.size(); ++frame) {
            const std::uint64_t angle = crankAngle + anglePerFrame * frame;
            const float before = sampleOf(active, angle);
            const float after = sampleOf(next, angle);
            const float fade = perFrame * (first + static_cast<float>(frame));
            output[frame] += before + fade * (after - before);
        }
    } else if (!isFading && !active.isSilent) {
        for (std::size_t frame = 0; frame < output.size(); ++frame)
            output[frame] += sampleOf(active, crankAngle + anglePerFrame * frame);
    }
    position += output.size();
    crankAngle += anglePerFrame * output.size();
}

} // namespace saddletone::ride
