#pragma once

#include "Core/Dsp/ModelFigure.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Result.h"

#include <array>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::ride {

/** Bands of a noise state: twelfth octaves, four to each third octave from 20 Hz to 20 kHz. */
inline constexpr std::size_t numNoiseBands = 124;
/** Bands of slow level fluctuation: half octaves from 1/64 Hz to 4 Hz. */
inline constexpr std::size_t numModulationBands = 16;
/** Tones kept of one recording, the strongest; between two recordings there may be twice as many.
 */
inline constexpr std::size_t mostRecordedTones = 24;
inline constexpr std::size_t mostTones = 2 * mostRecordedTones;

/** Lower edge of a twelfth octave (IEC 61260-1, base ten); edge numNoiseBands is the last upper
    one. */
[[nodiscard]] double noiseBandEdgeHz(std::size_t edge) noexcept;
/** Lower edge of a modulation band; edge numModulationBands is 4 Hz. */
[[nodiscard]] double modulationEdgeHz(std::size_t edge) noexcept;

/** A line that stands out of the noise, steady or slowly gliding. */
struct NoiseTone {
    double frequencyHz = 100.0;          ///< Mean.
    std::array<double, 2> levelsDbfs {}; ///< Mean power at each ear, AES17.
    double phaseDifferenceRadians = 0.0; ///< Right ear after left ear, negative = later.
    double levelDeviationDb = 0.0;       ///< Standard deviation of its slow level.
    double levelMemorySeconds = 1.0;     ///< The level's autocorrelation falls to 1/e in this.
    double glideProportion = 0.0;        ///< Standard deviation of frequency over frequency.

    bool operator==(const NoiseTone&) const = default;
};

/** Slow fluctuation of the noise's level, as a gain in dB that is common to all frequencies. What
    noise of the same spectrum does by chance at constant gain is not in it. */
struct LevelFluctuation {
    std::array<double, numModulationBands> variancesDb2 {}; ///< In each modulation band.
    double skewness = 0.0;       ///< Of the gain in dB; positive: gusts stand out upwards.
    double earCorrelation = 1.0; ///< Between the ears' gains, 0 to 1.

    /** Standard deviation of the gain. */
    [[nodiscard]] double deviationDb() const noexcept;

    bool operator==(const LevelFluctuation&) const = default;
};

/** What a recording at one speed says of the noise; of fixed size, so that states can be
    interpolated on the audio thread. Levels are AES17 in the recording's own full scale. */
struct NoiseState {
    double speedKmh = 100.0;
    /** Mean level of the noise in each twelfth octave at each ear, without the tones;
        dsp::silenceDb above the recording's band limit. */
    std::array<std::array<double, numNoiseBands>, 2> noiseDbfs {};
    /** Magnitude of the ears' coherence, 0 to 1 (its square is the magnitude-squared one). */
    std::array<double, numNoiseBands> coherence {};
    std::array<double, numNoiseBands> coherencePhaseRadians {}; ///< Right ear after left ear.
    LevelFluctuation fluctuation;
    double glideMemorySeconds = 2.0; ///< Of all gliding tones, which glide together.
    std::size_t numTones = 0;
    std::array<NoiseTone, mostTones> tones {};

    bool operator==(const NoiseState&) const = default;
};

/** Levels of noise and tones together in the third octaves of dsp::thirdOctaveBands(), AES17. */
[[nodiscard]] std::vector<double> thirdOctaveLevelsDbfs(const NoiseState& state, std::size_t ear);

/** A state between two others of one bike: levels in dB over the logarithm of speed (speeds below
    1 km/h count as that), coherence and fluctuation likewise. A tone that is in both, at
    frequencies in the ratio of the speeds (within 4 %) or at the same frequency (within 2 %),
    moves from one to the other; a tone of one alone fades. mix: 0 = lower, 1 = upper. */
void interpolateStates(const NoiseState& lower, const NoiseState& upper, double mix,
                       NoiseState& result) noexcept;

/** What one recording gave. */
struct NoiseRecording {
    std::string name; ///< File name of the recording.
    double durationSeconds = 0.0;
    double sampleRate = 48000.0;
    std::size_t numChannels = 2;
    double levelDeviationDb = 0.0; ///< Of the recorded 125 ms level below 4 Hz, tones taken out.
    NoiseState state;
    std::vector<std::string> remarks; ///< What a reader should know, in plain words.

    bool operator==(const NoiseRecording&) const = default;
};

/** Where a speed lies among the recorded ones. */
enum class SpeedPlace { recorded, between, heldBelow, heldAbove };

struct PlaceAmongRecordings {
    SpeedPlace place = SpeedPlace::recorded;
    std::size_t lower = 0;
    std::size_t upper = 0; ///< Equal to lower unless between.
    double mix = 0.0;
};

/** Road noise as it was recorded, at one or several speeds. */
struct RecordedNoise {
    std::vector<NoiseRecording> recordings; ///< Ascending speed; at least one.
    std::optional<double> splAtFullScaleDb; ///< Missing: levels are relative.
    std::string calibrationNote;            ///< Where the calibration came from.

    [[nodiscard]] PlaceAmongRecordings placeOf(double speedKmh) const noexcept;
    /** The noise at a speed; outside the recorded range the nearest recording's. */
    void stateAt(double speedKmh, NoiseState& result) const noexcept;
    /** In words: recorded, interpolated between which, or held at which. */
    [[nodiscard]] std::string placeSentence(double speedKmh) const;
    /** What the noise rests on, each with its status and source. */
    [[nodiscard]] std::vector<dsp::ModelFigure> figures() const;

    bool operator==(const RecordedNoise&) const = default;
};

/** Puts recordings into order. Refused: none, or two at one speed. */
[[nodiscard]] dsp::Result<RecordedNoise> makeRecordedNoise(std::vector<NoiseRecording> recordings);

/** Writes NOISE.json (kind "saddletone-ride-noise"), whole or not at all. */
[[nodiscard]] dsp::Result<void> saveRecordedNoise(const RecordedNoise& noise,
                                                  const std::filesystem::path& file);
[[nodiscard]] dsp::Result<RecordedNoise> loadRecordedNoise(const std::filesystem::path& file);

} // namespace saddletone::ride
