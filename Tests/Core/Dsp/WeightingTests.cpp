#include "Core/Dsp/Weighting.h"

#include "Core/Dsp/Units.h"
#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

using namespace saddletone;

TEST_CASE("A and C weighting follow the table of IEC 61672-1 to its rounding", "[core][dsp]")
{
    const test::ReferenceTable table("weighting_a_c.csv");
    REQUIRE(table.numRows() == 34);
    double largest = 0.0;
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        // The table's nominal frequencies stand for the exact base-ten ones, and its values are
        // given to 0.1 dB.
        const double frequencyHz = table.number(row, "exact_hz");
        const double a = dsp::weightingDb(dsp::Weighting::a, frequencyHz);
        const double c = dsp::weightingDb(dsp::Weighting::c, frequencyHz);
        CAPTURE(frequencyHz);
        CHECK(a == Approx(table.number(row, "A_table_db")).margin(0.05));
        CHECK(c == Approx(table.number(row, "C_table_db")).margin(0.05));
        // The formula worked out apart from this program, written to 0.001 dB.
        CHECK(a == Approx(table.number(row, "A_formula_db")).margin(0.002));
        CHECK(c == Approx(table.number(row, "C_formula_db")).margin(0.002));
        largest = std::max(largest, std::abs(a - table.number(row, "A_table_db")));
    }
    CHECK(largest == Approx(0.0497).margin(0.001));
}

TEST_CASE("Weightings are 0 dB at 1 kHz and Z everywhere", "[core][dsp]")
{
    CHECK(dsp::weightingDb(dsp::Weighting::a, 1000.0) == Approx(0.0).margin(1e-12));
    CHECK(dsp::weightingDb(dsp::Weighting::c, 1000.0) == Approx(0.0).margin(1e-12));
    for (const double frequencyHz : {0.0, 1.0, 31.5, 1000.0, 96000.0})
        CHECK(dsp::weightingDb(dsp::Weighting::z, frequencyHz) == 0.0);
}

TEST_CASE("Weightings are finite at 0 Hz and at the top of the range", "[core][dsp]")
{
    for (const auto weighting : {dsp::Weighting::a, dsp::Weighting::c}) {
        CHECK(dsp::weightingDb(weighting, 0.0) == Approx(dsp::silenceDb).margin(3.0));
        CHECK(std::isfinite(dsp::weightingDb(weighting, 1e-3)));
        CHECK(std::isfinite(dsp::weightingDb(weighting, 192000.0)));
    }
}

TEST_CASE("Weighting letters round trip and others are refused by name", "[core][dsp]")
{
    for (const auto weighting : {dsp::Weighting::a, dsp::Weighting::c, dsp::Weighting::z}) {
        const auto parsed = dsp::parseWeighting(dsp::weightingName(weighting));
        REQUIRE(parsed.has_value());
        CHECK(*parsed == weighting);
    }
    const auto refused = dsp::parseWeighting("B");
    REQUIRE_FALSE(refused.has_value());
    CHECK(refused.error().code == dsp::ErrorCode::malformed);
    CHECK_THAT(refused.error().message, Catch::Contains("'B'") && Catch::Contains("A, C or Z"));
}
