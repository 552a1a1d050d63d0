#include "Core/Tuning/Verdict.h"

#include "Core/Measure/ImportedResponse.h"
#include "Core/Tuning/FitCurve.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using measure::EngineState;
using tuning::ElementType;
using tuning::Means;
using tuning::Standing;

namespace {

using LevelDb = std::function<double(double frequencyHz)>;

/** A state with a curve, known well: 0.1 dB in 95 of 100 cases. */
measure::Response stateOf(const std::string& profile, EngineState engine, const LevelDb& levelDb,
                          double interval95Db = 0.1)
{
    files::FrequencyTable table;
    for (double frequencyHz = 15.0; frequencyHz < 22000.0; frequencyHz *= 1.03) {
        table.frequenciesHz.push_back(frequencyHz);
        table.levelsDb.push_back(levelDb(frequencyHz));
    }
    measure::ImportSettings settings;
    settings.source = "table";
    settings.name = profile + (engine == EngineState::off ? " parked" : " running");
    settings.state.radioProfile = profile;
    settings.state.engine = engine;
    auto response = measure::importTable(table, settings);
    REQUIRE(response);
    for (auto& band : response->bands) {
        band.uncertaintyDb = 0.5 * interval95Db;
        band.interval95Db = interval95Db;
    }
    return *response;
}

/** Flat, and lifted by a whole number of dB between the corners, with slopes of a sixth of an octave
    or so. */
LevelDb liftedBetween(double fromHz, double toHz, double liftDb)
{
    return [=](double frequencyHz) {
        const double below = 12.0 * std::log2(fromHz / frequencyHz);
        const double above = 12.0 * std::log2(frequencyHz / toHz);
        return liftDb / (1.0 + std::exp(below)) / (1.0 + std::exp(above));
    };
}

double flat(double)
{
    return 0.0;
}

LevelDb sumOf(LevelDb first, LevelDb second)
{
    return [first = std::move(first), second = std::move(second)](double frequencyHz) {
        return first(frequencyHz) + second(frequencyHz);
    };
}

LevelDb elementDb(ElementType type, double frequencyHz, double q, double gainDb)
{
    tuning::Element element;
    element.type = type;
    element.frequencyHz = frequencyHz;
    element.q = q;
    element.gainDb = gainDb;
    return [element](double atHz) {
        return 20.0 * std::log10(std::abs(tuning::elementResponse(element, atHz)));
    };
}

tuning::ToneControls bassAndTreble()
{
    using enum tuning::ToneControlStatus;
    return {"Radio",
            {{"Bass", ElementType::lowShelf, 125.0, 0.7071, -12.0, 12.0, 2.0, measured, ""},
             {"Treble", ElementType::highShelf, 6000.0, 0.7071, -12.0, 12.0, 2.0, measured, ""}}};
}

tuning::Verdict verdictOn(const tuning::VerdictRequest& request)
{
    auto verdict = tuning::giveVerdict(request);
    REQUIRE(verdict);
    return *verdict;
}

/** Parked and running alike, unless the other is given. */
tuning::VerdictRequest requestFor(const LevelDb& parked, const LevelDb& running)
{
    tuning::VerdictRequest request;
    request.states = {stateOf("Stock", EngineState::off, parked),
                      stateOf("Stock", EngineState::idle, running)};
    request.toneControls = bassAndTreble();
    return request;
}

const tuning::MeansResult& resultOf(const tuning::Verdict& verdict, Means means)
{
    return verdict.means[static_cast<std::size_t>(means)];
}

Means chosenOf(const tuning::Verdict& verdict)
{
    REQUIRE(verdict.chosen);
    return verdict.means[*verdict.chosen].means;
}

bool anyNote(const tuning::Verdict& verdict, const std::string& words)
{
    return std::ranges::any_of(verdict.notes, [&](const std::string& note) {
        return note.find(words) != std::string::npos;
    });
}

bool says(const std::string& sentence, const std::string& words)
{
    return sentence.find(words) != std::string::npos;
}

/** The trade's usual case (common practice, no source; the numbers are invented): a stock profile flat
    from 200 Hz up with a huge boost below 125 Hz parked and another curve once the engine runs, and
    an alternative one that is fairly flat both ways. */
tuning::VerdictRequest tradeRequest()
{
    const LevelDb parked = liftedBetween(45.0, 145.0, 11.0);
    const LevelDb running =
        sumOf(liftedBetween(45.0, 145.0, 2.0), elementDb(ElementType::peaking, 2800.0, 0.7, 5.0));
    const LevelDb alternative = sumOf(elementDb(ElementType::lowShelf, 70.0, 0.7, -3.0),
                                      elementDb(ElementType::peaking, 2000.0, 0.8, 1.8));
    auto request = requestFor(parked, running);
    request.states.push_back(stateOf("Touring", EngineState::off, alternative));
    request.states.push_back(stateOf("Touring", EngineState::idle, alternative));
    request.currentProfile = "Stock";
    return request;
}

} // namespace

