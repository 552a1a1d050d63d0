#include "Core/Tuning/FilterFit.h"

#include "Support/FitFixtures.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Tuning/FitProblem.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Contains;
using tuning::Element;
using tuning::ElementType;
using tuning::FilterLimits;
using tuning::FitCurve;
using tuning::FitResult;

namespace {

FitResult fit(const std::vector<FitCurve>& curves, int numFilters, const FilterLimits& limits = {})
{
    const auto result = tuning::fitFilters(curves, limits, numFilters);
    REQUIRE(result);
    return *result;
}

std::vector<Element> filtersOf(const FitResult& result)
{
    std::vector<Element> filters;
    for (const Element& element : result.tuning.chains.front().elements)
        if (element.type != ElementType::gain)
            filters.push_back(element);
    return filters;
}

/** Level of the filters alone or of the whole tuning, by the prototypes. */
double filtersDb(const FitResult& result, double frequencyHz)
{
    double levelDb = 0.0;
    for (const Element& element : filtersOf(result))
        levelDb += dsp::amplitudeToDb(std::abs(tuning::elementResponse(element, frequencyHz)));
    return levelDb;
}

Element filter(ElementType type, double frequencyHz, double gainDb, double q)
{
    Element element;
    element.type = type;
    element.frequencyHz = frequencyHz;
    element.gainDb = gainDb;
    element.q = q;
    return element;
}

/** What a chain of filters undoes. */
FitCurve undoneBy(const std::vector<Element>& elements)
{
    return test::curveOf([&](double hz) {
        double levelDb = 0.0;
        for (const Element& element : elements)
            levelDb -= dsp::amplitudeToDb(std::abs(tuning::elementResponse(element, hz)));
        return levelDb;
    });
}

void distrust(FitCurve& curve, double fromHz, double toHz)
{
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        if (band.centreHz >= fromHz && band.centreHz <= toHz) {
            curve.untrustedBands.push_back(band);
            for (tuning::FitPoint& point : curve.points)
                if (point.frequencyHz >= band.lowerHz && point.frequencyHz < band.upperHz)
                    point.weight = 0.0;
        }
}

} // namespace

TEST_CASE("A known chain is found again from what it undoes", "[core][tuning]")
{
    const std::vector<Element> chain {filter(ElementType::lowShelf, 90.0, 4.0, 0.7),
                                      filter(ElementType::peaking, 315.0, -6.0, 2.0),
                                      filter(ElementType::peaking, 1250.0, 3.0, 1.2),
                                      filter(ElementType::peaking, 4000.0, -4.0, 3.0),
                                      filter(ElementType::highShelf, 8000.0, -3.0, 0.8)};
    const auto result = fit({undoneBy(chain)}, 5);
    CHECK(result.errorBeforeDb > 2.0);
    CHECK(result.errorAfterDb < 1e-3);
    const auto found = filtersOf(result);
    REQUIRE(found.size() == chain.size());
    for (std::size_t index = 0; index < chain.size(); ++index) {
        INFO("filter " << index);
        CHECK(found[index].type == chain[index].type);
        CHECK(found[index].frequencyHz == Approx(chain[index].frequencyHz).epsilon(0.005));
        CHECK(found[index].gainDb == Approx(chain[index].gainDb).margin(0.02));
        CHECK(found[index].q == Approx(chain[index].q).epsilon(0.01));
    }
}

TEST_CASE("No filters change nothing", "[core][tuning]")
{
    const auto result = fit({test::curveOf(test::unevenLevel(1))}, 0);
    CHECK(result.numFilters == 0);
    CHECK(result.tuning.chains.front().elements.empty());
    CHECK(result.errorAfterDb == result.errorBeforeDb);
    CHECK(result.largestAfter == result.largestBefore);
    CHECK(result.largestBoostDb == 0.0);
}

TEST_CASE("A response that is on target gets no filters", "[core][tuning]")
{
    const auto result = fit({test::curveOf([](double) { return -7.0; })}, 6);
    CHECK(result.numFilters == 0);
    CHECK_THAT(result.remarks.back(), Contains("0 of 6 filters are used; within the limits"));
}

