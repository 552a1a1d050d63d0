#include "Core/Measure/ImportedResponse.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Comparison.h"
#include "Support/SimulatedBike.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using files::FrequencyTable;
using measure::ImportSettings;
using measure::Response;

namespace {

ImportSettings settingsOf(double sampleRate = 48000.0)
{
    ImportSettings settings;
    settings.source = "curve.txt";
    settings.name = "imported";
    settings.sampleRate = sampleRate;
    return settings;
}

bool hasRemark(const Response& response, const std::string& words)
{
    return std::ranges::any_of(response.remarks, [&](const std::string& remark) {
        return remark.find(words) != std::string::npos;
    });
}

Response importedTable(const FrequencyTable& table, const ImportSettings& settings = settingsOf())
{
    auto response = measure::importTable(table, settings);
    if (!response)
        FAIL(response.error().message);
    return std::move(*response);
}

double largestDeviationDb(const Response& response, const std::vector<double>& frequenciesHz,
                          const std::vector<double>& levelsDb, int numPerOctave)
{
    const auto got = response.magnitudeDb(frequenciesHz, numPerOctave);
    double largest = 0.0;
    for (std::size_t index = 0; index < got.size(); ++index)
        largest = std::max(largest, std::abs(got[index] - levelsDb[index]));
    return largest;
}

/** The test bike's magnitude at twenty-fourths of an octave, smoothed as analysers give it. */
FrequencyTable bikeTable(double fromHz, double toHz)
{
    const test::SimulatedBike bike;
    FrequencyTable table;
    for (const dsp::Band& band : dsp::octaveBands(24, fromHz, toHz)) {
        table.frequenciesHz.push_back(band.centreHz);
        table.levelsDb.push_back(bike.smoothedDb(band.centreHz, 6));
    }
    return table;
}

/** A chain of minimum phase: high-pass, bump and roll-off. */
std::complex<double> chainAt(double frequencyHz)
{
    const std::complex<double> s(0.0, frequencyHz);
    const auto secondOrder = [&](double cornerHz, double q, std::complex<double> numerator) {
        return numerator / (s * s + s * cornerHz / q + cornerHz * cornerHz);
    };
    const double bumpHz = 900.0;
    return secondOrder(70.0, 0.8, s * s)
           * secondOrder(bumpHz, 2.0, s * s + s * bumpHz / 0.9 + bumpHz * bumpHz)
           * secondOrder(9000.0, 0.7, 9000.0 * 9000.0);
}

const std::vector<double> exampleHz {31.5,   63.0,   125.0,  250.0,  500.0,
                                     1000.0, 2000.0, 4000.0, 8000.0, 16000.0};
const std::vector<double> exampleDb {-12.5, -3.25, 1.0, 2.5, 0.0, -0.5, 1.25, -2.0, -6.75, -20.0};

/** The example table as text: columns apart by a separator, decimals by a mark. */
std::string exampleText(const std::string& separator, char decimalMark,
                        const std::string& lineEnd = "\n")
{
    std::string text;
    for (std::size_t line = 0; line < exampleHz.size(); ++line) {
        std::string numbers =
            files::fixedText(exampleHz[line], 1) + "|" + files::fixedText(exampleDb[line], 2);
        std::ranges::replace(numbers, '.', decimalMark);
        text += numbers.replace(numbers.find('|'), 1, separator) + lineEnd;
    }
    return text;
}

} // namespace

