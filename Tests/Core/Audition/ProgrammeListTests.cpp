#include "Core/Audition/ProgrammeList.h"

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/ReferenceProgramme.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using audition::LoopRegion;
using audition::LoopSeam;
using audition::ProgrammeList;

namespace {

ProgrammeList listOf(const std::vector<std::filesystem::path>& files)
{
    ProgrammeList list;
    CHECK(list.add(files) == files.size());
    return list;
}

std::string namesOf(const ProgrammeList& list)
{
    std::string names;
    for (const auto& entry : list.entries())
        names += entry.file.string();
    return names;
}

std::string heardIn(const ProgrammeList& list)
{
    return list.entries()[list.current()].file.string();
}

} // namespace

TEST_CASE("Files are added, moved and removed, and what is heard stays", "[core][audition]")
{
    auto list = listOf({"a", "b", "c"});
    list.setCurrent(1);
    CHECK(list.add(std::array<std::filesystem::path, 2> {"x", "y"}, 0) == 2);
    CHECK(namesOf(list) == "xyabc");
    CHECK(heardIn(list) == "b");
    list.move(3, 0);
    CHECK(namesOf(list) == "bxyac");
    CHECK(heardIn(list) == "b");
    list.move(4, 1);
    CHECK(namesOf(list) == "bcxya");
    list.move(0, 4);
    CHECK(namesOf(list) == "cxyab");
    CHECK(heardIn(list) == "b");
    list.remove(0);
    CHECK(namesOf(list) == "xyab");
    CHECK(heardIn(list) == "b");
    list.remove(3);
    CHECK(heardIn(list) == "x");
    list.remove(0);
    CHECK(heardIn(list) == "y");
    list.move(7, 0);
    list.remove(7);
    list.setCurrent(7);
    CHECK(namesOf(list) == "ya");
    list.clear();
    CHECK(list.isEmpty());
    CHECK_FALSE(list.next(true).has_value());
}

TEST_CASE("An entry keeps its number wherever it goes, and numbers do not recur",
          "[core][audition]")
{
    auto list = listOf({"a", "b"});
    const auto id = list.entries()[1].id;
    list.move(1, 0);
    CHECK(list.find(id) == 0U);
    list.remove(0);
    CHECK_FALSE(list.find(id).has_value());
    list.add(std::array<std::filesystem::path, 1> {"c"});
    CHECK(list.entries()[1].id > id);
}

TEST_CASE("One file follows another, over those that cannot be read", "[core][audition]")
{
    auto list = listOf({"a", "b", "c"});
    CHECK(list.next(false) == 1U);
    list.setUnreadable(list.entries()[1].id);
    CHECK(list.next(false) == 2U);
    list.setCurrent(2);
    CHECK_FALSE(list.next(false).has_value());
    CHECK(list.next(true) == 0U);
    list.setUnreadable(list.entries()[0].id);
    CHECK(list.next(true) == 2U);
    list.setUnreadable(list.entries()[2].id);
    CHECK_FALSE(list.next(true).has_value());
    list.setRead(list.entries()[0].id, 10.0, -14.0);
    CHECK(list.next(true) == 0U);
    CHECK(list.entries()[0].durationSeconds == 10.0);
}

TEST_CASE("What was cancelled is passed over until it is wanted or has been read",
          "[core][audition]")
{
    auto list = listOf({"a", "b"});
    const std::uint64_t id = list.entries()[1].id;
    list.setCancelled(id, true);
    CHECK(list.entries()[1].isCancelled);
    CHECK_FALSE(list.next(false).has_value());
    list.setCancelled(id, false);
    CHECK(list.next(false) == 1U);
    list.setCancelled(id, true);
    list.setRead(id, 10.0, -14.0);
    CHECK_FALSE(list.entries()[1].isCancelled);
    CHECK(list.next(false) == 1U);
}

TEST_CASE("A list takes no more than it has room for", "[core][audition]")
{
    const std::vector<std::filesystem::path> many(150, "a");
    ProgrammeList list;
    CHECK(list.add(many) == 150);
    CHECK(list.add(many) == ProgrammeList::maxEntries - 150);
    CHECK(list.entries().size() == ProgrammeList::maxEntries);
}

