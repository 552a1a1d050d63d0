#include "Gui/ElementWords.h"

#include <array>
#include <charconv>
#include <cmath>

namespace saddletone::gui {

namespace {

using tuning::ElementType;

constexpr std::array offered {ElementType::peaking,  ElementType::lowShelf, ElementType::highShelf,
                              ElementType::highPass, ElementType::lowPass,  ElementType::notch,
                              ElementType::allPass,  ElementType::gain,     ElementType::delay,
                              ElementType::polarity, ElementType::graphic,  ElementType::limiter};

} // namespace

juce::String typeWords(ElementType type)
{
    switch (type) {
    case ElementType::peaking: return "Peaking";
    case ElementType::lowShelf: return "Low shelf";
    case ElementType::highShelf: return "High shelf";
    case ElementType::highPass: return "High-pass";
    case ElementType::lowPass: return "Low-pass";
    case ElementType::allPass: return "All-pass";
    case ElementType::notch: return "Notch";
    case ElementType::graphic: return "Graphic";
    case ElementType::delay: return "Delay";
    case ElementType::polarity: return "Polarity";
    case ElementType::limiter: return "Limiter";
    case ElementType::gain: break;
    }
    return "Gain";
}

juce::String alignmentWords(tuning::Alignment alignment)
{
    switch (alignment) {
    case tuning::Alignment::linkwitzRiley: return "Linkwitz-Riley";
    case tuning::Alignment::bessel: return "Bessel";
    case tuning::Alignment::butterworth: break;
    }
    return "Butterworth";
}

std::span<const ElementType> offeredTypes() noexcept
{
    return offered;
}

juce::String groupWords(tuning::OutputGroup group)
{
    const std::string_view name = measure::speakerGroupName(group);
    const juce::String words =
        juce::String::fromUTF8(name.data(), static_cast<int>(name.size())).replace("-", " ");
    return words.substring(0, 1).toUpperCase() + words.substring(1);
}

juce::String numberWords(double value, int decimals)
{
    // JUCE takes no decimals for as many as there are.
    const juce::String digits = decimals == 0 ? juce::String(juce::roundToInt(std::abs(value)))
                                              : juce::String(std::abs(value), decimals);
    const bool isNegative = value < 0.0 && digits.containsAnyOf("123456789");
    return isNegative ? juce::String::fromUTF8("\xe2\x88\x92") + digits : digits;
}

juce::String frequencyNumber(double frequencyHz)
{
    return numberWords(frequencyHz, frequencyHz < 99.95 ? 1 : 0);
}

juce::String elementWords(const DraftElement& draft)
{
    const tuning::Element& element = draft.element;
    juce::StringArray parts;
    if (tuning::hasFrequency(element.type))
        parts.add(frequencyNumber(element.frequencyHz) + " Hz");
    if (tuning::hasGain(element.type))
        parts.add(numberWords(element.gainDb, 1) + " dB");
    if (tuning::isShelf(element.type) && element.slope)
        parts.add("slope " + juce::String(*element.slope, 2));
    else if (tuning::hasQ(element))
        parts.add("Q " + juce::String(element.q, 2));
    if (tuning::isPass(element.type))
        parts.add(alignmentWords(element.alignment) + " " + juce::String(element.order));
    if (element.type == ElementType::allPass)
        parts.add("order " + juce::String(element.order));
    if (element.type == ElementType::delay)
        parts.add(juce::String(element.delayMs, 2) + " ms");
    if (element.type == ElementType::polarity)
        parts.add("turned over");
    if (element.type == ElementType::graphic)
        parts.add("31 bands");
    if (element.type == ElementType::limiter)
        parts.add("at " + numberWords(element.thresholdDbfs, 1) + " dBFS");
    if (draft.group != tuning::OutputGroup::all)
        parts.add(groupWords(draft.group).toLowerCase());
    return parts.isEmpty() ? typeWords(element.type)
                           : typeWords(element.type) + " " + parts.joinIntoString(", ");
}

DraftElement newElement(ElementType type)
{
    DraftElement draft;
    tuning::Element& element = draft.element;
    element.type = type;
    switch (type) {
    case ElementType::peaking: element.q = 1.0; break;
    case ElementType::lowShelf: element.frequencyHz = 120.0; break;
    case ElementType::highShelf: element.frequencyHz = 5000.0; break;
    case ElementType::highPass:
        element.frequencyHz = 80.0;
        element.alignment = tuning::Alignment::linkwitzRiley;
        element.order = 4;
        break;
    case ElementType::lowPass: element.frequencyHz = 15000.0; break;
    case ElementType::notch: element.q = 5.0; break;
    case ElementType::delay: element.delayMs = 1.0; break;
    case ElementType::limiter: element.thresholdDbfs = -6.0; break;
    default: break;
    }
    return draft;
}

std::optional<double> parseNumber(const juce::String& text)
{
    juce::String words =
        text.trim().replace(juce::String::fromUTF8("\xe2\x88\x92"), "-").replaceCharacter(',', '.');
    words = words.trimCharactersAtStart("+");
    const std::string bytes = words.toStdString();
    double value = 0.0;
    const auto [end, problem] = std::from_chars(bytes.data(), bytes.data() + bytes.size(), value);
    if (problem != std::errc {} || !std::isfinite(value))
        return std::nullopt;
    juce::String unit =
        juce::String::fromUTF8(end, static_cast<int>(bytes.data() + bytes.size() - end)).trim();
    // Anything but a unit behind the number, a second decimal sign for one, makes it unclear.
    if (unit.containsAnyOf("0123456789.-+"))
        return std::nullopt;
    if (unit.startsWithIgnoreCase("k"))
        value *= 1000.0;
    return value;
}

} // namespace saddletone::gui
