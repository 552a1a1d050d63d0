#pragma once

#include <juce_audio_processors/juce_audio_processors.h>

namespace saddletone::gui {

/** The road from the shop door to the highway: a rider is dragged along it to set the speed.

    It ends at 90 mph; a parameter beyond that shows the rider at its end. */
class RoadControl final : public juce::Component {
public:
    explicit RoadControl(juce::AudioProcessorValueTreeState& parameters);

    static constexpr double endMph = 90.0;

    /** Whether the street with the signs lies to its left, so that the two meet. */
    void setJoinsStops(bool joins) { joinsStops = joins; }

    [[nodiscard]] double speedKmh() const noexcept { return speed; }
    /** Sets the speed as one gesture, kept on the road. */
    void setSpeedKmh(double newSpeedKmh);
    /** Right and left change the speed by 1 mph, up and down by 5. False: another key. */
    bool driveBy(const juce::KeyPress& key);

    void paint(juce::Graphics& g) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;
    std::unique_ptr<juce::AccessibilityHandler> createAccessibilityHandler() override;

private:
    [[nodiscard]] juce::Rectangle<float> roadArea() const;
    [[nodiscard]] float positionOf(double speedMph) const;
    [[nodiscard]] double speedKmhAt(float x) const;
    void drawScenery(juce::Graphics& g) const;
    void drawRider(juce::Graphics& g) const;

    double speed = 0.0;
    bool joinsStops = false;
    juce::ParameterAttachment attachment; // last: its first call needs the rest
};

} // namespace saddletone::gui
