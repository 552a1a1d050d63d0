#include "Core/Tuning/Tuning.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

namespace saddletone::tuning {

namespace {

constexpr int tuningSchemaVersion = 1;
constexpr std::string_view tuningKind = "saddletone-tuning";

constexpr std::array allElementTypes {
    ElementType::gain,     ElementType::peaking, ElementType::lowShelf, ElementType::highShelf,
    ElementType::highPass, ElementType::lowPass, ElementType::delay,    ElementType::polarity};
constexpr std::array allGroups {OutputGroup::all, OutputGroup::left, OutputGroup::right};

std::string_view alignmentName(Alignment alignment) noexcept
{
    return alignment == Alignment::butterworth ? "butterworth" : "linkwitz-riley";
}

std::string_view groupName(OutputGroup group) noexcept
{
    switch (group) {
    case OutputGroup::left: return "left";
    case OutputGroup::right: return "right";
    case OutputGroup::all: break;
    }
    return "all";
}

bool isPass(ElementType type) noexcept
{
    return type == ElementType::highPass || type == ElementType::lowPass;
}

bool hasGain(ElementType type) noexcept
{
    return type == ElementType::gain || type == ElementType::peaking
           || type == ElementType::lowShelf || type == ElementType::highShelf;
}

bool hasQ(ElementType type) noexcept
{
    return type == ElementType::peaking || type == ElementType::lowShelf
           || type == ElementType::highShelf;
}

std::size_t delayFrames(const Element& element, double sampleRate) noexcept
{
    return static_cast<std::size_t>(std::lround(element.delayMs * 0.001 * sampleRate));
}

/** Sections of a Butterworth pass of an order. */
void appendButterworth(const Element& element, int order, double sampleRate,
                       std::vector<dsp::BiquadCoefficients>& sections)
{
    const bool high = element.type == ElementType::highPass;
    for (const double q : dsp::butterworthQs(order))
        sections.push_back(high ? dsp::designHighPass(element.frequencyHz, q, sampleRate)
                                : dsp::designLowPass(element.frequencyHz, q, sampleRate));
    if (order % 2 == 1)
        sections.push_back(high ? dsp::designFirstOrderHighPass(element.frequencyHz, sampleRate)
                                : dsp::designFirstOrderLowPass(element.frequencyHz, sampleRate));
}

nlohmann::json elementToJson(const Element& element)
{
    nlohmann::json json {{"type", elementTypeName(element.type)}};
    if (element.type == ElementType::delay) {
        json["delayMs"] = element.delayMs;
        return json;
    }
    if (hasGain(element.type))
        json["gainDb"] = element.gainDb;
    if (hasQ(element.type))
        json["q"] = element.q;
    if (hasQ(element.type) || isPass(element.type))
        json["frequencyHz"] = element.frequencyHz;
    if (isPass(element.type)) {
        json["alignment"] = alignmentName(element.alignment);
        json["order"] = element.order;
    }
    return json;
}

Element elementFromJson(files::JsonReader& reader)
{
    Element element;
    const std::string typeText = reader.text("type");
    const auto type = std::ranges::find(allElementTypes, typeText, elementTypeName);
    if (type == allElementTypes.end()) {
        reader.reject(
            "type",
            "is '" + typeText
                + "', but must be gain, peaking, low-shelf, high-shelf, high-pass, low-pass, delay "
                  "or polarity");
        return element;
    }
    element.type = *type;
    if (hasGain(element.type))
        element.gainDb = reader.number("gainDb", -40.0, 40.0);
    if (hasQ(element.type))
        element.q = reader.number("q", 0.1, 30.0, 1.0 / std::numbers::sqrt2);
    if (hasQ(element.type) || isPass(element.type))
        element.frequencyHz = reader.number("frequencyHz", 10.0, 24000.0);
    if (element.type == ElementType::delay)
        element.delayMs = reader.number("delayMs", 0.0, 100.0);
    if (isPass(element.type)) {
        const std::string alignment = reader.text("alignment", "butterworth");
        element.order = static_cast<int>(reader.integer("order", 1, 8, 2));
        if (alignment == "linkwitz-riley") {
            element.alignment = Alignment::linkwitzRiley;
            if (element.order != 2 && element.order != 4 && element.order != 8)
                reader.reject("order", "must be 2, 4 or 8 for linkwitz-riley");
        } else if (alignment != "butterworth") {
            reader.reject("alignment",
                          "is '" + alignment + "', but must be butterworth or linkwitz-riley");
        }
    }
    return element;
}

template <typename Visit>
void forEachElement(const Tuning& tuning, OutputGroup side, Visit&& visit)
{
    for (const Chain& chain : tuning.chains)
        if (chain.group == OutputGroup::all || side == OutputGroup::all || chain.group == side)
            for (const Element& element : chain.elements)
                visit(element);
}

} // namespace

std::string_view elementTypeName(ElementType type) noexcept
{
    switch (type) {
    case ElementType::peaking: return "peaking";
    case ElementType::lowShelf: return "low-shelf";
    case ElementType::highShelf: return "high-shelf";
    case ElementType::highPass: return "high-pass";
    case ElementType::lowPass: return "low-pass";
    case ElementType::delay: return "delay";
    case ElementType::polarity: return "polarity";
    case ElementType::gain: break;
    }
    return "gain";
}

std::vector<dsp::BiquadCoefficients> designElement(const Element& element, double sampleRate)
{
    std::vector<dsp::BiquadCoefficients> sections;
    switch (element.type) {
    case ElementType::peaking:
        sections.push_back(
            dsp::designPeaking(element.frequencyHz, element.q, element.gainDb, sampleRate));
        break;
    case ElementType::lowShelf:
        sections.push_back(
            dsp::designLowShelf(element.frequencyHz, element.q, element.gainDb, sampleRate));
        break;
    case ElementType::highShelf:
        sections.push_back(
            dsp::designHighShelf(element.frequencyHz, element.q, element.gainDb, sampleRate));
        break;
    case ElementType::highPass:
    case ElementType::lowPass:
        if (element.alignment == Alignment::butterworth) {
            appendButterworth(element, element.order, sampleRate, sections);
        } else {
            // Linkwitz-Riley of order 2n is Butterworth of order n twice over.
            appendButterworth(element, element.order / 2, sampleRate, sections);
            appendButterworth(element, element.order / 2, sampleRate, sections);
        }
        break;
    case ElementType::gain:
    case ElementType::delay:
    case ElementType::polarity: break;
    }
    return sections;
}

std::complex<double> tuningResponse(const Tuning& tuning, OutputGroup side, double frequencyHz,
                                    double sampleRate)
{
    std::complex<double> response = 1.0;
    forEachElement(tuning, side, [&](const Element& element) {
        switch (element.type) {
        case ElementType::gain: response *= dsp::dbToAmplitude(element.gainDb); break;
        case ElementType::polarity: response = -response; break;
        case ElementType::delay:
            response *=
                std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate
                                    * static_cast<double>(delayFrames(element, sampleRate)));
            break;
        default:
            for (const dsp::BiquadCoefficients& section : designElement(element, sampleRate))
                response *= section.response(frequencyHz, sampleRate);
        }
    });
    return response;
}

