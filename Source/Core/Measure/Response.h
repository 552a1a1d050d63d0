#pragma once

#include "Core/Dsp/FftStore.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/SpeakerGroup.h"

#include <complex>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::measure {

/** The engine while a bike state was measured. */
enum class EngineState { off, idle, running };

[[nodiscard]] std::string_view engineStateName(EngineState state) noexcept;
[[nodiscard]] dsp::Result<EngineState> parseEngineState(std::string_view name);

/** The circumstances of a measurement, in the user's words. */
struct BikeState {
    std::string radioProfile;
    EngineState engine = EngineState::off;
    double speedKmh = 0.0; ///< 0 = parked.
    std::string microphonePlace;
    std::string volumeStep;
    SpeakerGroup speakers = SpeakerGroup::all; ///< Which ones played.

    bool operator==(const BikeState&) const = default;
};

/** How far a measured band may be trusted. */
struct BandConfidence {
    double frequencyHz = 0.0;   ///< Exact mid-band of the third octave.
    double levelDb = 0.0;       ///< Mean response in the band, less the power of the noise.
    double snrDb = 0.0;         ///< Signal over noise of the deconvolved response in the band.
    double uncertaintyDb = 0.0; ///< One standard deviation of levelDb, from snrDb and spreadDb.
    bool trusted = false;       ///< Inside the trusted range, with enough SNR.
    double spreadDb = 0.0;      ///< Standard deviation of levelDb between takes; 0 for one take.
    double interval95Db = 0.0;  ///< levelDb plus or minus this covers the truth in 95 of 100 cases.

    bool operator==(const BandConfidence&) const = default;
};

/** Of a band's level in dB; larger than uncertaintyDb where few takes make the spread between them
    uncertain itself, which only the interval tells. */
[[nodiscard]] double standardDeviationDb(const BandConfidence& band) noexcept;

/** SPL calibration of a recording chain. */
struct Calibration {
    double toneSplDb = 94.0; ///< SPL of the calibrator.
    double toneDbfs = -20.0; ///< What it read in the recording, AES17.
    /** SPL that a full-scale sine in the recording stands for. */
    [[nodiscard]] double splAtFullScaleDb() const noexcept { return toneSplDb - toneDbfs; }

    bool operator==(const Calibration&) const = default;
};

/** A harmonic's level while a sine of one frequency is played. */
struct HarmonicLevel {
    double frequencyHz = 0.0; ///< Of the fundamental; exact mid-band of a third octave.
    double levelDb = 0.0;     ///< Re the fundamental, both as they reached the microphone.
    double floorDb = 0.0;     ///< What noise alone would read.
    /** Stands far enough above the floor (6 dB) to be the harmonic and not noise. */
    [[nodiscard]] bool significant() const noexcept { return levelDb >= floorDb + 6.0; }

    bool operator==(const HarmonicLevel&) const = default;
};

/** Harmonic distortion of one order against the frequency of the fundamental. */
struct HarmonicOrder {
    int order = 2;
    std::vector<HarmonicLevel> levels; ///< Ascending; only where the order can be told.

    bool operator==(const HarmonicOrder&) const = default;
};

/** Impulse responses of the harmonics of orders 2 to 5, as a sweep tells them: order n answers a sine
    of n times the sweep's frequency, in phase n times the sweep's, at the sweep's own level. With the
    response of the same state they hold magnitude and phase of every harmonic. */
struct HarmonicImpulses {
    double driveDbfs = -12.0;     ///< Level of the sweep in its track, AES17; -100 to 0.
    std::size_t arrivalFrame = 0; ///< Time of the response's arrival; below the orders' length.
    std::vector<std::vector<float>> orders; ///< 2, 3, 4, 5, of one length, at the response's rate.
};

/** Whether the direct sound pushes first (positive) or pulls. */
enum class Polarity { unclear, positive, negative };