TEST_CASE("Tables in every number format become the same response, within 0.1 dB of the table",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const std::string text =
        GENERATE(exampleText("\t", '.'), exampleText(" ", '.'), exampleText(",", '.'),
                 exampleText(", ", '.'), exampleText(";", '.'), exampleText("\t", ','),
                 exampleText("  ", ','), exampleText(";", ','), exampleText("; ", ','),
                 "\xEF\xBB\xBF* analyser 7\n; made 2026-05-01\n" + exampleText("\t", '.', "\r\n"),
                 "Frequency [Hz];Level [dB]\r\n" + exampleText(";", ',', "\r\n") + "\r\n",
                 "# comment\nfrequency_hz,level_db\n" + exampleText(",", '.'));
    CAPTURE(text);
    test::writeBytes(folder / "curve.txt", text);
    const auto table = files::readFrequencyTable(folder / "curve.txt");
    REQUIRE(table);
    const auto response = importedTable(*table);
    CHECK(largestDeviationDb(response, exampleHz, exampleDb, 0) < 0.1);
    CHECK(hasRemark(response, "made minimum phase"));
    CHECK(hasRemark(response, "from 31.5 Hz to 16000 Hz"));
    CHECK(response.fromHz == 31.5);
    CHECK(response.toHz == 16000.0);

    // And through the files that the rest of the program reads.
    REQUIRE(measure::saveResponse(response, folder / "state.json"));
    const auto loaded = measure::loadResponse(folder / "state.json");
    REQUIRE(loaded);
    CHECK(loaded->impulse == response.impulse);
    CHECK(loaded->bands == response.bands);
    CHECK(loaded->remarks == response.remarks);
}

TEST_CASE("A fine table is given back within 0.1 dB at every sample rate", "[core][measure]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0, 384000.0);
    const auto table = bikeTable(20.0, 20000.0);
    const auto response = importedTable(table, settingsOf(sampleRate));
    CHECK(response.sampleRate == sampleRate);
    CHECK(largestDeviationDb(response, table.frequenciesHz, table.levelsDb, 0) < 0.1);
    CHECK(response.impulse.size() <= static_cast<std::size_t>(3.0 * sampleRate));
    CHECK(std::ranges::all_of(response.impulse, [](float tap) { return std::isfinite(tap); }));
}

TEST_CASE("What is made minimum phase has the phase that belongs to its level", "[core][measure]")
{
    FrequencyTable table;
    for (const dsp::Band& band : dsp::octaveBands(24, 10.0, 21000.0)) {
        table.frequenciesHz.push_back(band.centreHz);
        table.levelsDb.push_back(20.0 * std::log10(std::abs(chainAt(band.centreHz))));
    }
    const auto response = importedTable(table);
    // Beyond the table the level is kept instead of falling; at its middle that turns the phase by
    // few degrees only.
    for (const double frequencyHz : {200.0, 500.0, 900.0, 1500.0}) {
        const auto got = response.at(std::vector<double> {frequencyHz}).front();
        const double differenceDegrees =
            std::arg(got / chainAt(frequencyHz)) * 180.0 / std::numbers::pi;
        INFO(frequencyHz << " Hz: " << differenceDegrees);
        CHECK(std::abs(differenceDegrees) < 12.0);
    }
    // Nothing comes before the arrival: that is what minimum phase means.
    double before = 0.0;
    double after = 0.0;
    for (std::size_t frame = 0; frame < response.impulse.size(); ++frame)
        (frame < response.arrivalFrame ? before : after) +=
            static_cast<double>(response.impulse[frame])
            * static_cast<double>(response.impulse[frame]);
    CHECK(before < 1e-9 * after);
}

