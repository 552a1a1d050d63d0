#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace saddletone::audition {

/** A part of a file that is heard over and over. */
struct LoopRegion {
    double startSeconds = 0.0;
    double endSeconds = 0.0;

    bool operator==(const LoopRegion&) const = default;
};

/** A file to hear. */
struct ProgrammeEntry {
    std::uint64_t id = 0; ///< Stays with the entry wherever it moves; never 0 in a list.
    std::filesystem::path file;
    std::optional<LoopRegion> region;
    /** Nothing until the file has been read. */
    std::optional<double> durationSeconds;
    std::optional<double> loudnessLufs; ///< Integrated, ITU-R BS.1770-4.
    bool isUnreadable = false;          ///< Passed over.
    bool isCancelled = false;           ///< Reading it was; passed over until it is chosen.

    bool operator==(const ProgrammeEntry&) const = default;
};

/** Loudness that tracks are aligned to, LUFS: that of the reference programme, which all levels on
    the bike are stated for (pink noise at referenceProgrammeDbfs in both channels). */
inline constexpr double alignedLoudnessLufs = -17.3;

/** Most that a track is changed by to align it. A quiet one is raised by little, as its noise and
    its peaks rise with it. */
inline constexpr double lowestAlignmentDb = -20.0;
inline constexpr double highestAlignmentDb = 6.0;

/** Gain that brings a track to alignedLoudnessLufs as far as the limits allow; 0 for silence. */
[[nodiscard]] double alignmentGainDb(double loudnessLufs) noexcept;

/** Files in the order they are heard, and which of them is. At most maxEntries. */
class ProgrammeList {
public:
    static constexpr std::size_t maxEntries = 200;

    [[nodiscard]] std::span<const ProgrammeEntry> entries() const noexcept { return list; }
    [[nodiscard]] bool isEmpty() const noexcept { return list.empty(); }
    /** Index of the one that is heard; 0 in an empty list. */
    [[nodiscard]] std::size_t current() const noexcept { return currentIndex; }
    [[nodiscard]] std::optional<std::size_t> find(std::uint64_t id) const noexcept;

    /** Puts files before the entry at an index, or at the end; what passes maxEntries is left out.
        Returns how many were added. */
    std::size_t add(std::span<const std::filesystem::path> files, std::size_t before = maxEntries);
    /** If it is the current one, the one behind it becomes that. */
    void remove(std::size_t index);
    /** Takes an entry out and puts it where it then has the index. */
    void move(std::size_t from, std::size_t to);
    void setCurrent(std::size_t index);
    void clear() noexcept;

    /** A region shorter than shortestRegionSeconds, or that is no number, is none. */
    void setRegion(std::size_t index, const std::optional<LoopRegion>& region);
    void setRead(std::uint64_t id, double durationSeconds, double loudnessLufs);
    void setUnreadable(std::uint64_t id);
    /** Whether reading it was cancelled. */
    void setCancelled(std::uint64_t id, bool isCancelled);

    /** The entry that follows the current one, which may be itself; nothing at the end of a list that
        is not looped, and where there is nothing that can be read and was not cancelled. */
    [[nodiscard]] std::optional<std::size_t> next(bool isLooping) const noexcept;

private:
    std::vector<ProgrammeEntry> list;
    std::size_t currentIndex = 0;
    std::uint64_t lastId = 0;
};

inline constexpr double shortestRegionSeconds = 0.05;

/** A loop in samples, with its seam: the last fadeFrames before the end are mixed, with gains that
    add up to one, with the first after the beginning, and it goes on behind those. So one round is
    fadeFrames shorter than the region. */
struct LoopSeam {
    std::size_t beginFrame = 0;
    std::size_t endFrame = 0;
    std::size_t fadeFrames = 0;

    bool operator==(const LoopSeam&) const = default;

    /** The region inside numFrames; nothing if too little of it is. */
    [[nodiscard]] static std::optional<LoopSeam> of(const LoopRegion& region, double sampleRate,
                                                    std::size_t numFrames) noexcept;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    [[nodiscard]] float sampleAt(std::span<const float> samples,
                                 std::size_t position) const noexcept
    {
        if (position < endFrame - fadeFrames || position >= endFrame)
            return samples[position];
        const std::size_t faded = position - (endFrame - fadeFrames);
        const float share = (static_cast<float>(faded) + 0.5F) / static_cast<float>(fadeFrames);
        return (1.0F - share) * samples[position] + share * samples[beginFrame + faded];
    }

    /** Where it goes on; from behind the region, too, in the end. */
    [[nodiscard]] std::size_t nextPosition(std::size_t position,
                                           std::size_t numFrames) const noexcept
    {
        const std::size_t next = position + 1;
        return next == endFrame || next >= numFrames ? beginFrame + fadeFrames : next;
    }
};

/** A file's path relative to a folder, with '/', if it lies inside it. */
[[nodiscard]] std::optional<std::string> pathInside(const std::filesystem::path& folder,
                                                    const std::filesystem::path& file);

} // namespace saddletone::audition
