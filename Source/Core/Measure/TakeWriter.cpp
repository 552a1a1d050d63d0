#include "Core/Measure/TakeWriter.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Files/TextTable.h"
#include "Core/Platform/Platform.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <limits>
#include <optional>
#include <string_view>
#include <vector>

namespace saddletone::measure {

namespace {

constexpr double pieceSeconds = 0.5;
/** Several pieces: without locks a file that has not grown for as long is not being written. */
constexpr std::chrono::seconds longestPause {3};
constexpr unsigned highestNumber = 99999;

struct CloseFile {
    void operator()(std::FILE* file) const noexcept { std::fclose(file); }
};
using FileHandle = std::unique_ptr<std::FILE, CloseFile>;

void putLittleEndian(std::vector<unsigned char>& bytes, std::uint64_t value, std::size_t numBytes)
{
    for (std::size_t place = 0; place < numBytes; ++place)
        bytes.push_back(static_cast<unsigned char>((value >> (8U * place)) & 0xFFU));
}

void putText(std::vector<unsigned char>& bytes, std::string_view text)
{
    bytes.insert(bytes.end(), text.begin(), text.end());
}

bool isUsableName(std::string_view name)
{
    return !name.empty() && name.size() <= 100 && name.front() != '.' && name.front() != ' '
           && std::ranges::all_of(name, [](char character) {
                  const auto byte = static_cast<unsigned char>(character);
                  const bool letter = (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z');
                  const bool digit = byte >= '0' && byte <= '9';
                  return letter || digit || byte >= 0x80 || byte == ' ' || byte == '-'
                         || byte == '_' || byte == '.';
              });
}

/** The system's words for an error number. */
std::string systemWords(int reason)
{
    return reason == 0 ? "no reason was given" : std::strerror(reason);
}

/** The number in "NAME-NUMBER.wav" or "NAME-NUMBER.take.json". */
std::optional<unsigned> numberOf(const std::string& fileName, const std::string& name)
{
    if (!fileName.starts_with(name + "-"))
        return std::nullopt;
    const char* const begin = fileName.data() + name.size() + 1;
    const char* const end = fileName.data() + fileName.size();
    unsigned number = 0;
    const auto [rest, error] = std::from_chars(begin, end, number);
    const std::string_view extension(rest, static_cast<std::size_t>(end - rest));
    if (error != std::errc() || number > highestNumber
        || (extension != ".wav" && extension != ".take.json"))
        return std::nullopt;
    return number;
}

} // namespace

struct TakeWriter::Impl {
    std::filesystem::path path;
    TakeFormat format;
    FileHandle handle;
    platform::SystemLock beingWritten; ///< Of the file; see isBeingWritten().
    std::size_t bytesPerFrame = 4;
    std::size_t framesPerPiece = 24000;
    std::vector<unsigned char> pending; ///< Samples taken and not yet written.
    std::uint64_t framesTaken = 0;
    std::uint64_t bytesWritten = 0; ///< Of samples.
    dsp::RandomSource dither {1};
    std::optional<dsp::Error> failure;

    [[nodiscard]] std::vector<unsigned char> header(std::uint64_t sampleBytes) const
    {
        const bool isFloat = format.sampleFormat == files::SampleFormat::float32;
        const std::size_t sampleSize = isFloat ? 4 : 3;
        const auto rate = static_cast<std::uint64_t>(format.sampleRate);
        // A chunk of odd size is followed by a byte that its size does not count.
        const std::uint64_t padding = sampleBytes % 2;
        std::vector<unsigned char> bytes;
        putText(bytes, "RIFF");
        putLittleEndian(bytes, (isFloat ? 48 : 36) + sampleBytes + padding, 4);
        putText(bytes, "WAVEfmt ");
        putLittleEndian(bytes, 16, 4);
        putLittleEndian(bytes, isFloat ? 3 : 1, 2); // WAVE_FORMAT_IEEE_FLOAT, WAVE_FORMAT_PCM
        putLittleEndian(bytes, format.numChannels, 2);
        putLittleEndian(bytes, rate, 4);
        putLittleEndian(bytes, rate * bytesPerFrame, 4);
        putLittleEndian(bytes, bytesPerFrame, 2);
        putLittleEndian(bytes, 8 * sampleSize, 2);
        if (isFloat) {
            putText(bytes, "fact");
            putLittleEndian(bytes, 4, 4);
            putLittleEndian(bytes, sampleBytes / bytesPerFrame, 4);
        }
        putText(bytes, "data");
        putLittleEndian(bytes, sampleBytes, 4);
        return bytes;
    }

