#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::files {

/** A name beside a target for what becomes the target once it is whole:
    ".STEM.part-MACHINE-PROCESS-N.EXT", another one at every call. The extension stays last:
    libsndfile and readers of a stray file go by it. */
[[nodiscard]] std::filesystem::path temporaryBeside(const std::filesystem::path& target);

/** Who gave a file or folder such a name. */
struct TemporaryOwner {
    std::string machine; ///< CRC-32 of its name, eight hexadecimal digits.
    long process = 0;

    bool operator==(const TemporaryOwner&) const = default;
};

/** Nothing if it is another name. */
[[nodiscard]] std::optional<TemporaryOwner> temporaryOwner(const std::string& fileName);

/** Removes from a folder, and at most so many levels of folders below, what processes of this
    machine that do not run any more left half-written. Returns what was removed; what cannot be
    removed stays, and so does what another machine is perhaps writing. */
std::vector<std::filesystem::path> sweepTemporaries(const std::filesystem::path& folder,
                                                    int numLevelsBelow = 0);

} // namespace saddletone::files
