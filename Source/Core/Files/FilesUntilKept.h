#pragma once

#include <filesystem>
#include <vector>

namespace saddletone::files {

/** Files that are removed again with the object unless they are kept. */
class FilesUntilKept {
public:
    FilesUntilKept() = default;
    FilesUntilKept(const FilesUntilKept&) = delete;
    FilesUntilKept& operator=(const FilesUntilKept&) = delete;
    ~FilesUntilKept();

    void add(std::filesystem::path file);
    void keep() noexcept { files.clear(); }

private:
    std::vector<std::filesystem::path> files;
};

} // namespace saddletone::files
