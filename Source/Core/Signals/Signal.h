#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"
#include "Core/Signals/SignalDescription.h"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string_view>

namespace saddletone::signals {

/** Sample rates that test signals come in, in Hz. */
inline constexpr std::array<double, 4> signalSampleRates {44100.0, 48000.0, 88200.0, 96000.0};

/** Whether pink noise runs on without repeating, or repeats without a seam. */
enum class Repetition { none, periodic };

/** A test signal to be made. */
struct SignalRequest {
    SignalType type = SignalType::pink;
    double sampleRate = 48000.0; ///< One of signalSampleRates.
    /** 0.5 to 600, of the sweep itself for a sweep; signals that repeat fill up their last period.
        Of bands, stepped and gain-set the length of each part: 1 to 20. */
    double seconds = 30.0;
    /** AES17 level in dBFS, -100 to 0: RMS of noise, multitone and sine; of a sweep with its
        markers, of warbles, steps and beeps the level of the sine while it sounds; of gain-set its
        highest, the others 5 and 10 dB below (-90 or more); of pulses the level of a sine of the
        same peak. Calibrated pink noise has the standard's level and silence none. */
    double levelDbfs = -20.0;
    std::uint64_t seed = 1;                   ///< Of noise; 0 to 2^63 - 1.
    Repetition repetition = Repetition::none; ///< Of pink noise.
    /** Band limits in Hz; missing: 10 Hz to 22.4 kHz for noise (the band of SMPTE ST 2095-1), 500 Hz
        to 2 kHz for level, 20 Hz to 22 kHz for a sweep, at most 0.4583 of the sample rate; 25 Hz to
        16 kHz for bands, stepped and multitone, where limits name third octaves, first and last.
        The other types have none. */
    std::optional<double> fromHz = std::nullopt;
    std::optional<double> toHz = std::nullopt;
    double frequencyHz = 1000.0; ///< Of the sine; moved to a whole number of cycles in the file.
    int tonesPerOctave = 24;     ///< Of the multitone: 3, 6, 12 or 24.
};

/** What a shop mostly wants of a type: its usual length and level. */
[[nodiscard]] SignalRequest usualRequest(SignalType type) noexcept;

/** A band that is safe for one kind of speaker, and a careful level. */
struct DriverBand {
    std::string_view name;
    double fromHz;
    double toHz;
    double levelDbfs;
};

/** Pink noise within these does not drive a woofer far out below its resonance, nor a mid or a tweeter
    below its crossover. Limits and levels are judgement, with room for usual crossovers (woofer to
    mid 300 to 500 Hz, mid to tweeter 2.5 to 5 kHz), not from a standard; where a maker gives
    limits, those count. */
inline constexpr std::array<DriverBand, 3> driverBands {{{"woofer", 60.0, 300.0, -20.0},
                                                         {"mid", 500.0, 2500.0, -20.0},
                                                         {"tweeter", 5000.0, 16000.0, -30.0}}};

struct Signal {
    dsp::AudioBuffer audio; ///< One channel; two of type channels.
    SignalDescription description;
};

/** Makes a test signal. Fails when a parameter is outside its range or the level would drive peaks
    past full scale; the message says how high the level may be. */
[[nodiscard]] dsp::Result<Signal> makeSignal(const SignalRequest& request);

/** Writes the audio file (WAV, FLAC or MP3 by its name's ending) and, beside it, its description
    (NAME.signal.json), which names it; returns the latter's path. Refuses to take the description
    from another audio file that still stands beside it (NAME.mp3 beside NAME.wav). */
[[nodiscard]] dsp::Result<std::filesystem::path> saveSignal(const Signal& signal,
                                                            const std::filesystem::path& audioFile,
                                                            files::SampleFormat format);

} // namespace saddletone::signals
