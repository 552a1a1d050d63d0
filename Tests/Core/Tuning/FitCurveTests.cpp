#include "Core/Tuning/FitCurve.h"

#include "Support/FitFixtures.h"

#include "Core/Dsp/Units.h"
#include "Core/Tuning/Element.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;

namespace {

double peakingDb(double frequencyHz, double centreHz, double gainDb, double q)
{
    tuning::Element element;
    element.type = tuning::ElementType::peaking;
    element.frequencyHz = centreHz;
    element.gainDb = gainDb;
    element.q = q;
    return dsp::amplitudeToDb(std::abs(tuning::elementResponse(element, frequencyHz)));
}

tuning::FitCurve flatTargetCurve(const measure::Response& response,
                                 const tuning::FitRange& range = {})
{
    const auto curve = tuning::makeFitCurve(response, tuning::FitTarget {}, range);
    REQUIRE(curve);
    return *curve;
}

const tuning::FitPoint& pointNear(const tuning::FitCurve& curve, double frequencyHz)
{
    return *std::ranges::min_element(curve.points, {}, [&](const tuning::FitPoint& point) {
        return std::abs(std::log(point.frequencyHz / frequencyHz));
    });
}

} // namespace

TEST_CASE("A fit curve stands on the exact twelfths of octaves from 40 Hz to 16 kHz",
          "[core][tuning]")
{
    const auto curve = flatTargetCurve(test::responseOf([](double) { return 0.0; }));
    // IEC 61260-1: G = 10^(3/10); an even fraction has an edge and no centre at 1 kHz.
    for (const tuning::FitPoint& point : curve.points) {
        const double index = 40.0 * std::log10(point.frequencyHz / 1000.0) - 0.5;
        CHECK(index == Approx(std::round(index)).margin(1e-9));
        CHECK(point.weight == 1.0);
    }
    CHECK(curve.points.front().frequencyHz == Approx(40.97).epsilon(1e-3));
    CHECK(curve.points.back().frequencyHz == Approx(15399.0).epsilon(1e-3));
    CHECK(curve.points.size() == 104);
}

TEST_CASE("The overall level is free", "[core][tuning]")
{
    const auto curve = flatTargetCurve(test::responseOf([](double) { return 9.0; }));
    const std::array curves {curve};
    // What remains is the import's own deviation from its table.
    CHECK(tuning::fitErrorDb(curves, tuning::noChangeDb) < 0.02);
    CHECK(tuning::fitErrorDb(curves, [](double) { return -20.0; }) < 0.02);
}

TEST_CASE("The error is the weighted root mean square about the weighted mean", "[core][tuning]")
{
    tuning::FitCurve curve;
    curve.points = {{100.0, 1.0, 0.0, 1.0}, {200.0, 5.0, 1.0, 3.0}, {400.0, 99.0, 0.0, 0.0}};
    const std::array<double, 3> change {1.0, 0.0, 0.0};
    // Deviations 2 and 4 with weights 1 and 3: mean 3.5, mean square (2.25 + 3 * 0.25) / 4.
    const auto deviations = tuning::deviationsDb(curve, change);
    CHECK(deviations[0] == Approx(-1.5));
    CHECK(deviations[1] == Approx(0.5));
    CHECK(tuning::curveErrorDb(curve, change) == Approx(std::sqrt(0.75)));
}

TEST_CASE("Several curves count by the root of their mean square", "[core][tuning]")
{
    const auto alternating = [](double levelDb) {
        tuning::FitCurve curve;
        curve.points = {{100.0, levelDb, 0.0, 1.0}, {200.0, -levelDb, 0.0, 1.0}};
        return curve;
    };
    const std::array curves {alternating(3.0), alternating(4.0)};
    CHECK(tuning::fitErrorDb(curves, tuning::noChangeDb) == Approx(std::sqrt(12.5)));
}

TEST_CASE("A narrow dip is closed and counts little, a wide one stays", "[core][tuning]")
{
    const auto narrow = flatTargetCurve(
        test::responseOf([](double hz) { return peakingDb(hz, 500.0, -15.0, 10.0); }));
    REQUIRE(narrow.narrowDips.size() == 1);
    CHECK(narrow.narrowDips.front().frequencyHz == Approx(500.0).epsilon(0.03));
    CHECK(narrow.narrowDips.front().depthDb > 2.0);
    CHECK(pointNear(narrow, 500.0).weight == tuning::narrowDipWeight);
    // The flanks of such a dip are themselves down by 3 dB a sixth of an octave off.
    CHECK(pointNear(narrow, 500.0).levelDb == Approx(-1.5).margin(1.0));
    CHECK(pointNear(narrow, 1000.0).weight == 1.0);
    CHECK_THAT(narrow.remarks.back(), Contains("narrow dips"));

    const auto wide = flatTargetCurve(
        test::responseOf([](double hz) { return peakingDb(hz, 500.0, -15.0, 1.0); }));
    CHECK(wide.narrowDips.empty());
    CHECK(pointNear(wide, 500.0).levelDb == Approx(-15.0).margin(0.5));
    CHECK(std::ranges::all_of(wide.points, [](const auto& point) { return point.weight == 1.0; }));
}

