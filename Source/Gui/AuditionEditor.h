#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/BikePlace.h"
#include "Gui/BlindPanel.h"
#include "Gui/EventScreen.h"
#include "Gui/FairnessStrip.h"
#include "Gui/Heading.h"
#include "Gui/JobFrame.h"
#include "Gui/Look.h"
#include "Gui/NoticePanel.h"
#include "Gui/PlaceStops.h"
#include "Gui/PlateRow.h"
#include "Gui/ProgrammePanel.h"
#include "Gui/ResponseView.h"
#include "Gui/RidePanel.h"
#include "Gui/RoadControl.h"
#include "Gui/SeatPanel.h"
#include "Gui/SignalsPlace.h"
#include "Gui/SoundPanel.h"
#include "Gui/TaskStrip.h"
#include "Gui/TransportRow.h"
#include "Gui/TuningPlace.h"
#include "Gui/UnsavedPanel.h"

namespace saddletone::gui {

/** All of the program's window: the Listen place and, where there are models for them, the places
    before it.

    Keys: Ctrl+1 to Ctrl+5 places, Esc quiet, and those of JobFrame. On Listen: 1 to 8 candidate,
    space plays or pauses, B bypass, T blind test, R ride, S seat, E event, arrows speed. While a blind
    test or an event runs nothing else can be done here. */
class AuditionEditor final : public juce::Component,
                             public juce::FileDragAndDropTarget,
                             private juce::Timer {
public:
    /** benchModel: null in a host, which owns the audio device; then there is only Listen.
        tuningModel: null where there is no Tuning place, which needs a bench beside it.
        blindModel: null where nothing can be tested blind.
        jobModel: null in a host, which keeps the job in its session; then a job can be opened, and
        there is no Report place. eventModel: null where no events are held. */
    explicit AuditionEditor(AuditionModel& auditionModel, BenchModel* benchModel = nullptr,
                            TuningModel* tuningModel = nullptr, BlindModel* blindModel = nullptr,
                            JobModel* jobModel = nullptr, EventModel* eventModel = nullptr);
    ~AuditionEditor() override;
    AuditionEditor(const AuditionEditor&) = delete;
    AuditionEditor& operator=(const AuditionEditor&) = delete;

    static constexpr int defaultWidth = 1280;
    static constexpr int defaultHeight = 720;
    static constexpr int smallestWidth = 1024;
    static constexpr int smallestHeight = 700;

    /** Takes up the model's state now; a timer does so 30 times a second. */
    void refresh();
    /** Goes to another place; without a bench there is none. */
    void goTo(Place newPlace);
    [[nodiscard]] Place currentPlace() const noexcept { return place; }
    /** The Bike place; null without a bench. */
    [[nodiscard]] BikePlace* bike() const noexcept { return bikePlace.get(); }
    /** The Tuning place; null without its model. */
    [[nodiscard]] TuningPlace* tuning() const noexcept { return tuningPlace.get(); }
    /** What is about the job as a whole; null without its model. */
    [[nodiscard]] JobFrame* jobs() const noexcept { return jobFrame.get(); }
    /** Shows the list of files on Listen, or hides it; without one there is nothing to show. */
    void showProgrammeList(bool shouldBeShown);
    /** Shows the ride in detail on Listen, or hides it. */
    void showRide(bool shouldBeShown);
    /** Shows the seat on Listen, or hides it; without a model of it there is nothing to show. */
    void showSeat(bool shouldBeShown);
    /** The seat; null without its model. */
    [[nodiscard]] SeatPanel* seat() noexcept { return seatPanel.get(); }
    [[nodiscard]] RidePanel& ride() noexcept { return ridePanel; }
    /** Opens a job; a tuning that is not saved is asked about first. */
    void openJob(const juce::File& folder);
    /** Goes on at once, or when the user has said what is to become of an unsaved tuning; not at all
        if they stay. */
    void askAboutUnsaved(std::function<void()> goOn);
    /** Shows or hides the blind test, which covers Listen; a running one stays in sight. */
    void showBlindTest(bool shouldShow);
    /** Covers everything with the event, from what is set up for it to what it came to. */
    void openEvent();
    [[nodiscard]] bool isInEvent() const noexcept { return eventScreen != nullptr; }
    /** Called when an event wants all of the display, or no longer. */
    std::function<void(bool)> onFullScreen;
    /** Turns the output down at once, pauses, and stops a test signal. */
    void quieten();
    /** Covers the window with the safety note until the user has dismissed it. */
    void showSafetyNote(const std::function<void()>& onDismissed);

    void paint(juce::Graphics& g) override;
    void paintOverChildren(juce::Graphics& g) override;
    void resized() override;
    bool keyPressed(const juce::KeyPress& key) override;
    void mouseDown(const juce::MouseEvent& event) override;

    bool isInterestedInFileDrag(const juce::StringArray& files) override;
    void fileDragEnter(const juce::StringArray& files, int x, int y) override;
    void fileDragExit(const juce::StringArray& files) override;
    void filesDropped(const juce::StringArray& files, int x, int y) override;

private:
    void timerCallback() override { refresh(); }
    void chooseJob();
    void applyLook(bool light);
    void pickCandidate(std::size_t index);
    void closeEvent();
    void refreshBench();
    void showOpening();
    [[nodiscard]] bool isAsking() const;
    void refreshBlindTest();
    void showParts();
    void showDetailButtons();
    [[nodiscard]] bool blindTestRuns() const;
    [[nodiscard]] bool coversListen() const;
    [[nodiscard]] bool isCovered() const;
    [[nodiscard]] juce::String newsWords(const BenchSnapshot& snapshot) const;

    AuditionModel& model;
    BenchModel* const bench;
    TuningModel* const tuner;
    BlindModel* const blind;
    EventModel* const events;
    Place place = Place::listen;
    std::unique_ptr<Look> look;
    AuditionSnapshot shown;
    juce::String words;

    juce::TextButton openJobButton {juce::String::fromUTF8("Open job\xe2\x80\xa6")};
    juce::TextButton blindButton {"Blind test (T)"};
    juce::TextButton eventButton {juce::String::fromUTF8("Event\xe2\x80\xa6 (E)")};
    juce::TextButton lookButton;
    juce::TextButton audioButton {juce::String::fromUTF8("Audio settings\xe2\x80\xa6")};
    HeadingView heading;
    PlateRow plates;
    ResponseView response;
    SoundPanel sound;
    FairnessStrip fairness;
    TransportRow transport;
    std::unique_ptr<ProgrammePanel> programmes; // null where there is no list
    bool listIsOpen = false;
    RoadControl road;
    RidePanel ridePanel;
    bool rideIsOpen = false;
    juce::TextButton rideButton {"Ride & ears (R)"};
    std::unique_ptr<SeatPanel> seatPanel; // null without its model
    bool seatIsOpen = false;
    juce::TextButton seatButton {"Seat (S)"};
    PlaceStops stops;
    std::unique_ptr<BlindPanel> blindPanel; // null without its model
    bool blindIsOpen = false;
    std::unique_ptr<EventScreen> eventScreen; // null while there is none
    bool eventIsDone = false;
    std::vector<juce::Component*> behindEvent;  // what it hides, so that nothing of it is in reach
    std::unique_ptr<SignalsPlace> signalsPlace; // null without a bench, as is the next
    std::unique_ptr<BikePlace> bikePlace;
    std::unique_ptr<TuningPlace> tuningPlace; // null without its model
    std::unique_ptr<JobFrame> jobFrame;       // null without its model
    std::unique_ptr<TaskStrip> openingStrip;  // null with a job frame, which has its own
    NoticePanel problemPanel {NoticePanel::Kind::problem, "There is a problem", "Dismiss"};
    std::unique_ptr<NoticePanel> safetyNote;
    std::unique_ptr<UnsavedPanel> unsavedPanel;
    juce::TooltipWindow tooltips {this, 900};
    std::unique_ptr<juce::FileChooser> chooser;
    juce::Rectangle<int> wordsArea;
    juce::Rectangle<int> safetyArea;
    bool dropIsOver = false;
};

} // namespace saddletone::gui
