#include "Core/Tuning/ToneControlFit.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/ImportedResponse.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include <catch2/catch.hpp>

using namespace saddletone;
using tuning::ElementType;

namespace {

using LevelDb = std::function<double(double frequencyHz)>;

measure::Response responseOf(const LevelDb& levelDb)
{
    files::FrequencyTable table;
    for (double frequencyHz = 15.0; frequencyHz < 22000.0; frequencyHz *= 1.02) {
        table.frequenciesHz.push_back(frequencyHz);
        table.levelsDb.push_back(levelDb(frequencyHz));
    }
    measure::ImportSettings settings;
    settings.name = "table";
    auto response = measure::importTable(table, settings);
    REQUIRE(response);
    return *response;
}

tuning::FitCurve curveOf(const LevelDb& levelDb)
{
    auto curve = tuning::makeFitCurve(responseOf(levelDb), tuning::FitTarget {}, {});
    REQUIRE(curve);
    return *curve;
}

tuning::ThirdOctaveCurve thirdOctavesOf(const LevelDb& levelDb)
{
    return tuning::thirdOctaveCurve(responseOf(levelDb), tuning::FitTarget {}, 80.0, 12000.0);
}

/** A smooth curve of up to 6 dB or so, another one for each seed. */
LevelDb wavyCurve(std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<double> levels(12);
    for (double& level : levels)
        level = 12.0 * (random.nextUniform() - 0.5);
    return [levels](double frequencyHz) {
        const double place = std::clamp(std::log2(frequencyHz / 15.0), 0.0,
                                        static_cast<double>(levels.size()) - 1.1);
        const auto whole = static_cast<std::size_t>(place);
        const double part = place - static_cast<double>(whole);
        const double blend = 0.5 - 0.5 * std::cos(3.14159265358979 * part);
        return levels[whole] + blend * (levels[whole + 1] - levels[whole]);
    };
}

tuning::ToneControls threeControls()
{
    using enum tuning::ToneControlStatus;
    return {"Radio",
            {{"Bass", ElementType::lowShelf, 125.0, 0.7071, -10.0, 10.0, 2.0, measured, ""},
             {"Middle", ElementType::peaking, 1000.0, 0.8, -6.0, 6.0, 2.0, measured, ""},
             {"Treble", ElementType::highShelf, 6000.0, 0.7071, -9.0, 9.0, 3.0, measured, ""}}};
}

/** Calls for every setting of three controls. */
void forEachSetting(const tuning::ToneControls& model,
                    const std::function<void(const std::vector<int>&)>& visit)
{
    for (int bass = model.controls[0].lowestStep(); bass <= model.controls[0].highestStep(); ++bass)
        for (int middle = model.controls[1].lowestStep(); middle <= model.controls[1].highestStep();
             ++middle)
            for (int treble = model.controls[2].lowestStep();
                 treble <= model.controls[2].highestStep(); ++treble)
                visit({bass, middle, treble});
}

} // namespace

TEST_CASE("No setting of the tone controls has a smaller error than the one found",
          "[core][tuning]")
{
    const auto model = threeControls();
    for (std::uint64_t seed = 1; seed <= 4; ++seed) {
        const std::vector curves {curveOf(wavyCurve(seed)), curveOf(wavyCurve(seed + 100))};
        const auto fit = tuning::fitToneControls(curves, model);
        double least = std::numeric_limits<double>::max();
        forEachSetting(model, [&](const std::vector<int>& steps) {
            least = std::min(
                least,
                tuning::fitErrorDb(curves, tuning::levelDbOf(tuning::toneTuning(model, steps))));
        });
        INFO("seed " << seed);
        CHECK(fit.errorDb <= least + tuning::equalErrorDb + 1e-9);
        // What is stated is what the shared measure says of the tuning.
        CHECK(fit.errorDb
              == Approx(tuning::fitErrorDb(curves, tuning::levelDbOf(fit.tuning))).margin(1e-9));
        CHECK(fit.errorBeforeDb
              == Approx(tuning::fitErrorDb(curves, tuning::noChangeDb)).margin(1e-9));
        CHECK(tuning::toneTuning(model, fit.steps) == fit.tuning);
    }
}

