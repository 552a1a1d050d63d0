#include "Core/Tuning/SettingsTable.h"

#include "Core/Files/TextTable.h"

namespace saddletone::tuning {

using files::fixedText;

std::vector<GroupSettings> settingsByGroup(const Tuning& tuning)
{
    std::vector<GroupSettings> groups;
    for (const OutputGroup group : measure::allSpeakerGroups) {
        GroupSettings settings;
        settings.group = group;
        bool isUsed = false;
        for (const Chain& chain : tuning.chains) {
            if (chain.group != group)
                continue;
            for (const Element& element : chain.elements) {
                isUsed = true;
                switch (element.type) {
                case ElementType::gain: settings.gainDb += element.gainDb; break;
                case ElementType::delay: settings.delayMs += element.delayMs; break;
                case ElementType::polarity: settings.isInverted = !settings.isInverted; break;
                case ElementType::limiter: settings.limiters.push_back(element); break;
                default: settings.filters.push_back(element);
                }
            }
        }
        if (isUsed)
            groups.push_back(std::move(settings));
    }
    return groups;
}

std::string_view groupHeading(OutputGroup group) noexcept
{
    switch (group) {
    case OutputGroup::left: return "Left speakers";
    case OutputGroup::right: return "Right speakers";
    case OutputGroup::front: return "Front speakers";
    case OutputGroup::rear: return "Rear speakers";
    case OutputGroup::frontLeft: return "Front left speaker";
    case OutputGroup::frontRight: return "Front right speaker";
    case OutputGroup::rearLeft: return "Rear left speaker";
    case OutputGroup::rearRight: return "Rear right speaker";
    case OutputGroup::all: break;
    }
    return "All speakers";
}

std::string_view typeHeading(ElementType type) noexcept
{
    switch (type) {
    case ElementType::peaking: return "Peaking (bell)";
    case ElementType::lowShelf: return "Low shelf";
    case ElementType::highShelf: return "High shelf";
    case ElementType::highPass: return "High-pass";
    case ElementType::lowPass: return "Low-pass";
    case ElementType::allPass: return "All-pass";
    case ElementType::notch: return "Notch";
    case ElementType::graphic: return "Graphic band";
    case ElementType::delay: return "Delay";
    case ElementType::polarity: return "Polarity";
    case ElementType::limiter: return "Limiter";
    case ElementType::gain: break;
    }
    return "Gain";
}

std::string_view alignmentHeading(Alignment alignment) noexcept
{
    switch (alignment) {
    case Alignment::linkwitzRiley: return "Linkwitz-Riley";
    case Alignment::bessel: return "Bessel";
    case Alignment::butterworth: break;
    }
    return "Butterworth";
}

std::string signedGain(double gainDb, int decimals)
{
    const std::string text = fixedText(gainDb, decimals);
    return text.starts_with('-') ? text : "+" + text;
}

std::vector<Element> rowsOf(const Element& element)
{
    if (element.type != ElementType::graphic)
        return {element};
    const auto bandsHz = graphicFrequenciesHz();
    std::vector<Element> rows;
    for (std::size_t band = 0; band < numGraphicBands; ++band) {
        Element row;
        row.type = ElementType::graphic;
        row.frequencyHz = bandsHz[band];
        row.gainDb = element.bandGainsDb[band];
        row.q = graphicBandQ;
        row.label = element.label;
        rows.push_back(row);
    }
    return rows;
}

FilterRow filterRow(const Element& element, int decimals)
{
    FilterRow row;
    const bool isBand = element.type == ElementType::graphic;
    if (isBand || hasFrequency(element.type))
        row.frequencyHz = fixedText(element.frequencyHz, decimals);
    if (isBand || hasGain(element.type))
        row.gainDb = signedGain(element.gainDb, decimals);
    if (isBand || isShelf(element.type) || hasQ(element))
        row.q = fixedText(elementQ(element), decimals + 1);
    if (isPass(element.type) || element.type == ElementType::allPass)
        row.order = std::to_string(element.order);
    if (isPass(element.type))
        row.alignment = alignmentHeading(element.alignment);
    if (isShelf(element.type) && element.slope)
        row.slope = fixedText(*element.slope, decimals + 1);
    return row;
}

} // namespace saddletone::tuning
