#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Tuning/SpeakerExcursion.h"
#include "Core/Tuning/TuningCost.h"

#include <algorithm>
#include <cmath>
#include <string>

#include <catch2/catch.hpp>

using namespace saddletone;
using namespace saddletone::tuning;

namespace {

Element bassShelf(double gainDb)
{
    Element element;
    element.type = ElementType::lowShelf;
    element.frequencyHz = 120.0;
    element.gainDb = gainDb;
    return element;
}

CostRequest plainRequest(const std::vector<Element>& elements)
{
    CostRequest request;
    request.tuning = {"test", {{OutputGroup::all, elements}}};
    request.speaker.name = "test";
    request.speaker.qms = 4.0;
    request.speaker.status = DataStatus::dataSheet;
    request.speaker.enclosure = {EnclosureKind::sealed, 5.0, 0.0, 7.0};
    request.plannedSplDb = 90.0;
    request.distanceMetres = 1.0;
    return request;
}

TuningCost costOf(const CostRequest& request)
{
    const auto cost = computeCost(request);
    if (!cost)
        FAIL(cost.error().message);
    return *cost;
}

/** A measured bike whose third octaves are the speaker's own plus something. */
template <typename Extra>
measure::Response measuredLike(const Speaker& speaker, Extra extraDb)
{
    measure::Response response;
    response.name = "bike";
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        double power = 0.0;
        for (int point = 0; point < 400; ++point) {
            const double frequencyHz =
                band.lowerHz * std::pow(band.upperHz / band.lowerHz, (point + 0.5) / 400.0);
            power += std::norm(pressureResponse(speaker, frequencyHz)) / 400.0;
        }
        measure::BandConfidence confidence;
        confidence.frequencyHz = band.centreHz;
        confidence.levelDb = dsp::powerToDb(power) - 40.0 + extraDb(band.centreHz);
        confidence.trusted = band.centreHz > 45.0;
        response.bands.push_back(confidence);
    }
    return response;
}

bool anyContains(const std::vector<std::string>& sentences, const std::string& words)
{
    return std::ranges::any_of(sentences, [&](const std::string& sentence) {
        return sentence.find(words) != std::string::npos;
    });
}

} // namespace

TEST_CASE("A tuning that does nothing costs nothing", "[core][tuning]")
{
    const auto cost = costOf(plainRequest({}));
    CHECK(cost.after == cost.before);
    CHECK(cost.extraWatts == 0.0);
    CHECK(cost.before.splDb == Approx(90.0).margin(1e-9));
    CHECK(cost.before.splAtClippingDb == Approx(90.0 + cost.before.clipMarginDb));
    CHECK(cost.bands.size() == 31);
}

TEST_CASE("A plain gain takes its decibels off every margin", "[core][tuning]")
{
    Element gain;
    gain.gainDb = 3.0;
    const auto cost = costOf(plainRequest({gain}));
    CHECK(cost.after.splDb == Approx(93.0).margin(1e-9));
    CHECK(cost.after.wattsPerSpeaker == Approx(cost.before.wattsPerSpeaker * dsp::dbToPower(3.0)));
    CHECK(cost.after.clipMarginDb == Approx(cost.before.clipMarginDb - 3.0));
    CHECK(cost.after.excursionMarginDb == Approx(cost.before.excursionMarginDb - 3.0));
    // The level at a limit does not depend on where the volume stands.
    CHECK(cost.after.splAtClippingDb == Approx(cost.before.splAtClippingDb));
    CHECK(cost.after.splAtExcursionLimitDb == Approx(cost.before.splAtExcursionLimitDb));
}

