#include "Core/Signals/SignalDescription.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/JsonReader.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include <nlohmann/json.hpp>

namespace saddletone::signals {

namespace {

constexpr int descriptionSchemaVersion = 1;
constexpr std::string_view descriptionKind = "saddletone-signal";
constexpr long long maxFrames = 1'000'000'000;

nlohmann::json sweepLayoutToJson(const SweepLayout& layout)
{
    return {{"firstMarkerFrame", layout.firstMarkerFrame},
            {"sweepFrame", layout.sweepFrame},
            {"secondMarkerFrame", layout.secondMarkerFrame},
            {"sweep",
             {{"fromHz", layout.sweep.fromHz},
              {"toHz", layout.sweep.toHz},
              {"numFrames", layout.sweep.numFrames},
              {"fadeInFrames", layout.sweep.fadeInFrames},
              {"fadeOutFrames", layout.sweep.fadeOutFrames},
              {"amplitude", layout.sweep.amplitude}}},
            {"marker",
             {{"fromHz", layout.marker.fromHz},
              {"toHz", layout.marker.toHz},
              {"durationSeconds", layout.marker.durationSeconds},
              {"amplitude", layout.marker.amplitude}}}};
}

SweepLayout sweepLayoutFromJson(files::JsonReader& reader, const SignalDescription& description)
{
    const auto highest = static_cast<long long>(description.numFrames);
    const double nyquistHz = 0.5 * description.sampleRate;
    const auto frame = [&](files::JsonReader& from, std::string_view key) {
        return static_cast<std::size_t>(from.integer(key, 0, highest));
    };
    SweepLayout layout;
    layout.firstMarkerFrame = frame(reader, "firstMarkerFrame");
    layout.sweepFrame = frame(reader, "sweepFrame");
    layout.secondMarkerFrame = frame(reader, "secondMarkerFrame");
    auto sweep = reader.object("sweep");
    layout.sweep.fromHz = sweep.number("fromHz", 1.0, nyquistHz);
    layout.sweep.toHz = sweep.number("toHz", 1.0, nyquistHz);
    layout.sweep.numFrames = frame(sweep, "numFrames");
    layout.sweep.fadeInFrames = frame(sweep, "fadeInFrames");
    layout.sweep.fadeOutFrames = frame(sweep, "fadeOutFrames");
    layout.sweep.amplitude = sweep.number("amplitude", 1e-6, 1.0);
    auto marker = reader.object("marker");
    layout.marker.fromHz = marker.number("fromHz", 1.0, nyquistHz);
    layout.marker.toHz = marker.number("toHz", 1.0, nyquistHz);
    layout.marker.durationSeconds = marker.number("durationSeconds", 0.01, 5.0);
    layout.marker.amplitude = marker.number("amplitude", 1e-6, 1.0);
    reader.absorb(sweep);
    reader.absorb(marker);

    const auto markerFrames = static_cast<std::size_t>(
        std::lround(layout.marker.durationSeconds * description.sampleRate));
    if (!reader.failure()
        && (layout.sweep.toHz <= layout.sweep.fromHz || layout.marker.toHz <= layout.marker.fromHz
            || layout.firstMarkerFrame + markerFrames > layout.sweepFrame
            || layout.sweepFrame + layout.sweep.numFrames > layout.secondMarkerFrame
            || layout.secondMarkerFrame + markerFrames > description.numFrames
            || layout.sweep.numFrames < 1000))
        reader.reject(
            "firstMarkerFrame",
            "and the frames beside it do not describe marker, sweep, marker in this order");
    return layout;
}

nlohmann::json segmentToJson(const SignalSegment& segment)
{
    nlohmann::json json {{"firstFrame", segment.firstFrame}, {"numFrames", segment.numFrames},
                         {"fadeFrames", segment.fadeFrames}, {"levelDbfs", segment.levelDbfs},
                         {"channel", segment.channel},       {"label", segment.label}};
    if (segment.frequencyHz > 0.0)
        json["frequencyHz"] = segment.frequencyHz;
    if (segment.toHz > 0.0) {
        json["fromHz"] = segment.fromHz;
        json["toHz"] = segment.toHz;
    }
    return json;
}

SignalSegment segmentFromJson(files::JsonReader& reader, const SignalDescription& description)
{
    const auto highest = static_cast<long long>(description.numFrames);
    SignalSegment segment;
    segment.firstFrame = static_cast<std::size_t>(reader.integer("firstFrame", 0, highest));
    segment.numFrames = static_cast<std::size_t>(reader.integer("numFrames", 1, highest));
    segment.fadeFrames = static_cast<std::size_t>(reader.integer("fadeFrames", 0, highest, 0));
    segment.frequencyHz = reader.number("frequencyHz", 0.0, 384000.0, 0.0);
    segment.fromHz = reader.number("fromHz", 0.0, 384000.0, 0.0);
    segment.toHz = reader.number("toHz", 0.0, 384000.0, 0.0);
    segment.levelDbfs = reader.number("levelDbfs", dsp::silenceDb, 0.0);
    segment.channel = static_cast<std::size_t>(
        reader.integer("channel", 0, static_cast<long long>(description.numChannels) - 1, 0));
    segment.label = reader.text("label", "");
    if (!reader.failure()
        && (segment.firstFrame + segment.numFrames > description.numFrames
            || 2 * segment.fadeFrames > segment.numFrames || segment.fromHz > segment.toHz))
        reader.reject("firstFrame", "and the values beside it do not describe a part of the track");
    return segment;
}

nlohmann::json tonesToJson(const std::vector<SignalTone>& tones)
{
    auto cycles = nlohmann::json::array();
    auto levels = nlohmann::json::array();
    auto phases = nlohmann::json::array();
    for (const SignalTone& tone : tones) {
        cycles.push_back(tone.cyclesPerPeriod);
        levels.push_back(tone.levelDbfs);
        phases.push_back(tone.phaseRadians);
    }
    return {{"cyclesPerPeriod", std::move(cycles)},
            {"levelsDbfs", std::move(levels)},
            {"phasesRadians", std::move(phases)}};
}

std::vector<SignalTone> tonesFromJson(files::JsonReader& reader,
                                      const SignalDescription& description)
{
    const auto cycles =
        reader.numbers("cyclesPerPeriod", 1.0, 0.5 * static_cast<double>(description.periodFrames));
    const auto levels = reader.numbers("levelsDbfs", dsp::silenceDb, 0.0);
    const auto phases = reader.numbers("phasesRadians", -10.0, 10.0);
    std::vector<SignalTone> tones;
    if (reader.failure())
        return tones;
    if (cycles.empty() || cycles.size() != levels.size() || cycles.size() != phases.size()
        || !std::ranges::all_of(cycles, [](double value) { return value == std::floor(value); })) {
        reader.reject("cyclesPerPeriod",
                      "must hold whole numbers, as many as there are levels and phases");
        return tones;
    }
    for (std::size_t index = 0; index < cycles.size(); ++index)
        tones.push_back({static_cast<std::size_t>(cycles[index]), levels[index], phases[index]});
    return tones;
}

bool hasSegments(SignalType type) noexcept
{
    return type == SignalType::bands || type == SignalType::stepped || type == SignalType::polarity
           || type == SignalType::channels || type == SignalType::gainSet;
}

} // namespace

std::string_view signalTypeName(SignalType type) noexcept
{
    switch (type) {
    case SignalType::white: return "white";
    case SignalType::sweep: return "sweep";
    case SignalType::sine: return "sine";
    case SignalType::silence: return "silence";
    case SignalType::level: return "level";
    case SignalType::calibratedPink: return "calibrated-pink";
    case SignalType::bands: return "bands";
    case SignalType::stepped: return "stepped";
    case SignalType::multitone: return "multitone";
    case SignalType::polarity: return "polarity";
    case SignalType::channels: return "channels";
    case SignalType::gainSet: return "gain-set";
    case SignalType::pink: break;
    }
    return "pink";
}

dsp::Result<SignalType> parseSignalType(std::string_view name)
{
    for (const SignalType type : allSignalTypes)
        if (signalTypeName(type) == name)
            return type;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "signal '" + std::string(name) + "' is not known; use " + signalTypeWords());
}

