#include "Core/Dsp/OctaveBands.h"
#include "Core/Report/Wording.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <limits>

using namespace saddletone;
using measure::EngineState;

namespace {

measure::BikeState stateWith(EngineState engine, double speedKmh = 0.0)
{
    measure::BikeState state;
    state.engine = engine;
    state.speedKmh = speedKmh;
    return state;
}

/** Two flat responses but for one band, with the same uncertainty everywhere. */
measure::Comparison comparisonWith(double differenceDb, double atHz, double uncertaintyDb)
{
    measure::Response parked;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        parked.bands.push_back({.frequencyHz = band.centreHz,
                                .levelDb = 0.0,
                                .snrDb = 40.0,
                                .uncertaintyDb = uncertaintyDb / std::sqrt(2.0),
                                .trusted = true});
    measure::Response running = parked;
    for (auto& band : running.bands)
        if (std::abs(band.frequencyHz / atHz - 1.0) < 0.02)
            band.levelDb += differenceDb;
    return measure::compareResponses(parked, running);
}

} // namespace

TEST_CASE("Numbers have a dot and a true minus, and a dash for nothing", "[core][report]")
{
    CHECK(report::numberText(-4.56, 1)
          == "\xE2\x88\x92"
             "4.6");
    CHECK(report::numberText(-0.01, 1) == "0.0");
    CHECK(report::signedText(4.56, 1) == "+4.6");
    CHECK(report::signedText(0.01, 1) == "0.0");
    CHECK(report::signedText(-0.01, 1) == "0.0");
    for (const double value :
         {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(), 1e300})
        CHECK(report::numberText(value, 1) == "\xE2\x80\x93");
}

TEST_CASE("Frequencies carry the nominal names of ISO 266", "[core][report]")
{
    CHECK(report::frequencyWords(std::pow(10.0, 1.9)) == "80 Hz");
    CHECK(report::frequencyWords(std::pow(10.0, 1.5)) == "31.5 Hz");
    CHECK(report::frequencyWords(1000.0) == "1 kHz");
    CHECK(report::frequencyWords(std::pow(10.0, 3.1)) == "1.25 kHz");
    CHECK(report::frequencyWords(std::pow(10.0, 4.1)) == "12.5 kHz");
    CHECK(report::frequencyWords(0.0) == "\xE2\x80\x93");
}

TEST_CASE("Speeds are given both ways", "[core][report]")
{
    CHECK(report::speedWords(0.0) == "parked");
    CHECK(report::speedWords(75.0 * 1.609344) == "75 mph (121 km/h)");
    CHECK(report::conditionWords(stateWith(EngineState::off)) == "parked, engine off");
    CHECK(report::conditionWords(stateWith(EngineState::idle)) == "parked, engine idling");
    CHECK(report::conditionWords(stateWith(EngineState::running, 72.42))
          == "engine running, 45 mph (72 km/h)");
    measure::BikeState left = stateWith(EngineState::off);
    left.speakers = measure::SpeakerGroup::frontLeft;
    CHECK(report::conditionWords(left) == "parked, engine off, front left speakers");
}

TEST_CASE("A significant difference makes another curve", "[core][report]")
{
    const auto comparison = comparisonWith(-4.6, 80.0, 0.1);
    REQUIRE(comparison.significant);
    CHECK(report::uncertaintyOfLargestDb(comparison) == Approx(0.1));
    CHECK(report::verdictSentence(stateWith(EngineState::running), comparison)
          == "With the engine running this radio plays another curve: 4.6 dB less at 80 Hz than "
             "parked with the "
             "engine off (measured to \xC2\xB1"
             "0.3 dB).");
    CHECK(report::verdictSentence(stateWith(EngineState::idle), comparisonWith(6.0, 3150.0, 0.0))
          == "With the engine idling this radio plays another curve: 6.0 dB more at 3.15 kHz than "
             "parked with the "
             "engine off (measured to \xC2\xB1"
             "0.1 dB).");
    CHECK(report::verdictSentence(stateWith(EngineState::running, 72.42), comparison)
              .starts_with("At 45 mph (72 km/h) this radio"));
}

TEST_CASE("A difference that the measurement cannot tell makes the same curve", "[core][report]")
{
    const auto small = comparisonWith(0.6, 80.0, 0.1);
    REQUIRE(!small.significant);
    CHECK(report::verdictSentence(stateWith(EngineState::running), small)
          == "With the engine running this radio plays the same curve as parked with the engine "
             "off, as far as the "
             "measurement tells: the largest difference is 0.6 dB at 80 Hz, and only more than 1.0 "
             "dB would count.");
    // Large, but chance among so many bands reaches further: 3.87 standard deviations of
    // sqrt(2.0^2 + 0.25^2) dB leave each of 31 bands a chance of 0.01 / 3 / 31, from normal tables.
    const auto noisy = comparisonWith(4.6, 80.0, 2.0);
    REQUIRE(!noisy.significant);
    CHECK(report::verdictSentence(stateWith(EngineState::running), noisy)
              .ends_with("only more than 7.8 dB would count."));
}

