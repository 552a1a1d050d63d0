#pragma once

#include "Gui/NoteVeil.h"

#include <functional>

namespace saddletone::gui {

/** Asks what is to become of a tuning that has not been saved: save it, let it go, or stay. Return
    saves, Esc stays. Everything beside it waits. */
class UnsavedPanel final : public juce::Component {
public:
    enum class Answer { save, letGo, stay };

    UnsavedPanel();

    std::function<void(Answer)> onAnswer;

    static constexpr int height = 168;

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;

private:
    juce::TextButton saveButton {"Save and go on"};
    juce::TextButton letGoButton {"Go on without saving"};
    juce::TextButton stayButton {"Stay here"};
    NoteVeil veil {*this};
};

} // namespace saddletone::gui