TEST_CASE("Tracks are aligned to the loudness of the reference programme, within limits",
          "[core][audition]")
{
    // The constant against the computation by spectra.
    CHECK(audition::alignedLoudnessLufs
          == Approx(audition::referenceLoudnessLufs(std::array {1.0F}, 48000.0)).margin(0.1));
    CHECK(audition::alignmentGainDb(-10.0) == Approx(audition::alignedLoudnessLufs + 10.0));
    CHECK(audition::alignmentGainDb(20.0) == audition::lowestAlignmentDb);
    CHECK(audition::alignmentGainDb(-60.0) == audition::highestAlignmentDb);
    CHECK(audition::alignmentGainDb(-400.0) == 0.0);
    CHECK(audition::alignmentGainDb(std::numeric_limits<double>::quiet_NaN()) == 0.0);
}

TEST_CASE("What is no region is none", "[core][audition]")
{
    auto list = listOf({"a"});
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const LoopRegion& bad :
         {LoopRegion {1.0, 1.0}, LoopRegion {2.0, 1.0}, LoopRegion {-1.0, 1.0},
          LoopRegion {nan, 1.0}, LoopRegion {0.0, std::numeric_limits<double>::infinity()}}) {
        list.setRegion(0, LoopRegion {1.0, 2.0});
        CHECK(list.entries()[0].region.has_value());
        list.setRegion(0, bad);
        CHECK_FALSE(list.entries()[0].region.has_value());
    }
    // Too little of it lies in the file.
    CHECK_FALSE(LoopSeam::of({1.0, 2.0}, 48000.0, 48100).has_value());
    const auto cut = LoopSeam::of({1.0, 2.0}, 48000.0, 60000);
    REQUIRE(cut);
    CHECK(*cut == LoopSeam {48000, 60000, 480});
}

TEST_CASE("A loop goes round without a step at its seam", "[core][audition]")
{
    const LoopRegion region = GENERATE(LoopRegion {0.0, 0.5}, LoopRegion {0.123, 0.777});
    const std::size_t numFrames = 48000;
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = static_cast<float>(
            0.5 * std::sin(2.0 * std::numbers::pi * 443.0 * static_cast<double>(frame) / 48000.0));
    const auto seam = LoopSeam::of(region, 48000.0, numFrames);
    REQUIRE(seam);
    std::size_t position = seam->beginFrame;
    std::vector<float> heard;
    for (std::size_t frame = 0; frame < 100000; ++frame) {
        heard.push_back(seam->sampleAt(samples, position));
        position = seam->nextPosition(position, numFrames);
        REQUIRE(position >= seam->beginFrame);
        REQUIRE(position < seam->endFrame);
    }
    // The sine's own steps, and the fade's.
    CHECK(test::largestStep(heard) < 0.5 * 2.0 * std::numbers::pi * 443.0 / 48000.0 + 1.0 / 480.0);
    // A round is the region less its seam.
    const std::size_t round = seam->endFrame - seam->beginFrame - seam->fadeFrames;
    CHECK(heard[seam->fadeFrames + 10] == heard[seam->fadeFrames + 10 + round]);
}

TEST_CASE("From behind a loop the end of the file leads back into it", "[core][audition]")
{
    const LoopSeam seam {100, 1100, 10};
    CHECK(seam.nextPosition(1099, 2000) == 110);
    CHECK(seam.nextPosition(1100, 2000) == 1101);
    CHECK(seam.nextPosition(1999, 2000) == 110);
    CHECK(seam.nextPosition(50, 2000) == 51);
}

TEST_CASE("Files inside a folder are known by their way from it", "[core][audition]")
{
    using audition::pathInside;
    CHECK(pathInside("/jobs/one", "/jobs/one/programmes/a.wav") == "programmes/a.wav");
    CHECK(pathInside("/jobs/one", "/jobs/one/./programmes/../a.wav") == "a.wav");
    CHECK_FALSE(pathInside("/jobs/one", "/jobs/two/a.wav").has_value());
    CHECK_FALSE(pathInside("/jobs/one", "/jobs/one").has_value());
    CHECK_FALSE(pathInside("/jobs/one", "/jobs/one/../two/a.wav").has_value());
}
