#include "Core/Tuning/Tuning.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using Catch::Contains;
using nlohmann::json;
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

/** One of every kind, and every alignment and order of passes. */
std::vector<Element> allElements()
{
    std::vector<Element> elements {
        {.type = ElementType::gain, .gainDb = -7.5},
        {.type = ElementType::peaking, .frequencyHz = 315.0, .gainDb = 6.0, .q = 3.0},
        {.type = ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = -5.0, .q = 0.6},
        {.type = ElementType::highShelf, .frequencyHz = 6300.0, .gainDb = 4.0, .q = 0.9},
        {.type = ElementType::delay, .delayMs = 3.25},
        {.type = ElementType::polarity},
    };
    for (const auto type : {ElementType::highPass, ElementType::lowPass}) {
        for (int order = 1; order <= 8; ++order)
            elements.push_back({.type = type, .frequencyHz = 180.0, .order = order});
        for (const int order : {2, 4, 8})
            elements.push_back({.type = type,
                                .frequencyHz = 2200.0,
                                .alignment = Alignment::linkwitzRiley,
                                .order = order});
    }
    return elements;
}

/** Largest difference between tuningResponse() and the transform of a tuned impulse. */
double responseError(const tuning::Tuning& tuning, OutputGroup side, double sampleRate)
{
    constexpr std::size_t size = 1U << 16U;
    std::vector<double> impulse(size, 0.0);
    impulse.front() = 1.0;
    tuning::applyTuning(tuning, side, sampleRate, impulse);
    dsp::RealFft<double> fft(size);
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    double largest = 0.0;
    for (std::size_t bin = 0; bin < fft.numBins(); bin += 13) {
        const double frequencyHz = static_cast<double>(bin) * sampleRate / size;
        largest = std::max(
            largest, std::abs(fft.spectrum()[bin]
                              - tuning::tuningResponse(tuning, side, frequencyHz, sampleRate)));
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

json documentWith(const char* element)
{
    return {{"kind", "saddletone-tuning"},
            {"schemaVersion", 1},
            {"chains", {{{"group", "all"}, {"elements", {json::parse(element)}}}}}};
}

dsp::Error problemOf(const json& document)
{
    const auto result = tuning::tuningFromJson(document, "shop.json");
    REQUIRE_FALSE(result.has_value());
    CHECK_THAT(result.error().message, Contains("'shop.json'"));
    return result.error();
}

} // namespace

TEST_CASE("The response of every element is that of the filter as it runs", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (const Element& element : allElements()) {
            CAPTURE(sampleRate, tuning::elementTypeName(element.type), element.order);
            // The impulse of the lowest filters has rung out by the end of the transform.
            CHECK(responseError(single(element), OutputGroup::left, sampleRate) < 1e-8);
        }
}

TEST_CASE("The response of a chain is the product of its elements", "[core][tuning]")
{
    const tuning::Tuning chain {"", {{OutputGroup::all, allElements()}}};
    for (const double sampleRate : sampleRates)
        for (const double frequencyHz : {50.0, 150.0, 700.0, 2500.0}) {
            std::complex<double> product = 1.0;
            for (const Element& element : allElements())
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

TEST_CASE("A delay moves the sound by whole samples and polarity turns it over", "[core][tuning]")
{
    for (const double sampleRate : sampleRates) {
        const tuning::Tuning turned {
            "",
            {{OutputGroup::all,
              {{.type = ElementType::delay, .delayMs = 2.0}, {.type = ElementType::polarity}}}}};
        std::vector<double> impulse(2000, 0.0);
        impulse[3] = 0.5;
        tuning::applyTuning(turned, OutputGroup::left, sampleRate, impulse);
        // 2 ms at 44.1 kHz are 88.2 samples, which rounds to 88.
        const auto place = static_cast<std::size_t>(3 + std::lround(0.002 * sampleRate));
        for (std::size_t frame = 0; frame < impulse.size(); ++frame)
            REQUIRE(impulse[frame] == (frame == place ? -0.5 : 0.0));
    }
    // A delay beyond the room for it leaves silence, not a wrapped sound.
    std::vector<double> shortImpulse(10, 1.0);
    tuning::applyTuning(single({.type = ElementType::delay, .delayMs = 100.0}), OutputGroup::left,
                        48000.0, shortImpulse);
    CHECK(shortImpulse == std::vector<double>(10, 0.0));
}

TEST_CASE("Linkwitz-Riley passes are 6.02 dB down at their frequency", "[core][tuning]")
{
    // Linkwitz, JAES 24(1):2-8, 1976: two Butterworth passes in a row, 3.01 dB each.
    for (const double sampleRate : sampleRates)
        for (const int order : {2, 4, 8})
            for (const auto type : {ElementType::lowPass, ElementType::highPass})
                CHECK(dsp::amplitudeToDb(
                          std::abs(pass(type, Alignment::linkwitzRiley, order, 1500.0, sampleRate)))
                      == Approx(-6.0206).margin(1e-4));
}

TEST_CASE("Butterworth passes of a tuning are 3.01 dB down at their frequency", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (int order = 1; order <= 8; ++order)
            for (const auto type : {ElementType::lowPass, ElementType::highPass})
                CHECK(dsp::amplitudeToDb(
                          std::abs(pass(type, Alignment::butterworth, order, 1500.0, sampleRate)))
                      == Approx(-3.0103).margin(1e-4));
}

TEST_CASE("Linkwitz-Riley ways add up to a flat level, in phase all the way", "[core][tuning]")
{
    // Order 2 needs one way turned over; orders 4 and 8 do not.
    for (const double sampleRate : sampleRates)
        for (const int order : {2, 4, 8})
            for (double frequencyHz = 20.0; frequencyHz < 0.49 * sampleRate; frequencyHz *= 1.31) {
                const auto low = pass(ElementType::lowPass, Alignment::linkwitzRiley, order,
                                      frequencyHz, sampleRate);
                const auto high = (order == 2 ? -1.0 : 1.0)
                                  * pass(ElementType::highPass, Alignment::linkwitzRiley, order,
                                         frequencyHz, sampleRate);
                CHECK(std::abs(low + high) == Approx(1.0).epsilon(1e-6));
                // In phase: magnitudes add up as well.
                CHECK(std::abs(low) + std::abs(high) == Approx(1.0).epsilon(1e-6));
            }
}

TEST_CASE("Butterworth ways of odd order add up to a flat level", "[core][tuning]")
{
    for (const double sampleRate : sampleRates)
        for (const int order : {1, 3})
            for (double frequencyHz = 20.0; frequencyHz < 0.49 * sampleRate; frequencyHz *= 1.31) {
                const auto low = pass(ElementType::lowPass, Alignment::butterworth, order,
                                      frequencyHz, sampleRate);
                const auto high = pass(ElementType::highPass, Alignment::butterworth, order,
                                       frequencyHz, sampleRate);
                CHECK(std::abs(low + high) == Approx(1.0).epsilon(1e-6));
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

TEST_CASE("A tuning of every element comes back equal from JSON and from its file",
          "[core][tuning]")
{
    const test::TemporaryFolder folder;
    tuning::Tuning original {"Warm bass", {}};
    for (const auto group : {OutputGroup::all, OutputGroup::left, OutputGroup::right})
        original.chains.push_back({group, allElements()});
    original.chains.push_back({OutputGroup::right, {}});

    const auto fromJson = tuning::tuningFromJson(tuning::tuningToJson(original), "memory");
    REQUIRE(fromJson.has_value());
    CHECK(*fromJson == original);

    REQUIRE(tuning::saveTuning(original, folder / "warm.json").has_value());
    const auto fromFile = tuning::loadTuning(folder / "warm.json");
    REQUIRE(fromFile.has_value());
    CHECK(*fromFile == original);
}

TEST_CASE("Fields that may be left out take the stated values", "[core][tuning]")
{
    const auto read = tuning::tuningFromJson(
        json::parse(R"({"kind": "saddletone-tuning", "schemaVersion": 1, "chains": [{"elements": [
            {"type": "peaking", "frequencyHz": 100, "gainDb": 3},
            {"type": "high-pass", "frequencyHz": 80}]}]})"),
        "shop.json");
    REQUIRE(read.has_value());
    CHECK(read->name.empty());
    REQUIRE(read->chains.size() == 1);
    CHECK(read->chains[0].group == OutputGroup::all);
    REQUIRE(read->chains[0].elements.size() == 2);
    CHECK(read->chains[0].elements[0].q == Approx(1.0 / std::numbers::sqrt2).epsilon(1e-12));
    CHECK(read->chains[0].elements[1].alignment == Alignment::butterworth);
    CHECK(read->chains[0].elements[1].order == 2);
}

TEST_CASE("Tunings that cannot be are refused by key and reason", "[core][tuning]")
{
    const auto messageOf = [](const char* element) {
        return problemOf(documentWith(element)).message;
    };
    CHECK_THAT(messageOf(R"({"type": "reverb"})"), Contains("chains[0].elements[0].type")
                                                       && Contains("'reverb'")
                                                       && Contains("high-pass"));
    CHECK_THAT(messageOf(R"({"gainDb": 3})"), Contains("elements[0].type"));
    CHECK_THAT(messageOf(R"({"type": 7})"), Contains("elements[0].type"));
    CHECK_THAT(messageOf(R"({"type": "gain"})"), Contains("gainDb") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "gain", "gainDb": 41})"), Contains("gainDb"));
    CHECK_THAT(messageOf(R"({"type": "gain", "gainDb": "3"})"),
               Contains("gainDb") && Contains("number"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3})"),
               Contains("frequencyHz") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3, "frequencyHz": 9})"),
               Contains("frequencyHz"));
    CHECK_THAT(messageOf(R"({"type": "peaking", "gainDb": 3, "frequencyHz": 100, "q": 0})"),
               Contains(".q'"));
    CHECK_THAT(messageOf(R"({"type": "low-shelf", "frequencyHz": 100})"), Contains("gainDb"));
    CHECK_THAT(messageOf(R"({"type": "delay"})"), Contains("delayMs") && Contains("missing"));
    CHECK_THAT(messageOf(R"({"type": "delay", "delayMs": 101})"), Contains("delayMs"));
    CHECK_THAT(messageOf(R"({"type": "delay", "delayMs": -1})"), Contains("delayMs"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "order": 9})"),
               Contains("order"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "order": 2.5})"),
               Contains("order") && Contains("whole number"));
    for (const char* order : {"1", "3", "5", "6", "7"})
        CHECK_THAT(messageOf((std::string(R"({"type": "low-pass", "frequencyHz": 100,
                        "alignment": "linkwitz-riley", "order": )")
                              + order + "}")
                                 .c_str()),
                   Contains("order") && Contains("2, 4 or 8"));
    CHECK_THAT(messageOf(R"({"type": "low-pass", "frequencyHz": 100, "alignment": "bessel"})"),
               Contains("alignment") && Contains("'bessel'"));
}

