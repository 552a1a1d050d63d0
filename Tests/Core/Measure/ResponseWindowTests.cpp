#include "Core/Measure/ResponseWindow.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/OctaveBands.h"

#include <cmath>

#include <catch2/catch.hpp>

using namespace saddletone;
using Catch::Matchers::Contains;

namespace {

/** A resonance at 1 kHz and a reflection of -6 dB after 8 ms. */
measure::Response withReflection(double reflection)
{
    measure::Response response;
    response.sampleRate = 48000.0;
    response.arrivalFrame = 4800;
    response.fromHz = 20.0;
    response.toHz = 20000.0;
    std::vector<double> impulse(24000, 0.0);
    impulse[0] = 1.0;
    dsp::filterInPlace(dsp::bilinearBiquad(dsp::analoguePeaking(1000.0, 2.0, 6.0), 48000.0),
                       impulse);
    response.impulse.assign(28800, 0.0F);
    for (std::size_t frame = 0; frame < impulse.size(); ++frame)
        response.impulse[4800 + frame] = static_cast<float>(
            impulse[frame] + (frame >= 384 ? reflection * impulse[frame - 384] : 0.0));
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        response.bands.push_back({band.centreHz, 0.0, 60.0, 0.01, true});
    return response;
}

const std::vector<double> grid {400.0, 800.0, 1000.0, 1500.0, 4000.0, 9000.0};

double largestDifferenceDb(const measure::Response& a, const measure::Response& b,
                           std::span<const double> frequenciesHz)
{
    const auto left = a.magnitudeDb(frequenciesHz, 0);
    const auto right = b.magnitudeDb(frequenciesHz, 0);
    double largest = 0.0;
    for (std::size_t index = 0; index < left.size(); ++index)
        largest = std::max(largest, std::abs(left[index] - right[index]));
    return largest;
}

} // namespace

TEST_CASE("A fixed window takes a later reflection out and states what it cannot tell",
          "[core][measure]")
{
    const auto both = withReflection(0.5);
    const auto direct = withReflection(0.0);
    CHECK(largestDifferenceDb(both, direct, grid) > 2.0);
    const auto windowed = measure::windowFixed(both, 7.5);
    CHECK(largestDifferenceDb(windowed.response, direct, grid) < 0.1);
    // 1 / 7.5 ms.
    CHECK(windowed.lowestHz == Approx(133.333).margin(0.01));
    CHECK(windowed.response.fromHz == Approx(133.333).margin(0.01));
    for (std::size_t band = 0; band < windowed.response.bands.size(); ++band) {
        const auto& found = windowed.response.bands[band];
        CHECK(found.trusted == (found.frequencyHz / std::pow(10.0, 0.05) >= windowed.lowestHz));
    }
    CHECK_THAT(windowed.response.remarks.back(), Contains("133.3 Hz"));
    // A window longer than the response keeps all but the response's own end.
    const auto whole = measure::windowFixed(both, 1000.0);
    CHECK(largestDifferenceDb(whole.response, both, grid) < 0.01);
    CHECK(whole.lowestHz == Approx(2.0));
}

TEST_CASE("A window of cycles takes the reflection out high up and keeps it low down",
          "[core][measure]")
{
    const auto both = withReflection(0.5);
    const auto direct = withReflection(0.0);
    const auto windowed = measure::windowCycles(both, 5.0);
    // Five cycles are over before 8 ms above 625 Hz.
    const std::vector<double> high {1500.0, 4000.0, 9000.0, 15000.0};
    CHECK(largestDifferenceDb(windowed.response, direct, high) < 0.3);
    // Down there they last far longer: the comb of the reflection stays.
    const std::vector<double> low {31.25, 62.5, 93.75};
    CHECK(largestDifferenceDb(windowed.response, both, low) < 0.3);
    CHECK(windowed.lowestHz == Approx(2.0));

    // The resonance at 1 kHz is narrower than one cycle resolves and wide against twenty.
    const std::vector<double> centre {1000.0};
    CHECK(measure::windowCycles(direct, 20.0).response.magnitudeDb(centre, 0).front()
          == Approx(6.0).margin(0.1));
    CHECK(measure::windowCycles(direct, 1.0).response.magnitudeDb(centre, 0).front() < 5.5);
}

TEST_CASE("Windowing brings the bands' levels in line", "[core][measure]")
{
    const auto windowed = measure::windowFixed(withReflection(0.5), 7.5);
    for (const auto& band : windowed.response.bands) {
        const std::vector<double> centre {band.frequencyHz};
        if (band.trusted && band.frequencyHz < 18000.0)
            CHECK(band.levelDb
                  == Approx(windowed.response.magnitudeDb(centre, 3).front()).margin(0.05));
    }
}
