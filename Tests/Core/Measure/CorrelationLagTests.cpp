#include "Core/Measure/CorrelationLag.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("The lag of a delayed copy is refined far below a sample", "[core][measure]")
{
    // A pure delay of d frames turns bin k by -2 pi k d / size, whatever the spectrum's weight.
    constexpr std::size_t size = 4096;
    for (const double delay : {-0.49, 0.0, 0.123456789, 7.5}) {
        std::vector<std::complex<double>> cross(size / 2 + 1);
        for (std::size_t bin = 0; bin < cross.size(); ++bin)
            cross[bin] =
                std::polar(1.0 / (1.0 + static_cast<double>(bin)),
                           -2.0 * std::numbers::pi * static_cast<double>(bin) * delay / size);
        CHECK(measure::refineLag(cross, size, std::round(delay), 1, size / 2)
              == Approx(delay).margin(1e-8));
    }
}

TEST_CASE("A marker's band passes its frequencies and nothing far outside", "[core][measure]")
{
    const signals::MarkerShape marker;
    CHECK(measure::markerBand(marker, 2000.0) == Approx(1.0));
    CHECK(measure::markerBand(marker, marker.fromHz) == Approx(0.5));
    CHECK(measure::markerBand(marker, 500.0) == Approx(0.0).margin(1e-12));
    CHECK(measure::markerBand(marker, 12000.0) == Approx(0.0).margin(1e-12));
}