TEST_CASE("A stock profile that changes with the engine takes another profile and no DSP",
          "[core][tuning]")
{
    const auto verdict = verdictOn(tradeRequest());
    INFO(verdict.sentence);
    CHECK(chosenOf(verdict) == Means::otherProfile);
    CHECK(says(verdict.sentence, "The Touring profile stays within"));
    CHECK(says(verdict.sentence, "from 80 Hz to 12 kHz, parked and running, so no DSP is needed."));
    CHECK(resultOf(verdict, Means::nothing).standing == Standing::insufficient);
    CHECK(resultOf(verdict, Means::toneControls).standing == Standing::insufficient);
    // The boost parked: 11 dB in a span, of which a free level takes half.
    REQUIRE(resultOf(verdict, Means::nothing).parked);
    CHECK(resultOf(verdict, Means::nothing).parked->sizeDb == Approx(5.5).margin(0.4));
    CHECK(resultOf(verdict, Means::nothing).parked->frequencyHz < 130.0);
    CHECK(resultOf(verdict, Means::nothing).parked->isAbove);
}

TEST_CASE("A DSP set parked on a profile that changes with the engine is shown to fail on the road",
          "[core][tuning]")
{
    const auto request = tradeRequest();
    const auto verdict = verdictOn(request);
    REQUIRE(verdict.parkedDsp);
    INFO(verdict.parkedDsp->reason);
    CHECK(verdict.parkedDsp->profile == "Stock");
    CHECK(verdict.parkedDsp->parked.sizeDb <= 3.0);
    CHECK_FALSE(verdict.parkedDsp->holds);
    CHECK(verdict.parkedDsp->running.sizeDb > 3.0);
    CHECK(
        says(verdict.parkedDsp->reason, "it fails on the road, as this radio plays another curve"));

    // The number, worked out anew from the curve that the DSP meets on the road: its levels in
    // twelfths of an octave, which smooth curves share with third octaves to 0.5 dB.
    const auto curve =
        tuning::makeFitCurve(request.states[1], tuning::FitTarget {}, {80.0, 12000.0});
    REQUIRE(curve);
    double lowest = 100.0;
    double highest = -100.0;
    for (const auto& point : curve->points) {
        const double levelDb =
            point.levelDb
            + 20.0
                  * std::log10(std::abs(tuning::idealResponse(
                      verdict.parkedDsp->tuning, tuning::OutputGroup::all, point.frequencyHz)));
        lowest = std::min(lowest, levelDb);
        highest = std::max(highest, levelDb);
    }
    CHECK(verdict.parkedDsp->running.sizeDb == Approx(0.5 * (highest - lowest)).margin(0.5));
}

TEST_CASE("Curves that differ too much between parked and running defeat every fixed DSP",
          "[core][tuning]")
{
    auto request = tradeRequest();
    request.states.resize(2);
    const auto verdict = verdictOn(request);
    CHECK_FALSE(verdict.chosen);
    const auto& dsp = resultOf(verdict, Means::dsp);
    INFO(dsp.reason);
    CHECK(dsp.standing == Standing::insufficient);
    // 9 dB less bass and 5 dB more presence running: 14 dB, of which a quarter stays at best.
    CHECK(dsp.leastPossibleDb == Approx(3.5).margin(0.2));
    CHECK(says(dsp.reason, "No setting can do it"));
    REQUIRE(dsp.parked);
    REQUIRE(dsp.running);
    CHECK(std::max(dsp.parked->sizeDb, dsp.running->sizeDb) >= dsp.leastPossibleDb - 0.05);
    INFO(verdict.sentence);
    CHECK(says(verdict.sentence, "Nothing that was measured or tried is enough"));
    CHECK(says(verdict.sentence, "a profile that plays the same curve parked and running"));
}

