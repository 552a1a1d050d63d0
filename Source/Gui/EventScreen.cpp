#include "Gui/EventScreen.h"

#include "Core/Dsp/Units.h"
#include "Core/Report/EventWords.h"
#include "Gui/ElementWords.h"
#include "Gui/Look.h"
#include "Gui/TabKey.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int margin = 14;
constexpr int headerHeight = 72;
constexpr int likeCaptionHeight = 26;
constexpr int likeHeight = 68;
constexpr int soundHeight = 128;
constexpr double lowestLimitDb = -40.0;

juce::String safetyLine()
{
    return "For a parked listener: never ride with headphones. Loud sound harms hearing: it starts "
           "quiet, so turn it up slowly. Quiet, or Esc, silences it at once.";
}

juce::StringArray setupSentences(const EventView& view)
{
    if (view.obstacle.isNotEmpty())
        return {view.obstacle};
    return {
        "The screen is filled with plates, the road, play and quiet. Nothing else can be reached: "
        "levels, ride and matching stay as they are now. Every listener begins in silence, "
        "parked, with candidate 1; two minutes after the last touch all goes back to that.",
        "How many listened and which candidate they liked best is counted in the job, and nothing "
        "of who they are. "
            + juce::String::fromUTF8(report::eventCaution().c_str()),
        "Hold \"Leave\", or Ctrl+L, for four seconds to end it. The keys of the desktop itself "
        "are out of the program's reach: let nobody near them, or take the keyboard away.",
        "Set how loud a listener can make it, with the headphones on and the music as it will "
        "be:"};
}

/** Where the volume stands to the limit that the owner has set. */
juce::String limitWords(const EventView& view)
{
    const juce::String limit = numberWords(view.limitDb, 0) + " dB";
    return view.volumeDb >= view.limitDb ? "at limit: " + limit : "limit " + limit;
}

juce::StringArray welcomeSentences()
{
    return {
        "Touch the screen, or press a key. The music begins quietly and rises for some seconds.",
        "Then press the plates to hear the bike with another tuning, and drag the rider along "
        "the road to hear it ride.",
        "For a parked listener: never ride with headphones. Loud sound harms hearing. \"Quiet\" "
        "silences it at once. Levels are estimates unless calibrated."};
}

juce::StringArray outcomeSentences(const EventView& view)
{
    const audition::EventRecord& record = view.record;
    juce::StringArray sentences;
    if (record.numListeners == 0) {
        sentences.add("Nobody has listened for long enough to be counted.");
    } else {
        sentences.add("Liked best: " + juce::String::fromUTF8(report::likedWords(record).c_str())
                      + ".");
        sentences.add(juce::String::fromUTF8(report::eventConditionWords(record).c_str()) + ".");
        sentences.add(juce::String::fromUTF8(report::eventCaution().c_str()));
        sentences.add(view.storeProblem.isEmpty()
                          ? juce::String("The counts are kept in the job, and its report has them.")
                          : "The counts are not in the job: " + view.storeProblem);
    }
    return sentences;
}

} // namespace

/** The countdown; it takes what is pressed, so that going on presses nothing else. */
class EventScreen::Banner final : public juce::Component {
public:
    Banner() { setTitle("Still there?"); }

    void show(int newSeconds)
    {
        if (newSeconds == seconds)
            return;
        seconds = newSeconds;
        setDescription(words());
        repaint();
    }

    void paint(juce::Graphics& g) override
    {
        const Palette palette = paletteOf(*this);
        const auto area = getLocalBounds().toFloat();
        g.setColour(palette.warning);
        g.fillRoundedRectangle(area, 12.0F);
        auto text = getLocalBounds().reduced(20, 10);
        g.setColour(palette.onWarning);
        g.setFont(textFont(34.0F, juce::Font::bold));
        g.drawText("Still there?", text.removeFromTop(text.getHeight() / 2),
                   juce::Justification::centred, true);
        g.setFont(textFont(21.0F));
        g.drawText(words(), text, juce::Justification::centred, true);
    }

private:
    [[nodiscard]] juce::String words() const
    {
        return "Back to the start in " + juce::String(seconds)
               + " s. Touch anywhere, or press a key, to go on.";
    }

    int seconds = -1;
};

