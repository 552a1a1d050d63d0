#include "Core/Seat/HeadphoneCalibration.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Support/TemporaryFolder.h"

#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using seat::HeadphoneCalibration;
using seat::HeadphoneLevelBasis;

namespace {

HeadphoneCalibration example()
{
    HeadphoneCalibration calibration;
    calibration.headphone = "Counter headphone";
    calibration.output = "laptop socket, volume at the top";
    calibration.date = "2026-05-01";
    calibration.source = "data sheet";
    return calibration;
}

} // namespace

TEST_CASE("Sensitivity, impedance and voltage give the level at full scale", "[core][seat]")
{
    auto calibration = example();
    calibration.basis = HeadphoneLevelBasis::sensitivityPerVolt;
    calibration.sensitivityDbSpl = 110.0;
    calibration.fullScaleVolts = 0.5;
    // Worked by hand: 110 + 20 lg 0.5.
    CHECK(calibration.splAtFullScaleDb() == Approx(103.979).margin(1e-3));
    // 1 V into 32 ohms are 31.25 mW, 14.949 dB above 1 mW.
    CHECK(seat::sensitivityPerVolt(100.0, 32.0) == Approx(114.949).margin(1e-3));
    calibration.basis = HeadphoneLevelBasis::sensitivityPerMilliwatt;
    calibration.sensitivityDbSpl = 100.0;
    calibration.impedanceOhms = 32.0;
    CHECK(calibration.splAtFullScaleDb() == Approx(114.949 - 6.021).margin(1e-3));
    // A socket of the same impedance halves the voltage.
    calibration.outputImpedanceOhms = 32.0;
    CHECK(calibration.splAtFullScaleDb() == Approx(114.949 - 12.041).margin(1e-3));
    // 1 mW into 32 ohms need sqrt(0.032) V: full scale is then the sensitivity itself.
    calibration.outputImpedanceOhms = 0.0;
    calibration.fullScaleVolts = 0.178885438;
    CHECK(calibration.splAtFullScaleDb() == Approx(100.0).margin(1e-6));
}

TEST_CASE("A measured level and the signal's own give the level at full scale", "[core][seat]")
{
    auto calibration = example();
    calibration.basis = HeadphoneLevelBasis::measuredLevel;
    calibration.measuredSplDb = 84.5;
    calibration.measuredLevelDbfs = -20.0;
    CHECK(calibration.splAtFullScaleDb() == Approx(104.5));
}

TEST_CASE("The ceiling in dB(A) becomes a digital level and back", "[core][seat]")
{
    auto calibration = example();
    calibration.measuredSplDb = 85.0;
    calibration.measuredLevelDbfs = -20.0;
    const auto levelDbfs = seat::digitalLevelDbfs(calibration, seat::defaultCeilingDba);
    REQUIRE(levelDbfs);
    CHECK(*levelDbfs == Approx(-25.0));
    CHECK(*seat::levelAtEarDba(calibration, *levelDbfs) == Approx(80.0));
    const auto words = seat::ceilingWords(calibration);
    CHECK(words.find("80 dB(A)") != std::string::npos);
    CHECK(words.find("-25.0 dBFS") != std::string::npos);
    CHECK(words.find("data sheet") != std::string::npos);
}

TEST_CASE("Without a calibration the listening level is unknown", "[core][seat]")
{
    CHECK_FALSE(seat::digitalLevelDbfs(std::nullopt, 80.0));
    CHECK_FALSE(seat::levelAtEarDba(std::nullopt, -20.0));
    CHECK(seat::ceilingWords(std::nullopt).find("unknown") != std::string::npos);
}

TEST_CASE("A headphone calibration comes back from its file as it was saved", "[core][seat]")
{
    const test::TemporaryFolder folder;
    for (const auto basis :
         {HeadphoneLevelBasis::sensitivityPerVolt, HeadphoneLevelBasis::sensitivityPerMilliwatt,
          HeadphoneLevelBasis::measuredLevel, HeadphoneLevelBasis::statedLevel}) {
        auto calibration = example();
        calibration.basis = basis;
        if (basis == HeadphoneLevelBasis::measuredLevel) {
            calibration.measuredSplDb = 71.5;
            calibration.measuredLevelDbfs = -31.0;
        } else if (basis == HeadphoneLevelBasis::statedLevel) {
            calibration.statedSplDb = 107.5;
        } else {
            calibration.sensitivityDbSpl = 97.5;
            calibration.impedanceOhms = 250.0;
            calibration.fullScaleVolts = 2.1;
            calibration.outputImpedanceOhms = 10.0;
        }
        REQUIRE(seat::saveHeadphoneCalibration(calibration, folder / "headphone.json"));
        const auto loaded = seat::loadHeadphoneCalibration(folder / "headphone.json");
        REQUIRE(loaded);
        CHECK(*loaded == calibration);
        CHECK(loaded->splAtFullScaleDb() == calibration.splAtFullScaleDb());
    }
}

TEST_CASE("A headphone calibration that cannot be relied on is refused by its key", "[core][seat]")
{
    const test::TemporaryFolder folder;
    const auto file = folder / "headphone.json";
    CHECK_FALSE(seat::loadHeadphoneCalibration(file));
    REQUIRE(seat::saveHeadphoneCalibration(example(), file));
    const auto saved = files::loadJson(file);
    REQUIRE(saved);
    const auto refusal = [&](const char* key, const nlohmann::json& value) {
        auto json = *saved;
        json[key] = value;
        REQUIRE(files::writeTextFile(file, files::jsonText(json)));
        const auto loaded = seat::loadHeadphoneCalibration(file);
        REQUIRE_FALSE(loaded);
        CHECK(loaded.error().message.find(key) != std::string::npos);
        return loaded.error().code;
    };
    static_cast<void>(refusal("date", "yesterday"));
    static_cast<void>(refusal("source", ""));
    static_cast<void>(refusal("basis", "guess"));
    static_cast<void>(refusal("measuredSplDb", 200.0));
    static_cast<void>(refusal("measuredLevelDbfs", "loud"));
    static_cast<void>(refusal("kind", "saddletone-calibration"));
    CHECK(refusal("schemaVersion", 2) == dsp::ErrorCode::newerSchema);
}
