#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Tuning/Prediction.h"
#include "Support/SweepTakes.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using namespace saddletone::tuning;

namespace {

Element filter(ElementType type, double frequencyHz, double gainDb, double q)
{
    Element element;
    element.type = type;
    element.frequencyHz = frequencyHz;
    element.gainDb = gainDb;
    element.q = q;
    return element;
}

/** A filter of the cookbook of R. Bristow-Johnson, transformed bilinearly: the bike's processor. */
void runCookbookFilter(std::vector<double>& samples, const Element& element, double sampleRate)
{
    const double omega = 2.0 * std::numbers::pi * element.frequencyHz / sampleRate;
    const double cosine = std::cos(omega);
    const double alpha = std::sin(omega) / (2.0 * element.q);
    const double a = std::pow(10.0, element.gainDb / 40.0);
    const double root = 2.0 * std::sqrt(a) * alpha;
    double b0, b1, b2, a0, a1, a2;
    if (element.type == ElementType::peaking) {
        b0 = 1.0 + alpha * a, b1 = -2.0 * cosine, b2 = 1.0 - alpha * a;
        a0 = 1.0 + alpha / a, a1 = -2.0 * cosine, a2 = 1.0 - alpha / a;
    } else if (element.type == ElementType::highPass) {
        b0 = 0.5 * (1.0 + cosine), b1 = -(1.0 + cosine), b2 = b0;
        a0 = 1.0 + alpha, a1 = -2.0 * cosine, a2 = 1.0 - alpha;
    } else {
        // Shelves; the high one is the low one with the cosine's sign turned.
        const double c = element.type == ElementType::lowShelf ? cosine : -cosine;
        const double sign = element.type == ElementType::lowShelf ? 1.0 : -1.0;
        b0 = a * ((a + 1.0) - (a - 1.0) * c + root);
        b1 = sign * 2.0 * a * ((a - 1.0) - (a + 1.0) * c);
        b2 = a * ((a + 1.0) - (a - 1.0) * c - root);
        a0 = (a + 1.0) + (a - 1.0) * c + root;
        a1 = sign * -2.0 * ((a - 1.0) + (a + 1.0) * c);
        a2 = (a + 1.0) + (a - 1.0) * c - root;
    }
    double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0;
    for (double& sample : samples) {
        const double x = sample;
        sample = (b0 * x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2) / a0;
        x2 = x1, x1 = x, y2 = y1, y1 = sample;
    }
}

/** A track as the bike's processor plays it, filtered at four times the rate. */
std::vector<float> processed(const std::vector<float>& track, const std::vector<Element>& elements)
{
    constexpr double rate = 4.0 * 48000.0;
    const std::vector<double> samples(track.begin(), track.end());
    auto dense = files::resample(std::span<const double>(samples), 4.0);
    for (const Element& element : elements) {
        if (element.type == ElementType::gain)
            for (double& sample : dense)
                sample *= std::pow(10.0, element.gainDb / 20.0);
        else if (element.type == ElementType::delay)
            dense.insert(dense.begin(),
                         static_cast<std::size_t>(std::lround(element.delayMs * 1e-3 * rate)), 0.0);
        else if (element.type == ElementType::polarity)
            for (double& sample : dense)
                sample = -sample;
        else
            runCookbookFilter(dense, element, rate);
    }
    const auto result = files::resample(std::span<const double>(dense), 0.25);
    return {result.begin(), result.end()};
}

/** The bike measured: track played through it and taken down by a recorder of its own clock. */
measure::Response measureBike(const signals::Signal& track, const std::vector<Element>& elements,
                              double clockPpm, std::uint64_t seed, double noiseRms = 1e-5)
{
    const auto played = processed(track.audio.channels.front(), elements);
    const test::SimulatedBike bike;
    test::RecorderModel recorder;
    recorder.clockPpm = clockPpm;
    recorder.startSeconds = 1.0371;
    recorder.noiseRms = noiseRms;
    recorder.seed = seed;
    return test::measureTakes(
        track,
        {{"take.wav", {48000.0, {test::record(bike.play(played, 48000.0), 48000.0, recorder)}}}});
}

/** A response with bands and nothing else. */
measure::Response bandsOnly(double uncertaintyDb)
{
    measure::Response response;
    response.name = "bike";
    response.impulse.assign(4800, 0.0F);
    response.impulse[480] = 1.0F;
    response.arrivalFrame = 480;
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        measure::BandConfidence confidence;
        confidence.frequencyHz = band.centreHz;
        confidence.uncertaintyDb = uncertaintyDb;
        confidence.interval95Db = 1.95996 * uncertaintyDb;
        confidence.trusted = true;
        response.bands.push_back(confidence);
    }
    return response;
}