TEST_CASE("Every limit of a fit is kept to a millionth", "[core][tuning]")
{
    constexpr double margin = 1e-6;
    FilterLimits limits;
    limits.maxBoostDb = 5.0;
    limits.maxCutDb = 7.0;
    limits.headroomDb = 3.0;
    limits.maxLossDb = 5.0;
    limits.minQ = 0.5;
    limits.maxQ = 4.0;
    limits.fromHz = 60.0;
    limits.toHz = 12000.0;
    bool headroomBinds = false;
    bool lossBinds = false;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        INFO("seed " << seed);
        const auto curve = test::curveOf(test::unevenLevel(seed));
        const auto result = fit({curve}, 5, limits);
        for (const Element& element : filtersOf(result)) {
            CHECK(element.gainDb <= limits.maxBoostDb + margin);
            CHECK(element.gainDb >= -limits.maxCutDb - margin);
            CHECK(element.q >= limits.minQ - margin);
            CHECK(element.q
                  <= (element.type == ElementType::peaking ? limits.maxQ : tuning::maxShelfQ)
                         + margin);
            CHECK(element.frequencyHz >= limits.fromHz * (1.0 - margin));
            CHECK(element.frequencyHz <= limits.toHz * (1.0 + margin));
        }
        // A grid of its own, 200 steps an octave.
        double largestDb = 0.0;
        for (double hz = 10.0; hz < 24000.0; hz *= std::exp2(1.0 / 200.0))
            largestDb = std::max(largestDb, filtersDb(result, hz));
        CHECK(largestDb <= limits.headroomDb + margin);
        CHECK(result.largestBoostDb <= limits.headroomDb + margin);
        CHECK(result.largestBoostDb >= largestDb - margin);
        // The gain takes back exactly that.
        const auto change = tuning::levelDbOf(result.tuning);
        CHECK(change(1000.0) - filtersDb(result, 1000.0)
              == Approx(-result.largestBoostDb).margin(margin));
        double mean = 0.0;
        for (const tuning::FitPoint& point : curve.points)
            mean += change(point.frequencyHz) / static_cast<double>(curve.points.size());
        CHECK(-mean <= limits.maxLossDb + margin);
        CHECK(result.lossDb == Approx(-mean).margin(margin));
        headroomBinds = headroomBinds || largestDb > limits.headroomDb - 0.01;
        lossBinds = lossBinds || -mean > limits.maxLossDb - 0.01;
        CHECK(result.errorAfterDb < result.errorBeforeDb);
    }
    // Else the checks above would prove nothing.
    CHECK(headroomBinds);
    CHECK(lossBinds);
}

TEST_CASE("Without headroom filters only cut", "[core][tuning]")
{
    FilterLimits limits;
    limits.headroomDb = 0.0;
    const auto result = fit({test::curveOf(test::unevenLevel(3))}, 5, limits);
    CHECK(result.errorAfterDb < 0.8 * result.errorBeforeDb);
    for (double hz = 10.0; hz < 24000.0; hz *= 1.003)
        CHECK(filtersDb(result, hz) <= 1e-6);
}

TEST_CASE("A narrow dip is not filled, a wide one is", "[core][tuning]")
{
    const auto fitOfDip = [](double q) {
        const Element dip = filter(ElementType::peaking, 800.0, -12.0, q);
        const auto response = test::responseOf([&](double hz) {
            return dsp::amplitudeToDb(std::abs(tuning::elementResponse(dip, hz)));
        });
        const auto curve = tuning::makeFitCurve(response, tuning::FitTarget {}, {});
        REQUIRE(curve);
        return fit({*curve}, 4, {.maxBoostDb = 12.0, .headroomDb = 12.0, .maxLossDb = 24.0});
    };
    const auto narrow = fitOfDip(12.0);
    const auto wide = fitOfDip(1.0);
    const auto boostOf = [](const FitResult& result) {
        return filtersDb(result, 800.0)
               - 0.5 * (filtersDb(result, 200.0) + filtersDb(result, 3200.0));
    };
    CHECK(std::abs(boostOf(narrow)) < 0.5);
    CHECK(boostOf(wide) > 9.0);
    CHECK(wide.errorAfterDb < 0.1);
}

