#include "Core/Files/TextTable.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using Catch::Contains;

namespace {

files::FrequencyTable tableOf(const std::string& text)
{
    const auto table = files::parseFrequencyTable(text, "curve.txt");
    if (!table)
        FAIL(table.error().message);
    return *table;
}

dsp::Error problemOf(const std::string& text)
{
    const auto table = files::parseFrequencyTable(text, "curve.txt");
    REQUIRE_FALSE(table.has_value());
    CHECK_THAT(table.error().message, Contains("'curve.txt'"));
    return table.error();
}

const std::vector<double> frequencies {31.5, 1000.0, 12500.0};
const std::vector<double> levels {-3.5, 0.0, 2.25};

} // namespace

TEST_CASE("Columns may be set apart by tabs, spaces, commas or semicolons", "[core][files]")
{
    for (const char* text :
         {"31.5\t-3.5\n1000\t0\n12500\t2.25\n", "31.5 -3.5\n1000 0\n12500 2.25\n",
          "  31.5   -3.5  \n 1000    0.0\n12500    2.25", "31.5,-3.5\n1000,0\n12500,2.25\n",
          "31.5, -3.5\n1000, 0\n12500, 2.25\n", "31.5 , -3.5\n1000 , 0\n12500 , 2.25\n",
          "31.5;-3.5\n1000;0\n12500;2.25\n", "31.5; -3.5\n1000; 0\n12500; 2.25\n",
          "31.5 \t -3.5\n1000\t\t0\n12500\t 2.25\n"}) {
        CAPTURE(text);
        const auto table = tableOf(text);
        CHECK(table.frequenciesHz == frequencies);
        CHECK(table.levelsDb == levels);
        CHECK(table.phasesRadians.empty());
    }
}

TEST_CASE("Decimals may be commas where columns are not", "[core][files]")
{
    for (const char* text :
         {"31,5\t-3,5\n1000\t0\n12500\t2,25\n", "31,5 -3,5\n1000 0\n12500 2,25\n",
          "31,5;-3,5\n1000;0\n12500;2,25\n", "31,5   -3,5\n1000,0 0,0\n12500,0   2,25\n"}) {
        CAPTURE(text);
        const auto table = tableOf(text);
        CHECK(table.frequenciesHz == frequencies);
        CHECK(table.levelsDb == levels);
    }
}

TEST_CASE("Comments, header lines, empty lines and line ends of all systems pass", "[core][files]")
{
    for (const char* text :
         {"# curve of microphone 7\n31.5 -3.5\n1000 0\n# middle\n12500 2.25\n",
          "31.5 -3.5 # read by eye\n1000 0\t# middle\n12500 2.25#\n",
          "* sensitivity -38 dB\n31.5 -3.5\n1000 0\n12500 2.25\n",
          "; comment\n31.5 -3.5\n1000 0\n12500 2.25\n",
          "frequency_hz,level_db\n31.5,-3.5\n1000,0\n12500,2.25\n",
          "Frequency Level\n\n31.5 -3.5\n\n1000 0\n12500 2.25\n\n\n",
          "31.5 -3.5\r\n1000 0\r\n12500 2.25\r\n",
          "\xEF\xBB\xBF"
          "31.5 -3.5\n1000 0\n12500 2.25\n",
          "\xEF\xBB\xBF# comment\r\nHz;dB\r\n31,5;-3,5\r\n1000;0\r\n12500;2,25\r\n",
          "3.15e1 -3.5\n1e3 +0\n1.25E4 +2.25\n"}) {
        CAPTURE(text);
        const auto table = tableOf(text);
        CHECK(table.frequenciesHz == frequencies);
        CHECK(table.levelsDb == levels);
    }
}

TEST_CASE("Commas that may be decimals or set columns apart are not guessed at", "[core][files]")
{
    CHECK_THAT(problemOf("31,5,-3,5\n1000,0,0,0\n12500,0,2,25\n").message,
               Contains("commas") && Contains("';'"));
    // A dot anywhere tells that the commas set columns apart: frequency, level, phase, coherence.
    const auto table = tableOf("100,0,0,1\n200,-1.5,10,1\n");
    CHECK(table.levelsDb == std::vector {0.0, -1.5});
    CHECK(table.phasesRadians.size() == 2);
}

TEST_CASE("What is no plain text is called so", "[core][files]")
{
    using namespace std::string_literals;
    // UTF-16, as some instruments write, and any binary file.
    CHECK_THAT(problemOf("\xFF\xFE"
                         "1\0000\0000\0 \0000\0\n\0"s)
                   .message,
               Contains("plain text"));
    CHECK_THAT(problemOf("RIFF\0\0\0\0WAVEfmt "s).message, Contains("UTF-8"));
}

TEST_CASE("A third column is a phase in degrees", "[core][files]")
{
    for (const char* text : {"100 -1 90\n200 -2 -45\n", "100,-1,90\n200,-2,-45\n",
                             "100;-1,0;90,0\n200;-2,0;-45,0\n"}) {
        const auto table = tableOf(text);
        REQUIRE(table.phasesRadians.size() == 2);
        CHECK(table.phasesRadians[0] == Approx(0.5 * std::numbers::pi));
        CHECK(table.phasesRadians[1] == Approx(-0.25 * std::numbers::pi));
    }
}

