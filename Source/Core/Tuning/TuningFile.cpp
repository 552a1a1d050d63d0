#include "Core/Tuning/TuningFile.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <array>
#include <functional>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

namespace {

/** Version 1 had no all-pass, notch, graphic, limiter, Bessel, slope, label, nor groups by front
    and rear; what it had reads the same. */
constexpr int tuningSchemaVersion = 2;
constexpr std::string_view tuningKind = "saddletone-tuning";

constexpr std::array allElementTypes {
    ElementType::gain,     ElementType::peaking, ElementType::lowShelf, ElementType::highShelf,
    ElementType::highPass, ElementType::lowPass, ElementType::allPass,  ElementType::notch,
    ElementType::graphic,  ElementType::delay,   ElementType::polarity, ElementType::limiter};
constexpr std::array allAlignments {Alignment::butterworth, Alignment::linkwitzRiley,
                                    Alignment::bessel};

/** "a, b or c" of the names of all values. */
template <typename Values, typename NameOf>
std::string namesOf(const Values& values, NameOf&& nameOf)
{
    std::string names;
    for (std::size_t index = 0; index < values.size(); ++index) {
        if (index > 0)
            names += index + 1 == values.size() ? " or " : ", ";
        names += nameOf(values[index]);
    }
    return names;
}

void readShelfShape(files::JsonReader& reader, Element& element)
{
    if (!reader.has("slope"))
        return;
    if (reader.has("q"))
        reader.reject("slope", "stands beside 'q', but a shelf has one of the two; take one out",
                      dsp::ErrorCode::unsupported);
    element.slope = reader.number("slope", 0.1, 1.0);
}

void readPass(files::JsonReader& reader, Element& element)
{
    const std::string name = reader.text("alignment", "butterworth");
    element.order = static_cast<int>(reader.integer("order", 1, 8, 2));
    const auto alignment = std::ranges::find(allAlignments, name, alignmentName);
    if (alignment == allAlignments.end()) {
        reader.reject("alignment",
                      "is '" + name + "', but must be " + namesOf(allAlignments, alignmentName));
        return;
    }
    element.alignment = *alignment;
    if (element.alignment == Alignment::linkwitzRiley && element.order != 2 && element.order != 4
        && element.order != 8)
        reader.reject("order", "must be 2, 4 or 8 for linkwitz-riley");
}

void readGraphic(files::JsonReader& reader, Element& element)
{
    const std::vector<double> gainsDb = reader.numbers("bandGainsDb", -40.0, 40.0);
    if (gainsDb.size() == numGraphicBands)
        std::ranges::copy(gainsDb, element.bandGainsDb.begin());
    else
        reader.reject("bandGainsDb", "has " + std::to_string(gainsDb.size())
                                         + " numbers, but must have 31: one for each third octave "
                                           "from 20 Hz to 20 kHz");
}

Element elementFromJson(files::JsonReader& reader)
{
    Element element;
    const std::string typeText = reader.text("type");
    const auto type = std::ranges::find(allElementTypes, typeText, elementTypeName);
    if (type == allElementTypes.end()) {
        reader.reject("type", "is '" + typeText + "', but must be "
                                  + namesOf(allElementTypes, elementTypeName));
        return element;
    }
    element.type = *type;
    element.label = reader.text("label", "");
    if (reader.has("slope") && !isShelf(element.type))
        reader.reject("slope", "belongs to a shelf, not to '" + typeText + "'; use 'q'",
                      dsp::ErrorCode::unsupported);
    if (isShelf(element.type))
        readShelfShape(reader, element);
    if (isPass(element.type))
        readPass(reader, element);
    if (element.type == ElementType::allPass)
        element.order = static_cast<int>(reader.integer("order", 1, 2, 2));
    if (hasGain(element.type))
        element.gainDb = reader.number("gainDb", -40.0, 40.0);
    if (hasQ(element))
        element.q = reader.number("q", 0.1, 30.0, 1.0 / std::numbers::sqrt2);
    if (hasFrequency(element.type))
        element.frequencyHz = reader.number("frequencyHz", 10.0, 24000.0);
    if (element.type == ElementType::graphic)
        readGraphic(reader, element);
    if (element.type == ElementType::delay)
        element.delayMs = reader.number("delayMs", 0.0, 100.0);
    if (element.type == ElementType::limiter) {
        const Element usual;
        element.thresholdDbfs = reader.number("thresholdDbfs", -60.0, 0.0);
        element.attackMs = reader.number("attackMs", 0.01, 1000.0, usual.attackMs);
        element.releaseMs = reader.number("releaseMs", 1.0, 10000.0, usual.releaseMs);
    }
    return element;
}

nlohmann::json elementToJson(const Element& element)
{
    nlohmann::json json {{"type", elementTypeName(element.type)}};
    if (!element.label.empty())
        json["label"] = element.label;
    if (hasGain(element.type))
        json["gainDb"] = element.gainDb;
    if (hasQ(element))
        json["q"] = element.q;
    if (isShelf(element.type) && element.slope)
        json["slope"] = *element.slope;
    if (hasFrequency(element.type))
        json["frequencyHz"] = element.frequencyHz;
    if (isPass(element.type))
        json["alignment"] = alignmentName(element.alignment);
    if (isPass(element.type) || element.type == ElementType::allPass)
        json["order"] = element.order;
    if (element.type == ElementType::graphic)
        json["bandGainsDb"] = element.bandGainsDb;
    if (element.type == ElementType::delay)
        json["delayMs"] = element.delayMs;
    if (element.type == ElementType::limiter) {
        json["thresholdDbfs"] = element.thresholdDbfs;
        json["attackMs"] = element.attackMs;
        json["releaseMs"] = element.releaseMs;
    }
    return json;
}

/** The keys that an element of its type may have. */
std::vector<std::string> keysOf(Element element)
{
    element.label = "any";
    const nlohmann::json json = elementToJson(element);
    std::vector<std::string> keys;
    for (const auto& [key, value] : json.items())
        keys.push_back(key);
    if (isShelf(element.type))
        keys.emplace_back(element.slope ? "q" : "slope");
    return keys;
}

/** The first key of an element that would be passed over: a slip of the pen in a file written by
    hand would else leave the usual value in its place, unseen. json: as tuning was read from it. */
std::optional<dsp::Error> idleKey(const nlohmann::json& json, const Tuning& tuning,
                                  std::string_view source)
{
    for (std::size_t chain = 0; chain < tuning.chains.size(); ++chain)
        for (std::size_t index = 0; index < tuning.chains[chain].elements.size(); ++index) {
            const Element& element = tuning.chains[chain].elements[index];
            const auto keys = keysOf(element);
            for (const auto& [key, value] : json["chains"][chain]["elements"][index].items())
                if (std::ranges::find(keys, key) == keys.end())
                    return dsp::Error {dsp::ErrorCode::unsupported,
                                       "'" + std::string(source) + "': key 'chains["
                                           + std::to_string(chain) + "].elements["
                                           + std::to_string(index) + "]." + key
                                           + "' does nothing in this '"
                                           + std::string(elementTypeName(element.type))
                                           + "'; it may have " + namesOf(keys, std::identity())
                                           + ", so correct the name or take it out"};
        }
    return {};
}

} // namespace

nlohmann::json tuningToJson(const Tuning& tuning)
{
    nlohmann::json chains = nlohmann::json::array();
    for (const Chain& chain : tuning.chains) {
        nlohmann::json elements = nlohmann::json::array();
        for (const Element& element : chain.elements)
            elements.push_back(elementToJson(element));
        chains.push_back(
            {{"group", measure::speakerGroupName(chain.group)}, {"elements", std::move(elements)}});
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
        if (const auto found = measure::parseSpeakerGroup(group))
            chain.group = *found;
        else
            chainReader.reject("group",
                               "is '" + group + "', but must be "
                                   + namesOf(measure::allSpeakerGroups, measure::speakerGroupName));
        for (auto& elementReader : chainReader.objects("elements")) {
            chain.elements.push_back(elementFromJson(elementReader));
            chainReader.absorb(elementReader);
        }
        reader.absorb(chainReader);
        tuning.chains.push_back(std::move(chain));
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    if (const auto idle = idleKey(json, tuning, source))
        return dsp::fail(idle->code, idle->message);
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
