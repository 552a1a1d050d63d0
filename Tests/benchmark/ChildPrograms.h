#pragma once

#include <cstdio>
#include <filesystem>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include <sys/types.h>

namespace saddletone::bench {

/** What a program took from its start to its end. */
struct ProgramUse {
    double seconds = 0.0;
    double peakMib = 0.0; ///< Highest resident memory.
};

/** Does work that needs much memory in a copy of this process, which then ends. A program started from
    here is said to have used as much as this process ever had. */
void inCopyOfThis(const std::function<void()>& work);

/** Runs a program without input and without output; ends this one if it does not end with 0. */
[[nodiscard]] ProgramUse runProgram(const std::vector<std::string>& command);

/** The python3 that has numpy and scipy: SADDLETONE_PYTHON, or that of the system. */
[[nodiscard]] std::string pythonProgram();

/** scipy_peer.py in a process of its own, which answers questions one by one, each a line of JSON,
    so that its work can be done in turn with ours. It times itself: neither the pipe nor importing
    is in its seconds. */
class ScipyPeer {
public:
    ScipyPeer();
    ~ScipyPeer();
    ScipyPeer(const ScipyPeer&) = delete;
    ScipyPeer& operator=(const ScipyPeer&) = delete;

    /** Ends this program if the script fails. */
    [[nodiscard]] nlohmann::json ask(const nlohmann::json& question);
    /** Seconds that answering takes. */
    [[nodiscard]] double timed(const nlohmann::json& question);

    /** Ends the script and tells what it used in all. No questions after it. */
    ProgramUse finish();

private:
    pid_t process = -1;
    FILE* toPeer = nullptr;
    FILE* fromPeer = nullptr;
};

/** Numbers in a file as they are in memory, which is how the two programs hand over signals. */
void writeNumbers(const std::filesystem::path& file, std::span<const float> numbers);
void writeNumbers(const std::filesystem::path& file, std::span<const double> numbers);
/** A file of 64-bit numbers; ends the program if it cannot be read. */
[[nodiscard]] std::vector<double> readNumbers(const std::filesystem::path& file);

} // namespace saddletone::bench
