#include "Core/Tuning/ToneControls.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

namespace {

constexpr int toneControlsSchemaVersion = 1;
constexpr std::string_view toneControlsKind = "saddletone-tone-controls";
constexpr std::array toneControlTypes {ElementType::lowShelf, ElementType::peaking,
                                       ElementType::highShelf};
constexpr std::array allStatuses {ToneControlStatus::assumed, ToneControlStatus::measured};

std::size_t numSettings(const ToneControls& model)
{
    double settings = 1.0;
    for (const ToneControl& control : model.controls)
        settings *= control.highestStep() - control.lowestStep() + 1;
    return static_cast<std::size_t>(std::min(settings, 1e15));
}

/** What is wrong with the controls as a whole; empty if nothing is. */
std::string faultOf(const ToneControls& model)
{
    if (model.controls.empty() || model.controls.size() > maxToneControls)
        return "holds " + std::to_string(model.controls.size()) + " controls, but must hold 1 to "
               + std::to_string(maxToneControls);
    for (std::size_t index = 0; index < model.controls.size(); ++index)
        for (std::size_t other = 0; other < index; ++other)
            if (model.controls[index].name == model.controls[other].name)
                return "holds '" + model.controls[index].name
                       + "' twice; give each control a name of its own";
    if (numSettings(model) > maxToneSettings)
        return "can be set in " + std::to_string(numSettings(model)) + " ways together, more than "
               + std::to_string(maxToneSettings) + "; leave controls out or use larger steps";
    return "";
}

bool isWholeNumberOfSteps(double gainDb, double stepDb)
{
    const double steps = gainDb / stepDb;
    return std::abs(steps - std::round(steps)) < 1e-6 * std::max(1.0, std::abs(steps));
}

ToneControl controlFromJson(files::JsonReader& reader, const std::string& statusOfModel)
{
    ToneControl control;
    control.name = reader.text("name");
    if (control.name.empty() || control.name.size() > 40)
        reader.reject("name", "must have 1 to 40 characters: what the radio calls the control");
    const std::string typeText = reader.text("type");
    if (const auto type = std::ranges::find(toneControlTypes, typeText, elementTypeName);
        type != toneControlTypes.end())
        control.type = *type;
    else
        reader.reject("type",
                      "is '" + typeText + "', but must be low-shelf, peaking or high-shelf");
    control.frequencyHz = reader.number("frequencyHz", 20.0, 20000.0);
    control.q = reader.number("q", 0.1, 10.0);
    control.stepDb = reader.number("stepDb", 0.1, 12.0);
    control.lowestDb = reader.number("lowestDb", -24.0, 0.0);
    control.highestDb = reader.number("highestDb", 0.0, 24.0);
    if (!reader.failure())
        for (const auto& [key, gainDb] :
             {std::pair {"lowestDb", control.lowestDb}, std::pair {"highestDb", control.highestDb}})
            if (!isWholeNumberOfSteps(gainDb, control.stepDb))
                reader.reject(key, "must be a whole number of steps of "
                                       + files::fixedText(control.stepDb, 3) + " dB");
    const std::string statusText = reader.text("status", statusOfModel);
    if (const auto status = std::ranges::find(allStatuses, statusText, toneControlStatusName);
        status != allStatuses.end())
        control.status = *status;
    else
        reader.reject("status", "is '" + statusText + "', but must be 'assumed' or 'measured'");
    control.remark = reader.text("remark", "");
    return control;
}

} // namespace

std::string_view toneControlStatusName(ToneControlStatus status) noexcept
{
    return status == ToneControlStatus::measured ? "measured" : "assumed";
}

int ToneControl::lowestStep() const noexcept
{
    return static_cast<int>(std::lround(lowestDb / stepDb));
}

int ToneControl::highestStep() const noexcept
{
    return static_cast<int>(std::lround(highestDb / stepDb));
}