TEST_CASE("A phase column is kept but for the delay in it", "[core][measure]")
{
    // A delay of 3 ms and, beside the chain, an all-pass that minimum phase would not have.
    const auto truth = [](double frequencyHz) {
        const std::complex<double> s(0.0, frequencyHz);
        return chainAt(frequencyHz) * (600.0 - s) / (600.0 + s);
    };
    FrequencyTable table;
    for (double frequencyHz = 10.0; frequencyHz < 21000.0; frequencyHz *= 1.004) {
        table.frequenciesHz.push_back(frequencyHz);
        table.levelsDb.push_back(20.0 * std::log10(std::abs(truth(frequencyHz))));
        table.phasesRadians.push_back(std::arg(
            truth(frequencyHz) * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz * 0.003)));
    }
    const auto response = importedTable(table);
    CHECK(hasRemark(response, "Phase from the table"));
    CHECK_FALSE(hasRemark(response, "minimum phase"));
    CHECK_FALSE(hasRemark(response, "differs from the table"));
    // Beside its ends, where the phase bends sharply, the curve rings by some tenths of a decibel.
    const std::vector<double> innerHz(table.frequenciesHz.begin() + 50,
                                      table.frequenciesHz.end() - 50);
    const std::vector<double> innerDb(table.levelsDb.begin() + 50, table.levelsDb.end() - 50);
    CHECK(largestDeviationDb(response, innerHz, innerDb, 0) < 0.1);
    CHECK(largestDeviationDb(response, table.frequenciesHz, table.levelsDb, 0) < 0.3);
    // What is left of the difference is one delay: the same at all frequencies.
    const auto residual = [&](double frequencyHz) {
        return std::arg(response.at(std::vector<double> {frequencyHz}).front()
                        / truth(frequencyHz));
    };
    const double delaySeconds =
        std::remainder(residual(520.0) - residual(500.0), 2.0 * std::numbers::pi)
        / (2.0 * std::numbers::pi * 20.0);
    for (const double frequencyHz : {60.0, 100.0, 300.0, 600.0, 1000.0, 4000.0, 12000.0}) {
        const double left =
            std::remainder(residual(frequencyHz) - residual(500.0)
                               - 2.0 * std::numbers::pi * delaySeconds * (frequencyHz - 500.0),
                           2.0 * std::numbers::pi);
        INFO(frequencyHz << " Hz, delay " << delaySeconds);
        CHECK(std::abs(left) < 0.05);
    }
}

TEST_CASE("A phase that turns too far between lines is not guessed at", "[core][measure]")
{
    FrequencyTable table {exampleHz, exampleDb, {}};
    for (const double frequencyHz : exampleHz)
        table.phasesRadians.push_back(
            std::remainder(-2.0 * std::numbers::pi * frequencyHz * 0.003, 2.0 * std::numbers::pi));
    const auto response = importedTable(table);
    CHECK(hasRemark(response, "too far to be followed: phase unknown, made minimum phase"));
    CHECK(largestDeviationDb(response, exampleHz, exampleDb, 0) < 0.1);
}

TEST_CASE("Bands are trusted inside the table only, and uncertainty is said to be assumed",
          "[core][measure]")
{
    const auto response = importedTable(bikeTable(100.0, 5000.0));
    CHECK(hasRemark(response, "uncertainty and noise are not known"));
    CHECK(hasRemark(response, "not to be trusted"));
    REQUIRE(response.bands.size() == 31);
    for (const auto& band : response.bands) {
        INFO(band.frequencyHz);
        CHECK(band.uncertaintyDb == measure::assumedUncertaintyDb);
        CHECK(band.trusted == (band.frequencyHz > 120.0 && band.frequencyHz < 4500.0));
    }
}

TEST_CASE("Bands in a wide gap of the table are not trusted", "[core][measure]")
{
    const FrequencyTable table {{50.0, 80.0, 100.0, 900.0, 1500.0, 2500.0, 4000.0},
                                {0.0, 1.0, 2.0, 3.0, 2.0, 1.0, 0.0},
                                {}};
    const auto response = importedTable(table);
    for (const auto& band : response.bands) {
        INFO(band.frequencyHz);
        const bool inside = (band.frequencyHz > 57.0 && band.frequencyHz < 99.9)
                            || (band.frequencyHz > 950.0 && band.frequencyHz < 3600.0);
        if (std::abs(band.frequencyHz - 100.0) > 1.0) // the line at the gap's edge itself
            CHECK(band.trusted == inside);
    }
    CHECK(hasRemark(response, "more than an octave apart"));
}

TEST_CASE("Sound pressure levels become gains about 0 dB, and that is said", "[core][measure]")
{
    FrequencyTable table {exampleHz, exampleDb, {}};
    for (double& levelDb : table.levelsDb)
        levelDb += 87.0;
    const auto response = importedTable(table);
    CHECK(hasRemark(response, "Levels are relative"));
    const auto got = response.magnitudeDb(exampleHz, 0);
    const double shiftDb = got[5] - exampleDb[5];
    for (std::size_t index = 0; index < got.size(); ++index)
        CHECK(got[index] - exampleDb[index] == Approx(shiftDb).margin(0.1));
    CHECK(std::abs(got[5]) < 2.0);
}

