#include "Core/Tuning/FilterExport.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Support/TemporaryFolder.h"
#include "Support/TuningFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <sstream>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using tuning::Alignment;
using tuning::Element;
using tuning::ElementType;
using tuning::OutputGroup;

namespace {

tuning::Tuning frontAndRear()
{
    return {"Long ride, \"windy\"",
            {{OutputGroup::all,
              {{.type = ElementType::peaking,
                .frequencyHz = 2500.0,
                .gainDb = 3.5,
                .q = 1.25,
                .label = "Voice, clear"},
               {.type = ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = -4.0, .slope = 1.0},
               {.type = ElementType::gain, .gainDb = -2.0},
               {.type = ElementType::gain, .gainDb = -1.0}}},
             {OutputGroup::rear,
              {{.type = ElementType::highPass,
                .frequencyHz = 90.0,
                .alignment = Alignment::linkwitzRiley,
                .order = 4},
               {.type = ElementType::delay, .delayMs = 1.25},
               {.type = ElementType::polarity},
               {.type = ElementType::limiter, .thresholdDbfs = -6.0}}}}};
}

std::vector<std::string> linesOf(const std::string& text)
{
    std::vector<std::string> lines;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);)
        lines.push_back(line);
    return lines;
}

/** Frequency response of one biquad of the JSON, by running the difference equation that is written
    there on an impulse and summing the transform: independent of the program's own response. */
std::complex<double> responseOf(const nlohmann::json& biquad, double normalisedFrequency)
{
    const double b0 = biquad.at("b0");
    const double b1 = biquad.at("b1");
    const double b2 = biquad.at("b2");
    const double a1 = biquad.at("a1");
    const double a2 = biquad.at("a2");
    const auto step = std::polar(1.0, -2.0 * std::numbers::pi * normalisedFrequency);
    std::complex<double> turn = 1.0;
    std::complex<double> sum = 0.0;
    double x1 = 0.0;
    double x2 = 0.0;
    double y1 = 0.0;
    double y2 = 0.0;
    for (int n = 0; n < 40000; ++n) {
        const double x = n == 0 ? 1.0 : 0.0;
        const double y = b0 * x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
        sum += y * turn;
        turn *= step;
        x2 = x1;
        x1 = x;
        y2 = y1;
        y1 = y;
    }
    return sum;
}

} // namespace

TEST_CASE("The printed table says what to type in, and how it is meant", "[core][tuning]")
{
    const std::string text = tuning::filterTableText(frontAndRear());
    CHECK_THAT(text, Contains("Filter settings: Long ride, \"windy\"\n"));
    CHECK_THAT(text, Contains("a positive gain is a boost"));
    CHECK_THAT(text, Contains("Q of a bell: its frequency over its width"));
    CHECK_THAT(text, Contains("All speakers\n") && Contains("Rear speakers\n"));
    CHECK_THAT(text, Contains("Overall gain: -3.0 dB\n") && Contains("Delay: 1.250 ms\n"));
    CHECK_THAT(text, Contains("Polarity: inverted (plus and minus exchanged)\n"));
    CHECK_THAT(text, Contains("Limiter: threshold -6.0 dBFS, attack 5.00 ms, release 100 ms\n"));

    const auto lines = linesOf(text);
    const auto lineWith = [&](const std::string& part) {
        const auto found = std::ranges::find_if(
            lines, [&](const std::string& line) { return line.find(part) != std::string::npos; });
        REQUIRE(found != lines.end());
        return *found;
    };
    const std::string header = lineWith("Frequency (Hz)");
    // Columns of numbers end where their heading ends.
    const auto cell = [&](const std::string& line, const std::string& heading,
                          const std::string& expected) {
        const std::size_t end = header.find(heading) + heading.size();
        CHECK(line.substr(end - expected.size(), expected.size()) == expected);
    };
    const std::string bell = lineWith("Peaking (bell)");
    cell(bell, "Frequency (Hz)", " 2500.0");
    cell(bell, "Gain (dB)", " +3.5");
    cell(bell, " Q", " 1.25");
    CHECK_THAT(bell, Contains("Voice, clear"));
    const std::string shelf = lineWith("Low shelf");
    cell(shelf, "Gain (dB)", " -4.0");
    cell(shelf, " Q", " 0.71");
    CHECK_THAT(shelf, Contains("shelf slope 1.00"));
    const std::string pass = lineWith("High-pass   ");
    cell(pass, "Order", " 4");
    CHECK_THAT(pass, Contains("Linkwitz-Riley"));
    CHECK_THAT(tuning::filterTableText({}), Contains("Nothing is set"));
    CHECK_THAT(tuning::filterTableText({"two\nlines", {}}), Contains("settings: two lines\n"));
}

