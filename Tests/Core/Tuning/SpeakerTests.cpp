#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/SpeakerExcursion.h"
#include "Support/TemporaryFolder.h"

#include <filesystem>
#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using namespace saddletone::tuning;

namespace {

nlohmann::json plainSpeaker()
{
    return {{"kind", "saddletone-speaker"},
            {"schemaVersion", 1},
            {"name", "test"},
            {"status", "data sheet"},
            {"fsHz", 62.0},
            {"qts", 0.48},
            {"qms", 4.0},
            {"vasLitres", 14.0},
            {"sdSquareCentimetres", 133.0},
            {"xmaxMm", 4.5},
            {"reOhm", 3.4},
            {"nominalImpedanceOhm", 4.0},
            {"powerLimitWatts", 75.0},
            {"enclosure", {{"kind", "free-air"}}}};
}

/** The message of a refused speaker; empty if it was taken. */
std::string refusal(const nlohmann::json& json)
{
    const auto speaker = speakerFromJson(json, "speaker.json");
    return speaker ? std::string() : speaker.error().message;
}

} // namespace

TEST_CASE("A speaker comes back from its file as it was", "[core][tuning]")
{
    Speaker speaker;
    speaker.name = "test";
    speaker.invented = true;
    speaker.status = DataStatus::measured;
    speaker.qts = 0.55;
    speaker.numSpeakers = 4;
    for (const auto kind : {EnclosureKind::freeAir, EnclosureKind::sealed, EnclosureKind::vented}) {
        speaker.enclosure = {};
        speaker.enclosure.kind = kind;
        if (kind == EnclosureKind::vented)
            speaker.enclosure.leakageQ = 12.0;
        speaker.qms = kind == EnclosureKind::sealed ? std::optional<double>() : 4.0;
        const test::TemporaryFolder folder;
        const auto file = folder.path() / "speaker.json";
        REQUIRE(saveSpeaker(speaker, file));
        const auto read = loadSpeaker(file);
        REQUIRE(read);
        CHECK(*read == speaker);
    }
}

TEST_CASE("Every preset of a speaker is marked invented, assumed and generic", "[core][tuning]")
{
    std::size_t numPresets = 0;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_PRESETS_DIR) / "Speakers")) {
        INFO(entry.path());
        const auto speaker = loadSpeaker(entry.path());
        REQUIRE(speaker);
        CHECK(speaker->invented);
        CHECK(speaker->status == DataStatus::assumed);
        CHECK(speaker->name.starts_with("Generic"));
        CHECK(speaker->name.find("(invented)") != std::string::npos);
        // What speakers of this size are sold with. Common practice, no source.
        CHECK(sensitivityDbSpl(*speaker) > 85.0);
        CHECK(sensitivityDbSpl(*speaker) < 93.0);
        ++numPresets;
    }
    CHECK(numPresets >= 2);
}

TEST_CASE("A speaker's Q may be given in any two of three ways, or as Qts alone", "[core][tuning]")
{
    // 1/Qts = 1/Qes + 1/Qms (Small, JAES 20(5), 1972).
    auto json = plainSpeaker();
    auto speaker = speakerFromJson(json, "s");
    REQUIRE(speaker);
    CHECK(speaker->qes() == Approx(0.48 * 4.0 / 3.52));
    json.erase("qts");
    json["qes"] = 0.48 * 4.0 / 3.52;
    speaker = speakerFromJson(json, "s");
    REQUIRE(speaker);
    CHECK(speaker->qts == Approx(0.48));
    json.erase("qms");
    json["qts"] = 0.48;
    speaker = speakerFromJson(json, "s");
    REQUIRE(speaker);
    CHECK(speaker->qms.value() == Approx(4.0));
    json.erase("qes");
    speaker = speakerFromJson(json, "s");
    REQUIRE(speaker);
    CHECK_FALSE(speaker->qms);
    CHECK(speaker->qes() == Approx(0.48 * assumedQms / (assumedQms - 0.48)));
}

TEST_CASE("A speaker is refused with source, key and reason", "[core][tuning]")
{
    const auto changed = [](const char* key, const nlohmann::json& value) {
        auto json = plainSpeaker();
        json[key] = value;
        return refusal(json);
    };
    using Catch::Contains;
    CHECK(refusal(plainSpeaker()).empty());
    CHECK_THAT(changed("fsHz", 0.0), Contains("speaker.json") && Contains("fsHz"));
    CHECK_THAT(changed("status", "guess"), Contains("status") && Contains("data sheet"));
    CHECK_THAT(changed("qms", 0.3), Contains("qms") && Contains("above qts"));
    CHECK_THAT(changed("qes", 0.9), Contains("qts") && Contains("check the three"));
    CHECK_THAT(changed("reOhm", 8.0), Contains("reOhm") && Contains("nominal impedance"));
    // Cubic feet, say, for litres.
    CHECK_THAT(changed("vasLitres", 0.4), Contains("vasLitres") && Contains("units"));
    CHECK_THAT(changed("enclosure", {{"kind", "horn"}}), Contains("enclosure.kind"));
    CHECK_THAT(changed("enclosure", {{"kind", "vented"}, {"volumeLitres", 10.0}}),
               Contains("enclosure.tuningHz"));
    CHECK_THAT(changed("schemaVersion", 2), Contains("schemaVersion"));
    auto json = plainSpeaker();
    json.erase("qts");
    CHECK_THAT(refusal(json), Contains("qts") && Contains("missing"));
}
