#include "Core/Demo/DemoProgramme.h"

#include "Core/Demo/DemoScore.h"
#include "Core/Demo/DrumVoices.h"
#include "Core/Demo/PitchedVoices.h"
#include "Core/Demo/StereoLoop.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

namespace saddletone::demo {

namespace {

constexpr double peakDbfs = -1.0;
constexpr double slowestRate = 44100.0;

/** One random stream a player, so that changing one part leaves the others as they were. */
enum class Player : std::uint64_t {
    kick = 1,
    snare,
    clap,
    hats,
    ride,
    toms,
    crash,
    bass,
    keys,
    pad,
    lead,
    singer
};

dsp::RandomSource randomFor(std::uint64_t seed, Player player)
{
    return dsp::RandomSource(dsp::mixSeed(seed, static_cast<std::uint64_t>(player)));
}

double between(dsp::RandomSource& random, double low, double high)
{
    return low + (high - low) * random.nextUniform();
}

/** A player's unsteady hand: up to 1 dB of force either way. */
double touch(dsp::RandomSource& random)
{
    return dsp::dbToAmplitude(between(random, -1.0, 1.0));
}

/** Plays a row of the drummer's grid: strike(random) gives one stroke's sound. latestSeconds is how
    far a stroke may drag behind the grid. */
template <typename Strike>
void addDrumRow(StereoLoop& loop, dsp::RandomSource& random, std::string_view DrumBar::*row,
                const Placement& placement, double latestSeconds, Strike strike)
{
    for (std::size_t bar = 0; bar < numBars; ++bar) {
        const std::string_view steps = drumBar(bar).*row;
        for (std::size_t step = 0; step < steps.size(); ++step) {
            if (steps[step] == '.')
                continue;
            const double force = static_cast<double>(steps[step] - '0') / 9.0;
            Placement stroke = placement;
            // Felt force runs roughly with the square of the written figure.
            stroke.gainLinear *= force * force * touch(random);
            const double startSeconds = barSeconds * static_cast<double>(bar)
                                        + sixteenthSeconds * static_cast<double>(step)
                                        + between(random, 0.0, latestSeconds);
            loop.add(startSeconds, strike(random), stroke);
        }
    }
}

void addDrums(StereoLoop& loop, std::uint64_t seed)
{
    const double rate = loop.sampleRate();
    const auto kick = [rate](dsp::RandomSource& random) { return makeKick(rate, random); };
    const auto snare = [rate](dsp::RandomSource& random) { return makeSnare(rate, random); };
    const auto clap = [rate](dsp::RandomSource& random) { return makeClap(rate, random); };
    const auto closed = [rate](dsp::RandomSource& random) { return makeHiHat(0.09, rate, random); };
    const auto open = [rate](dsp::RandomSource& random) { return makeHiHat(0.5, rate, random); };
    const auto ride = [rate](dsp::RandomSource& random) { return makeRide(rate, random); };
    const auto high = [rate](dsp::RandomSource& random) { return makeTom(131.0, rate, random); };
    const auto low = [rate](dsp::RandomSource& random) { return makeTom(87.0, rate, random); };

    dsp::RandomSource kickRandom = randomFor(seed, Player::kick);
    addDrumRow(loop, kickRandom, &DrumBar::kick, {0.85, 0.0, 0.01}, 0.0, kick);
    dsp::RandomSource snareRandom = randomFor(seed, Player::snare);
    addDrumRow(loop, snareRandom, &DrumBar::snare, {0.62, -0.06, 0.14}, 0.003, snare);
    dsp::RandomSource clapRandom = randomFor(seed, Player::clap);
    addDrumRow(loop, clapRandom, &DrumBar::clap, {0.5, 0.15, 0.25}, 0.004, clap);
    dsp::RandomSource hatRandom = randomFor(seed, Player::hats);
    addDrumRow(loop, hatRandom, &DrumBar::closedHat, {0.5, 0.35, 0.03}, 0.004, closed);
    addDrumRow(loop, hatRandom, &DrumBar::openHat, {0.45, 0.35, 0.05}, 0.004, open);
    dsp::RandomSource rideRandom = randomFor(seed, Player::ride);
    addDrumRow(loop, rideRandom, &DrumBar::ride, {0.32, -0.45, 0.05}, 0.004, ride);
    dsp::RandomSource tomRandom = randomFor(seed, Player::toms);
    addDrumRow(loop, tomRandom, &DrumBar::highTom, {0.6, -0.3, 0.12}, 0.003, high);
    addDrumRow(loop, tomRandom, &DrumBar::lowTom, {0.65, 0.3, 0.12}, 0.003, low);
}

/** A crash where the chords come in and where the breakdown begins. */
void addCrashes(StereoLoop& loop, std::uint64_t seed)
{
    dsp::RandomSource random = randomFor(seed, Player::crash);
    for (const double bar : {4.0, 10.0}) {
        const std::vector<float> crash = makeCrash(loop.sampleRate(), random);
        loop.add(bar * barSeconds, crash, {0.35 * touch(random), 0.5, 0.1});
    }
}

void addBass(StereoLoop& loop, std::uint64_t seed)
{
    dsp::RandomSource random = randomFor(seed, Player::bass);
    for (std::size_t bar = 0; bar < numBars; ++bar)
        for (const BassStep& step : bassBar(bar)) {
            const double pitchMidi = chordBar(bar).bassRootMidi + step.semitones;
            const Note note {.pitchMidi = pitchMidi,
                             .lengthSeconds = 0.92 * step.lengthSixteenths * sixteenthSeconds,
                             .velocity = std::min(1.0, step.velocity * touch(random))};
            const double startSeconds = barSeconds * static_cast<double>(bar)
                                        + sixteenthSeconds * step.startSixteenths
                                        + between(random, 0.0, 0.004);
            loop.add(startSeconds, makeBass(note, loop.sampleRate()), {0.43, 0.0, 0.01});
        }
}

/** Keys strike the chord on one and, shorter, before three; in the breakdown they spread it. */
void addKeys(StereoLoop& loop, std::uint64_t seed)
{
    struct Stroke {
        double startSixteenths;
        double lengthSixteenths;
        double velocity;
    };
    constexpr std::array<Stroke, 3> strokes {{{0.0, 5.0, 0.8}, {7.0, 2.0, 0.6}, {11.0, 4.0, 0.7}}};
    constexpr Stroke spread {0.0, 15.0, 0.65};

    dsp::RandomSource random = randomFor(seed, Player::keys);
    const auto strike = [&](std::size_t bar, const Stroke& stroke, double spreadSeconds) {
        double panProportion = -0.6;
        double delaySeconds = 0.0;
        for (const int pitchMidi : chordBar(bar).pitchesMidi) {
            const Note note {.pitchMidi = static_cast<double>(pitchMidi),
                             .lengthSeconds = stroke.lengthSixteenths * sixteenthSeconds,
                             .velocity = std::min(1.0, stroke.velocity * touch(random))};
            const double startSeconds = barSeconds * static_cast<double>(bar)
                                        + sixteenthSeconds * stroke.startSixteenths + delaySeconds
                                        + between(random, 0.0, 0.006);
            loop.add(startSeconds, makeKeys(note, loop.sampleRate()), {0.24, panProportion, 0.12});
            panProportion += 0.3;
            delaySeconds += spreadSeconds;
        }
    };
    for (std::size_t bar = 0; bar < numBars; ++bar) {
        if (!hasChords(bar))
            continue;
        if (isBreakdown(bar))
            strike(bar, spread, sixteenthSeconds);
        else
            for (const Stroke& stroke : strokes)
                strike(bar, stroke, 0.0);
    }
}

void addPad(StereoLoop& loop, std::uint64_t seed)
{
    dsp::RandomSource random = randomFor(seed, Player::pad);
    for (std::size_t bar = 0; bar < numBars; ++bar) {
        if (!hasChords(bar))
            continue;
        const double velocity = isBreakdown(bar) ? 0.9 : 0.65;
        for (const int pitchMidi : chordBar(bar).pitchesMidi)
            for (const double panProportion : {-0.85, 0.85}) {
                const Note note {.pitchMidi = static_cast<double>(pitchMidi),
                                 .lengthSeconds = barSeconds,
                                 .velocity = velocity};
                loop.add(barSeconds * static_cast<double>(bar),
                         makePad(note, loop.sampleRate(), random), {0.11, panProportion, 0.15});
            }
    }
}

/** The lead stands right of the middle; its echo, three sixteenths later, answers from the left. */
void addLead(StereoLoop& loop, std::uint64_t seed)
{
    dsp::RandomSource random = randomFor(seed, Player::lead);
    for (const MelodyNote& written : leadMelody()) {
        const Note note {.pitchMidi = static_cast<double>(written.pitchMidi),
                         .lengthSeconds = 0.95 * written.lengthBeats * beatSeconds,
                         .velocity = std::min(1.0, written.velocity * touch(random))};
        const std::vector<float> sound = makeLead(note, loop.sampleRate());
        const double startSeconds = written.startBeats * beatSeconds + between(random, 0.0, 0.005);
        loop.add(startSeconds, sound, {0.26, 0.25, 0.12});
        loop.add(startSeconds + 3.0 * sixteenthSeconds, sound, {0.08, -0.5, 0.25});
    }
}

void addSinger(StereoLoop& loop, std::uint64_t seed)
{
    dsp::RandomSource random = randomFor(seed, Player::singer);
    for (const SungPhrase& written : sungPhrases()) {
        std::vector<Syllable> phrase;
        for (const SungNote& note : written.notes)
            phrase.push_back({.startSeconds = note.startBeats * beatSeconds,
                              .lengthSeconds = note.lengthBeats * beatSeconds,
                              .pitchMidi = static_cast<double>(note.pitchMidi),
                              .velocity = std::min(1.0, note.velocity * touch(random)),
                              .vowel = note.vowel,
                              .onset = note.onset});
        loop.add(written.startBeats * beatSeconds - singerLeadInSeconds,
                 makeSungPhrase(phrase, loop.sampleRate(), random), {1.35, 0.0, 0.10});
    }
}

void scaleToPeak(dsp::AudioBuffer& buffer, double levelDbfs)
{
    float peak = 0.0F;
    for (const std::vector<float>& channel : buffer.channels)
        for (const float sample : channel)
            peak = std::max(peak, std::abs(sample));
    assert(peak > 0.0F);
    const double gain = dsp::dbToAmplitude(levelDbfs) / static_cast<double>(peak);
    for (std::vector<float>& channel : buffer.channels)
        for (float& sample : channel)
            sample = static_cast<float>(gain * static_cast<double>(sample));
}

} // namespace

dsp::AudioBuffer makeDemoProgramme(double sampleRate, std::uint64_t seed)
{
    assert(sampleRate >= slowestRate);
    StereoLoop loop(sampleRate, programmeSeconds);
    addDrums(loop, seed);
    addCrashes(loop, seed);
    addBass(loop, seed);
    addKeys(loop, seed);
    addPad(loop, seed);
    addLead(loop, seed);
    addSinger(loop, seed);

    dsp::AudioBuffer programme = loop.mixWithRoom();
    scaleToPeak(programme, peakDbfs);
    return programme;
}

} // namespace saddletone::demo