TEST_CASE("Watts at the planned level are those of the sensitivity", "[core][tuning]")
{
    // A speaker that resonates below the programme plays pink noise flat, so that 90 dB SPL at 1 m
    // take what sensitivity and the number of speakers say.
    auto request = plainRequest({});
    request.speaker.fsHz = 10.0;
    request.speaker.qts = 0.7071;
    request.speaker.vasLitres = 1000.0;
    request.speaker.enclosure = {};
    const auto cost = costOf(request);
    const double flatWatts = dsp::dbToPower(90.0 - sensitivityDbSpl(request.speaker)) / 2.0;
    // The lowest bands are up to 0.3 dB down: 1 % of the sum over 31 bands.
    CHECK(cost.before.wattsPerSpeaker == Approx(flatWatts).epsilon(0.01));
    request.distanceMetres = 2.0;
    CHECK(costOf(request).before.wattsPerSpeaker == Approx(4.0 * cost.before.wattsPerSpeaker));
    request.distanceMetres = 1.0;
    request.speaker.numSpeakers = 4;
    CHECK(costOf(request).before.wattsPerSpeaker == Approx(0.5 * cost.before.wattsPerSpeaker));
    // Pink noise: 20 W sine leave the crest factor less 3 dB of a sine's.
    CHECK(
        cost.before.clipMarginDb
        == Approx(dsp::powerToDb(20.0 / cost.before.wattsPerSpeaker) + 3.0103 - 12.0).margin(1e-3));
}

TEST_CASE("Excursion of a band is that of a sine of its power and crest", "[core][tuning]")
{
    const auto request = plainRequest({});
    const auto cost = costOf(request);
    double squares = 0.0;
    double watts = 0.0;
    for (const CostBand& band : cost.bands) {
        squares += band.excursionBeforeMm * band.excursionBeforeMm;
        watts += band.wattsBefore;
        // The sine at the centre peaks at sqrt 2; the response hardly bends within a third octave.
        const double volts = std::sqrt(band.wattsBefore * request.speaker.nominalImpedanceOhm);
        CHECK(band.excursionBeforeMm
              == Approx(peakExcursionMm(request.speaker, band.frequencyHz, volts)
                        * dsp::dbToAmplitude(12.0 - 3.0103))
                     .epsilon(0.03));
        // One speaker at 1 m, and another that doubles the power.
        CHECK(band.splBeforeDb
              == Approx(speakerSplDb(request.speaker, band.frequencyHz, volts, 1.0) + 3.0103)
                     .margin(0.2));
    }
    CHECK(cost.before.peakExcursionMm == Approx(std::sqrt(squares)));
    CHECK(cost.before.wattsPerSpeaker == Approx(watts));
}

TEST_CASE("A bass shelf costs its power and excursion in the bass", "[core][tuning]")
{
    const auto cost = costOf(plainRequest({bassShelf(6.0)}));
    CHECK(cost.largestBoostDb == Approx(6.0).margin(0.1));
    CHECK(cost.largestBoostHz < 40.0);
    CHECK(cost.boostFromHz < 21.0);
    CHECK(cost.boostToHz == Approx(100.0)); // half at 120 Hz, so the last band below it
    // Seven of 31 bands below 100 Hz with up to four times the power.
    CHECK(cost.extraPower[0].watts > 0.7 * cost.extraWatts);
    CHECK(cost.extraPower[0].watts + cost.extraPower[1].watts + cost.extraPower[2].watts
          == Approx(cost.extraWatts));
    // The cone moves in the bass only, so that most of the boost counts for it (at the shelf's
    // frequency, half of it in dB), but little of it for the level.
    CHECK(cost.after.excursionMarginDb < cost.before.excursionMarginDb - 4.5);
    CHECK(cost.after.excursionMarginDb > cost.before.excursionMarginDb - 6.0);
    CHECK(cost.after.splDb - cost.before.splDb < 1.0);
    CHECK(cost.after.splAtExcursionLimitDb < cost.before.splAtExcursionLimitDb - 4.0);
    CHECK(cost.after.largestBandHz < 100.0);
}

TEST_CASE("A high-pass frees the cone", "[core][tuning]")
{
    Element highPass;
    highPass.type = ElementType::highPass;
    highPass.frequencyHz = 90.0;
    highPass.order = 4;
    const auto cost = costOf(plainRequest({highPass}));
    CHECK(cost.after.excursionMarginDb > cost.before.excursionMarginDb + 4.5);
    CHECK(cost.extraWatts < 0.0);
    CHECK(anyContains(costSentences(plainRequest({highPass}), cost), "boosts nowhere"));
}

TEST_CASE("A bike that measures as its speaker changes nothing in a cost", "[core][tuning]")
{
    auto request = plainRequest({bassShelf(4.0)});
    const auto without = costOf(request);
    request.measured = measuredLike(request.speaker, [](double) { return 0.0; });
    const auto with = costOf(request);
    // Points of the averages differ.
    CHECK(with.before.clipMarginDb == Approx(without.before.clipMarginDb).margin(0.01));
    CHECK(with.after.excursionMarginDb == Approx(without.after.excursionMarginDb).margin(0.01));
    CHECK(with.measuredExcessDb < 0.05);
}

