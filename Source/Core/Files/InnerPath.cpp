#include "Core/Files/InnerPath.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <system_error>

namespace saddletone::files {

namespace {

#if defined(_WIN32)
constexpr bool isOnWindows = true;
#else
constexpr bool isOnWindows = false;
#endif

bool beginsWithDrive(const std::string& text)
{
    return text.size() >= 2 && text[1] == ':'
           && std::isalpha(static_cast<unsigned char>(text[0])) != 0;
}

} // namespace

bool isWindowsDevice(std::string_view fileName) noexcept
{
    // "Naming Files, Paths, and Namespaces", Windows documentation (from memory).
    constexpr std::array<std::string_view, 4> plain {"CON", "PRN", "AUX", "NUL"};
    constexpr std::array<std::string_view, 2> numbered {"COM", "LPT"};
    std::string stem(fileName.substr(0, fileName.find('.')));
    while (!stem.empty() && stem.back() == ' ')
        stem.pop_back();
    std::ranges::transform(stem, stem.begin(), [](unsigned char character) {
        return static_cast<char>(std::toupper(character));
    });
    if (std::ranges::find(plain, stem) != plain.end())
        return true;
    return stem.size() == 4 && stem[3] >= '1' && stem[3] <= '9'
           && std::ranges::find(numbered, std::string_view(stem).substr(0, 3)) != numbered.end();
}

dsp::Result<void> checkInnerPath(const std::string& relative)
{
    const std::filesystem::path path(relative);
    const bool leaves = std::ranges::any_of(path, [](const auto& part) { return part == ".."; });
    const bool isOddOnWindows =
        relative.find(':') != std::string::npos || std::ranges::any_of(path, [](const auto& part) {
            return isWindowsDevice(part.string());
        });
    const bool hasOddCharacter = std::ranges::any_of(relative, [](unsigned char character) {
        return character < 0x20 || character == 0x7F || character == '\\';
    });
    if (relative.empty() || path.is_absolute() || path.has_root_path() || beginsWithDrive(relative)
        || leaves || hasOddCharacter || (isOnWindows && isOddOnWindows))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "'" + relative
                             + "' must be a path inside the folder, with '/' between folders and "
                               "without '..' or a drive");
    return {};
}

bool liesBelow(const std::filesystem::path& folder, const std::filesystem::path& place)
{
    std::error_code reason;
    const auto root = std::filesystem::weakly_canonical(folder.empty() ? "." : folder, reason);
    if (reason)
        return false;
    const auto inner = std::filesystem::weakly_canonical(place, reason);
    if (reason)
        return false;
    const auto [rootEnd, innerRest] = std::ranges::mismatch(root, inner);
    return rootEnd == root.end() && innerRest != inner.end();
}

dsp::Result<std::filesystem::path> resolveInside(const std::filesystem::path& folder,
                                                 const std::string& relative)
{
    if (const auto checked = checkInnerPath(relative); !checked)
        return checked.unexpected();
    std::filesystem::path current = folder;
    for (const auto& part : std::filesystem::path(relative)) {
        current /= part;
        std::error_code reason;
        if (!std::filesystem::is_symlink(std::filesystem::symlink_status(current, reason)))
            continue;
        if (!std::filesystem::exists(current, reason) || !liesBelow(folder, current))
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             "'" + current.string()
                                 + "' is a link that leads out of the folder or nowhere; put the "
                                   "file itself there");
    }
    return folder / relative;
}

dsp::Result<std::filesystem::path> resolveBeside(const std::filesystem::path& file,
                                                 const std::string& name)
{
    if (name.find('/') != std::string::npos)
        return dsp::fail(dsp::ErrorCode::outOfRange, "'" + name
                                                         + "' must be the name of a file beside '"
                                                         + file.string() + "', without folders");
    return resolveInside(file.parent_path(), name);
}

} // namespace saddletone::files
