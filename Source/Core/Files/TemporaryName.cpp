#include "Core/Files/TemporaryName.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Platform/Platform.h"

#include <atomic>
#include <charconv>
#include <string_view>
#include <system_error>

namespace saddletone::files {

namespace {

constexpr std::string_view mark = ".part-";
constexpr std::size_t numMachineDigits = 8;

std::string thisMachine()
{
    return textChecksum(platform::hostName());
}

} // namespace

std::filesystem::path temporaryBeside(const std::filesystem::path& target)
{
    static std::atomic<unsigned> counter {0};
    return target.parent_path()
           / ("." + target.stem().string() + std::string(mark) + thisMachine() + "-"
              + std::to_string(platform::processId()) + "-" + std::to_string(counter.fetch_add(1))
              + target.extension().string());
}

std::optional<TemporaryOwner> temporaryOwner(const std::string& fileName)
{
    const auto place = fileName.rfind(mark);
    if (!fileName.starts_with('.') || place == std::string::npos || place == 0)
        return std::nullopt;
    const std::string_view rest = std::string_view(fileName).substr(place + mark.size());
    const std::string_view machine = rest.substr(0, numMachineDigits);
    if (machine.size() < numMachineDigits
        || machine.find_first_not_of("0123456789abcdef") != std::string_view::npos
        || !rest.substr(numMachineDigits).starts_with('-'))
        return std::nullopt;
    const char* const end = rest.data() + rest.size();
    TemporaryOwner owner {std::string(machine), 0};
    const auto [dash, error] =
        std::from_chars(machine.data() + numMachineDigits + 1, end, owner.process);
    if (error != std::errc() || owner.process <= 0 || dash == end || *dash != '-')
        return std::nullopt;
    unsigned number = 0;
    const auto [extension, numberError] = std::from_chars(dash + 1, end, number);
    if (numberError != std::errc() || (extension != end && *extension != '.'))
        return std::nullopt;
    return owner;
}

std::vector<std::filesystem::path> sweepTemporaries(const std::filesystem::path& folder,
                                                    int numLevelsBelow)
{
    std::vector<std::filesystem::path> removed;
    std::vector<std::filesystem::path> below;
    std::error_code reason;
    for (std::filesystem::directory_iterator entry(folder, reason), end; !reason && entry != end;
         entry.increment(reason)) {
        std::error_code ignored;
        if (const auto owner = temporaryOwner(entry->path().filename().string())) {
            if (owner->machine == thisMachine() && !platform::isProcessRunning(owner->process)
                && std::filesystem::remove_all(entry->path(), ignored) > 0 && !ignored)
                removed.push_back(entry->path());
        } else if (numLevelsBelow > 0 && entry->is_directory(ignored)
                   && !entry->is_symlink(ignored)) {
            below.push_back(entry->path());
        }
    }
    for (const auto& inner : below) {
        const auto more = sweepTemporaries(inner, numLevelsBelow - 1);
        removed.insert(removed.end(), more.begin(), more.end());
    }
    return removed;
}

} // namespace saddletone::files
