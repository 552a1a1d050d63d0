#include "Core/Measure/CalibrationRecord.h"

#include "Core/Measure/Measurement.h"
#include "Support/ChangedFile.h"
#include "Support/TemporaryFolder.h"

#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;
using measure::CalibrationRecord;

namespace {

CalibrationRecord recordOf(const std::string& date, double toneSplDb, double toneDbfs)
{
    CalibrationRecord record;
    record.date = date;
    record.microphone = "shop microphone 1";
    record.chainNote = "pocket recorder, gain 3";
    record.calibration = {toneSplDb, toneDbfs};
    record.audioFile = "tone.wav";
    record.checksum = "0123abcd";
    return record;
}

} // namespace

TEST_CASE("A calibration survives a round trip", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto record = recordOf("2026-05-01", 94.0, -22.25);
    REQUIRE(measure::saveCalibration(record, folder / "cal.json"));
    const auto loaded = measure::loadCalibration(folder / "cal.json");
    REQUIRE(loaded);
    CHECK(*loaded == record);
}

TEST_CASE("A calibration with a wrong value is refused with its key", "[core][measure]")
{
    const test::TemporaryFolder folder;
    REQUIRE(measure::saveCalibration(recordOf("2026-05-01", 94.0, -22.25), folder / "cal.json"));
    const std::string text = test::bytesOf(folder / "cal.json");
    const auto refusedWith = [&](const std::string& from, const std::string& to,
                                 const std::string& word) {
        test::checkRefused(folder, text, from, to, word, measure::loadCalibration);
    };
    refusedWith("2026-05-01", "2026-02-30", "date");
    refusedWith("2026-05-01", "yesterday", "date");
    refusedWith("94.0", "9400", "toneSplDb");
    refusedWith("-22.25", "\"loud\"", "toneDbfs");
    refusedWith("\"schemaVersion\": 1", "\"schemaVersion\": 2", "schemaVersion");
    refusedWith("saddletone-calibration", "saddletone-state", "kind");
}

TEST_CASE("Days between dates count leap days and go both ways", "[core][measure]")
{
    CHECK(*measure::daysBetween("2024-02-28", "2024-03-01") == 2);
    CHECK(*measure::daysBetween("2026-02-28", "2026-03-01") == 1);
    CHECK(*measure::daysBetween("2025-11-25", "2026-11-25") == 365);
    CHECK(*measure::daysBetween("2026-05-02", "2026-05-01") == -1);
    for (const char* wrong : {"", "2026-5-1", "2026/05/01", "2026-13-01", "2025-02-29",
                              "2026-05-01T10", "-026-05-01"}) {
        INFO(wrong);
        CHECK_FALSE(measure::daysBetween(wrong, "2026-05-01"));
        CHECK_FALSE(measure::daysBetween("2026-05-01", wrong));
    }
    CHECK(*measure::daysBetween(measure::todayUtc(), measure::todayUtc()) == 0);
}

TEST_CASE("A chain that drifted by more than 0.5 dB is flagged, at either calibrator level",
          "[core][measure]")
{
    const auto earlier = recordOf("2026-05-01", 94.0, -26.0);
    struct Case {
        double toneSplDb;
        double toneDbfs;
        double driftDb;
        bool isTooLarge;
    };
    for (const Case& expected : {Case {94.0, -26.0, 0.0, false}, Case {94.0, -25.5, 0.5, false},
                                 Case {94.0, -26.5, -0.5, false}, Case {94.0, -25.4, 0.6, true},
                                 Case {94.0, -26.6, -0.6, true}, Case {114.0, -6.2, -0.2, false},
                                 Case {114.0, -7.0, -1.0, true}}) {
        const auto drift = measure::calibrationDrift(
            earlier, recordOf("2026-05-13", expected.toneSplDb, expected.toneDbfs));
        REQUIRE(drift);
        CHECK(drift->driftDb == Approx(expected.driftDb).margin(1e-9));
        CHECK(drift->isTooLarge == expected.isTooLarge);
        CHECK(drift->days == 12);
        CHECK_THAT(drift->sentence, Catch::Contains("2026-05-01 (12 days before)"));
        CHECK((drift->sentence.find("calibrate again") != std::string::npos)
              == expected.isTooLarge);
    }
    auto other = recordOf("2026-05-13", 94.0, -26.0);
    CHECK_FALSE(measure::calibrationDrift(other, earlier));
    other.microphone = "shop microphone 2";
    CHECK_FALSE(measure::calibrationDrift(earlier, other));
}

TEST_CASE("A chain whose gain was moved by 1 dB shows 1 dB of drift from its two recordings",
          "[core][measure]")
{
    const auto calibrationOf = [](double amplitude) {
        dsp::AudioBuffer audio = dsp::makeSilence(48000.0, 1, 96000);
        for (std::size_t frame = 0; frame < audio.numFrames(); ++frame)
            audio.channels.front()[frame] = static_cast<float>(
                amplitude * std::sin(2.0 * std::numbers::pi * static_cast<double>(frame) / 48.0));
        const auto calibration = measure::readCalibration({"tone", std::move(audio)}, 94.0);
        REQUIRE(calibration);
        return *calibration;
    };
    auto earlier = recordOf("2026-05-01", 94.0, 0.0);
    auto later = recordOf("2026-05-02", 94.0, 0.0);
    earlier.calibration = calibrationOf(0.1);
    later.calibration = calibrationOf(0.1 * std::pow(10.0, 1.0 / 20.0));
    const auto drift = measure::calibrationDrift(earlier, later);
    REQUIRE(drift);
    CHECK(drift->driftDb == Approx(1.0).margin(0.001));
    CHECK(drift->isTooLarge);
    CHECK_THAT(drift->sentence, Catch::Contains("1.00 dB higher"));
}
