#include "Fuzz/FuzzTargets.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Files/StateElement.h"
#include "Core/Files/TextTable.h"
#include "Core/Files/Utf8.h"
#include "Core/Job/Job.h"
#include "Core/Signals/SignalDescription.h"
#include "Core/Tuning/TuningFile.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>

#include <nlohmann/json.hpp>

namespace saddletone::test {

namespace {

void require(bool promise, const char* words)
{
    if (promise)
        return;
    std::fprintf(stderr, "broken promise: %s\n", words);
    std::abort();
}

/** A file of that name holding the bytes, in a folder that goes with the process. */
std::filesystem::path fileWith(std::string_view bytes, const char* name)
{
    static const TemporaryFolder folder;
    const auto file = folder / name;
    writeBytes(file, bytes);
    return file;
}

std::string_view textOf(FuzzInput input)
{
    return {reinterpret_cast<const char*>(input.data()), input.size()};
}

template <typename Value>
void requireReason(const dsp::Result<Value>& result)
{
    require(result || !result.error().message.empty(), "a refusal has its reason");
}

/** Within the limits that readers of a state rely on, down to the last child. */
void requireSound(const files::StateElement& element, std::size_t depth)
{
    require(depth <= files::maxStateDepth, "elements are not nested deeper than is stated");
    require(element.attributes.size() <= files::maxStateAttributes, "attributes are not too many");
    require(element.tag.empty() != element.text.empty(), "an element has a tag or is text");
    require(!element.tag.empty() || (element.attributes.empty() && element.children.empty()),
            "text has nothing else");
    const auto isText = [](const std::string& text) {
        return files::isUtf8(text) && text.find('\0') == std::string::npos;
    };
    require(isText(element.text), "text is UTF-8 without a zero");
    for (auto each = element.attributes.begin(); each != element.attributes.end(); ++each) {
        require(!each->name.empty() && isText(each->value), "an attribute has name and text");
        require(std::none_of(element.attributes.begin(), each,
                             [&](const auto& before) { return before.name == each->name; }),
                "an attribute is given once");
    }
    for (const files::StateElement& child : element.children)
        requireSound(child, depth + 1);
}

/** Text in XML: what means something there, and control characters, as their numbers. */
std::string withNumbers(const std::string& text)
{
    std::string xml;
    for (const char character : text) {
        const auto byte = static_cast<unsigned char>(character);
        if (byte < 0x20 || std::string_view("&<>\"'").find(character) != std::string_view::npos)
            xml += "&#" + std::to_string(byte) + ";";
        else
            xml += character;
    }
    return xml;
}

/** An element as the plug-in's framework writes it, each with a tag of its own at the end. */
std::string stateXml(const files::StateElement& element)
{
    if (element.tag.empty())
        return withNumbers(element.text);
    std::string xml = "<" + element.tag;
    for (const auto& [name, value] : element.attributes)
        xml += " " + name + "=\"" + withNumbers(value) + "\"";
    xml += ">";
    for (const files::StateElement& child : element.children)
        xml += stateXml(child);
    return xml + "</" + element.tag + ">";
}

std::string stateBytes(const std::string& xml)
{
    std::string bytes = "VC2!";
    for (const unsigned shift : {0U, 8U, 16U, 24U})
        bytes += static_cast<char>((xml.size() >> shift) & 0xFFU);
    return bytes + xml + '\0';
}

} // namespace

void fuzzAudioFile(FuzzInput input)
{
    const files::ReadLimits limits {.maxSeconds = 2.0, .maxChannels = 4};
    const auto audio = files::readAudioFile(fileWith(textOf(input), "input.wav"), limits);
    requireReason(audio);
    if (!audio)
        return;
    require(audio->sampleRate >= 8000.0 && audio->sampleRate <= 384000.0, "the rate is in range");
    require(audio->numChannels() >= 1 && audio->numChannels() <= limits.maxChannels,
            "the number of channels is in range");
    require(audio->numFrames() >= 1, "there are samples");
    for (const auto& channel : audio->channels) {
        require(channel.size() == audio->numFrames(), "channels are equally long");
        require(std::ranges::all_of(channel, [](float sample) { return std::isfinite(sample); }),
                "every sample is a number");
    }
}

void fuzzJob(FuzzInput input)
{
    const auto file = fileWith(textOf(input), "job.json");
    const auto folder = file.parent_path();
    auto loaded = job::loadJob(folder);
    requireReason(loaded);
    if (!loaded)
        return;
    const auto saved = job::saveJob(*loaded);
    require(saved.has_value(), "a job that was loaded can be saved");
    const auto again = job::loadJob(folder);
    require(again.has_value(), "a job that was saved can be loaded");
    require(again->title == loaded->title && again->states == loaded->states
                && again->candidates == loaded->candidates
                && again->programmes == loaded->programmes && again->ride == loaded->ride
                && again->seat == loaded->seat,
            "a job comes back as it was saved");
    for (const job::JobState& state : again->states) {
        const auto inside = job::resolveInside(folder, state.file);
        require(inside && *inside->lexically_relative(folder).begin() != "..",
                "a state's file is inside the job");
    }
}

void fuzzHostState(FuzzInput input)
{
    const auto read = files::parseStateBytes(input);
    requireReason(read);
    if (!read)
        return;
    requireSound(*read, 1);
    const std::string bytes = stateBytes(stateXml(*read));
    const auto again =
        files::parseStateBytes({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
    require(again.has_value(), "a state that was written can be read");
    require(*again == *read, "a state comes back as it was written");
}

void fuzzSignalDescription(FuzzInput input)
{
    const auto loaded =
        signals::loadSignalDescription(fileWith(textOf(input), "input.signal.json"));
    requireReason(loaded);
    if (!loaded)
        return;
    const std::string text = files::jsonText(signals::descriptionToJson(*loaded));
    const auto again = signals::loadSignalDescription(fileWith(text, "again.signal.json"));
    require(again.has_value(), "a description that was written can be read");
    require(files::jsonText(signals::descriptionToJson(*again)) == text,
            "a description comes back as it was written");
}

void fuzzTextTable(FuzzInput input)
{
    const auto table = files::parseFrequencyTable(std::string(textOf(input)), "input");
    requireReason(table);
    if (!table)
        return;
    const auto isNumber = [](double value) { return std::isfinite(value); };
    require(!table->frequenciesHz.empty() && table->frequenciesHz.front() > 0.0,
            "there are frequencies, above 0");
    require(std::ranges::adjacent_find(table->frequenciesHz, std::greater_equal<>())
                == table->frequenciesHz.end(),
            "frequencies ascend");
    require(table->levelsDb.size() == table->frequenciesHz.size()
                && (table->phasesRadians.empty()
                    || table->phasesRadians.size() == table->frequenciesHz.size()),
            "columns are equally long");
    require(std::ranges::all_of(table->frequenciesHz, isNumber)
                && std::ranges::all_of(table->levelsDb, isNumber)
                && std::ranges::all_of(table->phasesRadians, isNumber),
            "every value is a number");
    for (const double frequencyHz : {1e-3, 20.0, 1000.0, 20000.0, 1e9})
        require(isNumber(table->levelDbAt(frequencyHz)), "there is a level at every frequency");
}

void fuzzTuning(FuzzInput input)
{
    const auto loaded = tuning::loadTuning(fileWith(textOf(input), "input.json"));
    requireReason(loaded);
    if (!loaded)
        return;
    const auto json = tuning::tuningToJson(*loaded);
    const auto again = tuning::tuningFromJson(json, "again");
    require(again.has_value(), "a tuning that was written can be read");
    require(*again == *loaded, "a tuning comes back as it was written");
}

} // namespace saddletone::test