TEST_CASE("Bass beyond the speaker's own counts as the radio's boost", "[core][tuning]")
{
    auto request = plainRequest({});
    const auto without = costOf(request);
    request.measured = measuredLike(request.speaker, [](double frequencyHz) {
        return frequencyHz < 130.0 ? 6.0 : frequencyHz > 3000.0 ? 5.0 : 0.0;
    });
    const auto with = costOf(request);
    CHECK(with.measuredExcessDb == Approx(6.0).margin(0.1));
    CHECK(with.bands[2].radioBoostDb == 0.0);  // 31.5 Hz is not trusted
    CHECK(with.bands[25].radioBoostDb == 0.0); // 6.3 kHz: a dip or rise there is the place's
    // The same level at the head comes with more from the cone.
    CHECK(with.before.splDb == Approx(without.before.splDb).margin(1e-9));
    CHECK(with.before.excursionMarginDb < without.before.excursionMarginDb - 1.0);
    CHECK(anyContains(costSentences(request, with), "boost of the radio's"));
    CHECK(anyContains(costSentences(request, without), "radio is taken to be flat"));
}

TEST_CASE("Bass that no radio could add tells that the data are another speaker's",
          "[core][tuning]")
{
    auto request = plainRequest({});
    request.speaker.status = DataStatus::measured;
    request.measured = measuredLike(
        request.speaker, [](double frequencyHz) { return frequencyHz < 70.0 ? 25.0 : 0.0; });
    const auto cost = costOf(request);
    CHECK(cost.measuredExcessDb == Approx(25.0).margin(0.1));
    CHECK(cost.bands[5].radioBoostDb == mostRadioBoostDb); // 63 Hz
    CHECK(cost.uncertaintyDb == 6.0);
    CHECK(anyContains(costSentences(request, cost), "not the data of its speakers"));
}

TEST_CASE("Words of a cost tell data from estimate", "[core][tuning]")
{
    Element limiter;
    limiter.type = ElementType::limiter;
    auto request = plainRequest({bassShelf(9.0), limiter});
    request.plannedSplDb = 110.0;
    const auto cost = costOf(request);
    const auto sentences = costSentences(request, cost);
    CHECK(anyContains(sentences, "from its data sheet"));
    CHECK(anyContains(sentences, "+-4 dB"));
    CHECK(anyContains(sentences, "goes beyond its limit"));
    CHECK(anyContains(sentences, "limiter is not in these figures"));
    CHECK_FALSE(anyContains(sentences, "mechanical Q is assumed"));
    request.speaker.qms.reset();
    request.speaker.invented = true;
    request.speaker.status = DataStatus::assumed;
    const auto assumed = costSentences(request, costOf(request));
    CHECK(anyContains(assumed, "an invented one, assumed"));
    CHECK(anyContains(assumed, "mechanical Q is assumed"));
    CHECK(anyContains(assumed, "+-6 dB"));
    request.plannedSplDb = 60.0;
    CHECK(anyContains(costSentences(request, costOf(request)), "stays clear of its limit"));
}

TEST_CASE("A cost is refused for what cannot be worked out", "[core][tuning]")
{
    auto request = plainRequest({});
    request.plannedSplDb = 200.0;
    REQUIRE_FALSE(computeCost(request));
    CHECK(computeCost(request).error().code == dsp::ErrorCode::outOfRange);
    request = plainRequest({});
    request.amplifier.powerWatts = std::nan("");
    CHECK_FALSE(computeCost(request));
    request = plainRequest({});
    request.measured = measuredLike(request.speaker, [](double) { return 0.0; });
    for (auto& band : request.measured->bands)
        band.trusted = false;
    REQUIRE_FALSE(computeCost(request));
    CHECK_THAT(computeCost(request).error().message, Catch::Contains("500 Hz to 2 kHz"));
    // What a chain on the front does is not told by all speakers at once.
    request = plainRequest({});
    request.tuning = {"t", {{OutputGroup::front, {bassShelf(3.0)}}}};
    CHECK_FALSE(computeCost(request));
    request.output = OutputGroup::front;
    CHECK(computeCost(request));
}
