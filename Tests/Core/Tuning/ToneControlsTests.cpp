#include "Core/Tuning/ToneControls.h"

#include "Core/Dsp/Units.h"
#include "Support/TemporaryFolder.h"

#include <cmath>
#include <filesystem>
#include <functional>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using tuning::ElementType;
using tuning::ToneControlStatus;

namespace {

tuning::ToneControls threeControls()
{
    using enum ToneControlStatus;
    return {"Radio",
            {{"Bass", ElementType::lowShelf, 100.0, 0.7071, -12.0, 12.0, 2.0, assumed, ""},
             {"Middle", ElementType::peaking, 1000.0, 0.9, -6.0, 6.0, 1.0, assumed, ""},
             {"Treble", ElementType::highShelf, 8000.0, 0.7071, -7.5, 7.5, 1.5, measured,
              "from 2 measurements"}}};
}

void checkRefused(const std::function<void(nlohmann::json&)>& spoil, const std::string& reason)
{
    nlohmann::json json = tuning::toneControlsToJson(threeControls());
    spoil(json);
    const auto model = tuning::toneControlsFromJson(json, "radio.json");
    REQUIRE_FALSE(model);
    INFO(model.error().message);
    CHECK(model.error().message.find("radio.json") != std::string::npos);
    CHECK(model.error().message.find(reason) != std::string::npos);
}

} // namespace

TEST_CASE("Tone controls come back from their file as they were", "[core][tuning]")
{
    const test::TemporaryFolder folder;
    const auto file = folder.path() / "radio.json";
    REQUIRE(tuning::saveToneControls(threeControls(), file));
    const auto model = tuning::loadToneControls(file);
    REQUIRE(model);
    CHECK(*model == threeControls());
}

TEST_CASE("Steps of tone controls become elements with the radio's own words", "[core][tuning]")
{
    const auto model = threeControls();
    CHECK(model.controls[2].lowestStep() == -5);
    CHECK(model.controls[2].highestStep() == 5);
    const std::vector steps {-4, 0, 3};
    const auto elements = tuning::toneElements(model, steps);
    REQUIRE(elements.size() == 2);
    CHECK(elements[0].label == "Bass -4");
    CHECK(elements[0].gainDb == -8.0);
    CHECK(elements[0].type == ElementType::lowShelf);
    CHECK(elements[1].label == "Treble +3");
    CHECK(elements[1].gainDb == 4.5);
    CHECK(tuning::toneWords(model, steps) == "Bass -4 and Treble +3");
    CHECK(tuning::toneWords(model, std::vector {1, -2, 3}) == "Bass +1, Middle -2 and Treble +3");
    CHECK(tuning::toneWords(model, std::vector {0, 0, 0}) == "all tone controls at 0");
    const auto tuning = tuning::toneTuning(model, steps);
    CHECK(tuning.name == "Bass -4 and Treble +3");
    // A shelf has its whole gain far beyond its frequency; at 10 Hz, a decade below, all but 0.01 dB.
    CHECK(
        dsp::amplitudeToDb(std::abs(tuning::idealResponse(tuning, tuning::OutputGroup::left, 10.0)))
        == Approx(-8.0).margin(0.02));
}

TEST_CASE("A control is added, or takes the place of the one of its name", "[core][tuning]")
{
    auto model = threeControls();
    auto bass = model.controls.front();
    bass.frequencyHz = 80.0;
    REQUIRE(tuning::setToneControl(model, bass));
    REQUIRE(model.controls.size() == 3);
    CHECK(model.controls.front().frequencyHz == 80.0);
    for (const char* name : {"Presence", "Air"}) {
        bass.name = name;
        REQUIRE(tuning::setToneControl(model, bass));
    }
    CHECK(model.controls.size() == 5);
    const auto before = model;
    bass.name = "One too many";
    CHECK_FALSE(tuning::setToneControl(model, bass));
    CHECK(model == before);
}

TEST_CASE("A model counts as measured only if all of its controls were", "[core][tuning]")
{
    auto model = threeControls();
    CHECK(model.status() == ToneControlStatus::assumed);
    for (auto& control : model.controls)
        control.status = ToneControlStatus::measured;
    CHECK(model.status() == ToneControlStatus::measured);
    CHECK(tuning::ToneControls().status() == ToneControlStatus::assumed);
}

TEST_CASE("What is wrong with a file of tone controls is named", "[core][tuning]")
{
    checkRefused([](auto& json) { json["kind"] = "saddletone-tuning"; }, "kind");
    checkRefused([](auto& json) { json["schemaVersion"] = 2; }, "newer Saddletone");
    checkRefused([](auto& json) { json["controls"] = nlohmann::json::array(); },
                 "must hold 1 to 5");
    checkRefused([](auto& json) { json["controls"][1]["name"] = "Bass"; }, "twice");
    checkRefused([](auto& json) { json["controls"][1]["name"] = ""; }, "name");
    checkRefused([](auto& json) { json["controls"][1]["type"] = "notch"; },
                 "low-shelf, peaking or high-shelf");
    checkRefused([](auto& json) { json["controls"][0]["stepDb"] = 0.0; }, "stepDb");
    checkRefused([](auto& json) { json["controls"][0]["lowestDb"] = -11.0; },
                 "whole number of steps");
    checkRefused([](auto& json) { json["controls"][0]["highestDb"] = 60.0; }, "highestDb");
    checkRefused([](auto& json) { json["controls"][0]["status"] = "guessed"; },
                 "'assumed' or 'measured'");
    checkRefused([](auto& json) { json.erase("status"); }, "status");
    // 241 steps each: complete search would take 14 million tries.
    checkRefused(
        [](auto& json) {
            for (auto& control : json["controls"]) {
                control["stepDb"] = 0.1;
                control["lowestDb"] = -12.0;
                control["highestDb"] = 12.0;
            }
        },
        "larger steps");
}

TEST_CASE("A control without a status of its own has the model's", "[core][tuning]")
{
    nlohmann::json json = tuning::toneControlsToJson(threeControls());
    json["status"] = "measured";
    json["controls"][0].erase("status");
    const auto model = tuning::toneControlsFromJson(json, "radio.json");
    REQUIRE(model);
    CHECK(model->controls[0].status == ToneControlStatus::measured);
}

TEST_CASE("Every preset of tone controls can be read and says that it is assumed", "[core][tuning]")
{
    std::size_t numPresets = 0;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_PRESETS_DIR) / "ToneControls")) {
        INFO(entry.path());
        const auto model = tuning::loadToneControls(entry.path());
        REQUIRE(model);
        CHECK(model->name.find("assumed") != std::string::npos);
        for (const auto& control : model->controls) {
            CHECK(control.status == ToneControlStatus::assumed);
            CHECK_FALSE(control.remark.empty());
        }
        ++numPresets;
    }
    CHECK(numPresets == 2);
}
