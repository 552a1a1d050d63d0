#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>

namespace saddletone::files {

/** A folder that appears whole or not at all: content goes to temporaryPath() beside the target,
    commit() flushes it to the disk and gives it the target's name. Without commit() the temporary
    folder is removed with all it holds. */
class AtomicFolder {
public:
    /** Makes the folder above the target if needed. Refused: a target that exists already. What
        ended processes left half-written beside the target is swept away. */
    [[nodiscard]] static dsp::Result<AtomicFolder> open(const std::filesystem::path& target);

    AtomicFolder(AtomicFolder&& other) noexcept;
    AtomicFolder& operator=(AtomicFolder&& other) noexcept;
    AtomicFolder(const AtomicFolder&) = delete;
    AtomicFolder& operator=(const AtomicFolder&) = delete;
    ~AtomicFolder();

    [[nodiscard]] const std::filesystem::path& temporaryPath() const noexcept { return temporary; }
    /** Files are flushed by who writes them; this flushes the folders. */
    [[nodiscard]] dsp::Result<void> commit();

private:
    AtomicFolder(std::filesystem::path target, std::filesystem::path temporary);

    std::filesystem::path target;
    std::filesystem::path temporary;
};

} // namespace saddletone::files
