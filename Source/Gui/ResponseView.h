#pragma once

#include "Gui/AuditionModel.h"

namespace saddletone::gui {

/** What reaches the rider's ear over frequency: the candidates as curves, the wind at the current
    speed as a hatched area. What of a curve lies in the hatched area drowns. */
class ResponseView final : public juce::Component {
public:
    ResponseView();

    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;

private:
    [[nodiscard]] juce::Rectangle<float> plotArea() const;
    [[nodiscard]] float xOf(double frequencyHz) const;
    [[nodiscard]] float yOf(double levelDb) const;
    [[nodiscard]] juce::Path curvePath(const CandidateView& candidate) const;
    void drawGrid(juce::Graphics& g) const;
    void drawWind(juce::Graphics& g) const;
    void drawCurves(juce::Graphics& g) const;
    void drawLegend(juce::Graphics& g) const;
    void drawWindLabel(juce::Graphics& g) const;

    std::shared_ptr<const JobView> job;
    std::size_t heard = 0;
    ride::Helmet helmet = ride::Helmet::fullFace;
    audition::LevelMatch match = audition::LevelMatch::asOnTheBike;
    double windSplDba = 0.0;
};

} // namespace saddletone::gui
