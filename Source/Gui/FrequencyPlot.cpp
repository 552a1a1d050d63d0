#include "Gui/FrequencyPlot.h"

#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

float FrequencyPlot::xOf(double frequencyHz) const
{
    const double proportion = std::log(frequencyHz / lowestHz) / std::log(highestHz / lowestHz);
    return area.getX() + area.getWidth() * static_cast<float>(std::clamp(proportion, -0.1, 1.1));
}

float FrequencyPlot::yOf(double levelDb) const
{
    const double proportion = std::clamp((levelDb - lowestDb) / (highestDb - lowestDb), -0.5, 1.5);
    return area.getBottom() - area.getHeight() * static_cast<float>(proportion);
}

juce::Path FrequencyPlot::curve(const std::vector<double>& frequenciesHz,
                                const std::vector<double>& levelsDb, double offsetDb) const
{
    juce::Path path;
    for (std::size_t point = 0; point < std::min(frequenciesHz.size(), levelsDb.size()); ++point) {
        const juce::Point<float> position(xOf(frequenciesHz[point]),
                                          yOf(levelsDb[point] + offsetDb));
        if (point == 0)
            path.startNewSubPath(position);
        else
            path.lineTo(position);
    }
    return path;
}

juce::Path FrequencyPlot::spectrum(const std::vector<double>& levelsDb, double binHz) const
{
    juce::Path path;
    if (binHz <= 0.0)
        return path;
    juce::Point<float> highest;
    bool hasStart = false;
    const auto addColumn = [&] {
        if (hasStart)
            path.lineTo(highest);
        else
            path.startNewSubPath(highest);
        hasStart = true;
    };
    const auto first =
        std::max<std::size_t>(1, static_cast<std::size_t>(std::floor(lowestHz / binHz)));
    for (std::size_t bin = first; bin < levelsDb.size(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        const juce::Point<float> point(xOf(frequencyHz), yOf(levelsDb[bin]));
        if (bin > first && std::floor(point.x) != std::floor(highest.x)) {
            addColumn();
            highest = point;
        } else if (bin == first || point.y < highest.y) {
            highest = point;
        }
        if (frequencyHz > highestHz)
            break;
    }
    if (first < levelsDb.size())
        addColumn();
    return path;
}

void FrequencyPlot::drawGrid(juce::Graphics& g, juce::Colour line, juce::Colour label) const
{
    g.setFont(textFont(14.0F));
    constexpr double leastLabelDistance = 19.0;
    int stepDb = labelStepDb;
    while (stepDb * static_cast<double>(area.getHeight()) / (highestDb - lowestDb)
               < leastLabelDistance
           && stepDb < static_cast<int>(highestDb - lowestDb))
        stepDb *= 2;
    for (int levelDb = static_cast<int>(lowestDb); levelDb <= static_cast<int>(highestDb);
         levelDb += lineStepDb) {
        const float y = yOf(levelDb);
        g.setColour(line);
        g.drawHorizontalLine(static_cast<int>(y), area.getX(), area.getRight());
        if (levelDb % stepDb != 0)
            continue;
        g.setColour(label);
        g.drawText(juce::String::fromUTF8(levelDb < 0 ? "\xe2\x88\x92" : "")
                       + juce::String(std::abs(levelDb)),
                   juce::Rectangle<float>(area.getX() - 48.0F, y - 9.0F, 42.0F, 18.0F),
                   juce::Justification::centredRight, false);
    }
    struct Mark {
        double frequencyHz;
        const char* words;
    };
    for (const Mark& mark :
         {Mark {20.0, "20 Hz"}, Mark {50.0, "50"}, Mark {100.0, "100"}, Mark {200.0, "200"},
          Mark {500.0, "500"}, Mark {1000.0, "1k"}, Mark {2000.0, "2k"}, Mark {5000.0, "5k"},
          Mark {10000.0, "10k"}, Mark {20000.0, "20k"}}) {
        const float x = xOf(mark.frequencyHz);
        g.setColour(line);
        g.drawVerticalLine(static_cast<int>(x), area.getY(), area.getBottom());
        if (!labelsFrequencies)
            continue;
        g.setColour(label);
        g.drawText(mark.words,
                   juce::Rectangle<float>(x - 30.0F, area.getBottom() + 5.0F, 60.0F, 18.0F),
                   juce::Justification::centred, false);
    }
}

} // namespace saddletone::gui
