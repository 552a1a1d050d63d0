#include "Core/Tuning/Tuning.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Support/TuningFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

using namespace saddletone;
using tuning::Alignment;
using tuning::Element;
using tuning::ElementType;
using tuning::OutputGroup;

namespace {

constexpr std::array<double, 4> sampleRates {44100.0, 48000.0, 96000.0, 192000.0};

tuning::Tuning single(const Element& element, OutputGroup group = OutputGroup::all)
{
    return {"", {{group, {element}}}};
}

/** Largest difference between tuningResponse() and the transform of a tuned impulse, up to the end
    of what a delay of parts of a sample keeps. */
double responseError(const tuning::Tuning& tuning, OutputGroup side, double sampleRate)
{
    const tuning::DesignedTuning designed = tuning::designTuning(tuning, side, sampleRate);
    constexpr std::size_t size = 1U << 16U;
    std::vector<double> impulse(size, 0.0);
    // The delay's interpolation reaches ahead.
    constexpr std::size_t place = 40;
    impulse[place] = 1.0;
    tuning::applyTuning(tuning, side, sampleRate, impulse);
    std::rotate(impulse.begin(), impulse.begin() + place, impulse.end());
    dsp::RealFft<double> fft(size);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    double largest = 0.0;
    for (std::size_t bin = 0; bin < fft.numBins(); bin += 13) {
        const double frequencyHz = static_cast<double>(bin) * sampleRate / size;
        if (frequencyHz > 0.4535 * sampleRate)
            break;
        largest = std::max(largest, std::abs(fft.spectrum()[bin] - designed.response(frequencyHz)));
    }
    return largest;
}

std::complex<double> pass(ElementType type, Alignment alignment, int order, double frequencyHz,
                          double sampleRate)
{
    return tuning::tuningResponse(
        single({.type = type, .frequencyHz = 1500.0, .alignment = alignment, .order = order}),
        OutputGroup::left, frequencyHz, sampleRate);
}

} // namespace

TEST_CASE("The response of every element is that of the filter as it runs", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (const Element& element : test::allElements()) {
            CAPTURE(sampleRate, tuning::elementTypeName(element.type), element.order);
            // The impulse of the lowest filters has rung out by the end of the transform. A delay
            // of parts of a sample is flat within 0.0015 dB.
            const bool delays =
                element.type == ElementType::delay || element.type == ElementType::lowPass;
            const double limit = delays ? 2e-4 : 1e-8;
            CHECK(responseError(single(element), OutputGroup::left, sampleRate) < limit);
        }
}

TEST_CASE("The response of a chain is the product of its elements", "[core][tuning]")
{
    const tuning::Tuning chain {"", {{OutputGroup::all, test::allElements()}}};
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {50.0, 150.0, 700.0, 2500.0}) {
            std::complex<double> product = 1.0;
            for (const Element& element : test::allElements())
                product *= tuning::tuningResponse(single(element), OutputGroup::right, frequencyHz,
                                                  sampleRate);
            const auto whole =
                tuning::tuningResponse(chain, OutputGroup::right, frequencyHz, sampleRate);
            CHECK(std::abs(whole - product) <= 1e-12 * std::abs(product));
        }
    CHECK(tuning::tuningResponse({}, OutputGroup::left, 1000.0, 48000.0)
          == std::complex<double> {1.0, 0.0});
}

