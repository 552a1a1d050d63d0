#include "Core/Audition/ProgrammeList.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::audition {

namespace {

/** Long enough that no step is heard, short enough that no beat is smeared. */
constexpr double seamSeconds = 0.01;

} // namespace

double alignmentGainDb(double loudnessLufs) noexcept
{
    if (!(loudnessLufs > dsp::silenceDb))
        return 0.0;
    return std::clamp(alignedLoudnessLufs - loudnessLufs, lowestAlignmentDb, highestAlignmentDb);
}

std::optional<std::size_t> ProgrammeList::find(std::uint64_t id) const noexcept
{
    const auto found = std::ranges::find(list, id, &ProgrammeEntry::id);
    if (found == list.end())
        return std::nullopt;
    return static_cast<std::size_t>(found - list.begin());
}

std::size_t ProgrammeList::add(std::span<const std::filesystem::path> files, std::size_t before)
{
    const std::size_t count = std::min(files.size(), maxEntries - list.size());
    const std::size_t place = std::min(before, list.size());
    const bool movesCurrent = !list.empty() && place <= currentIndex;
    for (std::size_t index = 0; index < count; ++index) {
        ProgrammeEntry entry;
        entry.id = ++lastId;
        entry.file = files[index];
        list.insert(list.begin() + static_cast<std::ptrdiff_t>(place + index), std::move(entry));
    }
    if (movesCurrent)
        currentIndex += count;
    return count;
}

void ProgrammeList::remove(std::size_t index)
{
    if (index >= list.size())
        return;
    list.erase(list.begin() + static_cast<std::ptrdiff_t>(index));
    if (index < currentIndex)
        --currentIndex;
    if (currentIndex >= list.size())
        currentIndex = 0;
}

void ProgrammeList::move(std::size_t from, std::size_t to)
{
    if (from >= list.size() || to >= list.size() || from == to)
        return;
    const std::uint64_t heard = list[currentIndex].id;
    const auto first = list.begin();
    if (from < to)
        std::rotate(first + static_cast<std::ptrdiff_t>(from),
                    first + static_cast<std::ptrdiff_t>(from + 1),
                    first + static_cast<std::ptrdiff_t>(to + 1));
    else
        std::rotate(first + static_cast<std::ptrdiff_t>(to),
                    first + static_cast<std::ptrdiff_t>(from),
                    first + static_cast<std::ptrdiff_t>(from + 1));
    currentIndex = find(heard).value_or(0);
}

void ProgrammeList::setCurrent(std::size_t index)
{
    if (index < list.size())
        currentIndex = index;
}

void ProgrammeList::clear() noexcept
{
    list.clear();
    currentIndex = 0;
}

void ProgrammeList::setRegion(std::size_t index, const std::optional<LoopRegion>& region)
{
    if (index >= list.size())
        return;
    list[index].region.reset();
    if (region && std::isfinite(region->startSeconds) && std::isfinite(region->endSeconds)
        && region->startSeconds >= 0.0
        && region->endSeconds - region->startSeconds >= shortestRegionSeconds)
        list[index].region = region;
}

void ProgrammeList::setRead(std::uint64_t id, double durationSeconds, double loudnessLufs)
{
    const auto index = find(id);
    if (!index)
        return;
    list[*index].durationSeconds = durationSeconds;
    list[*index].loudnessLufs = loudnessLufs;
    list[*index].isUnreadable = false;
    list[*index].isCancelled = false;
}

void ProgrammeList::setUnreadable(std::uint64_t id)
{
    if (const auto index = find(id))
        list[*index].isUnreadable = true;
}

void ProgrammeList::setCancelled(std::uint64_t id, bool isCancelled)
{
    if (const auto index = find(id))
        list[*index].isCancelled = isCancelled;
}

std::optional<std::size_t> ProgrammeList::next(bool isLooping) const noexcept
{
    for (std::size_t step = 1; step <= list.size(); ++step) {
        const std::size_t index = currentIndex + step;
        if (index >= list.size() && !isLooping)
            return std::nullopt;
        const ProgrammeEntry& entry = list[index % list.size()];
        if (!entry.isUnreadable && !entry.isCancelled)
            return index % list.size();
    }
    return std::nullopt;
}

std::optional<LoopSeam> LoopSeam::of(const LoopRegion& region, double sampleRate,
                                     std::size_t numFrames) noexcept
{
    const auto toFrame = [&](double seconds) {
        const double frame = std::max(0.0, seconds) * sampleRate;
        return frame < static_cast<double>(numFrames) ? static_cast<std::size_t>(std::lround(frame))
                                                      : numFrames;
    };
    LoopSeam seam;
    seam.beginFrame = toFrame(region.startSeconds);
    seam.endFrame = toFrame(region.endSeconds);
    seam.fadeFrames =
        std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(seamSeconds * sampleRate)));
    // Room for the seam and as much again.
    if (seam.endFrame < seam.beginFrame + 2 * seam.fadeFrames)
        return std::nullopt;
    return seam;
}

std::optional<std::string> pathInside(const std::filesystem::path& folder,
                                      const std::filesystem::path& file)
{
    const auto relative = file.lexically_normal().lexically_relative(folder.lexically_normal());
    if (relative.empty() || relative == "." || *relative.begin() == "..")
        return std::nullopt;
    const std::u8string utf8 = relative.generic_u8string();
    return std::string(utf8.begin(), utf8.end());
}

} // namespace saddletone::audition