EventScreen::EventScreen(EventModel& eventModel, AuditionModel& auditionModel)
    : model(eventModel),
      road(auditionModel.parameters()),
      banner(std::make_unique<Banner>()),
      leaveButton("Leave: hold 4 s (Ctrl+L)", secondsToLeave)
{
    setTitle("Event");
    setOpaque(true);
    setWantsKeyboardFocus(true);
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);
    addMouseListener(this, true); // every touch counts, whatever it is on

    plates.setFillsWidth(true);
    plates.onPick = [this](std::size_t index) { model.pick(index); };
    addAndMakeVisible(plates);
    addControl(*this, playButton, "Play or pause", "Plays or pauses; the space bar does the same.");
    playButton.onClick = [this] { togglePlay(); };
    addControl(*this, quietButton, "Quiet", "Silences it at once. Key: Esc.");
    quietButton.onClick = [this] { model.quieten(); };
    addControl(*this, softerButton, "Softer", "Turns the volume down by 3 dB. Key: minus.");
    softerButton.onClick = [this] { model.stepVolume(-1); };
    addControl(*this, louderButton, "Louder", "Turns the volume up by 3 dB. Key: plus.");
    louderButton.onClick = [this] { model.stepVolume(1); };
    addAndMakeVisible(guard);
    road.setHasUnitButton(false);
    addAndMakeVisible(road);
    addChildComponent(*banner);

    addChildComponent(cover);
    limitLabel.setText("Loudest", juce::dontSendNotification);
    limitLabel.setFont(textFont(18.0F));
    limitLabel.setAccessible(false);
    cover.addAndMakeVisible(limitLabel);
    limitSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    limitSlider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 96, 32);
    limitSlider.setTextValueSuffix(" dB");
    limitSlider.setRange(lowestLimitDb, 0.0, 1.0);
    limitSlider.onValueChange = [this] { model.setLimitDb(limitSlider.getValue()); };
    limitSlider.setWantsKeyboardFocus(true);
    addControl(cover, limitSlider, "Loudest",
               "The highest output level that a listener can choose; the ceilings hold as well.");
    addControl(cover, beginButton, "Start the event", "Fills the screen and waits for a listener.");
    beginButton.onClick = [this] { begin(); };
    addControl(cover, cancelButton, "Cancel", "Back to the program.");
    cancelButton.onClick = [this] { close(); };
    addControl(cover, closeButton, "Back to the program", "Shows the program again.");
    closeButton.onClick = [this] { close(); };

    addControl(*this, leaveButton, "Leave",
               "Hold it for four seconds, or the keys Ctrl and L, to end the event.");
    leaveButton.onHeld = [this] { model.end(); };
    isLeaveKeyDown = [] {
        return juce::ModifierKeys::currentModifiers.isCtrlDown()
               && (juce::KeyPress::isKeyCurrentlyDown('l')
                   || juce::KeyPress::isKeyCurrentlyDown('L'));
    };
}

EventScreen::~EventScreen() = default;

bool EventScreen::isRunning() const noexcept
{
    return view.stage == EventStage::waiting || view.stage == EventStage::listening;
}

void EventScreen::touch()
{
    model.touch();
    if (view.stage == EventStage::waiting)
        takeUp();
}

void EventScreen::begin()
{
    model.begin(limitSlider.getValue());
    takeUp();
    if (isShowing())
        grabKeyboardFocus();
}

void EventScreen::close()
{
    if (isRunning())
        return;
    model.dismiss();
    if (onClose)
        onClose();
}

void EventScreen::togglePlay()
{
    if (snapshot.player.playing)
        model.pause();
    else
        model.play();
}

void EventScreen::makeLikeButtons()
{
    likeButtons.clear();
    likeButtonsOf = snapshot.job;
    if (snapshot.job == nullptr || snapshot.job->candidates.size() < 2)
        return;
    for (std::size_t index = 0; index < snapshot.job->candidates.size(); ++index) {
        auto button = std::make_unique<juce::TextButton>();
        const juce::String number(index + 1);
        addControl(*this, *button, "I like " + number + " best",
                   "Counts candidate " + number
                       + " as the one liked best; again takes it back. Listen to it and to "
                         "another one first.");
        button->onClick = [this, index] {
            model.prefer(index);
            takeUp();
        };
        likeButtons.push_back(std::move(button));
    }
    cover.toFront(false);
    banner->toFront(false);
    resized();
}

void EventScreen::showWords()
{
    switch (view.stage) {
    case EventStage::off: cover.setWords("Event mode", setupSentences(view)); break;
    case EventStage::waiting:
        cover.setWords("Put the headphones on, then touch the screen", welcomeSentences());
        break;
    case EventStage::over:
        cover.setWords(
            "The event is over: "
                + juce::String::fromUTF8(report::listenerWords(view.record.numListeners).c_str()),
            outcomeSentences(view));
        break;
    case EventStage::listening: break;
    }
}

void EventScreen::showVolume()
{
    softerButton.setEnabled(view.volumeDb > view.lowestDb);
    louderButton.setEnabled(view.volumeDb < view.limitDb);
}

