#include "Core/Tuning/Speaker.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"
#include "Core/Tuning/SpeakerExcursion.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

namespace {

constexpr int speakerSchemaVersion = 1;
constexpr std::string_view speakerKind = "saddletone-speaker";
constexpr std::array allStatuses {DataStatus::dataSheet, DataStatus::measured, DataStatus::assumed};
constexpr std::array allEnclosures {EnclosureKind::freeAir, EnclosureKind::sealed,
                                    EnclosureKind::vented};

// Direct radiators lie at 0.1 % to 3 % or so; far outside of that a unit is wrong (m^3 for litres,
// say). Judgement.
constexpr double leastEfficiency = 0.0002;
constexpr double mostEfficiency = 0.1;

/** Reads any two of qts, qes and qms, or qts alone. */
void readQs(files::JsonReader& reader, Speaker& speaker)
{
    const auto optional = [&](std::string_view key) -> std::optional<double> {
        if (!reader.has(key))
            return std::nullopt;
        return reader.number(key, 0.05, 50.0);
    };
    const auto qts = optional("qts");
    const auto qes = optional("qes");
    const auto qms = optional("qms");
    if (reader.failure())
        return;
    if (qes && qms) {
        const double total = *qes * *qms / (*qes + *qms);
        // Data sheets round to two digits.
        if (qts && std::abs(*qts / total - 1.0) > 0.05)
            reader.reject("qts", "is " + files::fixedText(*qts, 3) + ", but qes and qms give "
                                     + files::fixedText(total, 3) + "; check the three");
        speaker.qts = total;
        speaker.qms = qms;
    } else if (qts && qes) {
        if (*qes <= *qts)
            reader.reject("qes", "must be above qts, since 1/qts = 1/qes + 1/qms");
        else
            speaker.qms = *qts * *qes / (*qes - *qts);
        speaker.qts = *qts;
    } else if (qts) {
        speaker.qts = *qts;
        speaker.qms = qms;
        const double mechanical = qms.value_or(assumedQms);
        if (mechanical <= *qts)
            reader.reject(qms ? "qms" : "qts",
                          qms ? "must be above qts, since 1/qts = 1/qes + 1/qms"
                              : "is " + files::fixedText(*qts, 2)
                                    + ", too high to go without qms; give qes or qms too");
    } else {
        reader.reject("qts", "is missing; give qts (with qes or qms if known), or qes and qms");
    }
}

Enclosure readEnclosure(files::JsonReader reader, files::JsonReader& parent)
{
    Enclosure enclosure;
    const std::string kind = reader.text("kind");
    const auto found = std::ranges::find(allEnclosures, kind, enclosureKindName);
    if (found == allEnclosures.end())
        reader.reject("kind", "is '" + kind + "', but must be free-air, sealed or vented");
    else
        enclosure.kind = *found;
    if (enclosure.kind != EnclosureKind::freeAir)
        enclosure.volumeLitres = reader.number("volumeLitres", 0.1, 500.0);
    if (enclosure.kind == EnclosureKind::vented) {
        enclosure.tuningHz = reader.number("tuningHz", 10.0, 300.0);
        enclosure.leakageQ = reader.number("leakageQ", 1.0, 10000.0, enclosure.leakageQ);
    }
    parent.absorb(reader);
    return enclosure;
}

} // namespace

std::string_view dataStatusName(DataStatus status) noexcept
{
    switch (status) {
    case DataStatus::dataSheet: return "data sheet";
    case DataStatus::measured: return "measured";
    case DataStatus::assumed: break;
    }
    return "assumed";
}

std::string_view enclosureKindName(EnclosureKind kind) noexcept
{
    switch (kind) {
    case EnclosureKind::sealed: return "sealed";
    case EnclosureKind::vented: return "vented";
    case EnclosureKind::freeAir: break;
    }
    return "free-air";
}

double Speaker::qes() const noexcept
{
    const double mechanical = qms.value_or(assumedQms);
    return qts * mechanical / (mechanical - qts);
}

