#include "Core/Tuning/ThirdOctaveCurve.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Measure/ImportedResponse.h"

#include <cmath>
#include <numeric>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

measure::Response flatWith(double nominalHz, double levelDb)
{
    files::FrequencyTable table;
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        table.frequenciesHz.push_back(band.centreHz);
        table.levelsDb.push_back(std::abs(band.centreHz / nominalHz - 1.0) < 0.02 ? levelDb : 0.0);
    }
    measure::ImportSettings settings;
    settings.name = "bands";
    auto response = measure::importThirdOctaves(table, settings);
    REQUIRE(response);
    return *response;
}

} // namespace

TEST_CASE("From 80 Hz to 12 kHz reaches into 23 third octaves", "[core][tuning]")
{
    const auto curve =
        tuning::thirdOctaveCurve(flatWith(1000.0, 0.0), tuning::FitTarget {}, 80.0, 12000.0);
    // IEC 61260-1: the band of 80 Hz (exactly 79.43 Hz) begins at 70.8 Hz, that of 12.5 kHz
    // (exactly 12.589 kHz) at 11.2 kHz.
    REQUIRE(curve.bands.size() == 23);
    CHECK(curve.bands.front().frequencyHz == Approx(79.43).epsilon(1e-4));
    CHECK(curve.bands.back().frequencyHz == Approx(12589.3).epsilon(1e-4));
    CHECK(curve.untrustedHz.empty());
    for (const auto& band : curve.bands)
        CHECK(std::accumulate(band.partShares.begin(), band.partShares.end(), 0.0)
              == Approx(1.0).margin(1e-12));
}

TEST_CASE("The parts of a third octave fill it from edge to edge", "[core][tuning]")
{
    const auto parts = tuning::bandPartsHz(1000.0);
    const double halfPart = std::pow(10.0, 0.3 / 48.0);
    // IEC 61260-1: the edges lie a factor of 10^(1/20) off the middle.
    CHECK(parts.front() / halfPart == Approx(1000.0 * std::pow(10.0, -0.05)));
    CHECK(parts.back() * halfPart == Approx(1000.0 * std::pow(10.0, 0.05)));
}

TEST_CASE("A curve strays by half its span, since its level is free", "[core][tuning]")
{
    const auto strayingFor = [](double nominalHz, double levelDb) {
        return tuning::strayingOf(tuning::thirdOctaveCurve(flatWith(nominalHz, levelDb),
                                                           tuning::FitTarget {}, 80.0, 12000.0));
    };
    const auto boosted = strayingFor(100.0, 5.0);
    CHECK(boosted.sizeDb == Approx(2.5).margin(0.01));
    CHECK(boosted.frequencyHz == Approx(100.0).epsilon(0.01));
    CHECK(boosted.isAbove);
    const auto cut = strayingFor(5000.0, -8.0);
    CHECK(cut.sizeDb == Approx(4.0).margin(0.01));
    CHECK(cut.frequencyHz == Approx(5012.0).epsilon(0.01));
    CHECK_FALSE(cut.isAbove);
}

TEST_CASE("The level of a tuning does not matter to how far a curve strays", "[core][tuning]")
{
    const auto curve =
        tuning::thirdOctaveCurve(flatWith(100.0, 5.0), tuning::FitTarget {}, 80.0, 12000.0);
    tuning::Element gain;
    gain.gainDb = -7.0;
    CHECK(tuning::strayingOf(curve, {"", {{tuning::OutputGroup::all, {gain}}}}).sizeDb
          == Approx(tuning::strayingOf(curve).sizeDb).margin(1e-9));
    // On the other side's speakers alone it does not act.
    tuning::Element peak;
    peak.type = tuning::ElementType::peaking;
    peak.gainDb = 12.0;
    CHECK(tuning::strayingOf(curve, {"", {{tuning::OutputGroup::right, {peak}}}},
                             tuning::OutputGroup::left)
              .sizeDb
          == Approx(tuning::strayingOf(curve).sizeDb).margin(1e-9));
}

TEST_CASE("A narrow filter acts on a third octave by its power", "[core][tuning]")
{
    const auto curve =
        tuning::thirdOctaveCurve(flatWith(1000.0, 0.0), tuning::FitTarget {}, 500.0, 2000.0);
    tuning::Element peak;
    peak.type = tuning::ElementType::peaking;
    peak.frequencyHz = 1000.0;
    peak.q = 6.0;
    peak.gainDb = 10.0;
    const auto powerOver = [&](double middleHz) {
        // The mean power over the band of a flat curve, by a fine sum over frequency.
        constexpr int numLines = 2000;
        const double lower = middleHz * std::pow(10.0, -0.05);
        const double upper = middleHz * std::pow(10.0, 0.05);
        double sum = 0.0;
        for (int line = 0; line < numLines; ++line)
            sum += std::norm(
                tuning::elementResponse(peak, lower + (upper - lower) * (line + 0.5) / numLines));
        return 10.0 * std::log10(sum / numLines);
    };
    const double expectedDb = 0.5 * (powerOver(1000.0) - powerOver(501.19));
    // Eight parts a band stand for 2000 lines, and a flat curve made of third octaves ripples.
    CHECK(tuning::strayingOf(curve, {"", {{tuning::OutputGroup::all, {peak}}}}).sizeDb
          == Approx(expectedDb).margin(0.1));
    CHECK(powerOver(1000.0) < 9.0);
}

TEST_CASE("Bands that are not trusted or of which the target tells nothing are left out",
          "[core][tuning]")
{
    auto response = flatWith(100.0, 9.0);
    for (auto& band : response.bands)
        band.trusted = band.frequencyHz > 110.0;
    tuning::FitTarget target;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        if (band.centreHz > 9000.0 && band.centreHz < 11000.0)
            target.unknownBands.push_back(band);
    const auto curve = tuning::thirdOctaveCurve(response, target, 80.0, 12000.0);
    REQUIRE(curve.untrustedHz.size() == 3);
    CHECK(curve.untrustedHz[1] == Approx(100.0));
    CHECK(curve.untrustedHz[2] == Approx(10000.0));
    CHECK(tuning::strayingOf(curve).sizeDb < 0.05);
    CHECK(tuning::strayingOf({}).sizeDb == 0.0);
}
