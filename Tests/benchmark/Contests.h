#pragma once

#include "Core/Dsp/Result.h"

#include <chrono>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace saddletone::bench {

/** Ends the program with a reason. */
[[noreturn]] void giveUp(const std::string& reason);

/** What a result holds; ends the program if that is an error. */
template <typename Value>
Value valueOf(dsp::Result<Value> result)
{
    if (!result)
        giveUp(result.error().message);
    return std::move(*result);
}

/** Seconds on the wall that a step takes. */
template <typename Step>
double secondsOf(Step&& step)
{
    const auto begin = std::chrono::steady_clock::now();
    step();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

/** Pieces of work that several programs or ways do, timed by Google Benchmark in one run: the
    repetitions of all of them in random order, so that what else the machine does meets all alike. */
class Contests {
public:
    /** Does the work once and returns the seconds it took. */
    using Run = std::function<double()>;

    /** The first contestant of a work is ours; the others are held against it. Names without a
        slash. */
    void add(const std::string& work, const std::string& contestant, Run run);

    /** Enters what a contestant took who is too slow to be run more than once. */
    void addOnce(const std::string& work, const std::string& contestant, double seconds);

    /** States how far results are apart, and fails the program if that is more than allowed. */
    void hold(const std::string& what, double difference, double most, const std::string& unit);

    /** Runs everything and prints a table of least and median times with their ratios to ours. */
    void runAll();

    [[nodiscard]] bool allHeld() const noexcept { return isHeld; }

private:
    struct Entry {
        std::string work;
        std::string contestant;
        std::vector<double> seconds {}; ///< Taken already; else the run has them.
    };

    void print(const std::map<std::string, std::vector<double>>& seconds) const;

    std::vector<Entry> entries;
    bool isHeld = true;
};

/** Root of the summed squares of the difference over that of the reference, in dB; over as many
    values as both have from `from` to `to`. */
[[nodiscard]] double relativeErrorDb(const std::vector<double>& values,
                                     const std::vector<double>& reference, std::size_t from = 0,
                                     std::size_t to = static_cast<std::size_t>(-1));

} // namespace saddletone::bench
