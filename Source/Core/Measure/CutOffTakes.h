#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::measure {

/** A take that nothing ended: the program did, while it was being recorded. */
struct CutOffTake {
    std::filesystem::path audioFile;
    double durationSeconds = 0.0; ///< That can be read; 0: nothing.
    std::string problem;          ///< Why nothing can be read; empty otherwise.
};

/** The takes of a folder that were cut off and that nobody has measured or refused since, by file
    name; those that are being recorded now, here or by another process, are none. Their lengths are
    by header and file size, so this is quick. What can be read of them is used as any take is. */
[[nodiscard]] std::vector<CutOffTake> listCutOffTakes(const std::filesystem::path& folder);

} // namespace saddletone::measure
