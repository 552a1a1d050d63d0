#include "Core/Job/JobLock.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"

#include <chrono>
#include <thread>
#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::job {

namespace {

LockHolder thisProcess()
{
    return {platform::processId(), platform::hostName()};
}

std::string lockText(const LockHolder& holder)
{
    return files::jsonText({{"processId", holder.processId}, {"hostName", holder.hostName}});
}

/** What a lock's file says; an empty holder where it says nothing yet or cannot be read. */
LockHolder holderIn(const std::filesystem::path& file)
{
    constexpr std::size_t mostBytes = 4096;
    const auto text = files::readTextFile(file, mostBytes);
    const auto json = text ? files::parseJson(*text, file.string())
                           : dsp::Result<nlohmann::json>(text.unexpected());
    if (!json)
        return {};
    files::JsonReader reader(*json, file.string());
    LockHolder holder;
    holder.processId = static_cast<long>(reader.integer("processId", 1, 0x7FFFFFFF));
    holder.hostName = reader.text("hostName", "");
    return reader.failure() ? LockHolder {} : holder;
}

} // namespace

std::string lockHolderWords(const LockHolder& holder)
{
    if (holder.processId == 0)
        return "another Saddletone";
    return "another Saddletone (process " + std::to_string(holder.processId)
           + (holder.hostName.empty() ? "" : " on " + holder.hostName) + ")";
}

JobLock::JobLock(std::filesystem::path lockFile, platform::SystemLock taken)
    : file(std::move(lockFile)), lock(std::move(taken))
{
}

JobLock& JobLock::operator=(JobLock&& other) noexcept
{
    std::swap(file, other.file);
    std::swap(lock, other.lock);
    return *this;
}

JobLock::~JobLock()
{
    // Removed while it is held, so that nobody else's is.
    if (lock.isHeld()) {
        std::error_code ignored;
        std::filesystem::remove(file, ignored);
    }
}

dsp::Result<JobLock> JobLock::take(const std::filesystem::path& folder)
{
    const auto file = folder / lockFileName;
    // Whoever looks who the holder is holds the lock for a moment, and who gives it up removes the
    // file between our opening and our locking it.
    constexpr int numTries = 20;
    constexpr std::chrono::milliseconds pause {5};
    for (int left = numTries; left > 0; --left) {
        platform::SystemLock lock;
        switch (lock.makeAndLock(file)) {
        case platform::LockOutcome::locked:
            if (!lock.isStill(file))
                continue;
            if (JobLock taken(file, std::move(lock)); taken.lock.write(lockText(thisProcess())))
                return taken;
            return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot write '" + file.string()
                                                              + "'; check that the disk is not "
                                                                "full");
        case platform::LockOutcome::heldByOther: break;
        case platform::LockOutcome::cannotOpen:
            return dsp::fail(dsp::ErrorCode::cannotWrite,
                             "the job '" + folder.string()
                                 + "' can be read but not changed: its folder cannot be written");
        case platform::LockOutcome::unsupported:
            return dsp::fail(dsp::ErrorCode::unsupported,
                             "the disk of '" + folder.string()
                                 + "' cannot keep others from changing the job meanwhile; take "
                                   "care that it is open only once");
        }
        const LockHolder holder = holderIn(file);
        if (holder == thisProcess())
            return JobLock(file, {});
        if (left == 1)
            return dsp::fail(dsp::ErrorCode::alreadyExists,
                             "the job '" + folder.string() + "' is open in "
                                 + lockHolderWords(holder)
                                 + "; it can be read here, and changed once it is closed there");
        std::this_thread::sleep_for(pause);
    }
    return dsp::fail(dsp::ErrorCode::alreadyExists,
                     "the job '" + folder.string()
                         + "' is being opened and closed by others; try again");
}

std::optional<LockHolder> otherWriter(const std::filesystem::path& folder)
{
    const auto file = folder / lockFileName;
    platform::SystemLock probe;
    if (probe.lock(file) != platform::LockOutcome::heldByOther)
        return std::nullopt;
    const LockHolder holder = holderIn(file);
    if (holder == thisProcess())
        return std::nullopt;
    return holder;
}

} // namespace saddletone::job
