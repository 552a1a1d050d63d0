#include "Core/Tuning/FitProblem.h"

#include "Support/FitFixtures.h"

#include "Core/Dsp/OctaveBands.h"

#include <array>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using tuning::ElementType;
using tuning::FitFilter;
using tuning::FitProblem;

namespace {

std::vector<FitFilter> someFilters()
{
    return {{ElementType::lowShelf, std::log(90.0), 7.0, std::log(0.8)},
            {ElementType::peaking, std::log(800.0), -5.0, std::log(1.5)},
            {ElementType::peaking, std::log(3000.0), 4.0, std::log(3.0)},
            {ElementType::highShelf, std::log(9000.0), -6.0, std::log(0.6)}};
}

tuning::LevelDbAt levelOf(const std::vector<FitFilter>& filters)
{
    return [filters](double hz) { return tuning::filtersLevelDb(filters, hz); };
}

} // namespace

TEST_CASE("The cost without excess is the square of the fit's error", "[core][tuning]")
{
    std::vector<tuning::FitCurve> curves {test::curveOf(test::unevenLevel(1)),
                                          test::curveOf(test::unevenLevel(2))};
    for (tuning::FitPoint& point : curves[1].points)
        if (point.frequencyHz > 5000.0)
            point.weight = 0.0;
    const FitProblem problem(curves, {curves, 6.0, 6.0});
    const double errorDb = tuning::fitErrorDb(curves, levelOf(someFilters()));
    CHECK(problem.cost(someFilters(), FitProblem::Excess::ignored)
          == Approx(errorDb * errorDb).epsilon(1e-12));
}

TEST_CASE("The slopes of the cost are those that finite differences give", "[core][tuning]")
{
    std::vector<tuning::FitCurve> curves {test::curveOf(test::unevenLevel(3)),
                                          test::curveOf(test::unevenLevel(4))};
    // Limits low enough for every kind of excess to count.
    const FitProblem problem(curves, {curves, 3.0, 1.0});
    const auto filters = someFilters();
    for (const auto excess : {FitProblem::Excess::ignored, FitProblem::Excess::counted}) {
        FitProblem::Slopes slopes;
        const double cost = problem.cost(filters, excess, slopes);
        CHECK(cost == Approx(problem.cost(filters, excess)).epsilon(1e-12));
        for (std::size_t number = 0; number < 3 * filters.size(); ++number) {
            constexpr std::array members {&FitFilter::logHz, &FitFilter::gainDb, &FitFilter::logQ};
            constexpr double step = 1e-5;
            auto above = filters;
            auto below = filters;
            above[number / 3].*members[number % 3] += step;
            below[number / 3].*members[number % 3] -= step;
            const double slope =
                (problem.cost(above, excess) - problem.cost(below, excess)) / (2.0 * step);
            INFO("number " << number);
            CHECK(slopes.gradient[number] == Approx(slope).epsilon(1e-5).margin(1e-5));
        }
    }
}

TEST_CASE("The second slopes are the Gauss-Newton matrix of the deviations", "[core][tuning]")
{
    // With deviations of zero the matrix of Gauss and Newton is the matrix of second slopes.
    const auto filters = someFilters();
    const std::vector<tuning::FitCurve> curves {
        test::curveOf([&](double hz) { return -tuning::filtersLevelDb(filters, hz); })};
    const FitProblem problem(curves, {curves, 24.0, 60.0});
    FitProblem::Slopes slopes;
    CHECK(problem.cost(filters, FitProblem::Excess::ignored, slopes) < 1e-20);
    const std::size_t size = 3 * filters.size();
    constexpr std::array members {&FitFilter::logHz, &FitFilter::gainDb, &FitFilter::logQ};
    constexpr double step = 1e-5;
    for (std::size_t row = 0; row < size; ++row) {
        auto above = filters;
        auto below = filters;
        above[row / 3].*members[row % 3] += step;
        below[row / 3].*members[row % 3] -= step;
        FitProblem::Slopes upper;
        FitProblem::Slopes lower;
        (void)problem.cost(above, FitProblem::Excess::ignored, upper);
        (void)problem.cost(below, FitProblem::Excess::ignored, lower);
        for (std::size_t column = 0; column <= row; ++column)
            CHECK(slopes.curvature[row * size + column]
                  == Approx((upper.gradient[column] - lower.gradient[column]) / (2.0 * step))
                         .margin(1e-4));
    }
}

