#include "Core/Demo/Singer.h"

#include "Core/Demo/BandLimitedCycle.h"
#include "Core/Demo/DampedPartials.h"
#include "Core/Demo/NoiseBand.h"
#include "Core/Demo/PitchedVoices.h"
#include "Core/Demo/StateVariableFilter.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>

namespace saddletone::demo {

namespace {

constexpr std::size_t numFormants = 5;
using FormantValues = std::array<double, numFormants>;

/** What the vocal tract is set to. Levels are those of the resonance peaks in the sound. */
struct Articulation {
    FormantValues frequencyHz {};
    FormantValues levelDb {};
};

/** Formants 1 to 3: averages of the 28 women of Peterson and Barney, "Control methods used in a
    study of the vowels", JASA 24(2), 1952, table II; levels 1 to 3 lean on the same table but are
    raised towards the treble, as singing is brighter than speech. All quoted from memory. Formants
    4 and 5 and their levels are not in that paper: plausible values of this project's choice. */
Articulation articulationOf(Vowel vowel)
{
    switch (vowel) {
    case Vowel::heed:
        return {{310.0, 2790.0, 3310.0, 4100.0, 5000.0}, {0.0, -16.0, -17.0, -20.0, -28.0}};
    case Vowel::head:
        return {{610.0, 2330.0, 2990.0, 4000.0, 4900.0}, {0.0, -11.0, -15.0, -19.0, -27.0}};
    case Vowel::had:
        return {{860.0, 2050.0, 2850.0, 4000.0, 4900.0}, {0.0, -9.0, -15.0, -19.0, -27.0}};
    case Vowel::father:
        return {{850.0, 1220.0, 2810.0, 3900.0, 4900.0}, {0.0, -4.0, -18.0, -20.0, -28.0}};
    case Vowel::hawed:
        return {{590.0, 920.0, 2710.0, 3800.0, 4800.0}, {0.0, -5.0, -22.0, -23.0, -31.0}};
    case Vowel::whod:
        return {{370.0, 950.0, 2670.0, 3700.0, 4700.0}, {0.0, -13.0, -27.0, -28.0, -35.0}};
    case Vowel::hud:
        return {{760.0, 1400.0, 2780.0, 3900.0, 4900.0}, {0.0, -7.0, -18.0, -20.0, -28.0}};
    }
    assert(false);
    return {};
}

/** Five band-passes in parallel. Neighbours have opposite signs, or they would cancel between their
    peaks, where one lags and the other leads by a quarter turn (Holmes, IEEE Trans. Audio
    Electroacoust. 21(3), 1973). */
class VocalTract {
public:
    VocalTract(const Articulation& initial, double rate)
        : sampleRate(rate),
          articulation(initial),
          resonators {makeResonator(0), makeResonator(1), makeResonator(2), makeResonator(3),
                      makeResonator(4)}
    {
        tune();
    }

    /** Moves by a proportion of the way to target. */
    void moveTowards(const Articulation& target, double proportion)
    {
        for (std::size_t i = 0; i < numFormants; ++i) {
            articulation.frequencyHz[i] +=
                proportion * (target.frequencyHz[i] - articulation.frequencyHz[i]);
            articulation.levelDb[i] += proportion * (target.levelDb[i] - articulation.levelDb[i]);
        }
        tune();
    }

    [[nodiscard]] double process(double source) noexcept
    {
        double sum = 0.0;
        for (std::size_t i = 0; i < numFormants; ++i)
            sum += gains[i] * resonators[i].process(source).bandPass;
        return sum;
    }

private:
    /** Wider upwards, of the order usual in speech synthesis; own choice. */
    static constexpr FormantValues bandwidthHz {90.0, 110.0, 160.0, 240.0, 320.0};

    [[nodiscard]] StateVariableFilter makeResonator(std::size_t i) const
    {
        return {articulation.frequencyHz[i], articulation.frequencyHz[i] / bandwidthHz[i],
                sampleRate};
    }

