#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"

#include <cstdint>
#include <filesystem>
#include <string_view>

namespace saddletone::files {

/** How samples are stored. */
enum class SampleFormat { pcm16, pcm24, float32 };

/** The word used in files and on the command line: 16, 24, 32f. */
[[nodiscard]] std::string_view sampleFormatName(SampleFormat format) noexcept;
[[nodiscard]] dsp::Result<SampleFormat> parseSampleFormat(std::string_view name);

/** Bounds on what readAudioFile() accepts. */
struct ReadLimits {
    double maxSeconds = 1800.0;
    std::size_t maxChannels = 64;
};

/** Reads any file that libsndfile opens (WAV, FLAC, Ogg, MP3, AIFF) whole.
    Refused, with the reason: missing or unreadable file, no samples, a sample rate outside 8 to
    384 kHz, more than the limits, a NaN or infinite sample. */
[[nodiscard]] dsp::Result<dsp::AudioBuffer> readAudioFile(const std::filesystem::path& file,
                                                          const ReadLimits& limits = {});

/** Writes a WAV file (FLAC when the name ends in .flac), whole or not at all. Integer formats get
    triangular dither of two steps peak to peak from ditherSeed, except where a channel is digitally
    silent; samples beyond full scale are refused, not clipped. */
[[nodiscard]] dsp::Result<void> writeAudioFile(const dsp::AudioBuffer& audio,
                                               const std::filesystem::path& file,
                                               SampleFormat format, std::uint64_t ditherSeed = 1);

} // namespace saddletone::files