TEST_CASE("A bike that is even as it is needs nothing", "[core][tuning]")
{
    const auto verdict =
        verdictOn(requestFor(elementDb(ElementType::peaking, 500.0, 1.0, 4.0), flat));
    INFO(verdict.sentence);
    CHECK(chosenOf(verdict) == Means::nothing);
    CHECK(says(verdict.sentence, "The Stock profile, left alone, stays within 2.0 dB from 80 Hz to "
                                 "12 kHz, parked and running, so nothing needs to be changed."));
    CHECK(verdict.notes.empty());
}

TEST_CASE("Tone controls are told in the radio's own steps", "[core][tuning]")
{
    const LevelDb curve = sumOf(elementDb(ElementType::lowShelf, 125.0, 0.7071, 8.0),
                                elementDb(ElementType::highShelf, 6000.0, 0.7071, -4.0));
    const auto verdict = verdictOn(requestFor(curve, curve));
    INFO(verdict.sentence);
    CHECK(chosenOf(verdict) == Means::toneControls);
    CHECK(resultOf(verdict, Means::toneControls).toneSteps == std::vector {-4, 2});
    CHECK(says(verdict.sentence, "With the Stock profile, Bass -4 and Treble +2 stay within 0."));
    CHECK(says(verdict.sentence, "so no DSP is needed."));
    REQUIRE(verdict.parkedDsp);
    INFO(verdict.parkedDsp->reason);
    CHECK(verdict.parkedDsp->holds);
    CHECK(says(verdict.parkedDsp->reason, "it holds on the road."));
}

TEST_CASE("Tone controls have to do for both curves of a radio at once", "[core][tuning]")
{
    // 8 dB of bass parked, none running: half of the difference is the best of both.
    const auto verdict =
        verdictOn(requestFor(elementDb(ElementType::lowShelf, 125.0, 0.7071, 8.0), flat));
    CHECK(chosenOf(verdict) == Means::toneControls);
    CHECK(resultOf(verdict, Means::toneControls).toneSteps == std::vector {-2, 0});
}

TEST_CASE("Another profile may need tone controls as well", "[core][tuning]")
{
    auto request = tradeRequest();
    const LevelDb bright = elementDb(ElementType::highShelf, 6000.0, 0.7071, 8.0);
    request.states.resize(2);
    request.states.push_back(stateOf("Touring", EngineState::off, bright));
    request.states.push_back(stateOf("Touring", EngineState::idle, bright));
    const auto verdict = verdictOn(request);
    INFO(verdict.sentence);
    CHECK(chosenOf(verdict) == Means::otherProfileAndToneControls);
    CHECK(says(verdict.sentence, "With the Touring profile, Treble -4 stays within"));
}

TEST_CASE("Where nothing less is enough a DSP is, with the fewest filters", "[core][tuning]")
{
    const LevelDb curve = sumOf(elementDb(ElementType::peaking, 400.0, 2.0, 9.0),
                                elementDb(ElementType::peaking, 2500.0, 3.0, 8.0));
    const auto verdict = verdictOn(requestFor(curve, curve));
    INFO(verdict.sentence);
    CHECK(chosenOf(verdict) == Means::dsp);
    const auto& dsp = resultOf(verdict, Means::dsp);
    CHECK(dsp.numFilters == 2);
    CHECK(says(verdict.sentence, "A DSP with 2 filters on the Stock profile stays within"));
    // There is no other profile to try.
    CHECK(says(verdict.sentence, "Nothing less was shown to be enough."));
    CHECK(says(resultOf(verdict, Means::otherProfile).reason, "No other profile was measured"));

    auto request = requestFor(curve, curve);
    request.maxFilters = 1;
    const auto withOne = verdictOn(request);
    CHECK_FALSE(withOne.chosen);
    CHECK(says(withOne.sentence, "Nothing that was measured or tried is enough"));
    CHECK(says(withOne.sentence, "Measure another profile"));
    REQUIRE(withOne.parkedDsp);
    CHECK(says(withOne.parkedDsp->reason, "parked, which is not enough"));
}

