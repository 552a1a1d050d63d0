#pragma once

#include "Gui/SpeedUnit.h"

#include <juce_audio_processors/juce_audio_processors.h>

#include <functional>

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
    /** Drives by a step if the key is one of the arrows. */
    bool driveBy(const juce::KeyPress& key);
    /** What the speeds are shown in. */
    void show(SpeedUnit newUnit);
    [[nodiscard]] SpeedUnit speedUnit() const noexcept { return unit; }
    /** Whether the unit can be changed here; it can, unless this is called. */
    void setHasUnitButton(bool hasIt) { unitButton.setVisible(hasIt); }
    /** Called when the user wants to see speeds in another unit. */
    std::function<void(SpeedUnit)> onUnit;

    /** Everything that moves with the rider: what is drawn anew when the speed changes. */
    [[nodiscard]] juce::Rectangle<int> riderArea() const;

    void paint(juce::Graphics& g) override;
    void resized() override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;
    void mouseUp(const juce::MouseEvent& event) override;
    std::unique_ptr<juce::AccessibilityHandler> createAccessibilityHandler() override;

private:
    void describe();
    [[nodiscard]] juce::Rectangle<float> roadArea() const;
    [[nodiscard]] float positionOf(double speedMph) const;
    [[nodiscard]] double speedKmhAt(float x) const;
    void drawScenery(juce::Graphics& g) const;
    void drawRider(juce::Graphics& g) const;
    /** The sign with the speed. */
    [[nodiscard]] juce::Rectangle<float> signArea() const;

    double speed = 0.0;
    SpeedUnit unit = SpeedUnit::mph;
    juce::TextButton unitButton;
    bool joinsStops = false;
    juce::ParameterAttachment attachment; // last: its first call needs the rest
};

} // namespace saddletone::gui