void EventScreen::show(const AuditionSnapshot& newSnapshot)
{
    snapshot = newSnapshot;
    const EventView old = view;
    view = model.eventView();
    if (snapshot.job != likeButtonsOf)
        makeLikeButtons();
    plates.show(snapshot);
    road.show(snapshot.speedUnit);
    guard.show(snapshot, view.exposure);
    playButton.setButtonText(snapshot.player.playing ? "Pause (space)" : "Play (space)");
    playButton.setToggleState(snapshot.player.playing, juce::dontSendNotification);
    showVolume();
    for (std::size_t index = 0; index < likeButtons.size(); ++index) {
        juce::TextButton& button = *likeButtons[index];
        const bool isLiked = view.preferred == index;
        button.setToggleState(isLiked, juce::dontSendNotification);
        button.setButtonText(isLiked ? juce::String(index + 1) + " is liked best"
                                     : "I like " + juce::String(index + 1) + " best");
        button.setEnabled(index < view.canPrefer.size() && view.canPrefer[index]);
    }
    showWords();
    if (view.countdownSeconds)
        banner->show(static_cast<int>(std::ceil(*view.countdownSeconds)));
    banner->setVisible(view.countdownSeconds.has_value());
    leaveButton.setVisible(isRunning());
    if (isRunning()) {
        leaveButton.setKeyIsDown(isLeaveKeyDown());
        leaveButton.advance(view.nowSeconds);
    }

    const bool isSetup = view.stage == EventStage::off;
    cover.setVisible(view.stage != EventStage::listening);
    // What the cover hides is not to be reached by keyboard either.
    for (juce::Component* part : std::initializer_list<juce::Component*> {
             &plates, &playButton, &quietButton, &softerButton, &louderButton, &guard, &road})
        part->setVisible(!cover.isVisible());
    for (const auto& button : likeButtons)
        button->setVisible(!cover.isVisible());
    if (isSetup)
        limitSlider.setValue(view.limitDb, juce::dontSendNotification);
    limitLabel.setVisible(isSetup && view.obstacle.isEmpty());
    limitSlider.setVisible(isSetup && view.obstacle.isEmpty());
    beginButton.setVisible(isSetup && view.obstacle.isEmpty());
    cancelButton.setVisible(isSetup);
    closeButton.setVisible(view.stage == EventStage::over);
    if (view.stage != old.stage) {
        resized();
        repaint();
        if (isShowing() && !hasKeyboardFocus(true))
            grabKeyboardFocus();
    } else if (view.volumeDb != old.volumeDb || view.isListener != old.isListener
               || view.preferred != old.preferred || view.canPrefer != old.canPrefer
               || view.storeProblem != old.storeProblem) {
        repaint();
    }
}

bool EventScreen::keyPressed(const juce::KeyPress& key)
{
    if (key.isKeyCode(juce::KeyPress::tabKey))
        return tabInto(*this, key);
    if (view.stage == EventStage::off || view.stage == EventStage::over) {
        if (key == juce::KeyPress::returnKey && beginButton.isVisible())
            begin();
        else if (key == juce::KeyPress::returnKey || (key == juce::KeyPress::escapeKey))
            close();
        return true;
    }
    if (key == juce::KeyPress::escapeKey) {
        model.quieten();
        return true;
    }
    if (key.getModifiers().isCommandDown() || key.getModifiers().isCtrlDown()
        || key.getModifiers().isAltDown())
        return true;
    const bool wasWaiting = view.stage == EventStage::waiting;
    touch();
    if (wasWaiting)
        return true; // the first key begins, whatever it is

    const juce::juce_wchar character = key.getTextCharacter();
    if (character >= '1' && character <= '8')
        model.pick(static_cast<std::size_t>(character - '1'));
    else if (character == '+' || character == '=')
        model.stepVolume(1);
    else if (character == '-')
        model.stepVolume(-1);
    else if (key.isKeyCode(juce::KeyPress::spaceKey))
        togglePlay();
    else
        static_cast<void>(road.driveBy(key));
    return true;
}

void EventScreen::mouseDown(const juce::MouseEvent& event)
{
    if (isRunning() && event.originalComponent != &leaveButton)
        touch();
}

void EventScreen::mouseDrag(const juce::MouseEvent& event)
{
    // A drag goes on with a turn but begins none: the finger may have been down for long.
    if (view.stage == EventStage::listening && event.originalComponent != &leaveButton)
        touch();
}