TEST_CASE("A verdict's evidence names the spread of all bands and how rare it is by chance",
          "[core][report]")
{
    // One band of 31 differs by -3.1 dB. The shared difference of -0.1 dB is taken out: the others
    // stand 0.1 dB off, that one 3.0 dB, which is sqrt((30 x 0.01 + 9) / 31) = 0.55 dB RMS.
    // Expected: sqrt(0.1^2 + 0.25^2) = 0.27 dB.
    CHECK(report::evidenceSentence(comparisonWith(-3.1, 80.0, 0.1))
          == "Over 31 bands the curves differ by 0.5 dB RMS, where noise and an assumed "
             "repeatability of 0.25 dB would give 0.3 dB; two measurements of the same curve look "
             "as different less than once in 1000 times.");
    CHECK(
        report::evidenceSentence(comparisonWith(0.0, 80.0, 0.1)).ends_with("more often than not."));
    CHECK(report::chanceWords(0.025) == "about once in 40 times");
    CHECK(report::evidenceSentence({}).empty());
}

TEST_CASE("Without a trusted band nothing is claimed", "[core][report]")
{
    auto comparison = comparisonWith(0.0, 80.0, 0.1);
    CHECK(report::verdictSentence(stateWith(EngineState::running), comparison)
          == "With the engine running this radio plays the same curve as parked with the engine "
             "off.");
    for (auto& band : comparison.bands)
        band.trusted = false;
    CHECK(report::verdictSentence(stateWith(EngineState::running), comparison)
              .find("nothing can be said")
          != std::string::npos);
    CHECK(report::evennessWords({}) == "no band could be relied on");
}

TEST_CASE("A tuning reads as a shop would dial it in", "[core][report]")
{
    using tuning::Alignment;
    using tuning::ElementType;
    tuning::Tuning tuning;
    CHECK(report::tuningWords(tuning) == "as measured");
    tuning.chains.push_back(
        {tuning::OutputGroup::all,
         {{.type = ElementType::peaking, .frequencyHz = 80.0, .gainDb = 4.0, .q = 1.1},
          {.type = ElementType::highPass,
           .frequencyHz = 60.0,
           .alignment = Alignment::linkwitzRiley,
           .order = 4},
          {.type = ElementType::highShelf, .frequencyHz = 2500.0, .gainDb = -2.5, .q = 0.7}}});
    tuning.chains.push_back(
        {tuning::OutputGroup::left,
         {{.type = ElementType::delay, .delayMs = 0.35}, {.type = ElementType::polarity}}});
    CHECK(report::tuningWords(tuning)
          == "bell 80 Hz +4.0 dB, Q 1.10; high-pass 60 Hz, Linkwitz-Riley 24 dB/octave; high shelf "
             "2.5 kHz "
             "\xE2\x88\x92"
             "2.5 dB, Q 0.70. Left: delay 0.35 ms; polarity reversed");
}

TEST_CASE("Every element and group of a tuning is put in plain words", "[core][report]")
{
    using tuning::Alignment;
    using tuning::Element;
    using tuning::ElementType;
    using tuning::OutputGroup;
    const auto words = [](const Element& element) { return report::elementWords(element); };
    CHECK(words({.type = ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = 3.0, .slope = 0.8})
          == "low shelf 120 Hz +3.0 dB, slope 0.80");
    CHECK(words({.type = ElementType::highPass,
                 .frequencyHz = 80.0,
                 .alignment = Alignment::bessel,
                 .order = 3})
          == "high-pass 80 Hz, Bessel 18 dB/octave");
    CHECK(words({.type = ElementType::allPass, .frequencyHz = 400.0, .q = 0.7})
          == "all-pass 400 Hz, Q 0.70");
    CHECK(words({.type = ElementType::allPass, .frequencyHz = 400.0, .order = 1})
          == "all-pass 400 Hz, first order");
    CHECK(words({.type = ElementType::notch, .frequencyHz = 60.0, .q = 8.0})
          == "notch 60 Hz, Q 8.00");
    CHECK(words({.type = ElementType::limiter, .thresholdDbfs = -6.0})
          == "limiter above \xE2\x88\x92"
             "6.0 dBFS (attack 5.00 ms, release 100 ms; not in the curves)");
    Element graphic {.type = ElementType::graphic};
    CHECK(words(graphic) == "graphic equaliser, all bands at 0 dB");
    graphic.bandGainsDb[7] = 2.5;
    graphic.bandGainsDb[21] = 1.0;
    CHECK(words(graphic) == "graphic equaliser (third octaves) 100 Hz +2.5 dB, 2.5 kHz +1.0 dB");

    tuning::Tuning groups;
    for (const OutputGroup group : measure::allSpeakerGroups)
        groups.chains.push_back({group, {{.type = ElementType::polarity}}});
    CHECK(report::tuningWords(groups)
          == "polarity reversed. Left: polarity reversed. Right: polarity reversed. Front: "
             "polarity reversed. Rear: polarity reversed. Front left: polarity reversed. Front "
             "right: polarity reversed. Rear left: polarity reversed. Rear right: polarity "
             "reversed");
}

TEST_CASE("Music stands below, above or level with the wind", "[core][report]")
{
    CHECK(report::balanceWords(-12.0) == "12.0 dB below");
    CHECK(report::balanceWords(3.04) == "3.0 dB above");
    CHECK(report::balanceWords(-0.02) == "equal");
}
