#include "Core/Demo/PitchedVoices.h"

#include "Core/Demo/BandLimitedCycle.h"
#include "Core/Demo/DampedPartials.h"
#include "Core/Demo/StateVariableFilter.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace saddletone::demo {

namespace {

constexpr std::size_t mostHarmonics = 160; // The lowest pad note's share of programmeBandwidthHz.

double centsToRatio(double cents)
{
    return std::exp2(cents / 1200.0);
}

} // namespace

double midiToHz(double pitchMidi) noexcept
{
    return 440.0 * std::exp2((pitchMidi - 69.0) / 12.0);
}

std::vector<float> makeBass(const Note& note, double sampleRate)
{
    constexpr double pluckProportion = 0.22; // Of the string's length, from the bridge.
    constexpr double highestHz = 5000.0;
    constexpr double releaseSeconds = 0.06;
    const double fundamentalHz = midiToHz(note.pitchMidi);
    const double brightness = 1.9 - 0.6 * note.velocity;

    std::vector<DampedPartial> partials;
    for (double number = 1.0; number * fundamentalHz < highestHz; number += 1.0) {
        const double comb = std::sin(std::numbers::pi * number * pluckProportion);
        partials.push_back({.frequencyHz = number * fundamentalHz,
                            .amplitude = 1.3 * note.velocity * comb / std::pow(number, brightness),
                            .decaySeconds = 4.0 / (1.0 + 0.22 * number)});
    }
    std::vector<float> sound =
        makeDampedSound(partials, note.lengthSeconds + releaseSeconds, sampleRate);
    fadeEdges(sound, 0.002, releaseSeconds, sampleRate);
    return sound;
}

std::vector<float> makeKeys(const Note& note, double sampleRate)
{
    constexpr std::array<double, 8> harmonicAmplitudes {1.0,  0.55, 0.30, 0.20,
                                                        0.12, 0.08, 0.05, 0.03};
    constexpr double releaseSeconds = 0.15;
    const double fundamentalHz = midiToHz(note.pitchMidi);

    std::vector<DampedPartial> partials;
    for (std::size_t i = 0; i < harmonicAmplitudes.size(); ++i) {
        const auto number = static_cast<double>(i + 1);
        // Velocity counts once more for every harmonic: the pickup bends a harder stroke more.
        partials.push_back(
            {.frequencyHz = number * fundamentalHz,
             .amplitude = 0.5 * harmonicAmplitudes[i] * std::pow(note.velocity, 0.6 + 0.4 * number),
             .decaySeconds = 5.0 / (0.6 + 0.4 * number)});
    }
    for (const double tineRatio : {6.93, 13.6})
        partials.push_back({.frequencyHz = tineRatio * fundamentalHz,
                            .amplitude = 0.9 * note.velocity * note.velocity / tineRatio,
                            .decaySeconds = 2.4 / tineRatio});

    std::vector<float> sound =
        makeDampedSound(partials, note.lengthSeconds + releaseSeconds, sampleRate);
    fadeEdges(sound, 0.0015, releaseSeconds, sampleRate);
    return sound;
}

std::vector<float> makePad(const Note& note, double sampleRate, dsp::RandomSource& random)
{
    constexpr double attackSeconds = 0.35;
    constexpr double releaseSeconds = 0.7;
    constexpr double widestCents = 9.0;
    const double fundamentalHz = midiToHz(note.pitchMidi);
    const BandLimitedCycle cycle(sawtoothHarmonics(mostHarmonics),
                                 fundamentalHz * centsToRatio(widestCents));
    const double detuneCents = widestCents * (0.5 + 0.5 * random.nextUniform());
    const double upper = fundamentalHz * centsToRatio(detuneCents) / sampleRate;
    const double lower = fundamentalHz * centsToRatio(-detuneCents) / sampleRate;
    Phase upperPhase(random.nextUniform());
    Phase lowerPhase(random.nextUniform());

    constexpr double closedHz = 700.0;
    constexpr std::size_t framesPerTuning = 32; // Under 1 ms: finer than the sweep can be heard in.
    const double openHz = 2000.0 + 3000.0 * note.velocity;
    StateVariableFilter filter(closedHz, 0.7, sampleRate);
    std::vector<float> sound(
        static_cast<std::size_t>((note.lengthSeconds + releaseSeconds) * sampleRate));
    for (std::size_t i = 0; i < sound.size(); ++i) {
        if (i % framesPerTuning == 0) {
            const double proportion = static_cast<double>(i) / static_cast<double>(sound.size());
            const double opening = std::sin(std::numbers::pi * proportion);
            filter.tune(closedHz * std::pow(openHz / closedHz, opening), 0.7, sampleRate);
        }
        const double saws =
            cycle.at(upperPhase.advance(upper)) + cycle.at(lowerPhase.advance(lower));
        sound[i] = static_cast<float>(0.3 * note.velocity * filter.process(saws).lowPass);
    }
    fadeEdges(sound, attackSeconds, releaseSeconds, sampleRate);
    return sound;
}

std::vector<float> makeLead(const Note& note, double sampleRate)
{
    constexpr double releaseSeconds = 0.18;
    constexpr double vibratoHz = 5.4;
    constexpr double vibratoCents = 22.0;
    constexpr double vibratoOnsetSeconds = 0.18;
    constexpr double vibratoGrowthSeconds = 0.35;
    constexpr std::size_t framesPerTuning = 16;
    const double fundamentalHz = midiToHz(note.pitchMidi);
    const BandLimitedCycle cycle(reedHarmonics(mostHarmonics),
                                 fundamentalHz * centsToRatio(vibratoCents));

    Phase phase;
    StateVariableFilter filter(fundamentalHz, 1.2, sampleRate);
    double normalisedFrequency = 0.0;
    double sag = note.velocity;
    const double sagFactor = decayFactor(6.0, sampleRate);
    std::vector<float> sound(
        static_cast<std::size_t>((note.lengthSeconds + releaseSeconds) * sampleRate));
    for (std::size_t i = 0; i < sound.size(); ++i) {
        if (i % framesPerTuning == 0) {
            const double seconds = static_cast<double>(i) / sampleRate;
            const double depth =
                std::clamp((seconds - vibratoOnsetSeconds) / vibratoGrowthSeconds, 0.0, 1.0);
            const double cents = vibratoCents * depth * std::sin(dsp::twoPi * vibratoHz * seconds);
            normalisedFrequency = fundamentalHz * centsToRatio(cents) / sampleRate;
            const double pluck = std::exp(-seconds / 0.16);
            filter.tune(std::min(fundamentalHz * (2.0 + 7.0 * note.velocity * pluck), 12000.0), 1.2,
                        sampleRate);
        }
        const double reed = cycle.at(phase.advance(normalisedFrequency));
        sound[i] = static_cast<float>(0.7 * sag * filter.process(reed).lowPass);
        sag *= sagFactor;
    }
    fadeEdges(sound, 0.004, releaseSeconds, sampleRate);
    return sound;
}

} // namespace saddletone::demo
