#include "Support/TuningFixtures.h"

namespace saddletone::test {

using tuning::Alignment;
using tuning::Element;
using tuning::ElementType;

std::vector<tuning::Element> allElements()
{
    Element graphic {.type = ElementType::graphic};
    graphic.bandGainsDb[12] = -4.0;
    graphic.bandGainsDb[20] = 6.5;
    std::vector<Element> elements {
        {.type = ElementType::gain, .gainDb = -7.5},
        {.type = ElementType::peaking, .frequencyHz = 315.0, .gainDb = 6.0, .q = 3.0},
        {.type = ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = -5.0, .q = 0.6},
        {.type = ElementType::highShelf, .frequencyHz = 6300.0, .gainDb = 4.0, .slope = 0.9},
        {.type = ElementType::allPass, .frequencyHz = 400.0, .q = 0.8},
        {.type = ElementType::allPass, .frequencyHz = 400.0, .order = 1},
        {.type = ElementType::notch, .frequencyHz = 1500.0, .q = 4.0},
        {.type = ElementType::delay, .delayMs = 3.25},
        {.type = ElementType::polarity},
        {.type = ElementType::limiter, .thresholdDbfs = -9.0, .attackMs = 2.0, .releaseMs = 80.0},
        graphic,
    };
    for (const auto type : {ElementType::highPass, ElementType::lowPass}) {
        for (int order = 1; order <= 8; ++order)
            for (const auto alignment : {Alignment::butterworth, Alignment::bessel})
                elements.push_back(
                    {.type = type, .frequencyHz = 180.0, .alignment = alignment, .order = order});
        for (const int order : {2, 4, 8})
            elements.push_back({.type = type,
                                .frequencyHz = 2200.0,
                                .alignment = Alignment::linkwitzRiley,
                                .order = order});
    }
    return elements;
}

} // namespace saddletone::test
