#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"
#include "Core/Signals/Sweep.h"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace saddletone::signals {

/** Test signals. */
enum class SignalType { pink, white, sweep, sine, silence };

inline constexpr std::array allSignalTypes {SignalType::pink, SignalType::white, SignalType::sweep,
                                            SignalType::sine, SignalType::silence};

/** The word used in files and on the command line: pink, white, sweep, sine, silence. */
[[nodiscard]] std::string_view signalTypeName(SignalType type) noexcept;
[[nodiscard]] dsp::Result<SignalType> parseSignalType(std::string_view name);

/** Sample rates that test signals come in, in Hz. */
inline constexpr std::array<double, 4> signalSampleRates {44100.0, 48000.0, 88200.0, 96000.0};

/** Whether pink noise runs on without repeating, or repeats without a seam. */
enum class Repetition { none, periodic };

/** A test signal to be made. */
struct SignalRequest {
    SignalType type = SignalType::pink;
    double sampleRate = 48000.0; ///< One of signalSampleRates.
    double seconds = 30.0;       ///< 0.5 to 600. Of the sweep itself for a sweep.
    /** AES17 level in dBFS, -100 to 0: RMS of noise and sine; of a sweep and its markers the level
        of the sine that sweeps. */
    double levelDbfs = -20.0;
    std::uint64_t seed = 1;                   ///< Of noise; 0 to 2^63 - 1.
    Repetition repetition = Repetition::none; ///< Of pink noise.
    /** Band limits of noise and sweep in Hz; missing: 10 Hz to 22.4 kHz for noise (the band of
        SMPTE ST 2095-1), 20 Hz to 22 kHz for a sweep, at most 0.4583 of the sample rate. */
    std::optional<double> fromHz = std::nullopt;
    std::optional<double> toHz = std::nullopt;
    double frequencyHz = 1000.0; ///< Of the sine; moved to a whole number of cycles in the file.
};

/** Where the parts of a sweep track stand, in frames from the start of the file. */
struct SweepLayout {
    SweepShape sweep;
    MarkerShape marker;
    std::size_t firstMarkerFrame = 0;
    std::size_t sweepFrame = 0;
    std::size_t secondMarkerFrame = 0;

    bool operator==(const SweepLayout&) const = default;
};

/** Everything an analyser needs to know of a test signal; stored as NAME.signal.json. */
struct SignalDescription {
    SignalType type = SignalType::pink;
    double sampleRate = 48000.0;
    std::size_t numFrames = 0;
    double levelDbfs = -20.0;
    double peakDbfs = 0.0; ///< Highest sample re full scale.
    std::uint64_t seed = 1;
    std::size_t periodFrames = 0; ///< 0 = does not repeat.
    double fromHz = 0.0;          ///< 0 where it has no meaning.
    double toHz = 0.0;
    double frequencyHz = 0.0; ///< Of the sine as made.
    std::optional<SweepLayout> sweepLayout;
    std::string file;     ///< Name of the audio file beside the description.
    std::string checksum; ///< CRC-32 of the audio file.

    bool operator==(const SignalDescription&) const = default;
};

struct Signal {
    dsp::AudioBuffer audio; ///< One channel.
    SignalDescription description;
};

/** Makes a test signal. Fails when a parameter is outside its range or the level would drive peaks
    past full scale; the message says how high the level may be. */
[[nodiscard]] dsp::Result<Signal> makeSignal(const SignalRequest& request);

/** Writes the audio file and, beside it, its description (NAME.signal.json); returns the latter's
    path. */
[[nodiscard]] dsp::Result<std::filesystem::path> saveSignal(const Signal& signal,
                                                            const std::filesystem::path& audioFile,
                                                            files::SampleFormat format);

[[nodiscard]] dsp::Result<SignalDescription>
loadSignalDescription(const std::filesystem::path& file);

} // namespace saddletone::signals
