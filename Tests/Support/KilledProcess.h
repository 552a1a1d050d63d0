#pragma once

#include <atomic>
#include <cstdint>
#include <functional>

namespace saddletone::test {

/** A number that this process and its children see. */
class SharedNumber {
public:
    SharedNumber();
    ~SharedNumber();
    SharedNumber(const SharedNumber&) = delete;
    SharedNumber& operator=(const SharedNumber&) = delete;

    void set(std::uint64_t value) noexcept { place->store(value); }
    [[nodiscard]] std::uint64_t get() const noexcept { return place->load(); }

private:
    std::atomic<std::uint64_t>* place;
};

/** A child process at some work, which ends with the object at the latest: by SIGKILL, as a crash or
    a power cut ends a program. The work may not use Catch. */
class ChildProcess {
public:
    explicit ChildProcess(const std::function<void()>& work);
    ~ChildProcess();
    ChildProcess(const ChildProcess&) = delete;
    ChildProcess& operator=(const ChildProcess&) = delete;

    [[nodiscard]] long id() const noexcept { return process; }
    /** Kills it and waits until it is gone; true if it was still at work. */
    bool kill() noexcept;

private:
    int process;
    bool isThere = true;
};

/** Waits until a number is that large; false after half a minute. */
[[nodiscard]] bool waitFor(const SharedNumber& number, std::uint64_t atLeast = 1);

} // namespace saddletone::test
