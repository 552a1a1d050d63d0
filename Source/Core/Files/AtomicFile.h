#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <string>
#include <string_view>

namespace saddletone::files {

/** A file that appears whole or not at all: content goes to temporaryPath() in the same folder,
    commit() flushes it to the disk and renames it over the target. Without commit() the temporary
    file is removed and a previous target stays as it was. */
class AtomicFile {
public:
    /** Makes the target's folder if needed. Refused: a target that is a folder, a device or a pipe. */
    [[nodiscard]] static dsp::Result<AtomicFile> open(const std::filesystem::path& target);

    AtomicFile(AtomicFile&& other) noexcept;
    AtomicFile& operator=(AtomicFile&& other) noexcept;
    AtomicFile(const AtomicFile&) = delete;
    AtomicFile& operator=(const AtomicFile&) = delete;
    ~AtomicFile();

    [[nodiscard]] const std::filesystem::path& temporaryPath() const noexcept { return temporary; }
    [[nodiscard]] dsp::Result<void> commit();

private:
    explicit AtomicFile(std::filesystem::path target);

    std::filesystem::path target;
    std::filesystem::path temporary;
};

/** Writes text as a whole file, or leaves what was there. */
[[nodiscard]] dsp::Result<void> writeTextFile(const std::filesystem::path& file,
                                              std::string_view text);

/** Reads a text file of at most maxBytes. */
[[nodiscard]] dsp::Result<std::string> readTextFile(const std::filesystem::path& file,
                                                    std::size_t maxBytes = 64U * 1024U * 1024U);

/** CRC-32 of a file's bytes as eight hexadecimal digits (zlib): tells a changed file, no more. */
[[nodiscard]] dsp::Result<std::string> fileChecksum(const std::filesystem::path& file);

/** The same of a text, byte for byte. */
[[nodiscard]] std::string textChecksum(std::string_view text);

} // namespace saddletone::files
