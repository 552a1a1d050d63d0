#include "Core/Demo/DrumVoices.h"

#include "Core/Demo/DampedPartials.h"
#include "Core/Demo/NoiseBand.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace saddletone::demo {

namespace {

/** Adds part to sound from startSeconds on; what would pass the end is dropped. */
void layer(std::span<float> sound, std::span<const float> part, double startSeconds,
           double sampleRate)
{
    const auto start = static_cast<std::size_t>(startSeconds * sampleRate);
    for (std::size_t i = 0; i < part.size() && start + i < sound.size(); ++i)
        sound[start + i] += part[i];
}

/** A drum skin: a sine that falls exponentially in pitch and decays. */
struct FallingTone {
    double startHz = 200.0;
    double endHz = 50.0;
    double fallSeconds = 0.02; ///< Time constant of the fall.
    double decaySeconds = 0.6; ///< Time to fall by 60 dB; the sound lasts this long.
};

std::vector<float> makeFallingTone(const FallingTone& tone, double sampleRate)
{
    std::vector<float> sound(static_cast<std::size_t>(tone.decaySeconds * sampleRate));
    const double decay = decayFactor(tone.decaySeconds, sampleRate);
    double gain = 1.0;
    for (std::size_t i = 0; i < sound.size(); ++i) {
        const double seconds = static_cast<double>(i) / sampleRate;
        const double fallenCycles = (tone.startHz - tone.endHz) * tone.fallSeconds
                                    * (1.0 - std::exp(-seconds / tone.fallSeconds));
        sound[i] =
            static_cast<float>(gain * std::sin(dsp::twoPi * (tone.endHz * seconds + fallenCycles)));
        gain *= decay;
    }
    return sound;
}

/** The dense inharmonic modes of a cymbal between two frequencies, spread evenly in log frequency
    with a random offset each, the high ones dying sooner. */
struct CymbalModes {
    std::size_t numModes = 24;
    double lowHz = 3000.0;
    double highHz = 15000.0;
    double decaySeconds = 1.0; ///< Of the lowest mode; the highest has a third of it.
    double amplitude = 0.1;    ///< Of each mode.
};

std::vector<float> makeCymbalModes(const CymbalModes& modes, double sampleRate,
                                   dsp::RandomSource& random)
{
    std::vector<DampedPartial> partials(modes.numModes);
    for (std::size_t i = 0; i < partials.size(); ++i) {
        const double proportion =
            (static_cast<double>(i) + random.nextUniform()) / static_cast<double>(partials.size());
        partials[i] = {.frequencyHz =
                           modes.lowHz * std::pow(modes.highHz / modes.lowHz, proportion),
                       .amplitude = modes.amplitude * (0.5 + random.nextUniform()),
                       .decaySeconds = modes.decaySeconds * std::pow(3.0, -proportion),
                       .phaseRadians = dsp::twoPi * random.nextUniform()};
    }
    return makeDampedSound(partials, modes.decaySeconds, sampleRate);
}

} // namespace

std::vector<float> makeKick(double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound = makeFallingTone(
        {.startHz = 200.0, .endHz = 52.0, .fallSeconds = 0.02, .decaySeconds = 0.7}, sampleRate);
    layer(sound,
          makeNoiseBand({.lowHz = 1200.0, .highHz = 6000.0, .decaySeconds = 0.03, .amplitude = 0.5},
                        sampleRate, random),
          0.0, sampleRate);
    fadeEdges(sound, 0.0005, 0.1, sampleRate);
    return sound;
}

std::vector<float> makeSnare(double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound =
        makeNoiseBand({.lowHz = 1100.0, .highHz = 9000.0, .decaySeconds = 0.34, .amplitude = 0.55},
                      sampleRate, random);
    const std::array<DampedPartial, 3> skin {
        DampedPartial {.frequencyHz = 192.0, .amplitude = 0.6, .decaySeconds = 0.22},
        DampedPartial {.frequencyHz = 331.0, .amplitude = 0.35, .decaySeconds = 0.15},
        DampedPartial {.frequencyHz = 487.0, .amplitude = 0.15, .decaySeconds = 0.10}};
    layer(sound, makeDampedSound(skin, 0.25, sampleRate), 0.0, sampleRate);
    fadeEdges(sound, 0.0005, 0.05, sampleRate);
    return sound;
}