TEST_CASE("A chain acts on its own side and a common one on both", "[core][tuning]")
{
    const tuning::Tuning sides {
        "",
        {{OutputGroup::left, {{.type = ElementType::gain, .gainDb = 1.0}}},
         {OutputGroup::right, {{.type = ElementType::gain, .gainDb = 10.0}}},
         {OutputGroup::all, {{.type = ElementType::gain, .gainDb = 0.25}}},
         {OutputGroup::left, {{.type = ElementType::gain, .gainDb = 0.5}}}}};
    const auto levelOf = [&](OutputGroup side) {
        return dsp::amplitudeToDb(std::abs(tuning::tuningResponse(sides, side, 440.0, 48000.0)));
    };
    CHECK(levelOf(OutputGroup::left) == Approx(1.75).margin(1e-9));
    CHECK(levelOf(OutputGroup::right) == Approx(10.25).margin(1e-9));
    for (const auto side : {OutputGroup::left, OutputGroup::right}) {
        CHECK(responseError(sides, side, 48000.0) < 1e-12);
        std::vector<double> impulse {1.0, 0.0};
        tuning::applyTuning(sides, side, 48000.0, impulse);
        CHECK(dsp::amplitudeToDb(impulse[0]) == Approx(levelOf(side)).margin(1e-9));
    }
}

TEST_CASE("A delay of whole samples moves the sound exactly and polarity turns it over",
          "[core][tuning]")
{
    for (const double sampleRate : sampleRates) {
        const tuning::Tuning turned {
            "",
            {{OutputGroup::all,
              {{.type = ElementType::delay, .delayMs = 10.0}, {.type = ElementType::polarity}}}}};
        std::vector<double> impulse(4000, 0.0);
        impulse[3] = 0.5;
        tuning::applyTuning(turned, OutputGroup::left, sampleRate, impulse);
        const auto place = static_cast<std::size_t>(3 + std::lround(0.01 * sampleRate));
        for (std::size_t frame = 0; frame < impulse.size(); ++frame)
            REQUIRE(impulse[frame] == (frame == place ? -0.5 : 0.0));
    }
    // A delay beyond the room for it leaves silence, not a wrapped sound.
    std::vector<double> shortImpulse(10, 1.0);
    tuning::applyTuning(single({.type = ElementType::delay, .delayMs = 100.0}), OutputGroup::left,
                        48000.0, shortImpulse);
    CHECK(shortImpulse == std::vector<double>(10, 0.0));
}

TEST_CASE("Delays that are parts of samples by themselves add up", "[core][tuning]")
{
    // 0.25 samples and 99.75 at 48 kHz: together a shift of 100.
    const tuning::Tuning parts {
        "",
        {{OutputGroup::all, {{.type = ElementType::delay, .delayMs = 0.25 / 48.0}}},
         {OutputGroup::left, {{.type = ElementType::delay, .delayMs = 99.75 / 48.0}}}}};
    CHECK(tuning::designTuning(parts, OutputGroup::left, 48000.0).delaySamples
          == Approx(100.0).epsilon(1e-12));
    std::vector<double> impulse(300, 0.0);
    impulse[50] = 1.0;
    tuning::applyTuning(parts, OutputGroup::left, 48000.0, impulse);
    for (std::size_t frame = 0; frame < impulse.size(); ++frame)
        REQUIRE(impulse[frame] == (frame == 150 ? 1.0 : 0.0));
}

TEST_CASE("A chain acts on every output that it covers, and on no other", "[core][tuning]")
{
    using enum OutputGroup;
    struct Case {
        OutputGroup chain;
        std::vector<OutputGroup> covered;
    };
    const std::vector<Case> cases {
        {all, {all, left, right, front, rear, frontLeft, frontRight, rearLeft, rearRight}},
        {left, {left, frontLeft, rearLeft}},
        {right, {right, frontRight, rearRight}},
        {front, {front, frontLeft, frontRight}},
        {rear, {rear, rearLeft, rearRight}},
        {frontLeft, {frontLeft}},
        {frontRight, {frontRight}},
        {rearLeft, {rearLeft}},
        {rearRight, {rearRight}}};
    for (const Case& entry : cases)
        for (const OutputGroup output : measure::allSpeakerGroups) {
            const bool covered = std::ranges::find(entry.covered, output) != entry.covered.end();
            CAPTURE(measure::speakerGroupName(entry.chain), measure::speakerGroupName(output));
            CHECK(tuning::covers(entry.chain, output) == covered);
            const auto one = single({.type = ElementType::gain, .gainDb = 20.0}, entry.chain);
            CHECK(std::abs(tuning::idealResponse(one, output, 500.0))
                  == Approx(covered ? 10.0 : 1.0));
        }
    for (const OutputGroup group : measure::allSpeakerGroups)
        CHECK(measure::parseSpeakerGroup(measure::speakerGroupName(group)) == group);
    CHECK_FALSE(measure::parseSpeakerGroup("centre"));
}

