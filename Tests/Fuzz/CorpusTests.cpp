#include "Fuzz/FuzzTargets.h"

#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

namespace saddletone {

namespace {

using Target = void (*)(test::FuzzInput);

/** Gives every file of a folder of the corpus to its target; returns how many there were. */
std::size_t replay(const std::string& folder, Target target)
{
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_FUZZ_CORPUS_DIR) / folder))
        files.push_back(entry.path());
    std::ranges::sort(files);
    for (const auto& file : files) {
        INFO(file.string());
        const std::string bytes = test::bytesOf(file);
        target({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
        // What of an input is left out must not matter.
        target({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size() / 2});
    }
    target({});
    return files.size();
}

} // namespace

// A broken promise ends the process (FuzzTargets.cpp), so arriving here is the test.
TEST_CASE("Inputs that fuzzing starts from or has found keep every promise", "[core][fuzz]")
{
    CHECK(replay("audio-file", test::fuzzAudioFile) >= 3);
    CHECK(replay("host-state", test::fuzzHostState) >= 12);
    CHECK(replay("job", test::fuzzJob) >= 2);
    CHECK(replay("signal-description", test::fuzzSignalDescription) >= 5);
    CHECK(replay("text-table", test::fuzzTextTable) >= 4);
    CHECK(replay("tuning", test::fuzzTuning) >= 3);
}

} // namespace saddletone
