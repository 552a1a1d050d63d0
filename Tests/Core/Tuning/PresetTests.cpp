#include "Core/Tuning/TuningFile.h"

#include <filesystem>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Every preset of a tuning can be read and changes something", "[core][tuning]")
{
    std::size_t numPresets = 0;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_PRESETS_DIR) / "Tunings")) {
        INFO(entry.path());
        const auto tuning = tuning::loadTuning(entry.path());
        REQUIRE(tuning);
        CHECK_FALSE(tuning->name.empty());
        CHECK(std::abs(tuning::tuningResponse(*tuning, tuning::OutputGroup::left, 60.0, 48000.0))
              < 0.9);
        ++numPresets;
    }
    CHECK(numPresets >= 3);
}
