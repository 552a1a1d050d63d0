#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Signals/Multitone.h"
#include "Core/Signals/SegmentTrack.h"
#include "Core/Signals/Sweep.h"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::signals {

/** Test signals. */
enum class SignalType {
    pink,
    white,
    sweep,
    sine,
    silence,
    level,          ///< Pink noise from 500 Hz to 2 kHz, for setting levels.
    calibratedPink, ///< The pink noise of SMPTE ST 2095-1.
    bands,          ///< A warble in each third octave, one after another.
    stepped,        ///< A sine at each third octave's centre, one after another.
    multitone,      ///< Tones all over the range at once, with a low crest factor.
    polarity,       ///< Pulses of one sign.
    channels,       ///< Beeps that name the speaker groups; two channels.
    gainSet         ///< Sines of 1 kHz and 40 Hz in steps of level.
};

inline constexpr std::array allSignalTypes {
    SignalType::pink,    SignalType::white,     SignalType::sweep,          SignalType::sine,
    SignalType::silence, SignalType::level,     SignalType::calibratedPink, SignalType::bands,
    SignalType::stepped, SignalType::multitone, SignalType::polarity,       SignalType::channels,
    SignalType::gainSet};

/** The word used in files and on the command line: pink, white, sweep, sine, silence, level,
    calibrated-pink, bands, stepped, multitone, polarity, channels, gain-set. */
[[nodiscard]] std::string_view signalTypeName(SignalType type) noexcept;
[[nodiscard]] dsp::Result<SignalType> parseSignalType(std::string_view name);

/** All the words for a sentence: "pink, white, … or gain-set". */
[[nodiscard]] std::string signalTypeWords();

/** Where the parts of a sweep track stand, in frames from the start of the file. */
struct SweepLayout {
    SweepShape sweep;
    MarkerShape marker;
    std::size_t firstMarkerFrame = 0;
    std::size_t sweepFrame = 0;
    std::size_t secondMarkerFrame = 0;

    bool operator==(const SweepLayout&) const = default;
};

/** How a lossy file is coded. Levels and peaks that a description states hold before the coding and
    are nominal after it. */
struct LossyCoding {
    std::string codec = "mp3";
    int bitRateKbps = 320;
    /** Frames that a player adds in front if it does not know the tag that has them trimmed. */
    std::size_t untrimmedDelayFrames = 0;

    bool operator==(const LossyCoding&) const = default;
};

/** Everything an analyser needs to know of a test signal; stored as NAME.signal.json. */
struct SignalDescription {
    SignalType type = SignalType::pink;
    double sampleRate = 48000.0;
    std::size_t numFrames = 0;
    std::size_t numChannels = 1;
    /** AES17. Of a sweep, warbles, tones and beeps the level of the sine while it sounds; of the
        gain set its highest; of pulses the level of a sine of the same peak. */
    double levelDbfs = -20.0;
    double peakDbfs = 0.0; ///< Highest sample re full scale.
    std::uint64_t seed = 1;
    std::size_t periodFrames = 0; ///< 0 = does not repeat.
    double fromHz = 0.0;          ///< 0 where it has no meaning.
    double toHz = 0.0;
    double frequencyHz = 0.0; ///< Of the sine as made.
    std::optional<SweepLayout> sweepLayout;
    std::vector<SignalSegment> segments; ///< Of bands, stepped, polarity, channels and gain set.
    std::vector<SignalTone> tones;       ///< Of a multitone.
    std::string file;                    ///< Name of the audio file beside the description.
    std::string checksum;                ///< CRC-32 of the audio file.
    std::optional<LossyCoding> lossyCoding;

    bool operator==(const SignalDescription&) const = default;
};

/** Peak over RMS while the signal sounds, in dB: 3 of a sine, 12 to 13 of noise. */
[[nodiscard]] double crestFactorDb(const SignalDescription& description) noexcept;

/** NAME.signal.json of NAME.wav. */
[[nodiscard]] std::filesystem::path descriptionPath(const std::filesystem::path& audioFile);

[[nodiscard]] nlohmann::json descriptionToJson(const SignalDescription& description);

[[nodiscard]] dsp::Result<SignalDescription>
loadSignalDescription(const std::filesystem::path& file);

} // namespace saddletone::signals
