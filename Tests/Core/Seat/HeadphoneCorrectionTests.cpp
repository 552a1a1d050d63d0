#include "Core/Seat/HeadphoneCorrection.h"

#include "Core/Dsp/Units.h"
#include "Core/Seat/SpectrumShape.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <string>

#include <catch2/catch.hpp>

using namespace saddletone;
using files::FrequencyTable;
using seat::HeadphoneCorrectionSettings;

namespace {

/** A bell over log frequency on a base level, sampled at 24 lines an octave. */
FrequencyTable bell(double frequencyHz, double gainDb, double widthOctaves, double baseDb = 0.0)
{
    FrequencyTable table;
    for (int step = 0; step <= 240; ++step) {
        table.frequenciesHz.push_back(20.0 * std::exp2(step / 24.0));
        const double octaves = std::log2(table.frequenciesHz.back() / frequencyHz) / widthOctaves;
        table.levelsDb.push_back(baseDb + gainDb * std::exp(-0.5 * octaves * octaves));
    }
    return table;
}

double gainDbAt(const std::vector<double>& taps, double frequencyHz, double sampleRate)
{
    const std::size_t size = seat::designSizeFor(sampleRate);
    const auto magnitudes = seat::magnitudesOf(taps, size);
    return dsp::amplitudeToDb(magnitudes[static_cast<std::size_t>(
        std::lround(frequencyHz * static_cast<double>(size) / sampleRate))]);
}

double highestDb(const std::vector<double>& taps)
{
    const auto magnitudes = seat::magnitudesOf(taps, 1U << 17U);
    return dsp::amplitudeToDb(*std::ranges::max_element(magnitudes));
}

} // namespace

TEST_CASE("Headphone and correction are flat where no limit acts at every sample rate",
          "[core][seat]")
{
    const auto table = bell(3000.0, 5.0, 0.7);
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        HeadphoneCorrectionSettings settings;
        settings.sampleRate = sampleRate;
        const auto correction = seat::correctHeadphone(table, std::nullopt, settings, "bell");
        REQUIRE(correction);
        CHECK(correction->taps.size() == settings.numTaps);
        const double middleDb = seat::middleLevelDb(table);
        for (const double frequencyHz : {30.0, 100.0, 500.0, 1000.0, 3000.0, 6000.0, 15000.0}) {
            CAPTURE(sampleRate, frequencyHz);
            // 0.1 dB: the fade of the last taps, and the straight lines of the table.
            CHECK(gainDbAt(correction->taps, frequencyHz, sampleRate) + table.levelDbAt(frequencyHz)
                      - middleDb
                  == Approx(0.0).margin(0.1));
        }
    }
}

TEST_CASE("Sound pressure levels and gains give the same correction", "[core][seat]")
{
    const auto gains = seat::correctHeadphone(bell(200.0, 4.0, 0.5), std::nullopt, {}, "gains");
    const auto levels =
        seat::correctHeadphone(bell(200.0, 4.0, 0.5, 94.0), std::nullopt, {}, "levels");
    REQUIRE(gains);
    REQUIRE(levels);
    for (std::size_t tap = 0; tap < gains->taps.size(); ++tap)
        CHECK(levels->taps[tap] == Approx(gains->taps[tap]).margin(1e-12));
}

TEST_CASE("Boost and cut stay within their limits", "[core][seat]")
{
    for (const double maxBoostDb : {0.0, 3.0, 6.0, 12.0}) {
        CAPTURE(maxBoostDb);
        HeadphoneCorrectionSettings settings;
        settings.maxBoostDb = maxBoostDb;
        settings.maxCutDb = 8.0;
        // Wide, so that it is no dip to be left alone.
        const auto low = seat::correctHeadphone(bell(60.0, -30.0, 1.0), std::nullopt, settings, "");
        REQUIRE(low);
        CHECK(highestDb(low->taps) <= maxBoostDb + 1e-6);
        CHECK(low->highestGainDb <= maxBoostDb);
        CHECK(gainDbAt(low->taps, 60.0, 48000.0) == Approx(maxBoostDb).margin(0.3));
        const auto high =
            seat::correctHeadphone(bell(6000.0, 20.0, 0.5), std::nullopt, settings, "");
        REQUIRE(high);
        CHECK(gainDbAt(high->taps, 6000.0, 48000.0) == Approx(-8.0).margin(0.1));
        CHECK_FALSE(high->remarks.empty());
    }
}

TEST_CASE("Narrow dips are left alone, narrow peaks are taken down", "[core][seat]")
{
    HeadphoneCorrectionSettings settings;
    settings.maxBoostDb = 12.0;
    constexpr double placeHz = 5120.0; // a line of the tables
    const auto dip =
        seat::correctHeadphone(bell(placeHz, -12.0, 0.05), std::nullopt, settings, "dip");
    REQUIRE(dip);
    // As much power is missing as 0.17 octaves hold, a third of the half octave: 1.8 dB.
    CHECK(gainDbAt(dip->taps, placeHz, 48000.0) == Approx(1.8).margin(0.3));
    const auto peak =
        seat::correctHeadphone(bell(placeHz, 10.0, 0.05), std::nullopt, settings, "peak");
    REQUIRE(peak);
    CHECK(gainDbAt(peak->taps, placeHz, 48000.0) == Approx(-10.0).margin(0.3));
    const auto wideTable = bell(placeHz, -10.0, 1.0);
    const auto wide = seat::correctHeadphone(wideTable, std::nullopt, settings, "wide");
    REQUIRE(wide);
    // At the bottom of the dip half an octave lies a quarter of a decibel higher on average.
    CHECK(gainDbAt(wide->taps, placeHz, 48000.0)
          == Approx(10.0 + seat::middleLevelDb(wideTable)).margin(0.3));
    // The curve says what is left undone.
    const auto worst = std::ranges::min_element(dip->differenceDb) - dip->differenceDb.begin();
    const auto at = static_cast<std::size_t>(worst);
    CHECK(dip->frequenciesHz[at] == Approx(placeHz).epsilon(0.05));
    CHECK(dip->differenceDb[at] < -5.0);
    CHECK(dip->differenceDb[at] == Approx(dip->correctionDb[at] - dip->idealDb[at]).margin(1e-12));
}