    /** Keeps the first failure, which every later call repeats. */
    dsp::Result<void> fail(int reason)
    {
        const auto wholeFrames = bytesWritten / bytesPerFrame;
        const double seconds = static_cast<double>(wholeFrames) / format.sampleRate;
        failure = {dsp::ErrorCode::cannotWrite,
                   "writing '" + path.string() + "' stopped after " + files::fixedText(seconds, 1)
                       + " s (" + systemWords(reason)
                       + "); what was written is kept; make room on the disk and record again"};
        return dsp::Unexpected {*failure};
    }

    [[nodiscard]] bool writeHeader(std::uint64_t sampleBytes)
    {
        const auto bytes = header(sampleBytes);
        return std::fseek(handle.get(), 0, SEEK_SET) == 0
               && std::fwrite(bytes.data(), 1, bytes.size(), handle.get()) == bytes.size()
               && std::fseek(handle.get(), 0, SEEK_END) == 0;
    }

    void putSample(float sample)
    {
        if (!std::isfinite(sample))
            sample = 0.0F;
        if (format.sampleFormat == files::SampleFormat::float32) {
            std::uint32_t bits = 0;
            static_assert(sizeof bits == sizeof sample);
            std::memcpy(&bits, &sample, sizeof bits);
            putLittleEndian(pending, bits, 4);
            return;
        }
        constexpr double scale = 8388608.0; // 2^23
        const double noise = dither.nextUniform() - dither.nextUniform();
        const double rounded = std::nearbyint(static_cast<double>(sample) * scale + noise);
        const auto value = static_cast<std::int32_t>(std::clamp(rounded, -scale, scale - 1.0));
        putLittleEndian(pending, static_cast<std::uint32_t>(value), 3);
    }

    dsp::Result<void> flush()
    {
        if (failure)
            return dsp::Unexpected {*failure};
        if (pending.empty())
            return {};
        errno = 0;
        if (!writeHeader(bytesWritten + pending.size()))
            return fail(errno);
        const std::size_t written = std::fwrite(pending.data(), 1, pending.size(), handle.get());
        bytesWritten += written;
        if (written != pending.size())
            return fail(errno);
        pending.clear();
        if (!platform::flushToDisk(path))
            return fail(errno);
        return {};
    }

    dsp::Result<void> finish()
    {
        if (handle == nullptr)
            return failure ? dsp::Result<void>(dsp::Unexpected {*failure}) : dsp::Result<void>();
        auto flushed = flush();
        // After a failure too the header is made to promise no more than there is; it lies in a
        // part of the file that exists, so that a full disk does not stop it.
        bytesWritten -= bytesWritten % bytesPerFrame;
        const bool headed = writeHeader(bytesWritten);
        if (flushed && bytesWritten % 2 != 0 && std::fputc(0, handle.get()) == EOF)
            flushed = fail(errno);
        if (flushed && !headed)
            flushed = fail(errno);
        const bool onDisk = platform::flushToDisk(path);
        if (flushed && !onDisk)
            flushed = fail(errno);
        handle.reset();
        return flushed;
    }
};

TakeWriter::TakeWriter(std::unique_ptr<Impl> content) : impl(std::move(content)) {}
TakeWriter::TakeWriter(TakeWriter&&) noexcept = default;
TakeWriter& TakeWriter::operator=(TakeWriter&&) noexcept = default;

TakeWriter::~TakeWriter()
{
    if (impl != nullptr) [[maybe_unused]]
        const auto finished = impl->finish();
}

dsp::Result<TakeWriter> TakeWriter::create(const std::filesystem::path& folder,
                                           const std::string& name, const TakeFormat& format)
{
    assert(format.numChannels >= 1 && format.numChannels <= 64);
    if (format.sampleFormat == files::SampleFormat::pcm16)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "takes are recorded with 24 bits or 32-bit float, not with 16 bits");
    if (!isUsableName(name))
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + name
                             + "' cannot name a take; use letters, digits, blanks, '-', '_' and "
                               "'.', and begin with a letter or digit");
    std::error_code reason;
    std::filesystem::create_directories(folder, reason);
    if (reason)
        return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot make the folder '" + folder.string()
                                                          + "' for takes: " + reason.message());
    unsigned number = 1;
    for (std::filesystem::directory_iterator entry(folder, reason), end; !reason && entry != end;
         entry.increment(reason))
        if (const auto used = numberOf(entry->path().filename().string(), name))
            number = std::max(number, *used + 1);

    auto content = std::make_unique<Impl>();
    content->format = format;
    content->bytesPerFrame =
        format.numChannels * (format.sampleFormat == files::SampleFormat::float32 ? 4U : 3U);
    content->framesPerPiece = static_cast<std::size_t>(pieceSeconds * format.sampleRate);
    content->pending.reserve(2 * content->framesPerPiece * content->bytesPerFrame);
    for (; content->handle == nullptr; ++number) {
        std::string fileName = name;
        fileName += number < 10 ? "-0" : "-";
        fileName += std::to_string(number) + ".wav";
        content->path = folder / fileName;
        // Exclusive: two programs that record into one folder do not share a file.
        errno = 0;
        content->handle.reset(std::fopen(content->path.string().c_str(), "w+bx"));
        if (content->handle == nullptr && (errno != EEXIST || number >= highestNumber))
            return dsp::fail(dsp::ErrorCode::cannotWrite,
                             "cannot make '" + content->path.string() + "': " + systemWords(errno)
                                 + "; check that the folder is not read-only");
    }
    // Unbuffered, so that what is written is the system's before the next line runs.
    std::setvbuf(content->handle.get(), nullptr, _IONBF, 0);
    errno = 0;
    if (!content->writeHeader(0) || !platform::flushToDisk(content->path)) {
        const std::string why = systemWords(errno);
        content->handle.reset();
        std::filesystem::remove(content->path, reason);
        return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot write '" + content->path.string()
                                                          + "': " + why
                                                          + "; make room on the disk");
    }
    // Where the disk has no locks the file's time tells.
    static_cast<void>(content->beingWritten.lock(content->path));
    platform::flushFolderToDisk(folder);
    return TakeWriter(std::move(content));
}

