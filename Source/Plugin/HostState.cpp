#include "Plugin/HostState.h"

#include "Core/Files/StateElement.h"
#include "Gui/ParameterIds.h"
#include "Plugin/DecimalText.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace saddletone::plugin {

namespace ids = gui::parameterIds;

namespace {

constexpr int schemaVersion = 1;
constexpr const char* rootTag = "saddletone";
constexpr const char* schemaVersionKey = "schemaVersion";
constexpr const char* parameterTag = "parameter";

constexpr std::array<std::string_view, 12> knownKeys {
    schemaVersionKey,           stateKeys::jobFolder,
    stateKeys::programmeFile,   stateKeys::loop,
    stateKeys::lightLook,       stateKeys::speedUnit,
    stateKeys::windowWidth,     stateKeys::windowHeight,
    stateKeys::program,         stateKeys::currentProgramme,
    stateKeys::alignedLoudness, stateKeys::restartsOnSwitch};

template <typename Function>
void forEachParameter(const juce::AudioProcessorValueTreeState& parameters, Function function)
{
    for (juce::AudioProcessorParameter* const each : parameters.processor.getParameters())
        if (auto* const parameter = dynamic_cast<juce::RangedAudioParameter*>(each))
            function(*parameter);
}

std::unique_ptr<juce::XmlElement> toXml(const files::StateElement& element)
{
    if (element.tag.empty())
        return std::unique_ptr<juce::XmlElement>(
            juce::XmlElement::createTextElement(juce::String::fromUTF8(element.text.c_str())));
    auto xml = std::make_unique<juce::XmlElement>(element.tag.c_str());
    for (const auto& [name, value] : element.attributes)
        xml->setAttribute(name.c_str(), juce::String::fromUTF8(value.c_str()));
    // In the order of the state: the framework's own way of adding walks through all that is there.
    for (auto child = element.children.rbegin(); child != element.children.rend(); ++child)
        xml->prependChildElement(toXml(*child).release());
    return xml;
}

bool isListenersOwn(const juce::String& id)
{
    return id == ids::headphoneSplDb || id == ids::ceilingDba;
}

} // namespace

juce::XmlElement makeHostState()
{
    juce::XmlElement hostState(rootTag);
    hostState.setAttribute(schemaVersionKey, schemaVersion);
    return hostState;
}

dsp::Result<std::unique_ptr<juce::XmlElement>> readHostState(const void* data, int numBytes)
{
    const auto read = files::parseStateBytes(
        {static_cast<const std::uint8_t*>(data), static_cast<std::size_t>(numBytes)});
    if (!read)
        return read.unexpected();
    std::unique_ptr<juce::XmlElement> hostState = toXml(*read);
    const int version = hostState->getIntAttribute(schemaVersionKey, 0);
    if (!hostState->hasTagName(rootTag) || version < 1)
        return dsp::fail(dsp::ErrorCode::malformed, files::damagedStateWords);
    if (version > schemaVersion)
        return dsp::fail(dsp::ErrorCode::newerSchema,
                         "What the host kept of Saddletone was saved by a newer version (state "
                             + std::to_string(version) + ", this one reads up to "
                             + std::to_string(schemaVersion)
                             + "), so everything stays as it is. Update Saddletone, and do not "
                               "save the session before.");
    return hostState;
}

double readNumber(const juce::XmlElement& element, const char* key, double fallback)
{
    const juce::String& text = element.getStringAttribute(key);
    return text.containsAnyOf("0123456789") ? text.replaceCharacter(',', '.').getDoubleValue()
                                            : fallback;
}

void saveParameters(juce::XmlElement& hostState,
                    const juce::AudioProcessorValueTreeState& parameters)
{
    forEachParameter(parameters, [&](const juce::RangedAudioParameter& parameter) {
        juce::XmlElement* const child = hostState.createNewChildElement(parameterTag);
        child->setAttribute("id", parameter.getParameterID());
        child->setAttribute("value", exactText(parameter.convertFrom0to1(parameter.getValue())));
    });
}

void restoreParameters(const juce::XmlElement& hostState,
                       juce::AudioProcessorValueTreeState& parameters)
{
    if (hostState.getChildByName(parameterTag) == nullptr)
        return;
    forEachParameter(parameters, [&](juce::RangedAudioParameter& parameter) {
        const juce::XmlElement* found = nullptr;
        for (const juce::XmlElement* const child :
             hostState.getChildWithTagNameIterator(parameterTag))
            if (child->getStringAttribute("id") == parameter.getParameterID())
                found = child;
        if (found == nullptr) {
            if (!isListenersOwn(parameter.getParameterID()))
                parameter.setValueNotifyingHost(parameter.getDefaultValue());
            return;
        }
        const double value = readNumber(*found, "value", std::nan(""));
        if (!std::isfinite(value))
            return;
        const juce::NormalisableRange<float>& range = parameter.getNormalisableRange();
        const float kept = static_cast<float>(
            std::clamp(value, static_cast<double>(range.start), static_cast<double>(range.end)));
        parameter.setValueNotifyingHost(parameter.convertTo0to1(kept));
    });
}

std::unique_ptr<juce::XmlElement> unknownPart(const juce::XmlElement& hostState,
                                              const juce::AudioProcessorValueTreeState& parameters)
{
    auto unknown = std::make_unique<juce::XmlElement>(rootTag);
    for (int index = 0; index < hostState.getNumAttributes(); ++index) {
        const juce::String& name = hostState.getAttributeName(index);
        if (std::ranges::none_of(knownKeys,
                                 [&](std::string_view known) { return name == known.data(); }))
            unknown->setAttribute(name, hostState.getAttributeValue(index));
    }
    for (const juce::XmlElement* const child : hostState.getChildIterator()) {
        const bool isKnown =
            child->hasTagName(stateKeys::programmeTag)
            || (child->hasTagName(parameterTag)
                && parameters.getParameter(child->getStringAttribute("id")) != nullptr);
        if (!isKnown)
            unknown->addChildElement(new juce::XmlElement(*child)); // the element takes it over
    }
    return unknown;
}

void addUnknownPart(juce::XmlElement& hostState, const juce::XmlElement* unknown)
{
    if (unknown == nullptr)
        return;
    for (int index = 0; index < unknown->getNumAttributes(); ++index)
        hostState.setAttribute(unknown->getAttributeName(index), unknown->getAttributeValue(index));
    for (const juce::XmlElement* const child : unknown->getChildIterator())
        hostState.addChildElement(new juce::XmlElement(*child)); // the element takes it over
}

} // namespace saddletone::plugin
