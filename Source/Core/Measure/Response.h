#pragma once

#include "Core/Dsp/Result.h"

#include <complex>
#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

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

    bool operator==(const BikeState&) const = default;
};

/** How far a measured band may be trusted. */
struct BandConfidence {
    double frequencyHz = 0.0;   ///< Exact mid-band of the third octave.
    double levelDb = 0.0;       ///< Mean response in the band.
    double snrDb = 0.0;         ///< Signal over noise of the deconvolved response in the band.
    double uncertaintyDb = 0.0; ///< One standard deviation of levelDb, estimated from snrDb.
    bool trusted = false;       ///< Inside the swept range, with enough SNR.

    bool operator==(const BandConfidence&) const = default;
};

/** SPL calibration of a recording chain. */
struct Calibration {
    double toneSplDb = 94.0; ///< SPL of the calibrator.
    double toneDbfs = -20.0; ///< What it read in the recording, AES17.
    /** SPL that a full-scale sine in the recording stands for. */
    [[nodiscard]] double splAtFullScaleDb() const noexcept { return toneSplDb - toneDbfs; }

    bool operator==(const Calibration&) const = default;
};

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
    double fromHz = 20.0;         ///< Swept range; outside it nothing is known.
    double toHz = 20000.0;

    double clockPpm = 0.0; ///< Recorder clock against player clock.
    double snrDb = 0.0;    ///< Lowest SNR of the bands within 40 Hz to 16 kHz.
    std::size_t numTakes = 1;
    bool hasCalibration = false;
    Calibration calibration;
    std::vector<BandConfidence> bands; ///< Third octaves, ascending.
    std::vector<std::string> remarks;  ///< What a reader should know, in plain words.

    /** Complex response at the given frequencies, re the arrival; unit: linear gain. */
    [[nodiscard]] std::vector<std::complex<double>> at(std::span<const double> frequenciesHz) const;

    /** Magnitude in dB at the given ascending frequencies, power-averaged over a fraction of an
        octave (numPerOctave = 24: one twenty-fourth); 0 = not averaged. */
    [[nodiscard]] std::vector<double> magnitudeDb(std::span<const double> frequenciesHz,
                                                  int numPerOctave) const;
};

/** Writes STATE.json and, beside it, STATE.impulse.wav (32-bit float), which it names with a
    checksum. Both appear whole or not at all. */
[[nodiscard]] dsp::Result<void> saveResponse(const Response& response,
                                             const std::filesystem::path& stateFile);

/** Reads what saveResponse() wrote; checks every type and range and the checksum. */
[[nodiscard]] dsp::Result<Response> loadResponse(const std::filesystem::path& stateFile);

} // namespace saddletone::measure