TEST_CASE("A narrow peak is left as it is", "[core][tuning]")
{
    const auto curve = flatTargetCurve(
        test::responseOf([](double hz) { return peakingDb(hz, 500.0, 12.0, 10.0); }));
    CHECK(pointNear(curve, 500.0).weight == 1.0);
    CHECK(pointNear(curve, 500.0).levelDb > 8.0);
    CHECK(curve.narrowDips.empty());
}

TEST_CASE("The points of an untrusted third octave have no weight, and words say so",
          "[core][tuning]")
{
    auto response = test::responseOf([](double) { return 0.0; });
    test::trustOnly(response, 99.0, 8100.0);
    const auto curve = flatTargetCurve(response);
    // IEC 61260-1: the band of 100 Hz begins at 89.1 Hz, that of 8 kHz (7943 Hz) ends at 8913 Hz.
    for (const tuning::FitPoint& point : curve.points) {
        INFO(point.frequencyHz);
        CHECK(point.weight == (point.frequencyHz > 89.1 && point.frequencyHz < 8913.0 ? 1.0 : 0.0));
    }
    REQUIRE_FALSE(curve.remarks.empty());
    CHECK_THAT(curve.remarks.front(),
               Contains("not trusted") && Contains("to 89.1 Hz") && Contains("8913 Hz to"));
}

TEST_CASE("Where the target is not known points have no weight", "[core][tuning]")
{
    auto earlier = test::responseOf([](double) { return 3.0; }, "earlier");
    test::trustOnly(earlier, 200.0, 20000.0);
    const auto target = tuning::targetFromResponse(earlier);
    REQUIRE(target);
    const auto curve =
        tuning::makeFitCurve(test::responseOf([](double) { return 0.0; }), *target, {});
    REQUIRE(curve);
    CHECK(pointNear(*curve, 100.0).weight == 0.0);
    CHECK(pointNear(*curve, 300.0).weight == 1.0);
    CHECK_THAT(curve->remarks.front(), Contains("target 'earlier'"));
}

TEST_CASE("A response with less than an octave to compare is refused", "[core][tuning]")
{
    auto response = test::responseOf([](double) { return 0.0; }, "quiet");
    test::trustOnly(response, 990.0, 1010.0);
    const auto curve = tuning::makeFitCurve(response, tuning::FitTarget {}, {});
    REQUIRE_FALSE(curve);
    CHECK(curve.error().code == dsp::ErrorCode::notTrustworthy);
    CHECK_THAT(curve.error().message,
               Contains("quiet") && (Contains("measure it again") || Contains("measure again")));
}

TEST_CASE("A sample rate that ends below the range ends the curve, and words say so",
          "[core][tuning]")
{
    auto response = test::responseOf([](double) { return 0.0; });
    response.sampleRate = 16000.0;
    const auto curve = flatTargetCurve(response);
    CHECK(curve.points.back().frequencyHz < 8000.0);
    CHECK(std::ranges::any_of(curve.remarks, [](const std::string& remark) {
        return remark.find("sample rate") != std::string::npos;
    }));
}

TEST_CASE("The largest deviation is that of a third octave, of any curve", "[core][tuning]")
{
    const auto bump = [](double centreHz, double levelDb) {
        return test::curveOf(
            [=](double hz) { return std::abs(std::log10(hz / centreHz)) < 0.05 ? levelDb : 0.0; });
    };
    const std::array curves {bump(1000.0, 4.0), bump(200.0, -6.0)};
    const auto largest = tuning::largestDeviation(curves, tuning::noChangeDb);
    CHECK(largest.curve == 1);
    CHECK(largest.frequencyHz == Approx(199.5).epsilon(1e-3));
    // Four points of 104 take the mean down by 4/104 of the dip.
    CHECK(largest.deviationDb == Approx(-6.0 * (1.0 - 4.0 / 104.0)));
    CHECK(tuning::bandDeviations(curves[0], tuning::noChangeDb).size() == 27);
}

TEST_CASE("The change of a tuning is what its prototypes mean, gain included", "[core][tuning]")
{
    tuning::Element gain;
    gain.gainDb = -4.0;
    tuning::Element peak;
    peak.type = tuning::ElementType::peaking;
    peak.frequencyHz = 12000.0;
    peak.gainDb = 6.0;
    peak.q = 2.0;
    const tuning::Tuning tuning {"", {{tuning::OutputGroup::all, {gain, peak}}}};
    const auto change = tuning::levelDbOf(tuning);
    CHECK(change(12000.0) == Approx(2.0));
    CHECK(change(30.0) == Approx(-4.0).margin(1e-3));
}