TEST_CASE("The mean level has the slopes that finite differences give", "[core][tuning]")
{
    const std::vector<tuning::FitCurve> curves {test::curveOf(test::unevenLevel(5))};
    const FitProblem problem(curves, {curves, 6.0, 6.0});
    const auto filters = someFilters();
    std::vector<double> slopes(3 * filters.size());
    CHECK(problem.meanDb(filters, slopes) == Approx(problem.meanDb(filters)).epsilon(1e-12));
    for (std::size_t number = 0; number < slopes.size(); ++number) {
        constexpr std::array members {&FitFilter::logHz, &FitFilter::gainDb, &FitFilter::logQ};
        constexpr double step = 1e-5;
        auto above = filters;
        auto below = filters;
        above[number / 3].*members[number % 3] += step;
        below[number / 3].*members[number % 3] -= step;
        CHECK(
            slopes[number]
            == Approx((problem.meanDb(above) - problem.meanDb(below)) / (2.0 * step)).margin(1e-7));
    }
}

TEST_CASE("The largest boost is found between the frequencies of a grid", "[core][tuning]")
{
    for (const double q : {0.4, 3.0, 6.0, 20.0})
        for (const double frequencyHz : {41.3, 1234.5, 15000.0}) {
            const std::vector<FitFilter> filters {
                {ElementType::peaking, std::log(frequencyHz), 10.0, std::log(q)}};
            CHECK(tuning::largestBoostDb(filters) == Approx(10.0).margin(1e-7));
        }
    CHECK(tuning::largestBoostDb({}) == 0.0);
    const std::vector<FitFilter> cut {{ElementType::peaking, std::log(500.0), -10.0, 0.0}};
    CHECK(tuning::largestBoostDb(cut) == 0.0);
}

TEST_CASE("The ceiling falls from a trusted band's edge to half a decibel", "[core][tuning]")
{
    auto curve = test::curveOf([](double) { return 0.0; });
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        if (band.centreHz < 99.0 || band.centreHz > 8100.0)
            curve.untrustedBands.push_back(band);
    const tuning::BoostCeiling ceiling(std::array {curve}, 6.0, 6.0);
    // IEC 61260-1: edges of the bands of 100 Hz and 8 kHz.
    const double lowerHz = 1000.0 * std::pow(10.0, -1.05);
    const double upperHz = 1000.0 * std::pow(10.0, 0.95);
    CHECK(ceiling.boostDbAt(1000.0) == 6.0);
    CHECK(ceiling.boostDbAt(lowerHz * 1.001) == 6.0);
    CHECK(ceiling.boostDbAt(lowerHz / std::exp2(0.125)) == Approx(3.0));
    CHECK(ceiling.boostDbAt(upperHz * std::exp2(0.125)) == Approx(3.0));
    CHECK(ceiling.boostDbAt(30.0) == tuning::untrustedBoostDb);
    CHECK(ceiling.boostDbAt(15000.0) == tuning::untrustedBoostDb);
    CHECK_FALSE(ceiling.isTrustedAt(80.0));
    CHECK(ceiling.isTrustedAt(100.0));
    // Trusted by any of the curves is enough.
    const auto other = test::curveOf([](double) { return 0.0; });
    CHECK(tuning::BoostCeiling(std::array {curve, other}, 6.0, 6.0).boostDbAt(30.0) == 6.0);
}