TEST_CASE("A graphic is printed band by band", "[core][tuning]")
{
    Element graphic {.type = ElementType::graphic};
    graphic.bandGainsDb[0] = -5.0;
    graphic.bandGainsDb[30] = 2.0;
    const tuning::Tuning tuning {"", {{OutputGroup::all, {graphic}}}};
    const auto lines = linesOf(tuning::filterTableText(tuning));
    CHECK(std::ranges::count_if(lines,
                                [](const std::string& line) {
                                    return line.find("Graphic band") != std::string::npos;
                                })
          == 31);
    const auto csv = linesOf(tuning::filterTableCsv(tuning));
    CHECK(csv.size() == 1 + 31 + 3);
    CHECK(csv[1] == "all,graphic,19.9526,-5.0000,4.31847,,,,,,,,,");
}

TEST_CASE("The CSV has its units in the header and a cell for each column", "[core][tuning]")
{
    const auto lines = linesOf(tuning::filterTableCsv(frontAndRear()));
    REQUIRE(lines.size() == 1 + 5 + 5);
    CHECK(lines[0]
          == "group,type,frequency_hz,gain_db (positive = boost),q,shelf_slope,alignment,order,"
             "delay_ms,polarity,threshold_dbfs,attack_ms,release_ms,label");
    CHECK(lines[1] == "all,peaking,2500.0000,+3.5000,1.25000,,,,,,,,,\"Voice, clear\"");
    CHECK(lines[3] == "all,gain,,-3.0000,,,,,,,,,,");
    CHECK(lines[5] == "all,polarity,,,,,,,,normal,,,,");
    CHECK(lines[6] == "rear,high-pass,90.0000,,,,Linkwitz-Riley,4,,,,,,");
    CHECK(lines[8] == "rear,delay,,,,,,,1.250000,,,,,");
    CHECK(lines[9] == "rear,polarity,,,,,,,,inverted,,,,");
    CHECK(lines[10] == "rear,limiter,,,,,,,,,-6.00,5.000,100.000,");
    for (std::size_t line = 2; line < lines.size(); ++line)
        CHECK(std::ranges::count(lines[line], ',') == 13);
}

TEST_CASE("The exported biquads, run by their equation, are the tuning as heard", "[core][tuning]")
{
    tuning::Tuning tuning = frontAndRear();
    tuning.chains.push_back({OutputGroup::rear, test::allElements()});
    for (const double sampleRate : {44100.0, 48000.0, 96000.0}) {
        const auto json =
            nlohmann::json::parse(files::jsonText(tuning::filterBiquadsJson(tuning, sampleRate)));
        CHECK(json.at("sampleRate") == sampleRate);
        CHECK_THAT(json.at("differenceEquation").get<std::string>(),
                   Contains("- a1*y[n-1] - a2*y[n-2]"));
        CHECK_THAT(json.at("delayNote").get<std::string>(),
                   Contains("delaySamples is all the delay to set"));
        REQUIRE(json.at("groups").size() == 2);
        for (const double frequencyHz : {45.0, 700.0, 11000.0}) {
            std::complex<double> product = 1.0;
            for (const auto& group : json.at("groups")) {
                product *= group.at("gainLinear").get<double>()
                           * (group.at("polarity") == "inverted" ? -1.0 : 1.0)
                           * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate
                                                 * group.at("delaySamples").get<double>());
                for (const auto& biquad : group.at("biquads"))
                    product *= responseOf(biquad, frequencyHz / sampleRate);
            }
            const auto heard =
                tuning::tuningResponse(tuning, OutputGroup::rear, frequencyHz, sampleRate);
            CAPTURE(sampleRate, frequencyHz);
            // The impulses have rung out to 1e-9 of what they began with.
            CHECK(std::abs(product - heard) <= 1e-6 * std::abs(heard));
        }
    }
}

TEST_CASE("The ending of the file decides what is exported", "[core][tuning]")
{
    const test::TemporaryFolder folder;
    const auto tuning = frontAndRear();
    REQUIRE(tuning::exportFilters(tuning, folder / "set.txt", 48000.0));
    REQUIRE(tuning::exportFilters(tuning, folder / "set.csv", 48000.0));
    REQUIRE(tuning::exportFilters(tuning, folder / "set.json", 44100.0));
    CHECK(*files::readTextFile(folder / "set.txt") == tuning::filterTableText(tuning));
    CHECK(*files::readTextFile(folder / "set.csv") == tuning::filterTableCsv(tuning));
    CHECK(*files::loadJson(folder / "set.json") == tuning::filterBiquadsJson(tuning, 44100.0));
    const auto refused = tuning::exportFilters(tuning, folder / "set.pdf", 48000.0);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().message, Contains("set.pdf") && Contains(".csv"));
}