Tuning onAll(const std::vector<Element>& elements)
{
    return {"test", {{OutputGroup::all, elements}}};
}

} // namespace

TEST_CASE("Prediction and re-measurement of a simulated bike agree within 0.3 dB", "[core][tuning]")
{
    Element gain;
    gain.gainDb = -5.0;
    Element delay;
    delay.type = ElementType::delay;
    delay.delayMs = 2.5;
    Element polarity;
    polarity.type = ElementType::polarity;
    const std::vector<Element> elements {
        filter(ElementType::highPass, 60.0, 0.0, 0.7071),
        filter(ElementType::lowShelf, 120.0, 4.0, 0.7071),
        filter(ElementType::peaking, 90.0, -7.0, 1.2),
        filter(ElementType::peaking, 2600.0, 4.5, 1.5),
        filter(ElementType::peaking, 11000.0, -6.0, 2.0),
        filter(ElementType::highShelf, 9000.0, 5.0, 0.7071),
        gain,
        delay,
        polarity,
    };
    const auto track = test::makeSweepTrack(6.0);
    const auto before = measureBike(track, {}, 57.0, 1);
    const auto after = measureBike(track, elements, -83.0, 2);
    const auto predicted = predictResponse(before, onAll(elements), OutputGroup::all);
    REQUIRE(predicted);

    VerifySettings settings;
    settings.level = LevelRule::counted;
    const auto verification = verifyPrediction(*predicted, after, settings);
    CHECK(verification.numBands == 25); // 50 Hz to 15 kHz
    CHECK(std::abs(verification.largestDb) < 0.3);
    CHECK(verification.rmsDb < 0.1);
    CHECK(verification.verdict == PredictionVerdict::confirmed);

    // In twelfths of an octave, out of the impulses.
    std::vector<double> grid;
    for (const dsp::Band& band : dsp::octaveBands(12, 50.0, 15000.0))
        grid.push_back(band.centreHz);
    const auto expected = predicted->magnitudeDb(grid, 12);
    const auto found = after.magnitudeDb(grid, 12);
    double largest = 0.0;
    for (std::size_t index = 0; index < grid.size(); ++index)
        largest = std::max(largest, std::abs(found[index] - expected[index]));
    CHECK(largest < 0.3);
    CHECK(predicted->polarity != before.polarity);
    CHECK(predicted->polarity == after.polarity);
}

TEST_CASE("A tuning that was not entered fails the verification", "[core][tuning]")
{
    const std::vector<Element> elements {filter(ElementType::lowShelf, 150.0, -6.0, 0.7071)};
    const auto track = test::makeSweepTrack(6.0);
    const auto before = measureBike(track, {}, 57.0, 1);
    const auto after = measureBike(track, {}, -20.0, 2);
    const auto predicted = predictResponse(before, onAll(elements), OutputGroup::all);
    REQUIRE(predicted);
    const auto verification = verifyPrediction(*predicted, after, {});
    CHECK(verification.verdict == PredictionVerdict::failed);
    CHECK(verification.worstAtHz < 200.0);
    CHECK(verification.worstDb > 3.0);
    CHECK_THAT(verificationSentences(verification, {}).front(),
               Catch::Contains("Not as predicted") && Catch::Contains("stored"));
}

TEST_CASE("A prediction's bands, impulse and words follow the tuning", "[core][tuning]")
{
    auto measured = bandsOnly(0.1);
    measured.arrivalSeconds = 2.0;
    measured.distortion.push_back({2, {{1000.0, -40.0, -90.0}}});
    Element limiter;
    limiter.type = ElementType::limiter;
    Element delay;
    delay.type = ElementType::delay;
    delay.delayMs = 1.0;
    const auto tuning = onAll({filter(ElementType::peaking, 1000.0, 6.0, 2.0), delay, limiter});
    const auto predicted = predictResponse(measured, tuning, OutputGroup::left);
    REQUIRE(predicted);
    // The impulse is the tuning's own now, so that its levels are the prototype's.
    const std::vector<double> grid {60.0, 500.0, 900.0, 1000.0, 1300.0, 9000.0, 18000.0};
    const auto levels = predicted->magnitudeDb(grid, 0);
    for (std::size_t index = 0; index < grid.size(); ++index)
        CHECK(levels[index]
              == Approx(dsp::amplitudeToDb(
                            std::abs(idealResponse(tuning, OutputGroup::left, grid[index]))))
                     .margin(0.001));
    for (std::size_t index = 0; index < measured.bands.size(); ++index) {
        CHECK(predicted->bands[index].uncertaintyDb == 0.1);
        CHECK(predicted->bands[index].trusted);
    }
    CHECK(predicted->bands[17].frequencyHz == Approx(1000.0));
    CHECK(predicted->bands[17].levelDb == Approx(5.6).margin(0.2)); // mean over the peak's top
    CHECK(predicted->arrivalFrame == 480 + 48);
    CHECK(predicted->arrivalSeconds == Approx(2.001));
    CHECK(predicted->distortion.empty());
    REQUIRE(predicted->remarks.size() == 2);
    CHECK_THAT(predicted->remarks[0],
               Catch::Contains("Predicted") && Catch::Contains("not measured"));
    CHECK_THAT(predicted->remarks[1], Catch::Contains("limiter"));
}

