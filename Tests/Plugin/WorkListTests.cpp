#include "Plugin/WorkList.h"

#include <catch2/catch.hpp>

using namespace saddletone;
using plugin::WorkList;

TEST_CASE("Work is told of when it takes longer than a moment, the longest first",
          "[plugin][bench]")
{
    WorkList works(gui::JobTask::bench);
    const juce::uint32 began = juce::Time::getMillisecondCounter();
    const auto first = works.begin("Measuring");
    const auto second = works.begin("Importing");
    const juce::uint32 ended = juce::Time::getMillisecondCounter();
    CHECK(works.view(began + WorkList::shownAfterMs - 1).task == gui::JobTask::none);
    const juce::uint32 later = ended + WorkList::shownAfterMs;
    CHECK(works.view(later).task == gui::JobTask::bench);
    CHECK(works.view(later).words == "Measuring");
    CHECK(works.view(later).doneProportion < 0.0);
    CHECK((*first)(0.25));
    CHECK(works.view(later).doneProportion == 0.25);
    works.end(first);
    CHECK(works.view(later).words == "Importing");
    works.cancelAll();
    CHECK_FALSE((*second)(0.5));
    CHECK(works.view(later).task == gui::JobTask::none);
    CHECK_FALSE(works.isEmpty());
    works.end(second);
    CHECK(works.isEmpty());
}
