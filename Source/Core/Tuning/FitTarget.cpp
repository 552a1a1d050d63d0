#include "Core/Tuning/FitTarget.h"

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

namespace {

constexpr int targetSchemaVersion = 1;
constexpr std::string_view targetKind = "saddletone-target";
constexpr double butterworthQ = 1.0 / std::numbers::sqrt2;

} // namespace

double FitTarget::levelDbAt(double frequencyHz) const noexcept
{
    double levelDb = table.frequenciesHz.empty() ? 0.0 : table.levelDbAt(frequencyHz);
    if (bassShelf)
        levelDb += dsp::amplitudeToDb(
            std::abs(dsp::analogueLowShelf(bassShelf->frequencyHz, butterworthQ, bassShelf->gainDb)
                         .response(frequencyHz)));
    return levelDb;
}

bool FitTarget::isKnownAt(double frequencyHz) const noexcept
{
    return std::ranges::none_of(unknownBands, [&](const dsp::Band& band) {
        return frequencyHz >= band.lowerHz && frequencyHz < band.upperHz;
    });
}

FitTarget targetFromTable(files::FrequencyTable table, std::string name)
{
    FitTarget target;
    target.name = std::move(name);
    target.table = std::move(table);
    return target;
}

dsp::Result<FitTarget> targetFromResponse(const measure::Response& response)
{
    FitTarget target;
    target.name = response.name;
    for (const dsp::Band& band : dsp::thirdOctaveBands()) {
        const bool isTrusted =
            std::ranges::any_of(response.bands, [&](const measure::BandConfidence& measured) {
                return measured.trusted && measured.frequencyHz >= band.lowerHz
                       && measured.frequencyHz < band.upperHz;
            });
        if (!isTrusted)
            target.unknownBands.push_back(band);
    }
    for (const dsp::Band& band : dsp::octaveBands(12, 20.0, 20000.0))
        if (target.isKnownAt(band.centreHz) && band.upperHz < 0.5 * response.sampleRate)
            target.table.frequenciesHz.push_back(band.centreHz);
    if (target.table.frequenciesHz.empty())
        return dsp::fail(dsp::ErrorCode::notTrustworthy,
                         "response '" + response.name
                             + "' is trusted in no third octave, so it cannot be a target; measure "
                               "it again, louder or in less noise");
    target.table.levelsDb = response.magnitudeDb(target.table.frequenciesHz, 3);
    return target;
}

nlohmann::json targetToJson(const FitTarget& target)
{
    nlohmann::json json {
        {"kind", targetKind}, {"schemaVersion", targetSchemaVersion}, {"name", target.name}};
    if (!target.table.frequenciesHz.empty()) {
        nlohmann::json points = nlohmann::json::array();
        for (std::size_t line = 0; line < target.table.frequenciesHz.size(); ++line)
            points.push_back({{"frequencyHz", target.table.frequenciesHz[line]},
                              {"levelDb", target.table.levelsDb[line]}});
        json["points"] = std::move(points);
    }
    if (target.bassShelf)
        json["bassShelf"] = {{"gainDb", target.bassShelf->gainDb},
                             {"frequencyHz", target.bassShelf->frequencyHz}};
    return json;
}

dsp::Result<FitTarget> targetFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(targetKind, targetSchemaVersion);
    FitTarget target;
    target.name = reader.text("name", std::string(source));
    for (auto& point : reader.objects("points")) {
        const double frequencyHz = point.number("frequencyHz", 1.0, 100000.0);
        if (!target.table.frequenciesHz.empty() && frequencyHz <= target.table.frequenciesHz.back())
            point.reject("frequencyHz", "must be above that of the point before it");
        target.table.frequenciesHz.push_back(frequencyHz);
        target.table.levelsDb.push_back(point.number("levelDb", -200.0, 200.0));
        reader.absorb(point);
    }
    if (reader.has("bassShelf")) {
        auto shelf = reader.object("bassShelf");
        target.bassShelf =
            BassShelf {shelf.number("gainDb", BassShelf::lowestGainDb, BassShelf::highestGainDb),
                       shelf.number("frequencyHz", BassShelf::lowestHz, BassShelf::highestHz)};
        reader.absorb(shelf);
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return target;
}

dsp::Result<FitTarget> loadTarget(const std::filesystem::path& file)
{
    if (file.extension() != ".json") {
        auto table = files::readFrequencyTable(file);
        if (!table)
            return table.unexpected();
        return targetFromTable(*std::move(table), file.stem().string());
    }
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    if (json->is_object() && json->value("kind", nlohmann::json()) == "saddletone-state") {
        const auto response = measure::loadResponse(file);
        if (!response)
            return response.unexpected();
        return targetFromResponse(*response);
    }
    return targetFromJson(*json, file.string());
}

} // namespace saddletone::tuning
