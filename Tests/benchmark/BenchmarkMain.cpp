// Saddletone beside its peers, all in one run.
//
// Usage: saddletone_benchmark [CONTEST...] [--memory] [--sweep FILE.csv] [--benchmark_...]
//
// CONTEST: analysis, transforms, resampling, noise, fit, rendering, starting; none: all of them and
// the memory. --sweep measures how time grows instead.
#include "Contests.h"
#include "Workshop.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <benchmark/benchmark.h>

namespace {

using namespace saddletone::bench;

struct Group {
    const char* name;
    void (*add)(Contests&, Workshop&);
};

constexpr std::array<Group, 7> groups {{{"analysis", addAnalysis},
                                        {"transforms", addTransforms},
                                        {"resampling", addResampling},
                                        {"noise", addNoise},
                                        {"fit", addFit},
                                        {"rendering", addRendering},
                                        {"starting", addStarting}}};

struct Request {
    std::vector<std::string> contests;
    bool memory = false;
    std::string sweepFile;
    std::vector<std::string> forBenchmark;
};

Request parse(int argumentCount, char** arguments)
{
    // Repetitions of all contests in random order; whoever gives the same options has the last word.
    Request request;
    request.forBenchmark = {arguments[0], "--benchmark_enable_random_interleaving=true",
                            "--benchmark_repetitions=9"};
    for (int index = 1; index < argumentCount; ++index) {
        const std::string argument = arguments[index];
        if (argument == "--memory")
            request.memory = true;
        else if (argument == "--sweep" && index + 1 < argumentCount)
            request.sweepFile = arguments[++index];
        else if (std::ranges::any_of(groups,
                                     [&](const Group& group) { return argument == group.name; }))
            request.contests.push_back(argument);
        else
            request.forBenchmark.push_back(argument);
    }
    if (request.contests.empty() && !request.memory) {
        request.memory = true;
        for (const Group& group : groups)
            request.contests.emplace_back(group.name);
    }
    return request;
}

/** The arguments must outlive the run. */
bool initialise(std::vector<std::string>& arguments)
{
    std::vector<char*> pointers;
    for (std::string& argument : arguments)
        pointers.push_back(argument.data());
    int count = static_cast<int>(pointers.size());
    benchmark::Initialize(&count, pointers.data());
    return !benchmark::ReportUnrecognizedArguments(count, pointers.data());
}

} // namespace

int main(int argumentCount, char** arguments)
{
    Request request = parse(argumentCount, arguments);
    if (!initialise(request.forBenchmark))
        return 2;
    Workshop workshop;
    workshop.saddletone = std::filesystem::canonical("/proc/self/exe").parent_path() / "saddletone";
    if (!request.sweepFile.empty()) {
        sweepCost(workshop, request.sweepFile);
        return 0;
    }

    Contests contests;
    if (request.memory)
        compareMemory(contests, workshop);
    if (!request.contests.empty())
        std::printf("\nResults held against each other; up to %u threads on either side:\n",
                    std::thread::hardware_concurrency());
    for (const Group& group : groups)
        if (std::ranges::find(request.contests, group.name) != request.contests.end())
            group.add(contests, workshop);
    if (!request.contests.empty())
        contests.runAll();
    return contests.allHeld() ? 0 : 1;
}
