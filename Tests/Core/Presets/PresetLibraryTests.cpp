#include "Core/Presets/PresetLibrary.h"

#include "Core/Files/JsonReader.h"
#include "Core/Presets/HelmetPreset.h"
#include "Core/Presets/RidePreset.h"
#include "Core/Ride/RideParameters.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <filesystem>
#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;
using presets::PresetKind;

namespace {

const std::filesystem::path presetsFolder = SADDLETONE_PRESETS_DIR;

std::filesystem::path fileOf(PresetKind kind, const std::string& id)
{
    return presetsFolder / presets::presetFolderName(kind) / (id + ".json");
}

nlohmann::json documentOf(PresetKind kind, const std::string& id)
{
    const auto json = files::loadJson(fileOf(kind, id));
    REQUIRE(json);
    return *json;
}

/** What is said of a preset with changes to it; empty if it is taken. */
std::string refusalOf(PresetKind kind, const std::string& id, const nlohmann::json& changes)
{
    const test::TemporaryFolder folder;
    auto document = documentOf(kind, id);
    document.merge_patch(changes);
    const auto file = folder / "changed.json";
    test::writeBytes(file, document.dump());
    if (kind == PresetKind::headphone)
        std::filesystem::copy_file(fileOf(kind, id).replace_extension(".csv"),
                                   folder / (id + ".csv"));
    const auto preset = presets::readPreset(kind, file);
    if (preset)
        return {};
    CHECK_THAT(preset.error().message, Contains("changed.json"));
    return preset.error().message;
}

} // namespace

TEST_CASE("Every preset can be used, says what it is, and holds no key that does nothing",
          "[core][presets]")
{
    const auto list = presets::listPresets(presetsFolder);
    for (const std::string& problem : list.problems)
        UNSCOPED_INFO(problem);
    CHECK(list.problems.empty());
    std::size_t numFiles = 0;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(presetsFolder))
        numFiles += entry.path().extension() == ".json" ? 1 : 0;
    CHECK(list.presets.size() == numFiles); // no file in a folder that nobody reads
    for (const PresetKind kind : presets::allPresetKinds)
        CHECK(std::ranges::count(list.presets, kind, &presets::Preset::kind) >= 2);
    for (const presets::Preset& preset : list.presets) {
        INFO(preset.id);
        CHECK(!preset.name.empty());
        CHECK(preset.description.size() > 20);
        CHECK(std::filesystem::exists(preset.file));
        // No figure of a product: what has no source is called judgement or invented.
        if (preset.kind == PresetKind::speaker || preset.kind == PresetKind::headphone) {
            CHECK(preset.status == presets::PresetStatus::invented);
            CHECK_THAT(preset.name, Contains("eneric") && Contains("(invented)"));
        }
    }
}

TEST_CASE("A key that is not known is named, and a missing unit is asked for", "[core][presets]")
{
    for (const auto& [kind, id] :
         {std::pair {PresetKind::target, "flat"}, std::pair {PresetKind::ride, "highway-65-mph"},
          std::pair {PresetKind::helmet, "none"}, std::pair {PresetKind::headphone, "open-generic"},
          std::pair {PresetKind::tuning, "voice-lift"},
          std::pair {PresetKind::speaker, "generic-6-5-inch-fairing"},
          std::pair {PresetKind::toneControls, "generic-bass-treble"}}) {
        INFO(id);
        CHECK(refusalOf(kind, id, nlohmann::json::object()).empty());
        CHECK_THAT(refusalOf(kind, id, {{"colour", "red"}}), Contains("'colour' is not known"));
        CHECK_THAT(refusalOf(kind, id, {{"about", {{"author", "x"}}}}),
                   Contains("'about.author' is not known"));
        CHECK_THAT(refusalOf(kind, id, {{"schemaVersion", 99}}),
                   Contains("schemaVersion") && Contains("newer"));
        CHECK_THAT(refusalOf(kind, id, {{"kind", "saddletone-other"}}), Contains("'kind'"));
        CHECK_THAT(refusalOf(kind, id, {{"about", nullptr}}), Contains("'about' is missing"));
        CHECK_THAT(refusalOf(kind, id, {{"about", {{"status", "sure"}}}}),
                   Contains("'about.status'") && Contains("published"));
        CHECK_THAT(refusalOf(kind, id, {{"about", {{"status", "measured"}, {"source", nullptr}}}}),
                   Contains("'about.source' is missing"));
    }
    CHECK_THAT(refusalOf(PresetKind::target, "bass-shelf-6-db", {{"bassShelf", {{"gain", 3.0}}}}),
               Contains("'bassShelf.gain' is not known") && Contains("as 'gainDb'"));
    CHECK_THAT(refusalOf(PresetKind::ride, "highway-65-mph", {{"publishedWind", 90}}),
               Contains("'publishedWind' is not known"));
    CHECK_THAT(
        refusalOf(PresetKind::ride, "highway-65-mph", {{"speedKmh", nullptr}, {"speed", 105}}),
        Contains("'speedKmh' is missing"));
    CHECK_THAT(
        refusalOf(PresetKind::speaker, "generic-6-5-inch-fairing", {{"fsHz", nullptr}, {"fs", 85}}),
        Contains("'fsHz' is missing"));
}