TEST_CASE("Documents that are no tuning are refused", "[core][tuning]")
{
    json document = documentWith(R"({"type": "polarity"})");
    CHECK(tuning::tuningFromJson(document, "shop.json").has_value());

    json changed = document;
    changed["schemaVersion"] = 2;
    CHECK(problemOf(changed).code == dsp::ErrorCode::newerSchema);
    changed = document;
    changed["kind"] = "saddletone-job";
    CHECK_THAT(problemOf(changed).message, Contains("kind"));
    changed = document;
    changed.erase("chains");
    CHECK_THAT(problemOf(changed).message, Contains("'chains'"));
    changed = document;
    changed["chains"] = "none";
    CHECK_THAT(problemOf(changed).message, Contains("'chains'"));
    changed = document;
    changed["chains"][0]["group"] = "rear";
    CHECK_THAT(problemOf(changed).message, Contains("chains[0].group") && Contains("'rear'"));
    changed = document;
    changed["chains"][0]["elements"] = 5;
    CHECK_THAT(problemOf(changed).message, Contains("elements"));
    changed = document;
    changed["name"] = 12;
    CHECK_THAT(problemOf(changed).message, Contains("'name'"));
    CHECK_THAT(problemOf(json::array()).message, Contains("not an object"));

    const test::TemporaryFolder folder;
    const auto missing = tuning::loadTuning(folder / "none.json");
    REQUIRE_FALSE(missing.has_value());
    CHECK(missing.error().code == dsp::ErrorCode::notFound);
}