TEST_CASE("What is not trusted has no influence on a fit", "[core][tuning]")
{
    const auto curveWith = [](double untrustedDb) {
        auto curve = test::curveOf(test::unevenLevel(4));
        distrust(curve, 6000.0, 20000.0);
        for (tuning::FitPoint& point : curve.points)
            if (point.weight == 0.0)
                point.levelDb = untrustedDb;
        return curve;
    };
    const auto quiet = fit({curveWith(-40.0)}, 5);
    const auto loud = fit({curveWith(30.0)}, 5);
    CHECK(quiet.tuning == loud.tuning);
    CHECK(quiet.errorAfterDb == loud.errorAfterDb);
}

TEST_CASE("No boost is put where nothing is trusted", "[core][tuning]")
{
    // A fall towards both ends tempts to lift what lies beyond them.
    auto curve = test::curveOf([](double hz) {
        return -12.0 / (1.0 + std::pow(hz / 110.0, 2.0))
               - 12.0 / (1.0 + std::pow(7000.0 / hz, 2.0));
    });
    distrust(curve, 19.0, 81.0);
    distrust(curve, 9900.0, 20000.0);
    const auto result = fit({curve}, 6);
    CHECK(result.errorAfterDb < result.errorBeforeDb);
    CHECK(filtersDb(result, 120.0) - filtersDb(result, 1000.0) > 1.0);
    // IEC 61260-1: the band of 80 Hz ends at 89.1 Hz, that of 10 kHz begins at 8913 Hz.
    for (double hz = 10.0; hz < 89.1 / 1.2; hz *= 1.02)
        CHECK(filtersDb(result, hz) <= tuning::untrustedBoostDb + 1e-6);
    for (double hz = 8913.0 * 1.2; hz < 24000.0; hz *= 1.02)
        CHECK(filtersDb(result, hz) <= tuning::untrustedBoostDb + 1e-6);
    for (const Element& element : filtersOf(result)) {
        CHECK(element.frequencyHz >= 89.0);
        CHECK(element.frequencyHz <= 8914.0);
    }
}

TEST_CASE("A fit is the same to the bit every time", "[core][tuning]")
{
    const std::vector<FitCurve> curves {test::curveOf(test::unevenLevel(5)),
                                        test::curveOf(test::unevenLevel(6))};
    const auto first = fit(curves, 6);
    const auto second = fit(curves, 6);
    CHECK(first.tuning == second.tuning);
    CHECK(first.errorAfterDb == second.errorAfterDb);
    CHECK(first.remarks == second.remarks);
}

TEST_CASE("More filters never end in a larger error", "[core][tuning]")
{
    for (std::uint64_t seed = 20; seed < 26; ++seed) {
        const std::vector<FitCurve> curves {test::curveOf(test::unevenLevel(seed))};
        double previous = fit(curves, 0).errorAfterDb;
        for (int numFilters = 1; numFilters <= 7; ++numFilters) {
            const auto result = fit(curves, numFilters);
            INFO("seed " << seed << ", " << numFilters << " filters");
            CHECK(result.numFilters <= static_cast<std::size_t>(numFilters));
            CHECK(result.errorAfterDb <= previous + 1e-12);
            previous = result.errorAfterDb;
        }
    }
}

TEST_CASE("Filters that bring too little are left out", "[core][tuning]")
{
    // A wide peak, and one that is worth less than 0.02 dB.
    const auto curve = undoneBy({filter(ElementType::peaking, 500.0, -6.0, 1.0),
                                 filter(ElementType::peaking, 5000.0, -0.05, 2.0)});
    CHECK(fit({curve}, 4).numFilters == 1);
    CHECK(fit({curve}, 4, {.leastBenefitDb = 0.0}).numFilters >= 2);
}