nlohmann::json speakerToJson(const Speaker& speaker)
{
    nlohmann::json enclosure {{"kind", enclosureKindName(speaker.enclosure.kind)}};
    if (speaker.enclosure.kind != EnclosureKind::freeAir)
        enclosure["volumeLitres"] = speaker.enclosure.volumeLitres;
    if (speaker.enclosure.kind == EnclosureKind::vented) {
        enclosure["tuningHz"] = speaker.enclosure.tuningHz;
        enclosure["leakageQ"] = speaker.enclosure.leakageQ;
    }
    nlohmann::json json {{"kind", speakerKind},
                         {"schemaVersion", speakerSchemaVersion},
                         {"name", speaker.name},
                         {"invented", speaker.invented},
                         {"status", dataStatusName(speaker.status)},
                         {"fsHz", speaker.fsHz},
                         {"qts", speaker.qts},
                         {"vasLitres", speaker.vasLitres},
                         {"sdSquareCentimetres", speaker.sdSquareCentimetres},
                         {"xmaxMm", speaker.xmaxMm},
                         {"reOhm", speaker.reOhm},
                         {"nominalImpedanceOhm", speaker.nominalImpedanceOhm},
                         {"powerLimitWatts", speaker.powerLimitWatts},
                         {"numSpeakers", speaker.numSpeakers},
                         {"enclosure", std::move(enclosure)}};
    if (speaker.qms)
        json["qms"] = *speaker.qms;
    return json;
}

dsp::Result<Speaker> speakerFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(speakerKind, speakerSchemaVersion);
    Speaker speaker;
    speaker.name = reader.text("name");
    speaker.invented = reader.boolean("invented", false);
    const std::string status = reader.text("status");
    if (const auto found = std::ranges::find(allStatuses, status, dataStatusName);
        found != allStatuses.end())
        speaker.status = *found;
    else
        reader.reject("status",
                      "is '" + status + "', but must be 'data sheet', 'measured' or 'assumed'");
    speaker.fsHz = reader.number("fsHz", 10.0, 1000.0);
    readQs(reader, speaker);
    speaker.vasLitres = reader.number("vasLitres", 0.05, 1000.0);
    speaker.sdSquareCentimetres = reader.number("sdSquareCentimetres", 2.0, 5000.0);
    speaker.xmaxMm = reader.number("xmaxMm", 0.05, 50.0);
    speaker.nominalImpedanceOhm = reader.number("nominalImpedanceOhm", 0.5, 64.0);
    speaker.reOhm = reader.number("reOhm", 0.3, 64.0);
    speaker.powerLimitWatts = reader.number("powerLimitWatts", 0.1, 5000.0);
    speaker.numSpeakers = static_cast<int>(reader.integer("numSpeakers", 1, 16, 1));
    speaker.enclosure = readEnclosure(reader.object("enclosure"), reader);
    // IEC 60268-5 puts the least impedance at 80 % of the nominal one, and the coil lies below it;
    // loosely, as data sheets do not always keep to it.
    if (!reader.failure()
        && (speaker.reOhm < 0.4 * speaker.nominalImpedanceOhm
            || speaker.reOhm > 1.2 * speaker.nominalImpedanceOhm))
        reader.reject("reOhm", "is " + files::fixedText(speaker.reOhm, 2)
                                   + ", which does not fit a nominal impedance of "
                                   + files::fixedText(speaker.nominalImpedanceOhm, 2) + " ohm");
    if (!reader.failure()) {
        const double efficiency = referenceEfficiency(speaker);
        if (efficiency < leastEfficiency || efficiency > mostEfficiency)
            reader.reject("vasLitres",
                          "does not fit fsHz and the Qs: they would give an efficiency of "
                              + files::fixedText(100.0 * efficiency, 4)
                              + " %; check the units of the data sheet");
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return speaker;
}

dsp::Result<void> saveSpeaker(const Speaker& speaker, const std::filesystem::path& file)
{
    return files::writeTextFile(file, files::jsonText(speakerToJson(speaker)));
}

dsp::Result<Speaker> loadSpeaker(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    return speakerFromJson(*json, file.string());
}

} // namespace saddletone::tuning