TEST_CASE("A value that is no finite number is refused with its line", "[core][files]")
{
    for (const char* text : {"100 -1\n200 nan\n", "100 -1\n200 NaN\n", "100 -1\n200 inf\n",
                             "100 -1\n200 -inf\n", "100 -1\ninf 0\n", "100;-1\n200;nan\n"}) {
        CAPTURE(text);
        const auto problem = problemOf(text);
        CHECK(problem.code == dsp::ErrorCode::outOfRange);
        CHECK_THAT(problem.message, Contains("line 2") && Contains("finite"));
    }
    // Comments and empty lines count, as they do in an editor.
    CHECK_THAT(problemOf("# a\n\n100 -1\n200 nan\n").message, Contains("line 4"));
    CHECK_THAT(problemOf("100 -1\r\n200 1e999\r\n").message, Contains("line 2"));
}

TEST_CASE("A phase too large for an angle is refused with its line", "[core][files]")
{
    const auto problem = problemOf("100 0 -720\n200 0 -1e308\n");
    CHECK(problem.code == dsp::ErrorCode::outOfRange);
    CHECK_THAT(problem.message, Contains("line 2") && Contains("phase"));
    // A second of delay at 20 kHz, unwrapped.
    CHECK(tableOf("100 0 0\n20000 0 -7.2e6\n").phasesRadians.size() == 2);
}

TEST_CASE("Frequencies that do not rise or are not above 0 are refused", "[core][files]")
{
    CHECK_THAT(problemOf("100 0\n90 0\n").message, Contains("line 2") && Contains("rise"));
    CHECK_THAT(problemOf("100 0\n100 0\n").message, Contains("line 2") && Contains("rise"));
    CHECK_THAT(problemOf("0 0\n100 0\n").message, Contains("line 1") && Contains("above 0"));
    CHECK_THAT(problemOf("-5 0\n").message, Contains("line 1"));
    CHECK_THAT(problemOf("2000000 0\n").message, Contains("line 1"));
    CHECK_THAT(problemOf("100 301\n").message, Contains("line 1") && Contains("300 dB"));
}

TEST_CASE("Lines that are no table are refused with their text and line", "[core][files]")
{
    CHECK_THAT(problemOf("100 -1\nhello there\n").message,
               Contains("line 2") && Contains("'hello there'"));
    CHECK_THAT(problemOf("100\n").message, Contains("line 1"));
    CHECK_THAT(problemOf("100 -1 20\n200 -2\n").message,
               Contains("line 2") && Contains("number of columns"));
    CHECK_THAT(problemOf("100 -1 dB\n").message, Contains("line 1"));
    // A block of words in front of the numbers is a header; a text of nothing but words is not.
    std::string words;
    for (int line = 0; line < 40; ++line)
        words += "more words\n";
    CHECK_THAT(problemOf(words + "100 0\n").message, Contains("line 31"));
    CHECK_THAT(problemOf("").message, Contains("no line with numbers"));
    CHECK_THAT(problemOf("# only\n; comments\n").message, Contains("no line with numbers"));
    CHECK(problemOf("Hz,dB\n").code == dsp::ErrorCode::malformed);
}

TEST_CASE("Separators at the end of lines and several header lines pass", "[core][files]")
{
    const auto table =
        files::parseFrequencyTable("Analyser X1\nthird octaves\nHz;dB;\n100;-3,5;\n125;-3;\n", "t");
    REQUIRE(table);
    CHECK(table->frequenciesHz == std::vector {100.0, 125.0});
    CHECK(table->levelsDb == std::vector {-3.5, -3.0});
    CHECK(table->phasesRadians.empty());
}

TEST_CASE("A table is read from its file, and a missing file is named", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "curve.txt", "31.5 -3.5\n1000 0\n12500 2.25\n");
    const auto table = files::readFrequencyTable(folder / "curve.txt");
    REQUIRE(table.has_value());
    CHECK(table->frequenciesHz == frequencies);
    const auto missing = files::readFrequencyTable(folder / "none.txt");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().code == dsp::ErrorCode::notFound);
}

TEST_CASE("A level between lines lies on a straight line over log frequency", "[core][files]")
{
    const auto table = tableOf("100 0\n1000 10\n4000 -2\n");
    CHECK(table.levelDbAt(100.0) == 0.0);
    CHECK(table.levelDbAt(1000.0) == Approx(10.0));
    CHECK(table.levelDbAt(100.0 * std::sqrt(10.0)) == Approx(5.0));
    CHECK(table.levelDbAt(2000.0) == Approx(4.0));
    // Beyond the ends the end values hold.
    CHECK(table.levelDbAt(1.0) == 0.0);
    CHECK(table.levelDbAt(20000.0) == -2.0);
}

TEST_CASE("Tables are written with a header, dots and the decimals asked for", "[core][files]")
{
    CHECK(files::csvText({"frequency_hz", "level_db"}, {{31.5, 1000.0}, {-3.25, 0.0004}}, 2)
          == "frequency_hz,level_db\n31.50,-3.25\n1000.00,0.00\n");
    CHECK(files::csvText({"a"}, {{}}) == "a\n");
    CHECK(files::fixedText(-0.0004, 2) == "0.00");
    CHECK(files::fixedText(-0.0, 0) == "0");
    CHECK(files::fixedText(-1.5, 1) == "-1.5");
    CHECK(files::fixedText(-0.05, 2) == "-0.05");
    CHECK(files::fixedText(123456.789, 3) == "123456.789");
}

TEST_CASE("A written table can be read again", "[core][files]")
{
    const auto table = tableOf(files::csvText({"hz", "db"}, {frequencies, levels}, 3));
    CHECK(table.frequenciesHz == frequencies);
    CHECK(table.levelsDb == levels);
}