TEST_CASE("Without the engine running no verdict is given for the road", "[core][tuning]")
{
    tuning::VerdictRequest request;
    request.states = {stateOf("Stock", EngineState::off, flat)};
    auto verdict = verdictOn(request);
    INFO(verdict.sentence);
    REQUIRE(verdict.chosen);
    CHECK(verdict.means[*verdict.chosen].standing == Standing::open);
    CHECK(says(verdict.sentence, "As far as it was measured"));
    CHECK(says(verdict.sentence,
               "NOT MEASURED WITH THE ENGINE RUNNING: this radio may change its curve"));
    CHECK_FALSE(says(verdict.sentence, "parked and running"));
    CHECK_FALSE(says(verdict.sentence, "so nothing needs to be changed"));
    CHECK(anyNote(verdict, "NOT MEASURED WITH THE ENGINE RUNNING"));
    CHECK_FALSE(verdict.parkedDsp);

    SECTION("unless parked is all that counts")
    {
        request.sufficiency.counted = tuning::CountedStates::parked;
        verdict = verdictOn(request);
        CHECK(chosenOf(verdict) == Means::nothing);
        CHECK(verdict.means[0].standing == Standing::sufficient);
        CHECK(says(verdict.sentence, "12 kHz, parked, so nothing"));
        CHECK(verdict.notes.empty());
    }
    SECTION("and one that is shown to suffice goes before one that may")
    {
        request.states.push_back(stateOf("Touring", EngineState::off, flat));
        request.states.push_back(stateOf("Touring", EngineState::running, flat));
        request.currentProfile = "Stock";
        verdict = verdictOn(request);
        CHECK(chosenOf(verdict) == Means::otherProfile);
        CHECK(anyNote(verdict, "less may do: The Stock profile, left alone"));
    }
    SECTION("nor parked by a measurement on the road")
    {
        request.states = {stateOf("Stock", EngineState::running, flat)};
        verdict = verdictOn(request);
        CHECK(anyNote(verdict, "NOT MEASURED PARKED"));
        CHECK(says(verdict.sentence, "with the engine running"));
    }
}

TEST_CASE("Bands that cannot be trusted do not count and are named", "[core][tuning]")
{
    auto request = requestFor(liftedBetween(60.0, 105.0, 12.0), flat);
    for (auto& band : request.states[0].bands)
        if (band.frequencyHz < 130.0)
            band.trusted = false;
    const auto verdict = verdictOn(request);
    CHECK(chosenOf(verdict) == Means::nothing);
    CHECK(anyNote(verdict, "'Stock parked' cannot be trusted there: 80 Hz, 100 Hz and 125 Hz"));
    CHECK(says(verdict.sentence,
               "12 kHz (not counted, as they cannot be trusted: 80 Hz, 100 Hz and "
               "125 Hz), parked and running"));

    for (auto& band : request.states[1].bands)
        band.trusted = band.frequencyHz > 2000.0;
    const auto open = verdictOn(request);
    CHECK(anyNote(open, "'Stock running' does not count: only 8 of its 23 bands"));
    REQUIRE(open.chosen);
    CHECK(open.means[*open.chosen].standing == Standing::open);
}

TEST_CASE("A verdict within the measurements' uncertainty of the limit says so", "[core][tuning]")
{
    const LevelDb curve = elementDb(ElementType::lowShelf, 125.0, 0.7071, 6.4);
    tuning::VerdictRequest request;
    request.states = {stateOf("Stock", EngineState::off, curve, 1.0),
                      stateOf("Stock", EngineState::idle, flat, 1.0)};
    const double sizeDb = verdictOn(request).means[0].parked->sizeDb;
    // Two bands, each known to 1 dB, bound the span, and half of it counts.
    CHECK(verdictOn(request).means[0].parked->interval95Db == Approx(std::sqrt(0.5)));

    request.sufficiency.withinDb = sizeDb + 0.5;
    auto verdict = verdictOn(request);
    CHECK(verdict.means[0].isJust);
    CHECK(says(verdict.sentence, "stays just within"));
    request.sufficiency.withinDb = sizeDb + 0.8;
    CHECK_FALSE(verdictOn(request).means[0].isJust);
    request.sufficiency.withinDb = sizeDb - 0.5;
    verdict = verdictOn(request);
    CHECK(verdict.means[0].standing == Standing::insufficient);
    CHECK(says(verdict.means[0].reason, "not certain enough to rule it out"));
}