TEST_CASE("A chain on a part of the speakers that are heard together is refused", "[core][tuning]")
{
    const Element gain {.type = ElementType::gain, .gainDb = 3.0};
    for (const auto& [chain, output] : {std::pair {OutputGroup::front, OutputGroup::left},
                                        std::pair {OutputGroup::rearLeft, OutputGroup::left},
                                        std::pair {OutputGroup::left, OutputGroup::all},
                                        std::pair {OutputGroup::right, OutputGroup::front}}) {
        auto tuning = single(gain, chain);
        tuning.name = "Front louder";
        const auto refused = tuning::checkApplies(tuning, output);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().code == dsp::ErrorCode::unsupported);
        CHECK_THAT(
            refused.error().message,
            Catch::Contains("'Front louder'")
                && Catch::Contains("'" + std::string(measure::speakerGroupName(chain)) + "'")
                && Catch::Contains("'" + std::string(measure::speakerGroupName(output)) + "'")
                && Catch::Contains("measure") && !Catch::Contains("'all' or 'all'"));
    }
    // A chain on other speakers changes nothing here; an empty one does nothing anywhere.
    CHECK(tuning::checkApplies(single(gain, OutputGroup::right), OutputGroup::left));
    CHECK(tuning::checkApplies(single(gain, OutputGroup::all), OutputGroup::rearLeft));
    CHECK(tuning::checkApplies(single(gain, OutputGroup::front), OutputGroup::frontLeft));
    CHECK(tuning::checkApplies({"", {{OutputGroup::front, {}}}}, OutputGroup::left));
}

TEST_CASE("A limiter is found on the outputs that it acts on", "[core][tuning]")
{
    const auto tuning = single({.type = ElementType::limiter}, OutputGroup::left);
    CHECK(tuning::hasLimiter(tuning, OutputGroup::frontLeft));
    CHECK_FALSE(tuning::hasLimiter(tuning, OutputGroup::right));
    CHECK_FALSE(tuning::hasLimiter({}, OutputGroup::all));
    CHECK(tuning::idealResponse(tuning, OutputGroup::left, 100.0)
          == std::complex<double> {1.0, 0.0});
    std::vector<double> impulse {1.0, 0.5};
    tuning::applyTuning(tuning, OutputGroup::left, 48000.0, impulse);
    CHECK(impulse == std::vector<double> {1.0, 0.5});
}

TEST_CASE("What is meant does not depend on the sample rate, and what is heard follows it",
          "[core][tuning]")
{
    const tuning::Tuning tuning {
        "",
        {{OutputGroup::all,
          {{.type = ElementType::peaking, .frequencyHz = 9000.0, .gainDb = 6.0, .q = 1.0},
           {.type = ElementType::highPass,
            .frequencyHz = 90.0,
            .alignment = Alignment::bessel,
            .order = 4},
           {.type = ElementType::gain, .gainDb = -2.0}}}}};
    for (const double sampleRate : sampleRates)
        for (double frequencyHz = 40.0; frequencyHz < 20000.0; frequencyHz *= 1.1)
            // A tenth of a dB a section is what the matched designs keep.
            CHECK(dsp::amplitudeToDb(std::abs(
                      tuning::tuningResponse(tuning, OutputGroup::left, frequencyHz, sampleRate)))
                  == Approx(dsp::amplitudeToDb(std::abs(
                                tuning::idealResponse(tuning, OutputGroup::left, frequencyHz))))
                         .margin(0.2));
}

