#include "Core/Tuning/FitFilter.h"

#include "Core/Dsp/Units.h"

#include <array>
#include <cmath>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using tuning::ElementType;
using tuning::FitFilter;

namespace {

const std::vector<double>& frequenciesHz()
{
    static const std::vector<double> frequencies = [] {
        std::vector<double> values;
        for (double hz = 12.0; hz < 23000.0; hz *= 1.07)
            values.push_back(hz);
        return values;
    }();
    return frequencies;
}

std::vector<double> squaredHz()
{
    std::vector<double> squares;
    for (const double hz : frequenciesHz())
        squares.push_back(hz * hz);
    return squares;
}

std::vector<FitFilter> examples()
{
    std::vector<FitFilter> filters;
    for (const auto type : {ElementType::peaking, ElementType::lowShelf, ElementType::highShelf})
        for (const double gainDb : {-12.0, -0.5, 0.0, 3.0, 9.0})
            for (const double q : {0.4, 0.7071, 1.0, 6.0})
                filters.push_back({type, std::log(700.0), gainDb, std::log(q)});
    return filters;
}

std::vector<double> levelsDb(const FitFilter& filter)
{
    std::vector<double> powers(frequenciesHz().size(), 1.0);
    tuning::multiplyPowers(filter, squaredHz(), powers);
    for (double& power : powers)
        power = dsp::powerToDb(power);
    return powers;
}

} // namespace

TEST_CASE("A fit's filter has the level of its element's prototype", "[core][tuning]")
{
    for (const FitFilter& filter : examples()) {
        const auto element = tuning::elementOf(filter);
        const auto levels = levelsDb(filter);
        for (std::size_t at = 0; at < levels.size(); ++at)
            CHECK(levels[at]
                  == Approx(dsp::amplitudeToDb(
                                std::abs(tuning::elementResponse(element, frequenciesHz()[at]))))
                         .margin(1e-9));
    }
}

TEST_CASE("A fit's filter has the slopes that finite differences give", "[core][tuning]")
{
    const std::size_t size = frequenciesHz().size();
    for (const FitFilter& filter : examples()) {
        INFO(static_cast<int>(filter.type)
             << ", " << filter.gainDb << " dB, log q " << filter.logQ);
        std::vector<double> powers(size, 1.0);
        std::array<std::vector<double>, 3> slopes;
        slopes.fill(std::vector<double>(size));
        tuning::multiplyPowers(filter, squaredHz(), powers, slopes[0], slopes[1], slopes[2]);
        constexpr std::array members {&FitFilter::logHz, &FitFilter::gainDb, &FitFilter::logQ};
        for (std::size_t kind = 0; kind < members.size(); ++kind) {
            constexpr double step = 1e-4;
            FitFilter above = filter;
            FitFilter below = filter;
            above.*members[kind] += step;
            below.*members[kind] -= step;
            const auto upper = levelsDb(above);
            const auto lower = levelsDb(below);
            // The third derivative leaves an error of about step^2 times a hundred decibels.
            for (std::size_t at = 0; at < size; ++at)
                CHECK(slopes[kind][at]
                      == Approx((upper[at] - lower[at]) / (2.0 * step)).margin(2e-4));
        }
    }
}
