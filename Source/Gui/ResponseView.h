#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/FrequencyPlot.h"

namespace saddletone::gui {

/** What reaches the rider's ear over frequency: the candidates as curves, the wind at the current
    speed as a hatched area. What of a curve lies in the hatched area drowns. */
class ResponseView final : public juce::Component {
public:
    ResponseView();

    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;

private:
    [[nodiscard]] FrequencyPlot plot() const;
    [[nodiscard]] juce::Path curvePath(const FrequencyPlot& axes, std::size_t index) const;
    void drawWind(juce::Graphics& g, const FrequencyPlot& axes) const;
    void drawCurves(juce::Graphics& g, const FrequencyPlot& axes) const;
    void drawLegend(juce::Graphics& g) const;
    void drawWindLabel(juce::Graphics& g, const FrequencyPlot& axes) const;

    std::shared_ptr<const JobView> job;
    std::size_t heard = 0;
    ride::Helmet helmet = ride::Helmet::fullFace;
    audition::LevelMatch match = audition::LevelMatch::asOnTheBike;
    std::vector<double> matchGainsDb;
    double windSplDba = 0.0;
};

} // namespace saddletone::gui
