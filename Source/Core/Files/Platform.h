#pragma once

#include <cstdio>
#include <filesystem>

namespace saddletone::files {

// The calls that differ between operating systems; everything else is standard C++.

/** Number of this process, to tell its temporary files from another's. */
[[nodiscard]] long processId() noexcept;

/** Whether a stream is shown on a terminal. */
[[nodiscard]] bool isTerminal(std::FILE* stream) noexcept;

/** Forces a file's content to the disk; false if that failed. */
[[nodiscard]] bool flushToDisk(const std::filesystem::path& file) noexcept;

/** Forces a folder's entries to the disk as far as the system allows. */
void flushFolderToDisk(const std::filesystem::path& folder) noexcept;

} // namespace saddletone::files