std::vector<float> makeClap(double sampleRate, dsp::RandomSource& random)
{
    constexpr std::array<double, 4> handsSeconds {0.0, 0.009, 0.019, 0.028};
    std::vector<float> sound(static_cast<std::size_t>(0.35 * sampleRate));
    for (std::size_t hands = 0; hands < handsSeconds.size(); ++hands) {
        const bool last = hands + 1 == handsSeconds.size();
        layer(sound,
              makeNoiseBand({.lowHz = 800.0,
                             .highHz = 2600.0,
                             .decaySeconds = last ? 0.28 : 0.03,
                             .amplitude = 0.9},
                            sampleRate, random),
              handsSeconds[hands], sampleRate);
    }
    fadeEdges(sound, 0.0005, 0.05, sampleRate);
    return sound;
}

std::vector<float> makeTom(double fundamentalHz, double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound = makeFallingTone({.startHz = 1.7 * fundamentalHz,
                                                .endHz = fundamentalHz,
                                                .fallSeconds = 0.03,
                                                .decaySeconds = 0.8},
                                               sampleRate);
    layer(sound,
          makeNoiseBand({.lowHz = 500.0, .highHz = 5000.0, .decaySeconds = 0.06, .amplitude = 0.35},
                        sampleRate, random),
          0.0, sampleRate);
    fadeEdges(sound, 0.0005, 0.1, sampleRate);
    return sound;
}

std::vector<float> makeHiHat(double decaySeconds, double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound = makeNoiseBand(
        {.lowHz = 6500.0, .highHz = 16500.0, .decaySeconds = decaySeconds, .amplitude = 0.5},
        sampleRate, random);
    layer(sound,
          makeCymbalModes({.numModes = 12,
                           .lowHz = 3500.0,
                           .highHz = 14000.0,
                           .decaySeconds = decaySeconds,
                           .amplitude = 0.06},
                          sampleRate, random),
          0.0, sampleRate);
    fadeEdges(sound, 0.0003, 0.3 * decaySeconds, sampleRate);
    return sound;
}

std::vector<float> makeRide(double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound = makeCymbalModes({.numModes = 28,
                                                .lowHz = 2200.0,
                                                .highHz = 16000.0,
                                                .decaySeconds = 1.6,
                                                .amplitude = 0.07},
                                               sampleRate, random);
    layer(
        sound,
        makeNoiseBand({.lowHz = 5000.0, .highHz = 16500.0, .decaySeconds = 1.0, .amplitude = 0.10},
                      sampleRate, random),
        0.0, sampleRate);
    layer(
        sound,
        makeNoiseBand({.lowHz = 3000.0, .highHz = 12000.0, .decaySeconds = 0.03, .amplitude = 0.35},
                      sampleRate, random),
        0.0, sampleRate);
    fadeEdges(sound, 0.0005, 0.4, sampleRate);
    return sound;
}

std::vector<float> makeCrash(double sampleRate, dsp::RandomSource& random)
{
    std::vector<float> sound = makeCymbalModes(
        {.numModes = 48, .lowHz = 700.0, .highHz = 15500.0, .decaySeconds = 2.6, .amplitude = 0.05},
        sampleRate, random);
    layer(
        sound,
        makeNoiseBand({.lowHz = 2500.0, .highHz = 16500.0, .decaySeconds = 2.2, .amplitude = 0.30},
                      sampleRate, random),
        0.0, sampleRate);
    fadeEdges(sound, 0.004, 0.8, sampleRate);
    return sound;
}

} // namespace saddletone::demo