TEST_CASE("A headphone that meets its target is not corrected", "[core][seat]")
{
    const auto table = bell(100.0, 6.0, 1.0, 90.0);
    const auto same = seat::correctHeadphone(table, bell(100.0, 6.0, 1.0), {}, "same");
    REQUIRE(same);
    CHECK(same->taps.front() == Approx(1.0).margin(1e-6));
    for (std::size_t tap = 1; tap < same->taps.size(); ++tap)
        CHECK(std::abs(same->taps[tap]) < 1e-6);
    const auto bass = seat::correctHeadphone(bell(100.0, 0.0, 1.0), table, {}, "bass");
    REQUIRE(bass);
    CHECK(gainDbAt(bass->taps, 100.0, 48000.0) == Approx(6.0).margin(0.2));
}

TEST_CASE("Beyond the table the correction is held", "[core][seat]")
{
    FrequencyTable table;
    table.frequenciesHz = {100.0, 1000.0, 5000.0, 8000.0};
    table.levelsDb = {-4.0, 0.0, 0.0, 3.0};
    const auto correction = seat::correctHeadphone(table, std::nullopt, {}, "short");
    REQUIRE(correction);
    const double endDb = gainDbAt(correction->taps, 8000.0, 48000.0);
    CHECK(gainDbAt(correction->taps, 15000.0, 48000.0) == Approx(endDb).margin(0.1));
    CHECK(gainDbAt(correction->taps, 30.0, 48000.0)
          == Approx(gainDbAt(correction->taps, 100.0, 48000.0)).margin(0.15));
    CHECK(correction->remarks.front().find("from 100 Hz to 8000 Hz") != std::string::npos);
}

TEST_CASE("A response reads alike in every form of numbers", "[core][seat]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "dots.csv", "frequencyHz,levelDb\n50,-3.5\n1000,0.0\n9000,2.25\n");
    test::writeBytes(folder / "commas.txt", "* a comment\n50,0\t-3,5\n1000,0\t0,0\n9000,0\t2,25\n");
    test::writeBytes(folder / "semicolons.csv", "50;-3,5;0\n1000;0,0;0\n9000;2,25;0\n");
    const auto dots = seat::loadHeadphoneCorrection(folder / "dots.csv", {}, {});
    REQUIRE(dots);
    for (const char* name : {"commas.txt", "semicolons.csv"}) {
        const auto other = seat::loadHeadphoneCorrection(folder / name, folder / "dots.csv", {});
        REQUIRE(other);
        CHECK(other->taps.front() == Approx(1.0).margin(1e-9));
        const auto alone = seat::loadHeadphoneCorrection(folder / name, {}, {});
        REQUIRE(alone);
        CHECK(alone->taps == dots->taps);
    }
}

TEST_CASE("Tables and settings that give no correction are refused", "[core][seat]")
{
    const test::TemporaryFolder folder;
    CHECK_FALSE(seat::loadHeadphoneCorrection(folder / "missing.csv", {}, {}));
    test::writeBytes(folder / "two.csv", "100,0\n200,0\n");
    const auto two = seat::loadHeadphoneCorrection(folder / "two.csv", {}, {});
    REQUIRE_FALSE(two);
    CHECK(two.error().message.find("at least three lines") != std::string::npos);
    test::writeBytes(folder / "good.csv", "100,0\n1000,0\n9000,1\n");
    CHECK_FALSE(seat::loadHeadphoneCorrection(folder / "good.csv", folder / "two.csv", {}));
    HeadphoneCorrectionSettings settings;
    settings.maxBoostDb = 30.0;
    CHECK_FALSE(seat::loadHeadphoneCorrection(folder / "good.csv", {}, settings));
    settings = {};
    settings.numTaps = 100;
    CHECK_FALSE(seat::loadHeadphoneCorrection(folder / "good.csv", {}, settings));
    settings = {};
    settings.sampleRate = std::nan("");
    CHECK_FALSE(seat::loadHeadphoneCorrection(folder / "good.csv", {}, settings));
}

TEST_CASE("Every generic headphone says that it is invented and gives a correction", "[core][seat]")
{
    std::size_t numPresets = 0;
    for (const auto& entry : std::filesystem::directory_iterator(
             std::filesystem::path(SADDLETONE_PRESETS_DIR) / "Headphones")) {
        if (entry.path().extension() != ".csv")
            continue;
        INFO(entry.path());
        CHECK(test::bytesOf(entry.path()).starts_with("# Invented: "));
        const auto correction = seat::loadHeadphoneCorrection(entry.path(), {}, {});
        REQUIRE(correction);
        CHECK(correction->fromHz == 20.0);
        CHECK(correction->toHz == 20000.0);
        CHECK(correction->highestGainDb <= 6.0);
        // It does something.
        const auto [lowest, highest] = std::ranges::minmax_element(correction->correctionDb);
        CHECK(*highest - *lowest > 3.0);
        ++numPresets;
    }
    CHECK(numPresets >= 2);
}