std::string signalTypeWords()
{
    std::string words;
    for (const SignalType type : allSignalTypes) {
        if (!words.empty())
            words += type == allSignalTypes.back() ? " or " : ", ";
        words += signalTypeName(type);
    }
    return words;
}

double crestFactorDb(const SignalDescription& description) noexcept
{
    return description.peakDbfs - dsp::amplitudeToDb(dsp::dbfsToRms(description.levelDbfs));
}

std::filesystem::path descriptionPath(const std::filesystem::path& audioFile)
{
    auto path = audioFile;
    path.replace_extension(".signal.json");
    return path;
}

nlohmann::json descriptionToJson(const SignalDescription& description)
{
    nlohmann::json json {{"kind", descriptionKind},
                         {"schemaVersion", descriptionSchemaVersion},
                         {"type", signalTypeName(description.type)},
                         {"file", description.file},
                         {"checksum", description.checksum},
                         {"sampleRate", description.sampleRate},
                         {"numFrames", description.numFrames},
                         {"numChannels", description.numChannels},
                         {"levelDbfs", description.levelDbfs},
                         {"peakDbfs", description.peakDbfs},
                         {"seed", description.seed}};
    if (description.periodFrames != 0)
        json["periodFrames"] = description.periodFrames;
    if (description.toHz > 0.0) {
        json["fromHz"] = description.fromHz;
        json["toHz"] = description.toHz;
    }
    if (description.frequencyHz > 0.0)
        json["frequencyHz"] = description.frequencyHz;
    if (description.sweepLayout)
        json["layout"] = sweepLayoutToJson(*description.sweepLayout);
    for (const SignalSegment& segment : description.segments)
        json["segments"].push_back(segmentToJson(segment));
    if (!description.tones.empty())
        json["tones"] = tonesToJson(description.tones);
    if (description.lossyCoding)
        json["lossyCoding"] = {
            {"codec", description.lossyCoding->codec},
            {"bitRateKbps", description.lossyCoding->bitRateKbps},
            {"untrimmedDelayFrames", description.lossyCoding->untrimmedDelayFrames},
            {"levelsAreNominal", true}};
    return json;
}