TEST_CASE("Linkwitz-Riley passes are 6.02 dB down at their frequency", "[core][tuning]")
{
    // Linkwitz, JAES 24(1):2-8, 1976: two Butterworth passes in a row, 3.01 dB each.
    for (const double sampleRate : sampleRates)
        for (const int order : {2, 4, 8})
            for (const auto type : {ElementType::lowPass, ElementType::highPass})
                CHECK(dsp::amplitudeToDb(
                          std::abs(pass(type, Alignment::linkwitzRiley, order, 1500.0, sampleRate)))
                      == Approx(-6.0206).margin(0.1));
}

TEST_CASE("Butterworth passes of a tuning are 3.01 dB down at their frequency", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (int order = 1; order <= 8; ++order)
            for (const auto type : {ElementType::lowPass, ElementType::highPass})
                CHECK(dsp::amplitudeToDb(
                          std::abs(pass(type, Alignment::butterworth, order, 1500.0, sampleRate)))
                      == Approx(-3.0103).margin(0.1));
}

// 0.17 dB: what the matched designs, with the lead of low-passes taken back, leave of a flat sum at
// 1.5 kHz, up to 20 kHz at 44.1 kHz; a step of level just heard is about 1 dB. The prototypes add up
// exactly; see the tests of AnalogueSection.
constexpr double sumTolerance = 0.02;

TEST_CASE("Linkwitz-Riley ways add up to a flat level, in phase all the way", "[core][tuning]")
{
    // Order 2 needs one way turned over; orders 4 and 8 do not.
    for (const double sampleRate : sampleRates)
        for (const int order : {2, 4, 8})
            for (double frequencyHz = 20.0; frequencyHz < 0.4535 * sampleRate;
                 frequencyHz *= 1.31) {
                const auto low = pass(ElementType::lowPass, Alignment::linkwitzRiley, order,
                                      frequencyHz, sampleRate);
                const auto high = (order == 2 ? -1.0 : 1.0)
                                  * pass(ElementType::highPass, Alignment::linkwitzRiley, order,
                                         frequencyHz, sampleRate);
                CHECK(std::abs(low + high) == Approx(1.0).margin(sumTolerance));
                // In phase: magnitudes add up as well.
                CHECK(std::abs(low) + std::abs(high) == Approx(1.0).margin(sumTolerance));
            }
}

TEST_CASE("Butterworth ways of odd order add up to a flat level", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (const int order : {1, 3})
            for (double frequencyHz = 20.0; frequencyHz < 0.4535 * sampleRate;
                 frequencyHz *= 1.31) {
                const auto low = pass(ElementType::lowPass, Alignment::butterworth, order,
                                      frequencyHz, sampleRate);
                const auto high = pass(ElementType::highPass, Alignment::butterworth, order,
                                       frequencyHz, sampleRate);
                CHECK(std::abs(low + high) == Approx(1.0).margin(sumTolerance));
            }
}

TEST_CASE("Extreme settings stay finite", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {10.0, 24000.0})
            for (const double gainDb : {-40.0, 40.0})
                for (const double q : {0.1, 30.0}) {
                    const tuning::Tuning extreme {
                        "",
                        {{OutputGroup::all,
                          {{.type = ElementType::peaking,
                            .frequencyHz = frequencyHz,
                            .gainDb = gainDb,
                            .q = q},
                           {.type = ElementType::lowShelf,
                            .frequencyHz = frequencyHz,
                            .gainDb = gainDb,
                            .q = q},
                           {.type = ElementType::highPass, .frequencyHz = frequencyHz, .order = 8},
                           {.type = ElementType::lowPass,
                            .frequencyHz = frequencyHz,
                            .order = 8}}}}};
                    std::vector<double> impulse(20000, 0.0);
                    impulse.front() = 1.0;
                    tuning::applyTuning(extreme, OutputGroup::left, sampleRate, impulse);
                    for (const double sample : impulse)
                        REQUIRE(std::isfinite(sample));
                }
}
