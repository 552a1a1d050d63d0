#pragma once

#include "Core/Files/AtomicFile.h"
#include "Support/TemporaryFolder.h"

#include <string>

#include <catch2/catch.hpp>

namespace saddletone::test {

/** Writes text with the first occurrence of from changed to something else as wrong.json, and checks
    that loading it fails with a message that names the file and holds the word. */
template <typename Load>
void checkRefused(const TemporaryFolder& folder, std::string text, const std::string& from,
                  const std::string& to, const std::string& word, Load load)
{
    const auto place = text.find(from);
    REQUIRE(place != std::string::npos);
    writeBytes(folder / "wrong.json", text.replace(place, from.size(), to));
    const auto loaded = load(folder / "wrong.json");
    REQUIRE_FALSE(loaded);
    CHECK_THAT(loaded.error().message, Catch::Contains("wrong.json") && Catch::Contains(word));
}

} // namespace saddletone::test