Element ToneControl::element(int step) const
{
    Element element;
    element.type = type;
    element.frequencyHz = frequencyHz;
    element.q = q;
    element.gainDb = step * stepDb;
    element.label = name + " " + (step > 0 ? "+" : "") + std::to_string(step);
    return element;
}

ToneControlStatus ToneControls::status() const noexcept
{
    const bool isMeasured =
        !controls.empty() && std::ranges::all_of(controls, [](const ToneControl& control) {
            return control.status == ToneControlStatus::measured;
        });
    return isMeasured ? ToneControlStatus::measured : ToneControlStatus::assumed;
}

std::vector<Element> toneElements(const ToneControls& model, std::span<const int> steps)
{
    assert(steps.size() == model.controls.size());
    std::vector<Element> elements;
    for (std::size_t index = 0; index < steps.size(); ++index)
        if (steps[index] != 0)
            elements.push_back(model.controls[index].element(steps[index]));
    return elements;
}

Tuning toneTuning(const ToneControls& model, std::span<const int> steps)
{
    return {toneWords(model, steps), {{OutputGroup::all, toneElements(model, steps)}}};
}

std::string toneWords(const ToneControls& model, std::span<const int> steps)
{
    const auto elements = toneElements(model, steps);
    if (elements.empty())
        return "all tone controls at 0";
    std::string words;
    for (std::size_t index = 0; index < elements.size(); ++index) {
        if (index > 0)
            words += index + 1 == elements.size() ? " and " : ", ";
        words += elements[index].label;
    }
    return words;
}

dsp::Result<void> setToneControl(ToneControls& model, ToneControl control)
{
    ToneControls changed = model;
    if (const auto same = std::ranges::find(changed.controls, control.name, &ToneControl::name);
        same != changed.controls.end())
        *same = std::move(control);
    else
        changed.controls.push_back(std::move(control));
    if (const std::string fault = faultOf(changed); !fault.empty())
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the model '" + changed.name + "' would not do: it " + fault);
    model = std::move(changed);
    return {};
}

nlohmann::json toneControlsToJson(const ToneControls& model)
{
    nlohmann::json controls = nlohmann::json::array();
    for (const ToneControl& control : model.controls) {
        nlohmann::json json {{"name", control.name},
                             {"type", elementTypeName(control.type)},
                             {"frequencyHz", control.frequencyHz},
                             {"q", control.q},
                             {"lowestDb", control.lowestDb},
                             {"highestDb", control.highestDb},
                             {"stepDb", control.stepDb},
                             {"status", toneControlStatusName(control.status)}};
        if (!control.remark.empty())
            json["remark"] = control.remark;
        controls.push_back(std::move(json));
    }
    return {{"kind", toneControlsKind},
            {"schemaVersion", toneControlsSchemaVersion},
            {"name", model.name},
            {"status", toneControlStatusName(model.status())},
            {"controls", std::move(controls)}};
}

dsp::Result<ToneControls> toneControlsFromJson(const nlohmann::json& json, std::string_view source)
{
    files::JsonReader reader(json, std::string(source));
    reader.expectKind(toneControlsKind, toneControlsSchemaVersion);
    ToneControls model;
    model.name = reader.text("name", "");
    const std::string status = reader.text("status");
    for (auto& controlReader : reader.objects("controls")) {
        model.controls.push_back(controlFromJson(controlReader, status));
        reader.absorb(controlReader);
    }
    if (!reader.failure())
        if (const std::string fault = faultOf(model); !fault.empty())
            reader.reject("controls", fault);
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    return model;
}

dsp::Result<void> saveToneControls(const ToneControls& model, const std::filesystem::path& file)
{
    return files::writeTextFile(file, files::jsonText(toneControlsToJson(model)));
}

dsp::Result<ToneControls> loadToneControls(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    return toneControlsFromJson(*json, file.string());
}

} // namespace saddletone::tuning