TEST_CASE("Tables that cannot be a response are refused with the reason", "[core][measure]")
{
    const auto refusal = [](const FrequencyTable& table, double sampleRate = 48000.0) {
        const auto response = measure::importTable(table, settingsOf(sampleRate));
        REQUIRE_FALSE(response);
        return response.error().message;
    };
    CHECK_THAT(refusal({{100.0, 1000.0}, {0.0, 0.0}, {}}), Catch::Contains("three lines"));
    CHECK_THAT(refusal({{100.0, 110.0, 120.0}, {0.0, 0.0, 0.0}, {}}), Catch::Contains("octave"));
    CHECK_THAT(refusal({{30000.0, 40000.0, 90000.0}, {0.0, 0.0, 0.0}, {}}),
               Catch::Contains("reaches"));
    CHECK_FALSE(measure::importTable({exampleHz, exampleDb, {}}, settingsOf(1000.0)));
}

TEST_CASE("A table beyond half the sample rate or with extremes still gives a finite response",
          "[core][measure]")
{
    FrequencyTable table {{1.0, 20.0, 100.0, 1000.0, 10000.0, 90000.0},
                          {-300.0, -100.0, 0.0, 20.0, -250.0, 300.0},
                          {}};
    const auto response = importedTable(table);
    CHECK(std::ranges::all_of(response.impulse, [](float tap) { return std::isfinite(tap); }));
    CHECK(response.toHz < 24000.0);
    CHECK(hasRemark(response, "were raised to that"));
}

TEST_CASE("Third-octave levels are given back band by band within 0.1 dB", "[core][measure]")
{
    const test::TemporaryFolder folder;
    // Nominal frequencies, sound pressure levels with decimal commas, and a column to be ignored.
    std::vector<double> centres;
    std::vector<double> levels;
    std::string text = "Band;Leq;Lmax\r\n";
    const test::SimulatedBike bike;
    for (const dsp::Band& band : dsp::octaveBands(3, 40.0, 16000.0)) {
        centres.push_back(band.centreHz);
        levels.push_back(std::round(10.0 * (74.0 + bike.smoothedDb(band.centreHz, 3))) / 10.0);
        std::string line =
            dsp::nominalLabel(band.centreHz) + ";" + files::fixedText(levels.back(), 1) + ";93.1";
        std::ranges::replace(line, '.', ',');
        text += line + "\r\n";
    }
    test::writeBytes(folder / "bands.txt", text);
    const auto table = files::readFrequencyTable(folder / "bands.txt");
    REQUIRE(table);
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    const auto response = measure::importThirdOctaves(*table, settingsOf(sampleRate));
    REQUIRE(response);
    const auto got = response->magnitudeDb(centres, 3);
    // Two bands of the edges reach beyond the table.
    const double shiftDb = got[14] - levels[14];
    for (std::size_t band = 0; band < centres.size(); ++band) {
        INFO(centres[band] << " Hz");
        CHECK(got[band] - levels[band] == Approx(shiftDb).margin(0.1));
    }
    CHECK(hasRemark(*response, "made minimum phase"));
    CHECK(hasRemark(*response, "taken as those of pink noise"));
    CHECK(hasRemark(*response, "from 500 Hz to 2 kHz"));
    for (const auto& band : response->bands)
        CHECK(band.trusted == (band.frequencyHz > 39.0 && band.frequencyHz < 16500.0));
}

TEST_CASE("A third-octave table with a band missing is not trusted there, and others are refused",
          "[core][measure]")
{
    const FrequencyTable gap {{100.0, 125.0, 200.0, 250.0}, {60.0, 61.0, 63.0, 64.0}, {}};
    const auto response = measure::importThirdOctaves(gap, settingsOf());
    REQUIRE(response);
    CHECK(hasRemark(*response, "of all bands"));
    for (const auto& band : response->bands) {
        const int nominal = static_cast<int>(std::lround(band.frequencyHz));
        CHECK(band.trusted
              == (nominal == 100 || nominal == 126 || nominal == 200 || nominal == 251));
    }
    const auto refusal = [](const FrequencyTable& table) {
        const auto refused = measure::importThirdOctaves(table, settingsOf());
        REQUIRE_FALSE(refused);
        return refused.error().message;
    };
    CHECK_THAT(refusal({{100.0, 115.0, 125.0}, {0.0, 0.0, 0.0}, {}}),
               Catch::Contains("no mid-band"));
    CHECK_THAT(refusal({{100.0, 101.0, 125.0}, {0.0, 0.0, 0.0}, {}}), Catch::Contains("twice"));
    CHECK_THAT(refusal({{100.0, 125.0}, {0.0, 0.0}, {}}), Catch::Contains("at least three"));
}

