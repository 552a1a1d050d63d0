#include "Core/Files/AtomicFile.h"

#include "Core/Files/TemporaryName.h"
#include "Core/Platform/Platform.h"

#include <array>
#include <fstream>
#include <iterator>
#include <system_error>
#include <utility>

#include <zlib.h>

namespace saddletone::files {

AtomicFile::AtomicFile(std::filesystem::path targetPath)
    : target(std::move(targetPath)), temporary(temporaryBeside(target))
{
}

dsp::Result<AtomicFile> AtomicFile::open(const std::filesystem::path& target)
{
    std::error_code reason;
    if (target.filename().empty() || std::filesystem::is_directory(target, reason))
        return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot write '" + target.string()
                                                          + "': it is a folder; give a file name");
    // A rename would put a file in the place of a device or a pipe.
    if (std::filesystem::exists(target, reason)
        && !std::filesystem::is_regular_file(target, reason))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write '" + target.string()
                             + "': it is a device or a pipe; give the name of a file");
    if (const auto folder = target.parent_path(); !folder.empty()) {
        std::filesystem::create_directories(folder, reason);
        if (reason)
            return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot make the folder '"
                                                              + folder.string()
                                                              + "': " + reason.message());
    }
    AtomicFile file(target);
    std::ofstream probe(file.temporary, std::ios::binary);
    if (!probe)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write in the folder of '" + target.string()
                             + "'; check that it is not read-only and that the disk is not full");
    return file;
}

AtomicFile::AtomicFile(AtomicFile&& other) noexcept
    : target(std::move(other.target)), temporary(std::exchange(other.temporary, {}))
{
}

AtomicFile& AtomicFile::operator=(AtomicFile&& other) noexcept
{
    std::swap(target, other.target);
    std::swap(temporary, other.temporary);
    return *this;
}

AtomicFile::~AtomicFile()
{
    if (!temporary.empty()) {
        std::error_code ignored;
        std::filesystem::remove(temporary, ignored);
    }
}

dsp::Result<void> AtomicFile::commit()
{
    if (!platform::flushToDisk(temporary))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write '" + target.string()
                             + "' to the disk; check that it is not full");
    std::error_code reason;
    std::filesystem::rename(temporary, target, reason);
    if (reason)
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot put '" + target.string() + "' in place: " + reason.message());
    temporary.clear();
    // The rename itself is on the disk only once the folder is; a folder that cannot be flushed
    // (some network shares) leaves a whole file, old or new, all the same.
    platform::flushFolderToDisk(target.parent_path());
    return {};
}

dsp::Result<void> writeTextFile(const std::filesystem::path& file, std::string_view text)
{
    auto output = AtomicFile::open(file);
    if (!output)
        return output.unexpected();
    {
        std::ofstream stream(output->temporaryPath(), std::ios::binary | std::ios::trunc);
        stream.write(text.data(), static_cast<std::streamsize>(text.size()));
        stream.flush();
        if (!stream)
            return dsp::fail(dsp::ErrorCode::cannotWrite,
                             "cannot write '" + file.string()
                                 + "'; check that the disk is not full");
    }
    return output->commit();
}

dsp::Result<std::string> readTextFile(const std::filesystem::path& file, std::size_t maxBytes)
{
    std::error_code reason;
    if (!std::filesystem::exists(file, reason))
        return dsp::fail(dsp::ErrorCode::notFound, "'" + file.string() + "' does not exist");
    if (std::filesystem::is_directory(file, reason))
        return dsp::fail(dsp::ErrorCode::unreadable,
                         "'" + file.string() + "' is a folder, not a file");
    const auto size = std::filesystem::file_size(file, reason);
    if (!reason && size > maxBytes)
        return dsp::fail(dsp::ErrorCode::unreadable, "'" + file.string() + "' is too large ("
                                                         + std::to_string(size) + " bytes, at most "
                                                         + std::to_string(maxBytes) + ")");
    std::ifstream stream(file, std::ios::binary);
    std::string text {std::istreambuf_iterator<char>(stream), {}};
    if (!stream)
        return dsp::fail(dsp::ErrorCode::unreadable, "cannot read '" + file.string() + "'");
    return text;
}

namespace {

uLong addToChecksum(uLong sum, std::string_view bytes)
{
    return crc32_z(sum, reinterpret_cast<const Bytef*>(bytes.data()), bytes.size());
}

std::string checksumDigits(uLong sum)
{
    constexpr std::string_view digits = "0123456789abcdef";
    std::string text(8, '0');
    for (std::size_t place = 0; place < text.size(); ++place)
        text[text.size() - 1 - place] = digits[(sum >> (4U * place)) & 0xFU];
    return text;
}

} // namespace

dsp::Result<std::string> fileChecksum(const std::filesystem::path& file)
{
    std::ifstream stream(file, std::ios::binary);
    if (!stream)
        return dsp::fail(dsp::ErrorCode::notFound, "cannot read '" + file.string() + "'");
    uLong sum = crc32(0L, Z_NULL, 0);
    std::array<char, 65536> block {};
    while (stream) {
        stream.read(block.data(), block.size());
        sum = addToChecksum(sum, {block.data(), static_cast<std::size_t>(stream.gcount())});
    }
    return checksumDigits(sum);
}

std::string textChecksum(std::string_view text)
{
    return checksumDigits(addToChecksum(crc32(0L, Z_NULL, 0), text));
}

} // namespace saddletone::files
