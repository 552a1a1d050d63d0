#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>

namespace saddletone::gui {

/** A field for a number, typed with a comma or a dot. Return or leaving the field takes the number,
    kept within its limits; Esc, or what is no number, brings the old one back. Up and down arrows
    change it by a step. */
class NumberField final : public juce::TextEditor {
public:
    struct Limits {
        double lowest = 0.0;
        double highest = 1.0;
        double step = 1.0;
        /** Steps multiply instead of adding: for frequencies and q. */
        bool isStepRatio = false;
    };

    NumberField(const juce::String& title, const juce::String& description, Limits fieldLimits,
                std::function<juce::String(double)> toText);

    /** Called when the user has given another number. */
    std::function<void(double)> onNumber;

    /** Shows a number, unless the user is typing one. */
    void show(double newNumber);
    [[nodiscard]] double number() const noexcept { return value; }

    bool keyPressed(const juce::KeyPress& key) override;
    void focusLost(FocusChangeType cause) override;
    void lookAndFeelChanged() override;

private:
    void takeText();
    void set(double newNumber);
    void showText();

    Limits limits;
    std::function<juce::String(double)> textOf;
    double value = 0.0;
};

} // namespace saddletone::gui
