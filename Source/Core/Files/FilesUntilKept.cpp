#include "Core/Files/FilesUntilKept.h"

#include <system_error>
#include <utility>

namespace saddletone::files {

FilesUntilKept::~FilesUntilKept()
{
    std::error_code ignored;
    for (const std::filesystem::path& file : files)
        std::filesystem::remove(file, ignored);
}

void FilesUntilKept::add(std::filesystem::path file)
{
    files.push_back(std::move(file));
}

} // namespace saddletone::files