TEST_CASE("Curves are fitted together, none at another's cost", "[core][tuning]")
{
    const auto parked = test::curveOf(test::unevenLevel(7));
    auto running = parked;
    for (tuning::FitPoint& point : running.points) {
        point.levelDb += 3.0 * std::exp(-2.0 * std::pow(std::log2(point.frequencyHz / 200.0), 2.0));
        if (point.frequencyHz < 80.0)
            point.weight = 0.0;
    }
    const std::vector<FitCurve> both {parked, running};
    const auto together = fit(both, 6);
    CHECK(together.errorAfterDb
          == Approx(tuning::fitErrorDb(both, tuning::levelDbOf(together.tuning))).epsilon(1e-9));
    for (const FitCurve& one : both) {
        const auto alone = fit({one}, 6);
        CHECK(together.errorAfterDb
              <= tuning::fitErrorDb(both, tuning::levelDbOf(alone.tuning)) + 1e-9);
    }
}

TEST_CASE("A bass shelf in the target is reached", "[core][tuning]")
{
    auto curve = test::curveOf([](double) { return 0.0; });
    tuning::FitTarget target;
    target.bassShelf = tuning::BassShelf {5.0, 120.0};
    for (tuning::FitPoint& point : curve.points)
        point.targetDb = target.levelDbAt(point.frequencyHz);
    const auto result = fit({curve}, 3);
    CHECK(result.errorAfterDb < 1e-3);
    const auto found = filtersOf(result);
    REQUIRE(found.size() == 1);
    CHECK(found[0].type == ElementType::lowShelf);
    CHECK(found[0].frequencyHz == Approx(120.0).epsilon(1e-3));
    CHECK(found[0].gainDb == Approx(5.0).margin(0.01));
}

TEST_CASE("A shelf acts on the nearer end where limits allow", "[core][tuning]")
{
    // A cut of everything above 90 Hz is a boost of what is below: level is free.
    const auto curve = undoneBy({filter(ElementType::highShelf, 90.0, -5.0, 0.7),
                                 filter(ElementType::lowShelf, 7000.0, -3.0, 0.7)});
    const auto found = filtersOf(fit({curve}, 2, {.headroomDb = 9.0, .maxLossDb = 9.0}));
    REQUIRE(found.size() == 2);
    CHECK(found[0].type == ElementType::lowShelf);
    CHECK(found[0].gainDb == Approx(5.0).margin(0.01));
    CHECK(found[1].type == ElementType::highShelf);
    CHECK(found[1].gainDb == Approx(3.0).margin(0.01));
    for (const Element& element : filtersOf(fit({curve}, 2, {.headroomDb = 0.0, .maxLossDb = 9.0})))
        CHECK(element.gainDb < 0.0);
}

TEST_CASE("Limits out of range are refused by name", "[core][tuning]")
{
    const std::vector<FitCurve> curves {test::curveOf(test::unevenLevel(8))};
    const auto messageOf = [&](const FilterLimits& limits, int numFilters) {
        const auto result = tuning::fitFilters(curves, limits, numFilters);
        return result ? std::string() : result.error().message;
    };
    CHECK_THAT(messageOf({}, 11), Contains("number of filters"));
    CHECK_THAT(messageOf({}, -1), Contains("number of filters"));
    CHECK_THAT(messageOf({.maxBoostDb = -1.0}, 3), Contains("maxBoostDb"));
    CHECK_THAT(messageOf({.headroomDb = std::nan("")}, 3), Contains("headroomDb"));
    CHECK_THAT(messageOf({.minQ = 2.0, .maxQ = 1.0}, 3), Contains("maxQ"));
    CHECK_THAT(messageOf({.fromHz = 500.0, .toHz = 100.0}, 3), Contains("toHz"));
}

TEST_CASE("A range of filters outside of what is trusted is refused", "[core][tuning]")
{
    auto curve = test::curveOf(test::unevenLevel(9));
    distrust(curve, 19.0, 510.0);
    const auto result = tuning::fitFilters(std::array {curve}, {.fromHz = 40.0, .toHz = 300.0}, 3);
    REQUIRE_FALSE(result);
    CHECK_THAT(result.error().message, Contains("leave no room"));
}