TEST_CASE("A target other than flat and a narrower range are judged by", "[core][tuning]")
{
    const LevelDb warm = elementDb(ElementType::lowShelf, 100.0, 0.7071, 9.0);
    auto request = requestFor(warm, warm);
    CHECK(chosenOf(verdictOn(request)) != Means::nothing);
    SECTION("a target with the same shelf")
    {
        request.sufficiency.target.bassShelf = tuning::BassShelf {9.0, 100.0};
        const auto verdict = verdictOn(request);
        CHECK(chosenOf(verdict) == Means::nothing);
        CHECK(verdict.means[0].parked->sizeDb < 0.2);
    }
    SECTION("a range above it")
    {
        request.sufficiency.fromHz = 315.0;
        const auto verdict = verdictOn(request);
        CHECK(chosenOf(verdict) == Means::nothing);
        CHECK(says(verdict.sentence, "from 315 Hz to 12 kHz"));
    }
}

TEST_CASE("Assumed tone controls, invented data and other places are said", "[core][tuning]")
{
    auto request = tradeRequest();
    request.toneControls->controls[0].status = tuning::ToneControlStatus::assumed;
    request.states[0].invented = true;
    request.states[1].state.microphonePlace = "tank";
    request.states[2].state.volumeStep = "10";
    const auto verdict = verdictOn(request);
    CHECK(anyNote(verdict, "assumed, not measured"));
    CHECK(anyNote(verdict, "invented data"));
    CHECK(anyNote(verdict, "microphone places"));
    CHECK(anyNote(verdict, "volume steps"));
}

TEST_CASE("Where no verdict can be given the reason is", "[core][tuning]")
{
    const auto refused = [](const tuning::VerdictRequest& request, const std::string& reason) {
        const auto verdict = tuning::giveVerdict(request);
        REQUIRE_FALSE(verdict);
        INFO(verdict.error().message);
        CHECK(says(verdict.error().message, reason));
    };
    auto request = tradeRequest();
    refused({}, "without a measured state");
    request.currentProfile = "";
    refused(request, "'Stock', 'Touring'");
    request.currentProfile = "Sport";
    refused(request, "'Sport', was not measured");
    request.currentProfile = "Stock";
    request.sufficiency.toHz = 100.0;
    refused(request, "span an octave");
    request.sufficiency.toHz = 12000.0;
    request.sufficiency.withinDb = 0.0;
    refused(request, "0.5 dB to 20 dB");
    request.sufficiency.withinDb = 3.0;
    request.maxFilters = 11;
    refused(request, "1 to 10");
    request.maxFilters = 10;
    request.states.back().state.speakers = measure::SpeakerGroup::frontLeft;
    refused(request, "states of the same speakers");
    request.states.back().state.speakers = measure::SpeakerGroup::all;
    for (auto& state : request.states)
        for (auto& band : state.bands)
            band.trusted = false;
    refused(request, "has no measured state that counts");
}

TEST_CASE("The same states give the same verdict to the bit", "[core][tuning]")
{
    const auto first = verdictOn(tradeRequest());
    const auto second = verdictOn(tradeRequest());
    CHECK(first.sentence == second.sentence);
    REQUIRE(first.parkedDsp);
    REQUIRE(second.parkedDsp);
    CHECK(first.parkedDsp->tuning == second.parkedDsp->tuning);
    CHECK(first.parkedDsp->running == second.parkedDsp->running);
    for (std::size_t index = 0; index < first.means.size(); ++index)
        CHECK(first.means[index].tuning == second.means[index].tuning);
}
