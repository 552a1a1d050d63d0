#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/EventCover.h"
#include "Gui/EventGuard.h"
#include "Gui/EventModel.h"
#include "Gui/HoldButton.h"
#include "Gui/PlateRow.h"
#include "Gui/RoadControl.h"

#include <functional>
#include <memory>
#include <vector>

namespace saddletone::gui {

/** All of the window while an event is prepared, runs, and is read: plates, road, play and quiet, a
    level guard, and nothing else.

    Keys while it runs: 1 to 8 candidate, space plays or pauses, arrows speed, + and - volume, Esc
    quiet; Ctrl+L held for four seconds ends it. No other key does anything. */
class EventScreen final : public juce::Component {
public:
    /** So long the button or the key is held to end an event. */
    static constexpr double secondsToLeave = 4.0;
    /** Smallest side of anything that a listener touches, in pixels. */
    static constexpr int touchSize = 64;

    EventScreen(EventModel& eventModel, AuditionModel& auditionModel);
    ~EventScreen() override;
    EventScreen(const EventScreen&) = delete;
    EventScreen& operator=(const EventScreen&) = delete;

    /** Called when the program is to be seen again. It must not delete the screen. */
    std::function<void()> onClose;
    /** Whether the keys that stand for the leave button are down; asked while an event runs. */
    std::function<bool()> isLeaveKeyDown;

    /** Takes up the state now. */
    void show(const AuditionSnapshot& newSnapshot);

    void paint(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    void mouseDown(const juce::MouseEvent& event) override;
    void mouseDrag(const juce::MouseEvent& event) override;

private:
    class Banner;

    [[nodiscard]] bool isRunning() const noexcept;
    void takeUp() { show(snapshot); }
    void touch();
    void begin();
    void close();
    void togglePlay();
    void makeLikeButtons();
    void showWords();
    void showVolume();
    void layOutListening(juce::Rectangle<int> area);

    EventModel& model;
    EventView view;
    AuditionSnapshot snapshot;
    std::shared_ptr<const JobView> likeButtonsOf;

    PlateRow plates;
    std::vector<std::unique_ptr<juce::TextButton>> likeButtons;
    juce::TextButton playButton;
    juce::TextButton quietButton {"Quiet (Esc)"};
    juce::TextButton softerButton {juce::String::fromUTF8("\xe2\x88\x92")};
    juce::TextButton louderButton {"+"};
    EventGuard guard;
    RoadControl road;
    EventCover cover;
    juce::Label limitLabel;
    juce::Slider limitSlider;
    juce::TextButton beginButton {"Start the event (Return)"};
    juce::TextButton cancelButton {"Cancel (Esc)"};
    juce::TextButton closeButton {"Back to the program (Return)"};
    std::unique_ptr<Banner> banner;
    HoldButton leaveButton;

    juce::Rectangle<int> titleArea, safetyArea, likeArea, volumeArea;
};

} // namespace saddletone::gui