void applyTuning(const Tuning& tuning, OutputGroup side, double sampleRate,
                 std::span<double> impulse)
{
    forEachElement(tuning, side, [&](const Element& element) {
        switch (element.type) {
        case ElementType::gain:
            for (double& sample : impulse)
                sample *= dsp::dbToAmplitude(element.gainDb);
            break;
        case ElementType::polarity:
            for (double& sample : impulse)
                sample = -sample;
            break;
        case ElementType::delay: {
            const std::size_t shift = std::min(delayFrames(element, sampleRate), impulse.size());
            std::shift_right(impulse.begin(), impulse.end(), static_cast<std::ptrdiff_t>(shift));
            std::ranges::fill(impulse.first(shift), 0.0);
            break;
        }
        default:
            for (const dsp::BiquadCoefficients& section : designElement(element, sampleRate))
                dsp::filterInPlace(section, impulse);
        }
    });
}

nlohmann::json tuningToJson(const Tuning& tuning)
{
    nlohmann::json chains = nlohmann::json::array();
    for (const Chain& chain : tuning.chains) {
        nlohmann::json elements = nlohmann::json::array();
        for (const Element& element : chain.elements)
            elements.push_back(elementToJson(element));
        chains.push_back({{"group", groupName(chain.group)}, {"elements", std::move(elements)}});
    }
    return {{"kind", tuningKind},
            {"schemaVersion", tuningSchemaVersion},
            {"name", tuning.name},
            {"chains", std::move(chains)}};
}

dsp::Result<Tuning> tuningFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(tuningKind, tuningSchemaVersion);
    Tuning tuning;
    tuning.name = reader.text("name", "");
    if (!reader.has("chains"))
        reader.reject("chains", "is missing; write a list of chains, each with group and elements");
    for (auto& chainReader : reader.objects("chains")) {
        Chain chain;
        const std::string group = chainReader.text("group", "all");
        if (const auto found = std::ranges::find(allGroups, group, groupName);
            found != allGroups.end())
            chain.group = *found;
        else
            chainReader.reject("group", "is '" + group + "', but must be all, left or right");
        for (auto& elementReader : chainReader.objects("elements")) {
            chain.elements.push_back(elementFromJson(elementReader));
            chainReader.absorb(elementReader);
        }
        reader.absorb(chainReader);
        tuning.chains.push_back(std::move(chain));
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return tuning;
}

dsp::Result<void> saveTuning(const Tuning& tuning, const std::filesystem::path& file)
{
    return files::writeTextFile(file, files::jsonText(tuningToJson(tuning)));
}

dsp::Result<Tuning> loadTuning(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    return tuningFromJson(*json, file.string());
}

} // namespace saddletone::tuning