TEST_CASE("No setting of the tone controls strays less than the one found", "[core][tuning]")
{
    const auto model = threeControls();
    for (std::uint64_t seed = 1; seed <= 4; ++seed) {
        const std::vector curves {thirdOctavesOf(wavyCurve(seed)),
                                  thirdOctavesOf(wavyCurve(seed + 100))};
        const auto worstOf = [&](const tuning::Tuning& tuning) {
            double worst = 0.0;
            for (const auto& curve : curves)
                worst = std::max(worst, tuning::strayingOf(curve, tuning).sizeDb);
            return worst;
        };
        const auto fit = tuning::fitToneControlsToWorst(curves, model);
        double least = std::numeric_limits<double>::max();
        forEachSetting(model, [&](const std::vector<int>& steps) {
            least = std::min(least, worstOf(tuning::toneTuning(model, steps)));
        });
        INFO("seed " << seed);
        CHECK(fit.errorDb <= least + tuning::equalErrorDb + 1e-9);
        CHECK(fit.errorDb == Approx(worstOf(fit.tuning)).margin(1e-9));
        CHECK(fit.errorBeforeDb == Approx(worstOf(tuning::Tuning {})).margin(1e-9));
    }
}

TEST_CASE("Tone controls undo what a curve got from them", "[core][tuning]")
{
    const auto model = threeControls();
    const auto tilted = tuning::levelDbOf(tuning::toneTuning(model, std::vector {3, -2, 1}));
    const std::vector curves {curveOf(tilted)};
    const auto fit = tuning::fitToneControls(curves, model);
    CHECK(fit.steps == std::vector {-3, 2, -1});
    // The import's own interpolation is all that is left.
    CHECK(fit.errorDb < 0.1);
    const std::vector thirds {thirdOctavesOf(tilted)};
    CHECK(tuning::fitToneControlsToWorst(thirds, model).steps == std::vector {-3, 2, -1});
}

TEST_CASE("Of settings that are as good as each other the one with fewer steps is taken",
          "[core][tuning]")
{
    auto model = threeControls();
    // Two controls that do the same: one click of the second is two of the first.
    model.controls[1] = model.controls[0];
    model.controls[1].name = "Deep bass";
    model.controls[1].stepDb = 4.0;
    model.controls[1].lowestDb = -8.0;
    model.controls[1].highestDb = 8.0;
    const std::vector curves {curveOf([](double) { return 0.0; })};
    CHECK(tuning::fitToneControls(curves, model).steps == std::vector {0, 0, 0});
    const auto lifted =
        tuning::levelDbOf({"", {{tuning::OutputGroup::all, {model.controls[1].element(1)}}}});
    const std::vector thirds {thirdOctavesOf(lifted)};
    CHECK(tuning::fitToneControlsToWorst(thirds, model).steps == std::vector {0, -1, 0});
    CHECK(tuning::fitToneControls(std::vector {curveOf(lifted)}, model).steps
          == std::vector {0, -1, 0});
}

TEST_CASE("Five tone controls of fifteen steps are searched completely", "[core][tuning]")
{
    tuning::ToneControls model;
    for (const double frequencyHz : {80.0, 300.0, 1000.0, 3000.0, 10000.0})
        model.controls.push_back({std::to_string(frequencyHz), ElementType::peaking, frequencyHz,
                                  1.0, -7.0, 7.0, 1.0, tuning::ToneControlStatus::assumed, ""});
    const auto tilted = tuning::levelDbOf(tuning::toneTuning(model, std::vector {5, -3, 0, 7, -1}));
    const std::vector curves {curveOf(tilted), curveOf(tilted)};
    const auto fit = tuning::fitToneControls(curves, model);
    CHECK(fit.steps == std::vector {-5, 3, 0, -7, 1});
}
