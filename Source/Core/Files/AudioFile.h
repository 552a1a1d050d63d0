#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string_view>

namespace saddletone::files {

/** How samples are stored. */
enum class SampleFormat { pcm16, pcm24, float32 };

/** The word used in files and on the command line: 16, 24, 32f. */
[[nodiscard]] std::string_view sampleFormatName(SampleFormat format) noexcept;
[[nodiscard]] dsp::Result<SampleFormat> parseSampleFormat(std::string_view name);

/** Kinds of audio files that are written. */
enum class FileType { wav, flac, mp3 };

/** The word used on the command line, which is also the file name's ending: wav, flac, mp3. */
[[nodiscard]] std::string_view fileTypeName(FileType type) noexcept;
[[nodiscard]] dsp::Result<FileType> parseFileType(std::string_view name);

/** By the name's ending; WAV where it is another. */
[[nodiscard]] FileType fileTypeOf(const std::filesystem::path& file);

/** What MP3 files are written with: the highest constant bit rate of MPEG-1 layer III, and the
    sample rates that have it. */
inline constexpr int mp3BitRateKbps = 320;
inline constexpr std::array<double, 3> mp3SampleRates {32000.0, 44100.0, 48000.0};

/** Frames of silence that a player puts before an MP3 file's audio if it does not know the tag that
    says how many there are: 576 of the encoder (LAME 3.100) and 529 of any decoder. */
inline constexpr std::size_t mp3UntrimmedDelayFrames = 1105;

/** Bounds on what readAudioFile() accepts. */
struct ReadLimits {
    double maxSeconds = 1800.0;
    std::size_t maxChannels = 64;
};

/** How much audio a file holds. */
struct AudioLength {
    double sampleRate = 0.0;
    std::size_t numChannels = 0;
    std::size_t numFrames = 0; ///< At least 1.

    [[nodiscard]] double seconds() const noexcept
    {
        return static_cast<double>(numFrames) / sampleRate;
    }
};

/** Length of a file by its header and its size, without reading its samples; of a file that was cut
    off, what is left. Refused: what readAudioFile() refuses before it reads samples, and no audio. */
[[nodiscard]] dsp::Result<AudioLength> readAudioLength(const std::filesystem::path& file);

/** Told the share of a file that has been read, 0 to 1; false ends the reading. */
using ReadProgress = std::function<bool(double doneProportion)>;

/** What readAudioFile() fails with where progress ended it. */
inline constexpr const char* readCancelledMessage = "cancelled; the file was not read to its end";

/** Reads any file that libsndfile opens (WAV, FLAC, Ogg, MP3, AIFF) whole.
    Refused, with the reason: missing or unreadable file, no samples, a sample rate outside 8 to
    384 kHz, more than the limits, a NaN or infinite sample. */
[[nodiscard]] dsp::Result<dsp::AudioBuffer> readAudioFile(const std::filesystem::path& file,
                                                          const ReadLimits& limits = {},
                                                          const ReadProgress& progress = {});

/** Writes a WAV file (FLAC or MP3 when the name ends in .flac or .mp3), whole or not at all. Integer
    formats get triangular dither of two steps peak to peak from ditherSeed, except where a channel
    is digitally silent; samples beyond full scale are refused, not clipped. MP3 has no sample
    format: it takes the samples as they are, one or two channels, at mp3SampleRates. */
[[nodiscard]] dsp::Result<void> writeAudioFile(const dsp::AudioBuffer& audio,
                                               const std::filesystem::path& file,
                                               SampleFormat format, std::uint64_t ditherSeed = 1);

} // namespace saddletone::files
