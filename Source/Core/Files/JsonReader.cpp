#include "Core/Files/JsonReader.h"

#include "Core/Files/AtomicFile.h"

#include <charconv>
#include <cmath>
#include <cstdint>
#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::files {

namespace {

const nlohmann::json& emptyObject()
{
    static const nlohmann::json empty = nlohmann::json::object();
    return empty;
}

std::string shortest(double value)
{
    std::string text(32, '\0');
    const auto end = std::to_chars(text.data(), text.data() + text.size(), value).ptr;
    text.resize(static_cast<std::size_t>(end - text.data()));
    return text;
}

} // namespace

dsp::Result<nlohmann::json> loadJson(const std::filesystem::path& file)
{
    const auto text = readTextFile(file);
    if (!text)
        return text.unexpected();
    return parseJson(*text, file.string());
}

dsp::Result<nlohmann::json> parseJson(const std::string& text, const std::string& source)
{
    try {
        auto json = nlohmann::json::parse(text);
        if (!json.is_object())
            return dsp::fail(dsp::ErrorCode::malformed,
                             "'" + source + "' is JSON but not an object ({ … })");
        return json;
    } catch (const nlohmann::json::exception& error) {
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + source + "' is not valid JSON: " + error.what());
    }
}

std::string jsonText(const nlohmann::json& json)
{
    return json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
}

JsonReader::JsonReader(const nlohmann::json& object, std::string source, std::string path)
    : json(&object), sourceName(std::move(source)), jsonPath(std::move(path))
{
    if (!json->is_object()) {
        reject("", "is not an object ({ … })");
        json = &emptyObject();
    }
}

const nlohmann::json* JsonReader::find(std::string_view key) const
{
    const auto found = json->find(key);
    return found == json->end() || found->is_null() ? nullptr : &*found;
}

std::string JsonReader::place(std::string_view key) const
{
    if (jsonPath.empty())
        return std::string(key);
    return key.empty() ? jsonPath : jsonPath + "." + std::string(key);
}

void JsonReader::reject(std::string_view key, const std::string& reason, dsp::ErrorCode code)
{
    if (!problem)
        problem = dsp::Error {code, "'" + sourceName + "': key '" + place(key) + "' " + reason};
}

void JsonReader::absorb(const JsonReader& nested)
{
    if (!problem && nested.problem)
        problem = nested.problem;
}

double JsonReader::checkedNumber(const nlohmann::json& value, const std::string& where,
                                 double lowest, double highest)
{
    if (!value.is_number()) {
        if (!problem)
            problem = dsp::Error {dsp::ErrorCode::malformed, "'" + sourceName + "': key '" + where
                                                                 + "' must be a number, but is "
                                                                 + value.type_name()};
        return lowest;
    }
    const double number = value.get<double>();
    if (!std::isfinite(number) || number < lowest || number > highest) {
        if (!problem)
            problem = dsp::Error {dsp::ErrorCode::outOfRange,
                                  "'" + sourceName + "': key '" + where + "' is " + shortest(number)
                                      + ", but must lie between " + shortest(lowest) + " and "
                                      + shortest(highest)};
        return lowest;
    }
    return number;
}

double JsonReader::number(std::string_view key, double lowest, double highest)
{
    if (const auto* value = find(key))
        return checkedNumber(*value, place(key), lowest, highest);
    reject(key, "is missing");
    return lowest;
}

double JsonReader::number(std::string_view key, double lowest, double highest, double ifMissing)
{
    return find(key) == nullptr ? ifMissing : number(key, lowest, highest);
}

long long JsonReader::integer(std::string_view key, long long lowest, long long highest)
{
    const double value = number(key, static_cast<double>(lowest), static_cast<double>(highest));
    if (value != std::floor(value)) {
        reject(key, "must be a whole number, but is " + shortest(value));
        return lowest;
    }
    // Not by way of double where it would round: seeds use all 64 bits.
    const auto* found = find(key);
    const auto exactly = [&](auto exact) -> long long {
        if (std::cmp_greater_equal(exact, lowest) && std::cmp_less_equal(exact, highest))
            return static_cast<long long>(exact);
        reject(key,
               "is " + std::to_string(exact) + ", but must lie between " + std::to_string(lowest)
                   + " and " + std::to_string(highest),
               dsp::ErrorCode::outOfRange);
        return lowest;
    };
    if (found != nullptr && found->is_number_unsigned())
        return exactly(found->get<std::uint64_t>());
    if (found != nullptr && found->is_number_integer())
        return exactly(found->get<std::int64_t>());
    // The largest range rounds up to 2^63 as a double, which no long long holds.
    if (value >= 0x1p63) {
        reject(key, "is " + shortest(value) + ", which is too large", dsp::ErrorCode::outOfRange);
        return lowest;
    }
    return static_cast<long long>(value);
}