void EventScreen::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.fillAll(palette.background);
    g.setColour(palette.text);
    g.setFont(textFont(26.0F, juce::Font::bold));
    g.drawText(snapshot.job != nullptr ? snapshot.job->title : juce::String("Saddletone"),
               titleArea, juce::Justification::centredLeft, true);
    g.setColour(palette.mutedText);
    juce::String line = safetyLine();
    if (view.storeProblem.isNotEmpty())
        line = "The counts are not in the job: " + view.storeProblem;
    else if (snapshot.problem.isNotEmpty())
        line = "There is a problem, please call somebody: " + snapshot.problem;
    drawWords(g, line, textFont(15.0F), palette.text, safetyArea, juce::Justification::centredLeft);
    if (cover.isVisible())
        return;

    g.setColour(palette.text);
    g.setFont(textFont(18.0F, juce::Font::bold));
    if (!likeButtons.empty())
        g.drawText(view.preferred ? "Thank you. Press it again to take it back."
                   : view.isListener
                       ? "Which did you like best? You need not say. No names are kept."
                       : "Listen to two or more, then say which you like best.",
                   likeArea, juce::Justification::centredLeft, true);

    // The volume as a row of steps between the two buttons: filled ones are on.
    g.setColour(palette.panel);
    g.fillRoundedRectangle(volumeArea.toFloat(), 8.0F);
    auto area = volumeArea.reduced(12, 8);
    g.setColour(palette.text);
    g.setFont(textFont(16.0F));
    g.drawText("Volume", area.removeFromTop(22), juce::Justification::centred, false);
    g.setFont(textFont(14.0F));
    g.drawText(limitWords(view), area.removeFromBottom(20), juce::Justification::centred, true);
    const double range = std::max(1.0, view.limitDb - view.lowestDb);
    const auto numSteps = std::max(1, static_cast<int>(std::lround(range / 3.0)));
    const auto numFilled = static_cast<int>(std::lround((view.volumeDb - view.lowestDb) / 3.0));
    const float stepWidth = static_cast<float>(area.getWidth()) / static_cast<float>(numSteps);
    for (int step = 0; step < numSteps; ++step) {
        const auto box = juce::Rectangle<float>(static_cast<float>(area.getX())
                                                    + stepWidth * static_cast<float>(step),
                                                static_cast<float>(area.getY()), stepWidth,
                                                static_cast<float>(area.getHeight()))
                             .reduced(2.0F, 4.0F);
        g.setColour(step < numFilled ? palette.accentLine : palette.control);
        g.fillRoundedRectangle(box, 3.0F);
        g.setColour(palette.outline);
        g.drawRoundedRectangle(box, 3.0F, 1.0F);
    }
}

void EventScreen::layOutListening(juce::Rectangle<int> area)
{
    const int spare = std::max(0, getHeight() - 720);
    road.setBounds(area.removeFromBottom(148 + std::min(40, spare / 8)));
    area.removeFromBottom(10);
    auto sound = area.removeFromBottom(soundHeight + std::min(30, spare / 10));
    area.removeFromBottom(10);
    const int width = std::clamp(getWidth() / 9, 130, 200);
    playButton.setBounds(sound.removeFromLeft(width));
    sound.removeFromLeft(10);
    quietButton.setBounds(sound.removeFromLeft(width));
    sound.removeFromLeft(10);
    softerButton.setBounds(sound.removeFromLeft(84));
    sound.removeFromLeft(6);
    volumeArea = sound.removeFromLeft(width + 20);
    sound.removeFromLeft(6);
    louderButton.setBounds(sound.removeFromLeft(84));
    sound.removeFromLeft(10);
    guard.setBounds(sound);

    if (likeButtons.empty()) {
        plates.setBounds(area);
        return;
    }
    auto likes = area.removeFromBottom(likeHeight + std::min(20, spare / 12));
    likeArea = area.removeFromBottom(likeCaptionHeight);
    area.removeFromBottom(4);
    plates.setBounds(area);
    const auto columns = plates.plateAreas();
    for (std::size_t index = 0; index < likeButtons.size() && index < columns.size(); ++index)
        likeButtons[index]->setBounds(likes.withX(plates.getX() + columns[index].getX())
                                          .withWidth(columns[index].getWidth()));
}

void EventScreen::resized()
{
    auto area = getLocalBounds().reduced(margin, 10);
    auto header = area.removeFromTop(headerHeight);
    leaveButton.setBounds(header.removeFromRight(170).withSizeKeepingCentre(170, 64));
    header.removeFromRight(16);
    titleArea = header.removeFromTop(34);
    safetyArea = header;
    area.removeFromTop(6);
    layOutListening(area);

    cover.setBounds(isRunning() ? area.expanded(margin, 0) : getLocalBounds());
    auto controls = cover.controlArea();
    closeButton.setBounds(controls.withWidth(320).withX(controls.getRight() - 320));
    beginButton.setBounds(controls.removeFromRight(300));
    controls.removeFromRight(10);
    cancelButton.setBounds(controls.removeFromRight(160));
    controls.removeFromRight(20);
    limitLabel.setBounds(controls.removeFromLeft(90));
    limitSlider.setBounds(controls);
    banner->setBounds(getLocalBounds().withSizeKeepingCentre(std::min(860, getWidth() - 80), 150));
}

} // namespace saddletone::gui
