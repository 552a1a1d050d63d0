#include "Core/Tuning/Element.h"

#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"

#include <cmath>
#include <numbers>

namespace saddletone::tuning {

double elementQ(const Element& element) noexcept
{
    return element.slope && isShelf(element.type)
               ? dsp::shelfSlopeToQ(*element.slope, element.gainDb)
               : element.q;
}

std::array<double, numGraphicBands> graphicFrequenciesHz() noexcept
{
    // IEC 61260-1, 5.2.1 and 5.4: G = 10^(3/10), so a third octave is a tenth of a decade; the
    // first band is 17 of them below 1 kHz.
    std::array<double, numGraphicBands> frequenciesHz {};
    for (std::size_t band = 0; band < numGraphicBands; ++band)
        frequenciesHz[band] = 1000.0 * dsp::dbToPower(static_cast<double>(band) - 17.0);
    return frequenciesHz;
}

std::vector<dsp::AnalogueSection> analogueSections(const Element& element)
{
    const double frequencyHz = element.frequencyHz;
    switch (element.type) {
    case ElementType::peaking:
        return {dsp::analoguePeaking(frequencyHz, element.q, element.gainDb)};
    case ElementType::lowShelf:
        return {dsp::analogueLowShelf(frequencyHz, elementQ(element), element.gainDb)};
    case ElementType::highShelf:
        return {dsp::analogueHighShelf(frequencyHz, elementQ(element), element.gainDb)};
    case ElementType::highPass:
    case ElementType::lowPass: {
        const auto band = element.type == ElementType::lowPass ? dsp::PassBand::belowFrequency
                                                               : dsp::PassBand::aboveFrequency;
        switch (element.alignment) {
        case Alignment::linkwitzRiley:
            return dsp::analogueLinkwitzRiley(band, element.order, frequencyHz);
        case Alignment::bessel: return dsp::analogueBessel(band, element.order, frequencyHz);
        case Alignment::butterworth: break;
        }
        return dsp::analogueButterworth(band, element.order, frequencyHz);
    }
    case ElementType::allPass:
        return {element.order == 1 ? dsp::analogueFirstOrderAllPass(frequencyHz)
                                   : dsp::analogueAllPass(frequencyHz, element.q)};
    case ElementType::notch: return {dsp::analogueNotch(frequencyHz, element.q)};
    case ElementType::graphic: {
        const auto bandsHz = graphicFrequenciesHz();
        std::vector<dsp::AnalogueSection> sections;
        for (std::size_t band = 0; band < numGraphicBands; ++band)
            if (element.bandGainsDb[band] != 0.0)
                sections.push_back(
                    dsp::analoguePeaking(bandsHz[band], graphicBandQ, element.bandGainsDb[band]));
        return sections;
    }
    case ElementType::gain:
    case ElementType::delay:
    case ElementType::polarity:
    case ElementType::limiter: break;
    }
    return {};
}

std::complex<double> elementResponse(const Element& element, double frequencyHz)
{
    switch (element.type) {
    case ElementType::gain: return dsp::dbToAmplitude(element.gainDb);
    case ElementType::polarity: return -1.0;
    case ElementType::delay:
        return std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz * 0.001 * element.delayMs);
    default: break;
    }
    std::complex<double> response = 1.0;
    for (const dsp::AnalogueSection& section : analogueSections(element))
        response *= section.response(frequencyHz);
    return response;
}

std::vector<dsp::BiquadCoefficients> designElement(const Element& element, double sampleRate)
{
    std::vector<dsp::BiquadCoefficients> sections;
    for (const dsp::AnalogueSection& section : analogueSections(element))
        for (const dsp::BiquadCoefficients& biquad : dsp::matchedBiquads(section, sampleRate))
            sections.push_back(biquad);
    return sections;
}

std::string_view elementTypeName(ElementType type) noexcept
{
    switch (type) {
    case ElementType::peaking: return "peaking";
    case ElementType::lowShelf: return "low-shelf";
    case ElementType::highShelf: return "high-shelf";
    case ElementType::highPass: return "high-pass";
    case ElementType::lowPass: return "low-pass";
    case ElementType::allPass: return "all-pass";
    case ElementType::notch: return "notch";
    case ElementType::graphic: return "graphic";
    case ElementType::delay: return "delay";
    case ElementType::polarity: return "polarity";
    case ElementType::limiter: return "limiter";
    case ElementType::gain: break;
    }
    return "gain";
}

std::string_view alignmentName(Alignment alignment) noexcept
{
    switch (alignment) {
    case Alignment::linkwitzRiley: return "linkwitz-riley";
    case Alignment::bessel: return "bessel";
    case Alignment::butterworth: break;
    }
    return "butterworth";
}

bool isShelf(ElementType type) noexcept
{
    return type == ElementType::lowShelf || type == ElementType::highShelf;
}

bool isPass(ElementType type) noexcept
{
    return type == ElementType::highPass || type == ElementType::lowPass;
}

bool hasGain(ElementType type) noexcept
{
    return type == ElementType::gain || type == ElementType::peaking || isShelf(type);
}

bool hasFrequency(ElementType type) noexcept
{
    return type == ElementType::peaking || isShelf(type) || isPass(type)
           || type == ElementType::allPass || type == ElementType::notch;
}

bool hasQ(const Element& element) noexcept
{
    return element.type == ElementType::peaking || element.type == ElementType::notch
           || (isShelf(element.type) && !element.slope)
           || (element.type == ElementType::allPass && element.order == 2);
}

} // namespace saddletone::tuning