dsp::Result<SignalDescription> loadSignalDescription(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(descriptionKind, descriptionSchemaVersion);

    SignalDescription description;
    if (const auto type = parseSignalType(reader.text("type")))
        description.type = *type;
    else
        reader.reject("type", "must be " + signalTypeWords());
    description.sampleRate = reader.number("sampleRate", 8000.0, 384000.0);
    description.numFrames = static_cast<std::size_t>(reader.integer("numFrames", 1, maxFrames));
    description.numChannels = static_cast<std::size_t>(reader.integer("numChannels", 1, 64, 1));
    description.levelDbfs = reader.number("levelDbfs", dsp::silenceDb, 0.0);
    description.peakDbfs = reader.number("peakDbfs", dsp::silenceDb, 20.0, 0.0);
    description.seed = static_cast<std::uint64_t>(
        reader.integer("seed", 0, std::numeric_limits<long long>::max(), 1));
    description.periodFrames =
        static_cast<std::size_t>(reader.integer("periodFrames", 0, maxFrames, 0));
    description.fromHz = reader.number("fromHz", 0.0, 384000.0, 0.0);
    description.toHz = reader.number("toHz", 0.0, 384000.0, 0.0);
    description.frequencyHz = reader.number("frequencyHz", 0.0, 384000.0, 0.0);
    description.file = reader.text("file", "");
    description.checksum = reader.text("checksum", "");
    if (description.type == SignalType::sweep && !reader.has("layout"))
        reader.reject("layout", "is missing; a sweep cannot be analysed without it");
    if (reader.has("layout") && !reader.failure()) {
        auto layout = reader.object("layout");
        description.sweepLayout = sweepLayoutFromJson(layout, description);
        reader.absorb(layout);
    }
    if (hasSegments(description.type) && !reader.has("segments"))
        reader.reject("segments", "is missing; the parts of the track cannot be told without it");
    if (!reader.failure())
        for (auto& segment : reader.objects("segments")) {
            description.segments.push_back(segmentFromJson(segment, description));
            reader.absorb(segment);
        }
    if (description.type == SignalType::multitone && !reader.has("tones"))
        reader.reject("tones", "is missing; a multitone cannot be analysed without it");
    if (reader.has("tones") && !reader.failure()) {
        auto tones = reader.object("tones");
        description.tones = tonesFromJson(tones, description);
        reader.absorb(tones);
    }
    if (reader.has("lossyCoding") && !reader.failure()) {
        auto lossy = reader.object("lossyCoding");
        description.lossyCoding = {
            lossy.text("codec"), static_cast<int>(lossy.integer("bitRateKbps", 8, 10000)),
            static_cast<std::size_t>(lossy.integer("untrimmedDelayFrames", 0, maxFrames, 0))};
        reader.absorb(lossy);
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return description;
}

} // namespace saddletone::signals
