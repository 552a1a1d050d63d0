#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::files {

/** Reads a JSON file; a syntax error names file and place. */
[[nodiscard]] dsp::Result<nlohmann::json> loadJson(const std::filesystem::path& file);

/** The same from a text; source names it in messages. */
[[nodiscard]] dsp::Result<nlohmann::json> parseJson(const std::string& text,
                                                    const std::string& source);

/** Text of a document as this project writes it: indented, UTF-8, ends in a newline. */
[[nodiscard]] std::string jsonText(const nlohmann::json& json);

/** Reads checked fields out of one JSON object. The first problem is kept, later reads return
    defaults, so that a loader reads all it needs and then asks failure() once. Messages name the
    source, the key and the reason. The object must outlive the reader. */
class JsonReader {
public:
    /** source: what messages call the document; path: where in it the object stands ("" = top). */
    JsonReader(const nlohmann::json& object, std::string source, std::string path = "");

    /** A finite number within [lowest, highest]; required. */
    [[nodiscard]] double number(std::string_view key, double lowest, double highest);
    [[nodiscard]] double number(std::string_view key, double lowest, double highest,
                                double ifMissing);
    /** A whole number within [lowest, highest]; required. */
    [[nodiscard]] long long integer(std::string_view key, long long lowest, long long highest);
    [[nodiscard]] long long integer(std::string_view key, long long lowest, long long highest,
                                    long long ifMissing);
    [[nodiscard]] bool boolean(std::string_view key, bool ifMissing);
    [[nodiscard]] std::string text(std::string_view key);
    [[nodiscard]] std::string text(std::string_view key, std::string ifMissing);
    [[nodiscard]] std::vector<double> numbers(std::string_view key, double lowest, double highest);
    [[nodiscard]] std::vector<std::string> texts(std::string_view key);

    /** The object under a key; an empty one if it is missing or not an object. */
    [[nodiscard]] JsonReader object(std::string_view key);
    [[nodiscard]] bool has(std::string_view key) const;
    /** A reader for each object of an array; none if the key is missing. */
    [[nodiscard]] std::vector<JsonReader> objects(std::string_view key);

    /** Checks that key "kind" holds the name and "schemaVersion" is 1 to newest. */
    void expectKind(std::string_view kind, int newest);

    /** Reports a problem of a value that has the right type. */
    void reject(std::string_view key, const std::string& reason,
                dsp::ErrorCode code = dsp::ErrorCode::malformed);
    /** Takes over the problem of a nested reader, if there is one and none came before. */
    void absorb(const JsonReader& nested);

    [[nodiscard]] const std::optional<dsp::Error>& failure() const noexcept { return problem; }

private:
    [[nodiscard]] const nlohmann::json* find(std::string_view key) const;
    [[nodiscard]] std::string place(std::string_view key) const;
    [[nodiscard]] double checkedNumber(const nlohmann::json& value, const std::string& where,
                                       double lowest, double highest);

    const nlohmann::json* json;
    std::string sourceName;
    std::string jsonPath;
    std::optional<dsp::Error> problem;
};

} // namespace saddletone::files
