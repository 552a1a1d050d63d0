#include "Core/Measure/Comparison.h"

#include "Core/Dsp/OctaveBands.h"

#include <cmath>
#include <functional>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

measure::Response withBands(const std::function<double(double)>& levelDb,
                            double uncertaintyDb = 0.05)
{
    measure::Response response;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        response.bands.push_back(
            {band.centreHz, levelDb(band.centreHz), 40.0, uncertaintyDb, true});
    return response;
}

} // namespace

TEST_CASE("A level difference alone is no difference of curves", "[core][measure]")
{
    const auto comparison = measure::compareResponses(withBands([](double) { return -20.0; }),
                                                      withBands([](double) { return -14.0; }));
    CHECK(comparison.levelDifferenceDb == Approx(6.0));
    CHECK(comparison.largestDifferenceDb == Approx(0.0).margin(1e-12));
    CHECK_FALSE(comparison.significant);
}

TEST_CASE("The largest difference is found with its frequency, against the uncertainty",
          "[core][measure]")
{
    const auto flat = withBands([](double) { return 0.0; });
    const auto boosted = withBands(
        [](double frequencyHz) { return std::abs(frequencyHz - 100.0) < 1.0 ? 5.0 : 0.0; });
    const auto comparison = measure::compareResponses(flat, boosted);
    CHECK(comparison.largestDifferenceDb == Approx(5.0));
    CHECK(comparison.largestAtHz == Approx(100.0));
    CHECK(comparison.significant);

    const auto vague = withBands(
        [](double frequencyHz) { return std::abs(frequencyHz - 100.0) < 1.0 ? 5.0 : 0.0; }, 2.0);
    CHECK_FALSE(measure::compareResponses(flat, vague).significant);

    auto unreliable = boosted;
    for (auto& band : unreliable.bands)
        band.trusted = std::abs(band.frequencyHz - 100.0) > 1.0;
    CHECK(measure::compareResponses(flat, unreliable).largestDifferenceDb
          == Approx(0.0).margin(1e-12));
}

TEST_CASE("Evenness counts from the mean of the range and leaves out bands that cannot be trusted",
          "[core][measure]")
{
    auto response = withBands([](double frequencyHz) { return frequencyHz < 130.0 ? 9.0 : 0.0; });
    // 80 to 160 Hz: the nominal bands 80, 100, 125 (+9) and 160 (0); mean 6.75.
    const auto low = measure::flatnessOf(response, 80.0, 160.0);
    CHECK(low.numBands == 4);
    CHECK(low.largestDb == Approx(-6.75));
    CHECK(low.largestAtHz == Approx(158.489).epsilon(1e-4));
    CHECK(low.rmsDb == Approx(std::sqrt((3 * 2.25 * 2.25 + 6.75 * 6.75) / 4.0)));
    for (auto& band : response.bands)
        band.trusted = false;
    CHECK(measure::flatnessOf(response, 80.0, 160.0).numBands == 0);
}
