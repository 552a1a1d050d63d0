#pragma once

#include "Core/Job/Job.h"

#include <filesystem>
#include <map>
#include <string>

namespace saddletone::test {

/** A job on the disk: one measured state with its candidate, a note, and a previous version. */
job::Job makeSmallJob(const std::filesystem::path& folder);

/** Lets every user read a folder and all below it; see Unprivileged. */
void letOthersRead(const std::filesystem::path& folder);

/** Every file below a folder, by its path relative to that, and its bytes. */
[[nodiscard]] std::map<std::string, std::string> filesBelow(const std::filesystem::path& folder);

} // namespace saddletone::test
