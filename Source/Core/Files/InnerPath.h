#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <string>
#include <string_view>

namespace saddletone::files {

// Every name that is read from a file and leads to another file comes through here.

/** Checks the spelling of a path that is to stay inside a folder. Refused: an empty one, an absolute
    one, a drive letter, '..', a backslash, a control character, and on Windows also ':' and the names
    of devices. */
[[nodiscard]] dsp::Result<void> checkInnerPath(const std::string& relative);

/** folder / relative, which does not need to exist. Refused besides: a path on which a link leads out
    of the folder or nowhere. */
[[nodiscard]] dsp::Result<std::filesystem::path> resolveInside(const std::filesystem::path& folder,
                                                               const std::string& relative);

/** The file of this name, without folders, beside another file. */
[[nodiscard]] dsp::Result<std::filesystem::path> resolveBeside(const std::filesystem::path& file,
                                                               const std::string& name);

/** Whether a place lies below a folder once links are followed; the folder itself does not. */
[[nodiscard]] bool liesBelow(const std::filesystem::path& folder,
                             const std::filesystem::path& place);

/** Whether Windows takes a file name, whatever its extension, for a device: CON, NUL, COM1 ... */
[[nodiscard]] bool isWindowsDevice(std::string_view fileName) noexcept;

} // namespace saddletone::files