[[nodiscard]] std::string_view polarityName(Polarity polarity) noexcept;
[[nodiscard]] dsp::Result<Polarity> parsePolarity(std::string_view name);

/** The result of measuring one bike state at one place.

    The impulse response carries the gain from track to recording: a track at 0 dBFS through a
    response of 0 dB gives a recording at 0 dBFS. Its direct sound arrives at frame arrivalFrame;
    what stands before is the band limit's ringing and early sound. */
struct Response {
    std::string name;
    BikeState state;
    bool invented = false; ///< Demo data; shown as such wherever it is used.

    double sampleRate = 48000.0;
    std::vector<float> impulse;   ///< Finite; at most 10 s.
    std::size_t arrivalFrame = 0; ///< Below impulse.size().
    double fromHz = 20.0;         ///< Trusted range: what was swept and came through whole.
    double toHz = 20000.0;        ///< Lower than the sweep's end where a codec cut the top.

    double clockPpm = 0.0; ///< Recorder clock against player clock.
    double snrDb = 0.0;    ///< Lowest SNR of the bands within 40 Hz to 16 kHz.
    std::size_t numTakes = 1;
    bool hasCalibration = false;
    Calibration calibration;
    std::vector<BandConfidence> bands;         ///< Third octaves, ascending.
    std::vector<HarmonicOrder> distortion;     ///< Orders 2 to 5; empty where it is not known.
    std::optional<HarmonicImpulses> harmonics; ///< Nothing where they are not known.
    Polarity polarity = Polarity::unclear;     ///< Of the whole chain, recorder included.
    std::string polarityReason;                ///< What the polarity was concluded from.
    /** When the sweep's start arrived, from the start of the first take's recording, on the track's
        clock; 0 = not known. See arrivalDifferenceMs(). */
    double arrivalSeconds = 0.0;
    std::string recordingChecksum; ///< Of the first take's file; empty = not known.
    /** Where the sweep track starts in the file that was played, if that holds several tracks. */
    std::optional<double> trackStartSeconds;
    std::vector<std::string> remarks; ///< What a reader should know, in plain words.

    /** Complex response at the given frequencies, re the arrival; unit: linear gain. */
    [[nodiscard]] std::vector<std::complex<double>> at(std::span<const double> frequenciesHz) const;

    /** Magnitude in dB at the given ascending frequencies, power-averaged over a fraction of an
        octave (numPerOctave = 24: one twenty-fourth); 0 = not averaged. */
    [[nodiscard]] std::vector<double> magnitudeDb(std::span<const double> frequenciesHz,
                                                  int numPerOctave) const;
    [[nodiscard]] std::vector<double> magnitudeDb(std::span<const double> frequenciesHz,
                                                  int numPerOctave,
                                                  dsp::FftStore& transforms) const;
};

/** The third octave of a response whose mid-band is this to a thousandth, or null. */
[[nodiscard]] const BandConfidence* bandAt(const Response& response, double frequencyHz) noexcept;

/** STATE.impulse.wav of STATE.json. */
[[nodiscard]] std::filesystem::path impulsePath(const std::filesystem::path& stateFile);

/** STATE.harmonics.wav of STATE.json. */
[[nodiscard]] std::filesystem::path harmonicsPath(const std::filesystem::path& stateFile);

/** Writes STATE.json and, beside it, STATE.impulse.wav (32-bit float) and, where harmonics are known,
    STATE.harmonics.wav, which it names with a checksum. All appear whole or not at all; harmonics
    of an earlier state in the same place are removed. */
[[nodiscard]] dsp::Result<void> saveResponse(const Response& response,
                                             const std::filesystem::path& stateFile);

/** Reads what saveResponse() wrote; checks every type and range and the checksums. A missing
    STATE.harmonics.wav leaves the harmonics unknown. */
[[nodiscard]] dsp::Result<Response> loadResponse(const std::filesystem::path& stateFile);

} // namespace saddletone::measure