TEST_CASE("A preset's figure out of range is named with its range", "[core][presets]")
{
    CHECK_THAT(refusalOf(PresetKind::ride, "highway-65-mph", {{"speedKmh", 400}}),
               Contains("'speedKmh' is 400") && Contains("250"));
    CHECK_THAT(refusalOf(PresetKind::ride, "highway-65-mph", {{"screen", "glass"}}),
               Contains("'screen'") && Contains("tall"));
    CHECK_THAT(refusalOf(PresetKind::target, "bass-shelf-6-db", {{"bassShelf", {{"gainDb", 60}}}}),
               Contains("'bassShelf.gainDb' is 60"));
    CHECK_THAT(refusalOf(PresetKind::speaker, "generic-6-5-inch-fairing", {{"xmaxMm", 300}}),
               Contains("'xmaxMm' is 300"));
    auto tuning = documentOf(PresetKind::tuning, "bass-down-6-db")["chains"];
    tuning[0]["elements"][0]["gainDb"] = -90;
    CHECK_THAT(refusalOf(PresetKind::tuning, "bass-down-6-db", {{"chains", tuning}}),
               Contains("chains[0].elements[0].gainDb"));
    auto controls = documentOf(PresetKind::toneControls, "generic-bass-treble")["controls"];
    controls[1]["stepDb"] = -1;
    CHECK_THAT(refusalOf(PresetKind::toneControls, "generic-bass-treble", {{"controls", controls}}),
               Contains("controls[1].stepDb"));
    CHECK_THAT(
        refusalOf(PresetKind::headphone, "open-generic", {{"responseFile", "../open-generic.csv"}}),
        Contains("responseFile"));
    CHECK_THAT(refusalOf(PresetKind::headphone, "open-generic", {{"responseFile", "gone.csv"}}),
               Contains("gone.csv"));
}

TEST_CASE("A helmet's description states what auditions use", "[core][presets]")
{
    auto losses = documentOf(PresetKind::helmet, "full-face-generic")["losses"];
    losses[5]["insertionLossDb"] = 9.0;
    CHECK_THAT(refusalOf(PresetKind::helmet, "full-face-generic", {{"losses", losses}}),
               Contains("losses[5].insertionLossDb") && Contains("7.0 dB at 1000.0 Hz"));
    losses.erase(5);
    CHECK_THAT(refusalOf(PresetKind::helmet, "full-face-generic", {{"losses", losses}}),
               Contains("'losses' has 8 entries"));

    // Mlynski et al. 2009: about 30 dB at 8 kHz, 8 to 9 dB an octave above 500 Hz; doi
    // 10.3813/aaa.918679: below 250 Hz it amplifies.
    const auto full = presets::loadHelmetPreset(fileOf(PresetKind::helmet, "full-face-generic"));
    REQUIRE(full);
    REQUIRE(full->losses.size() == 9);
    CHECK(full->losses.back().insertionLossDb == Approx(30.0).margin(1.0));
    for (std::size_t octave = 5; octave < 9; ++octave)
        CHECK(full->losses[octave].insertionLossDb - full->losses[octave - 1].insertionLossDb
              == Approx(7.5).margin(1.6));
    for (std::size_t octave = 0; octave < 4; ++octave)
        CHECK(full->losses[octave].insertionLossDb < 0.0);
}

TEST_CASE("Rides that were published are as loud here as there", "[core][presets]")
{
    std::size_t numPublished = 0;
    for (const presets::Preset& preset : presets::listPresets(presetsFolder).presets) {
        if (preset.kind != PresetKind::ride)
            continue;
        const auto ride = presets::loadRidePreset(preset.file);
        REQUIRE(ride);
        CHECK(ride->publishedWindDba.has_value()
              == (preset.status == presets::PresetStatus::published));
        if (!ride->publishedWindDba)
            continue;
        INFO(preset.id);
        ride::RideParameters parameters;
        parameters.speedKmh = ride->speedKmh;
        parameters.helmet = ride->helmet;
        parameters.screen = ride->screen;
        // One line through points of several papers: within 2 dB of each (Docs/ride.md).
        CHECK(ride::rideState(parameters).windDba == Approx(*ride->publishedWindDba).margin(2.0));
        ++numPublished;
    }
    CHECK(numPublished == 4);
}

TEST_CASE("A preset is found by its name alone", "[core][presets]")
{
    const auto flat = presets::findPreset(presetsFolder, PresetKind::target, "flat");
    REQUIRE(flat);
    CHECK(flat->name == "Flat");
    CHECK(flat->file == fileOf(PresetKind::target, "flat"));
    const auto closed = presets::findPreset(presetsFolder, PresetKind::headphone, "closed-generic");
    REQUIRE(closed);
    CHECK(closed->file.filename() == "closed-generic.csv");
    for (const std::string id : {"", "flatt", "../Tunings/voice-lift", "../../job"}) {
        const auto refused = presets::findPreset(presetsFolder, PresetKind::target, id);
        REQUIRE(!refused);
        CHECK(refused.error().code == dsp::ErrorCode::notFound);
        CHECK_THAT(refused.error().message, Contains("falling-1-db-per-octave, flat"));
    }
    CHECK(presets::listPresets(presetsFolder / "gone").presets.empty());
}

TEST_CASE(
    "The presets are found where they are installed, beside the program or in its source tree",
    "[core][presets]")
{
    const test::TemporaryFolder folder;
    const auto make = [&](const std::string& place) {
        std::filesystem::create_directories(folder / place / "Targets");
        return folder / place;
    };
    const auto program = folder / "prefix" / "bin" / "saddletone";
    CHECK(!presets::findPresetsFolder(program));
    std::filesystem::create_directories(folder / "prefix" / "Presets"); // of something else
    CHECK(!presets::findPresetsFolder(program));
    const auto above = make("Presets");
    CHECK(presets::findPresetsFolder(program) == above);
    const auto resources = make("prefix/Resources/Presets");
    CHECK(presets::findPresetsFolder(program) == resources);
    const auto beside = make("prefix/bin/Presets");
    CHECK(presets::findPresetsFolder(program) == beside);
    const auto shared = make("prefix/share/saddletone/Presets");
    CHECK(presets::findPresetsFolder(program) == shared);
    CHECK(!presets::findPresetsFolder({}));
}
