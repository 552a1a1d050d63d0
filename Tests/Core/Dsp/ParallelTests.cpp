#include "Core/Dsp/Parallel.h"

#include <algorithm>
#include <stdexcept>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Every task is run once, however many there are", "[core][dsp]")
{
    for (const std::size_t numTasks : {0U, 1U, 2U, 3U, 1000U}) {
        std::vector<int> runs(numTasks, 0);
        dsp::runInParallel(numTasks, [&](std::size_t task) { ++runs[task]; });
        CHECK(std::ranges::all_of(runs, [](int count) { return count == 1; }));
    }
}

TEST_CASE("What a task throws reaches the caller after the others have ended", "[core][dsp]")
{
    CHECK_THROWS_AS(dsp::runInParallel(8,
                                       [](std::size_t task) {
                                           if (task == 3)
                                               throw std::runtime_error("three");
                                       }),
                    std::runtime_error);
}