TEST_CASE("A prediction keeps what a narrow filter rings and no more", "[core][tuning]")
{
    const auto measured = bandsOnly(0.1);
    const auto plain = predictResponse(measured, onAll({}), OutputGroup::all);
    REQUIRE(plain);
    CHECK(plain->impulse.size() == measured.impulse.size());
    for (std::size_t frame = 0; frame < measured.impulse.size(); ++frame)
        CHECK(std::abs(plain->impulse[frame] - measured.impulse[frame]) < 1e-6F);
    const auto ringing = predictResponse(
        measured, onAll({filter(ElementType::peaking, 40.0, 12.0, 10.0)}), OutputGroup::all);
    REQUIRE(ringing);
    // The pole's Q is q times the root of the boost, 20: it decays by 100 dB within
    // Q ln(1e5) / (pi f) = 1.8 s, from a start about 60 dB down.
    CHECK(ringing->impulse.size() > 24000);
    CHECK(ringing->impulse.size() < 96000);
}

TEST_CASE("Verdicts follow uncertainty and tolerance", "[core][tuning]")
{
    const auto predicted = bandsOnly(0.05);
    auto after = bandsOnly(0.05);
    const auto at = [&](double frequencyHz) -> measure::BandConfidence& {
        return *std::ranges::find_if(after.bands, [&](const measure::BandConfidence& band) {
            return std::abs(band.frequencyHz / frequencyHz - 1.0) < 0.02;
        });
    };
    VerifySettings settings;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::confirmed);

    // sqrt(0.05^2 + 0.05^2 + 0.25^2) = 0.260 dB; 25 bands together: 3.08 of those (Sidak).
    at(1000.0).levelDb = 0.75;
    auto verification = verifyPrediction(predicted, after, settings);
    CHECK(verification.numBands == 25);
    CHECK(verification.bands.front().allowedDb == Approx(0.80).margin(0.01));
    CHECK(verification.verdict == PredictionVerdict::confirmed);
    CHECK(verification.largestDb == Approx(0.75 * 24.0 / 25.0));
    CHECK(verification.largestAtHz == Approx(1000.0));
    at(1000.0).levelDb = 0.95;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::close);
    at(1000.0).levelDb = 1.4;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::failed);
    // A band that may not be relied on does not count, nor one out of the range.
    at(1000.0).trusted = false;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::confirmed);
    at(31.5).levelDb = 9.0;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::confirmed);
    // Where the measurement is poor, a large difference says little.
    at(63.0).levelDb = 3.0;
    at(63.0).uncertaintyDb = 1.2;
    CHECK(verifyPrediction(predicted, after, settings).verdict == PredictionVerdict::confirmed);

    for (auto& band : after.bands)
        band.trusted = band.frequencyHz < 130.0;
    verification = verifyPrediction(predicted, after, settings);
    CHECK(verification.numBands == 5);
    CHECK(verification.verdict == PredictionVerdict::unclear);
    CHECK_THAT(verificationSentences(verification, settings).front(),
               Catch::Contains("Cannot be judged"));
}

TEST_CASE("A level that all bands share counts only if it is asked to", "[core][tuning]")
{
    const auto predicted = bandsOnly(0.05);
    auto after = bandsOnly(0.05);
    for (auto& band : after.bands)
        band.levelDb = -3.0;
    VerifySettings settings;
    auto verification = verifyPrediction(predicted, after, settings);
    CHECK(verification.levelDifferenceDb == Approx(-3.0));
    CHECK(verification.rmsDb < 1e-9);
    CHECK(verification.verdict == PredictionVerdict::confirmed);
    settings.level = LevelRule::counted;
    verification = verifyPrediction(predicted, after, settings);
    CHECK(verification.rmsDb == Approx(3.0));
    CHECK(verification.verdict == PredictionVerdict::failed);
}

TEST_CASE("A prediction refuses a chain on a part of the speakers that were measured",
          "[core][tuning]")
{
    const Tuning tuning {"t",
                         {{OutputGroup::rear, {filter(ElementType::lowShelf, 100.0, 3.0, 0.7)}}}};
    CHECK_FALSE(predictResponse(bandsOnly(0.1), tuning, OutputGroup::all));
    CHECK(predictResponse(bandsOnly(0.1), tuning, OutputGroup::rear));
}
