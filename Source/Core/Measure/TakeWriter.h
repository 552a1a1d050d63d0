#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>

namespace saddletone::measure {

/** What a take is written as. */
struct TakeFormat {
    double sampleRate = 48000.0;                                     ///< Whole hertz.
    std::size_t numChannels = 1;                                     ///< 1 to 64.
    files::SampleFormat sampleFormat = files::SampleFormat::float32; ///< Or pcm24.
};

/** Streams a take to a WAV file that any reader opens at any moment, whatever ends the program.

    Before each piece of at most half a second the header is made to promise it; then the piece is
    written and forced to the disk. A file cut off anywhere thus promises at most half a second more
    than it holds, which readers (libsndfile) take for its end, and never holds audio that its
    header does not know of. 24-bit samples get triangular dither of two steps peak to peak and are
    limited to full scale; 32-bit float samples are kept as they are. Samples that are not numbers
    are written as silence. */
class TakeWriter {
public:
    /** Makes the first free file of NAME-01.wav, NAME-02.wav ... in a folder, which is made too; no
        file is ever replaced. */
    [[nodiscard]] static dsp::Result<TakeWriter>
    create(const std::filesystem::path& folder, const std::string& name, const TakeFormat& format);

    TakeWriter(TakeWriter&&) noexcept;
    TakeWriter& operator=(TakeWriter&&) noexcept;
    TakeWriter(const TakeWriter&) = delete;
    TakeWriter& operator=(const TakeWriter&) = delete;
    ~TakeWriter(); ///< As finish(), without a word of failure.

    /** Whether a take is being written, by this process or another: for as long as its writer lives
        it has the file locked, and the system gives the lock up when the process ends. On a disk
        without locks: whether the file changed within the last three seconds. */
    [[nodiscard]] static bool isBeingWritten(const std::filesystem::path& file);

    [[nodiscard]] const std::filesystem::path& file() const noexcept;
    /** Frames taken by append(). */
    [[nodiscard]] std::uint64_t numFrames() const noexcept;
    /** Frames that a WAV file can hold: its sizes have 32 bits. */
    [[nodiscard]] std::uint64_t maxFrames() const noexcept;

    /** Takes interleaved frames, at most maxFrames() in all. After a failure (disk full) every
        further call fails the same way; what had been written stays readable. */
    [[nodiscard]] dsp::Result<void> append(std::span<const float> interleaved);
    /** Takes frames of silence. */
    [[nodiscard]] dsp::Result<void> appendSilence(std::uint64_t numFrames);
    /** Writes what append() has taken and forces it to the disk; append() does so by itself after
        every half second of audio. */
    [[nodiscard]] dsp::Result<void> flush();
    /** Flushes, makes the header promise exactly what is there, and closes the file. */
    [[nodiscard]] dsp::Result<void> finish();

private:
    struct Impl;
    explicit TakeWriter(std::unique_ptr<Impl> content);
    std::unique_ptr<Impl> impl;
};

} // namespace saddletone::measure
