#include "Core/Measure/RecordedSweep.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;

namespace {

const signals::SweepShape shape {.numFrames = 144000};

} // namespace

TEST_CASE("On the track's own clock the recorded sweep is the sweep", "[core][measure]")
{
    const auto sweep = signals::makeSweep(shape, 48000.0);
    std::vector<float> recorded(shape.numFrames + 300, 1.0F);
    measure::writeRecordedSweep(shape, {.startFrame = 100.0}, recorded);
    double largest = 0.0;
    for (std::size_t frame = 0; frame < recorded.size(); ++frame) {
        const bool inside = frame >= 100 && frame < 100 + sweep.size();
        largest = std::max(largest, std::abs(static_cast<double>(recorded[frame])
                                             - (inside ? sweep[frame - 100] : 0.0)));
    }
    // Single precision in phase and in sine, of an amplitude of 0.25.
    CHECK(largest < 0.25 * 6e-7);
}

TEST_CASE("On another clock the recorded sweep follows the formula at the recorder's instants",
          "[core][measure]")
{
    const double growthFrames =
        static_cast<double>(shape.numFrames) / std::log(shape.toHz / shape.fromHz);
    for (const double ratio : {1.0005, 0.9995, 2.0003, 0.91875 * 1.00004}) {
        const double start = 321.4;
        std::vector<float> recorded(static_cast<std::size_t>(ratio * 144000.0) + 700);
        measure::writeRecordedSweep(
            shape, {.trackRate = 48000.0, .framesPerTrackFrame = ratio, .startFrame = start},
            recorded);
        double largest = 0.0;
        for (std::size_t frame = 0; frame < recorded.size(); ++frame) {
            const double at = (static_cast<double>(frame) - start) / ratio;
            const double frequencyHz = shape.fromHz * std::exp(at / growthFrames);
            // Fades have their own shape, and recorders end.
            if (at < 9600.0 || at > 144000.0 - 2401.0 || frequencyHz > 0.474 * 48000.0 * ratio)
                continue;
            const double truth = shape.amplitude
                                 * std::sin(2.0 * std::numbers::pi * shape.fromHz * growthFrames
                                            / 48000.0 * std::exp(at / growthFrames));
            largest = std::max(largest, std::abs(static_cast<double>(recorded[frame]) - truth));
        }
        INFO("ratio " << ratio);
        CHECK(largest < 0.25 * 6e-7);
    }
}

TEST_CASE("A recorded sweep ends before half the recorder's rate", "[core][measure]")
{
    std::vector<float> recorded(72000);
    measure::writeRecordedSweep(shape, {.framesPerTrackFrame = 0.5}, recorded);
    const double growthFrames =
        static_cast<double>(shape.numFrames) / std::log(shape.toHz / shape.fromHz);
    const auto end = static_cast<std::size_t>(0.5 * growthFrames * std::log(0.49 * 24000.0 / 20.0));
    CHECK(std::all_of(recorded.begin() + static_cast<std::ptrdiff_t>(end + 1), recorded.end(),
                      [](float sample) { return sample == 0.0F; }));
    CHECK(std::any_of(recorded.begin() + static_cast<std::ptrdiff_t>(end - 2000), recorded.end(),
                      [](float sample) { return std::abs(sample) > 0.1F; }));
}