bool TakeWriter::isBeingWritten(const std::filesystem::path& file)
{
    platform::SystemLock probe;
    switch (probe.lock(file)) {
    case platform::LockOutcome::locked:
    case platform::LockOutcome::cannotOpen: return false;
    case platform::LockOutcome::heldByOther: return true;
    case platform::LockOutcome::unsupported: break;
    }
    std::error_code reason;
    const auto changed = std::filesystem::last_write_time(file, reason);
    return !reason && std::filesystem::file_time_type::clock::now() - changed < longestPause;
}

const std::filesystem::path& TakeWriter::file() const noexcept
{
    return impl->path;
}

std::uint64_t TakeWriter::numFrames() const noexcept
{
    return impl->framesTaken;
}

std::uint64_t TakeWriter::maxFrames() const noexcept
{
    return (std::numeric_limits<std::uint32_t>::max() - 64U) / impl->bytesPerFrame;
}

dsp::Result<void> TakeWriter::append(std::span<const float> interleaved)
{
    assert(interleaved.size() % impl->format.numChannels == 0);
    std::size_t begin = 0;
    while (begin < interleaved.size()) {
        if (impl->failure)
            return dsp::Unexpected {*impl->failure};
        const std::size_t room = impl->framesPerPiece - impl->pending.size() / impl->bytesPerFrame;
        const std::size_t count =
            std::min(interleaved.size() - begin, room * impl->format.numChannels);
        for (const float sample : interleaved.subspan(begin, count))
            impl->putSample(sample);
        begin += count;
        impl->framesTaken += count / impl->format.numChannels;
        if (impl->pending.size() >= impl->framesPerPiece * impl->bytesPerFrame)
            if (const auto flushed = impl->flush(); !flushed)
                return flushed;
    }
    return {};
}

dsp::Result<void> TakeWriter::appendSilence(std::uint64_t numFrames)
{
    const std::vector<float> silence(
        static_cast<std::size_t>(std::min<std::uint64_t>(numFrames, impl->framesPerPiece))
        * impl->format.numChannels);
    while (numFrames > 0) {
        const std::uint64_t count = std::min<std::uint64_t>(numFrames, impl->framesPerPiece);
        const auto appended = append(
            std::span(silence).first(static_cast<std::size_t>(count) * impl->format.numChannels));
        if (!appended)
            return appended;
        numFrames -= count;
    }
    return {};
}

dsp::Result<void> TakeWriter::flush()
{
    return impl->flush();
}

dsp::Result<void> TakeWriter::finish()
{
    return impl->finish();
}

} // namespace saddletone::measure