long long JsonReader::integer(std::string_view key, long long lowest, long long highest,
                              long long ifMissing)
{
    return find(key) == nullptr ? ifMissing : integer(key, lowest, highest);
}

bool JsonReader::boolean(std::string_view key, bool ifMissing)
{
    const auto* value = find(key);
    if (value == nullptr)
        return ifMissing;
    if (!value->is_boolean()) {
        reject(key, std::string("must be true or false, but is ") + value->type_name());
        return ifMissing;
    }
    return value->get<bool>();
}

std::string JsonReader::text(std::string_view key)
{
    const auto* value = find(key);
    if (value == nullptr) {
        reject(key, "is missing");
        return {};
    }
    if (!value->is_string()) {
        reject(key, std::string("must be text, but is ") + value->type_name());
        return {};
    }
    return value->get<std::string>();
}

std::string JsonReader::text(std::string_view key, std::string ifMissing)
{
    return find(key) == nullptr ? std::move(ifMissing) : text(key);
}

std::vector<double> JsonReader::numbers(std::string_view key, double lowest, double highest)
{
    std::vector<double> result;
    const auto* value = find(key);
    if (value == nullptr || !value->is_array()) {
        reject(key, value == nullptr ? std::string("is missing")
                                     : std::string("must be a list, but is ") + value->type_name());
        return result;
    }
    for (std::size_t index = 0; index < value->size(); ++index)
        result.push_back(checkedNumber(
            (*value)[index], place(key) + "[" + std::to_string(index) + "]", lowest, highest));
    return result;
}

std::vector<std::string> JsonReader::texts(std::string_view key)
{
    std::vector<std::string> result;
    const auto* value = find(key);
    if (value == nullptr)
        return result;
    if (!value->is_array()) {
        reject(key, std::string("must be a list, but is ") + value->type_name());
        return result;
    }
    for (const auto& entry : *value) {
        if (!entry.is_string()) {
            reject(key, std::string("must hold only text, but holds ") + entry.type_name());
            return {};
        }
        result.push_back(entry.get<std::string>());
    }
    return result;
}

JsonReader JsonReader::object(std::string_view key)
{
    const auto* value = find(key);
    if (value == nullptr)
        return {emptyObject(), sourceName, place(key)};
    JsonReader nested(*value, sourceName, place(key));
    absorb(nested);
    return nested;
}

bool JsonReader::has(std::string_view key) const
{
    return find(key) != nullptr;
}

std::vector<JsonReader> JsonReader::objects(std::string_view key)
{
    std::vector<JsonReader> result;
    const auto* value = find(key);
    if (value == nullptr)
        return result;
    if (!value->is_array()) {
        reject(key, std::string("must be a list, but is ") + value->type_name());
        return result;
    }
    for (std::size_t index = 0; index < value->size(); ++index) {
        result.emplace_back((*value)[index], sourceName,
                            place(key) + "[" + std::to_string(index) + "]");
        absorb(result.back());
    }
    return result;
}

void JsonReader::expectKind(std::string_view kind, int newest)
{
    const std::string found = text("kind", "");
    if (found != kind) {
        reject("kind", (found.empty() ? std::string("is missing") : "is '" + found + "'")
                           + ", but must be '" + std::string(kind)
                           + "'; this is another kind of file");
        return;
    }
    const long long version = integer("schemaVersion", 1, 1000000);
    if (!problem && version > newest)
        reject("schemaVersion",
               "is " + std::to_string(version) + ", but this program knows versions up to "
                   + std::to_string(newest) + "; open it with a newer Saddletone",
               dsp::ErrorCode::newerSchema);
}

} // namespace saddletone::files