TEST_CASE("An impulse response is imported with its arrival, from the chosen channel",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const double sampleRate = GENERATE(44100.0, 96000.0);
    // One second of latency, noise below, the direct sound, and a stronger reflection later.
    dsp::AudioBuffer audio =
        dsp::makeSilence(sampleRate, 2, static_cast<std::size_t>(4.0 * sampleRate));
    const auto arrival = static_cast<std::size_t>(sampleRate) + 3;
    auto& first = audio.channels[0];
    first[arrival - 1] = 0.2F;
    first[arrival] = 0.5F;
    first[arrival + static_cast<std::size_t>(0.01 * sampleRate)] = -0.7F;
    first[arrival - 4000] = 0.01F;
    audio.channels[1][500] = 0.1F;
    REQUIRE(files::writeAudioFile(audio, folder / "ir.wav", files::SampleFormat::float32));
    const auto read = files::readAudioFile(folder / "ir.wav");
    REQUIRE(read);

    auto settings = settingsOf();
    const auto response = measure::importImpulse(*read, settings);
    REQUIRE(response);
    CHECK(response->sampleRate == sampleRate);
    CHECK(response->impulse[response->arrivalFrame] == 0.5F);
    CHECK(response->arrivalFrame == static_cast<std::size_t>(0.35 * sampleRate));
    CHECK(hasRemark(*response, "loudest channel"));
    CHECK(hasRemark(*response, "was left out"));
    CHECK_FALSE(hasRemark(*response, "minimum phase"));
    REQUIRE(measure::saveResponse(*response, folder / "state.json"));
    CHECK(measure::loadResponse(folder / "state.json"));

    settings.channel = 1;
    const auto second = measure::importImpulse(*read, settings);
    REQUIRE(second);
    CHECK(second->arrivalFrame == 500);
    CHECK(second->impulse[500] == 0.1F);
    // A single tap is flat.
    for (const double levelDb : second->magnitudeDb(exampleHz, 0))
        CHECK(levelDb == Approx(-20.0).margin(0.001));
    settings.channel = 2;
    const auto missing = measure::importImpulse(*read, settings);
    REQUIRE_FALSE(missing);
    CHECK_THAT(missing.error().message, Catch::Contains("2 channel(s), not 3"));
}

TEST_CASE("Short impulse responses say from where they may be trusted; silent ones are refused",
          "[core][measure]")
{
    dsp::AudioBuffer audio = dsp::makeSilence(48000.0, 1, 480);
    CHECK_FALSE(measure::importImpulse(audio, settingsOf()));
    audio.channels.front()[0] = 1.0F;
    const auto response = measure::importImpulse(audio, settingsOf());
    REQUIRE(response);
    CHECK(response->fromHz == Approx(100.0));
    CHECK(hasRemark(*response, "to be trusted from 100 Hz on"));
    for (const auto& band : response->bands)
        CHECK(band.trusted == (band.frequencyHz > 120.0 && band.frequencyHz < 17000.0));
    audio.channels.front()[0] = 0.0F;
    audio.channels.front()[470] = 1.0F;
    CHECK_FALSE(measure::importImpulse(audio, settingsOf()));
}

TEST_CASE("An imported response can be compared with the one it was written from",
          "[core][measure]")
{
    const auto table = bikeTable(20.0, 20000.0);
    const auto response = importedTable(table);
    const auto comparison = measure::compareResponses(response, response);
    CHECK(comparison.largestDifferenceDb == Approx(0.0).margin(1e-9));
    CHECK_FALSE(comparison.significant);
}
