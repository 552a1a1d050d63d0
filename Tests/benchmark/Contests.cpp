#include "Contests.h"

#include "Core/Dsp/Statistics.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <iostream>

#include <benchmark/benchmark.h>

namespace saddletone::bench {

namespace {

/** Keeps every repetition's time, in seconds, and prints nothing: the order is random. */
class Keeper : public ::benchmark::BenchmarkReporter {
public:
    bool ReportContext(const Context&) override { return true; }

    void ReportRuns(const std::vector<Run>& runs) override
    {
        for (const Run& run : runs)
            if (run.run_type == Run::RT_Iteration && !run.error_occurred)
                seconds[run.run_name.function_name].push_back(
                    run.real_accumulated_time / static_cast<double>(run.iterations));
    }

    std::map<std::string, std::vector<double>> seconds;
};

std::string timeText(double seconds)
{
    std::array<char, 32> text {};
    if (seconds < 1e-3)
        std::snprintf(text.data(), text.size(), "%.2f µs", 1e6 * seconds);
    else if (seconds < 1.0)
        std::snprintf(text.data(), text.size(), "%.2f ms", 1e3 * seconds);
    else
        std::snprintf(text.data(), text.size(), "%.3f s", seconds);
    return text.data();
}

} // namespace

void giveUp(const std::string& reason)
{
    std::cerr << "saddletone_benchmark: " << reason << '\n';
    std::exit(1);
}

double relativeErrorDb(const std::vector<double>& values, const std::vector<double>& reference,
                       std::size_t from, std::size_t to)
{
    double error = 0.0;
    double power = 0.0;
    for (std::size_t at = from; at < std::min({to, values.size(), reference.size()}); ++at) {
        error += std::pow(values[at] - reference[at], 2.0);
        power += std::pow(reference[at], 2.0);
    }
    return power > 0.0 ? 10.0 * std::log10(error / power + 1e-30) : 0.0;
}

void Contests::add(const std::string& work, const std::string& contestant, Run run)
{
    entries.push_back({.work = work, .contestant = contestant});
    ::benchmark::RegisterBenchmark((work + "/" + contestant).c_str(),
                                   [run = std::move(run)](::benchmark::State& state) {
                                       for ([[maybe_unused]] auto iteration : state)
                                           state.SetIterationTime(run());
                                   })
        ->UseManualTime()
        ->MinTime(0.01);
}

void Contests::addOnce(const std::string& work, const std::string& contestant, double seconds)
{
    entries.push_back({work, contestant + ", once", {seconds}});
}

void Contests::hold(const std::string& what, double difference, double most,
                    const std::string& unit)
{
    const bool isNear = difference <= most;
    std::printf("  %-58s %10.4f %s (at most %g)%s\n", what.c_str(), difference, unit.c_str(), most,
                isNear ? "" : "  TOO FAR APART");
    std::fflush(stdout);
    isHeld = isHeld && isNear;
}

void Contests::runAll()
{
    Keeper keeper;
    ::benchmark::RunSpecifiedBenchmarks(&keeper);
    print(keeper.seconds);
}

void Contests::print(const std::map<std::string, std::vector<double>>& seconds) const
{
    std::printf("\n| work | by | least | median | least, ratio to ours | median, ratio |\n"
                "|---|---|---|---|---|---|\n");
    std::string work;
    double leastOfOurs = 0.0;
    double medianOfOurs = 0.0;
    for (const Entry& entry : entries) {
        const auto found = seconds.find(entry.work + "/" + entry.contestant);
        const auto& taken = found != seconds.end() ? found->second : entry.seconds;
        if (taken.empty())
            continue; // filtered out
        const double least = *std::ranges::min_element(taken);
        const double median = dsp::medianOf(taken);
        if (entry.work != work) {
            work = entry.work;
            leastOfOurs = least;
            medianOfOurs = median;
        }
        std::printf("| %s | %s | %s | %s | %.2f | %.2f |\n", entry.work.c_str(),
                    entry.contestant.c_str(), timeText(least).c_str(), timeText(median).c_str(),
                    least / leastOfOurs, median / medianOfOurs);
    }
    std::fflush(stdout);
}

} // namespace saddletone::bench