    void tune()
    {
        for (std::size_t i = 0; i < numFormants; ++i) {
            const double frequencyHz = articulation.frequencyHz[i];
            resonators[i].tune(frequencyHz, frequencyHz / bandwidthHz[i], sampleRate);
            // The source falls by 6 dB per octave; taking that out makes levelDb the level heard.
            const double sourceTilt = frequencyHz / articulation.frequencyHz[0];
            const double sign = i % 2 == 0 ? 1.0 : -1.0;
            gains[i] = sign * sourceTilt * dsp::dbToAmplitude(articulation.levelDb[i]);
        }
    }

    double sampleRate;
    Articulation articulation;
    std::array<StateVariableFilter, numFormants> resonators;
    FormantValues gains {};
};

/** How long the voice pauses for a consonant, and the noise heard in that pause. */
struct ConsonantSound {
    double pauseSeconds = 0.0;
    double noiseSeconds = 0.0; ///< Up to the vowel.
    NoiseBand noise;
};

ConsonantSound soundOf(Consonant consonant)
{
    switch (consonant) {
    case Consonant::none: return {};
    case Consonant::sibilant:
        return {0.12,
                0.13,
                {.lowHz = 5200.0, .highHz = 9500.0, .decaySeconds = 0.4, .amplitude = 0.11}};
    case Consonant::dentalStop:
        return {0.08,
                0.03,
                {.lowHz = 3000.0, .highHz = 7000.0, .decaySeconds = 0.06, .amplitude = 0.25}};
    case Consonant::palatalStop:
        return {0.08,
                0.035,
                {.lowHz = 1500.0, .highHz = 3000.0, .decaySeconds = 0.06, .amplitude = 0.3}};
    case Consonant::breath:
        return {
            0.07, 0.09, {.lowHz = 900.0, .highHz = 4500.0, .decaySeconds = 0.4, .amplitude = 0.05}};
    }
    assert(false);
    return {};
}

/** The noises of a phrase's consonants, ready to be added to its vowels. */
void addConsonants(std::span<float> sound, std::span<const Syllable> phrase, double sampleRate,
                   dsp::RandomSource& random)
{
    for (const Syllable& syllable : phrase) {
        if (syllable.onset == Consonant::none)
            continue;
        const ConsonantSound consonant = soundOf(syllable.onset);
        std::vector<float> noise = makeNoiseBand(consonant.noise, sampleRate, random);
        noise.resize(std::min(
            noise.size(), static_cast<std::size_t>((consonant.noiseSeconds + 0.03) * sampleRate)));
        const bool stop =
            syllable.onset == Consonant::dentalStop || syllable.onset == Consonant::palatalStop;
        fadeEdges(noise, stop ? 0.001 : 0.04, 0.03, sampleRate);

        const double startSeconds =
            singerLeadInSeconds + syllable.startSeconds - consonant.noiseSeconds;
        const auto start = static_cast<std::size_t>(std::max(startSeconds, 0.0) * sampleRate);
        const auto gain = static_cast<float>(syllable.velocity);
        for (std::size_t i = 0; i < noise.size() && start + i < sound.size(); ++i)
            sound[start + i] += gain * noise[i];
    }
}

/** Where the singer is in the phrase: the current syllable and whether the voice sounds. */
class PhraseFollower {
public:
    explicit PhraseFollower(std::span<const Syllable> syllables) : phrase(syllables) {}

    void moveTo(double seconds)
    {
        // The mouth and the pitch head for the next syllable as soon as the voice pauses for it.
        while (index + 1 < phrase.size() && seconds >= pauseStart(phrase[index + 1]))
            ++index;
        const Syllable& current = phrase[index];
        sinceVowelSeconds = seconds - current.startSeconds;
        voiced = sinceVowelSeconds >= 0.0 && sinceVowelSeconds < current.lengthSeconds;
    }

    [[nodiscard]] const Syllable& syllable() const { return phrase[index]; }
    [[nodiscard]] double secondsSinceVowel() const { return sinceVowelSeconds; }
    [[nodiscard]] double targetGain() const { return voiced ? phrase[index].velocity : 0.0; }

private:
    static double pauseStart(const Syllable& syllable)
    {
        return syllable.startSeconds - soundOf(syllable.onset).pauseSeconds;
    }

