#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

namespace saddletone::test {

/** A folder of its own under the system's temporary folder, removed with all it holds at the
    end. */
class TemporaryFolder {
public:
    TemporaryFolder();
    ~TemporaryFolder();
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;

    [[nodiscard]] const std::filesystem::path& path() const noexcept { return folder; }
    [[nodiscard]] std::filesystem::path operator/(std::string_view name) const
    {
        return folder / name;
    }

    /** Number of entries, hidden ones and those of folders below too. */
    [[nodiscard]] std::size_t numEntries() const;

private:
    std::filesystem::path folder;
};

/** Content of a file, byte for byte; throws if it cannot be read. */
[[nodiscard]] std::string bytesOf(const std::filesystem::path& file);

/** Writes bytes as they are; throws if that fails. */
void writeBytes(const std::filesystem::path& file, std::string_view bytes);

} // namespace saddletone::test