    std::span<const Syllable> phrase;
    std::size_t index = 0;
    double sinceVowelSeconds = 0.0;
    bool voiced = false;
};

/** Vibrato in semitones: none at first, full on a held vowel. */
double vibratoSemitones(double sinceVowelSeconds)
{
    constexpr double rateHz = 5.2;
    constexpr double depthSemitones = 0.32;
    const double growth = std::clamp((sinceVowelSeconds - 0.22) / 0.35, 0.0, 1.0);
    return depthSemitones * growth * std::sin(dsp::twoPi * rateHz * sinceVowelSeconds);
}

} // namespace

std::vector<float> makeSungPhrase(std::span<const Syllable> phrase, double sampleRate,
                                  dsp::RandomSource& random)
{
    if (phrase.empty())
        return {};

    constexpr double tailSeconds = 0.3;
    constexpr double glideSeconds = 0.03;
    constexpr double articulationSeconds = 0.04;
    constexpr double onsetSeconds = 0.018;
    constexpr std::size_t numGlottalHarmonics = 100;
    constexpr double vibratoHeadroom = 1.05; // Nearly a semitone over the highest written pitch.
    constexpr double breathAmplitude = 0.035;
    constexpr std::size_t framesPerControl = 16;

    const double highestMidi =
        std::max_element(phrase.begin(), phrase.end(), [](const Syllable& a, const Syllable& b) {
            return a.pitchMidi < b.pitchMidi;
        })->pitchMidi;
    const BandLimitedCycle glottis(glottalHarmonics(numGlottalHarmonics),
                                   midiToHz(highestMidi) * vibratoHeadroom);
    const double breathGain = breathAmplitude * std::sqrt(sampleRate / 48000.0);
    const auto approach = [&](double timeConstantSeconds, std::size_t frames) {
        return 1.0 - std::exp(-static_cast<double>(frames) / (timeConstantSeconds * sampleRate));
    };
    const double glide = approach(glideSeconds, framesPerControl);
    const double articulate = approach(articulationSeconds, framesPerControl);
    const double swell = approach(onsetSeconds, 1);

    PhraseFollower follower(phrase);
    VocalTract tract(articulationOf(phrase.front().vowel), sampleRate);
    Phase phase;
    double pitchMidi = phrase.front().pitchMidi - 1.0; // Scoops up into the first note.
    double normalisedFrequency = 0.0;
    double driftSemitones = 0.0;
    double gain = 0.0;

    const Syllable& last = phrase.back();
    const double endSeconds = last.startSeconds + last.lengthSeconds + tailSeconds;
    std::vector<float> sound(
        static_cast<std::size_t>((singerLeadInSeconds + endSeconds) * sampleRate));
    for (std::size_t i = 0; i < sound.size(); ++i) {
        if (i % framesPerControl == 0) {
            follower.moveTo(static_cast<double>(i) / sampleRate - singerLeadInSeconds);
            pitchMidi += glide * (follower.syllable().pitchMidi - pitchMidi);
            driftSemitones += glide * (0.6 * (random.nextUniform() - 0.5) - driftSemitones);
            normalisedFrequency = midiToHz(pitchMidi + driftSemitones
                                           + vibratoSemitones(follower.secondsSinceVowel()))
                                  / sampleRate;
            tract.moveTowards(articulationOf(follower.syllable().vowel), articulate);
        }
        gain += swell * (follower.targetGain() - gain);
        const double flow = glottis.at(phase.advance(normalisedFrequency));
        // Air rushes while the glottis is open, so the breath follows the pulse.
        const double breath =
            breathGain * (2.0 * random.nextUniform() - 1.0) * (0.4 + std::abs(flow));
        sound[i] = static_cast<float>(gain * tract.process(flow + breath));
    }
    addConsonants(sound, phrase, sampleRate, random);
    fadeEdges(sound, 0.005, 0.05, sampleRate);
    return sound;
}

} // namespace saddletone::demo
