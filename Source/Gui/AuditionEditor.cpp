#include "Gui/AuditionEditor.h"

#include "Gui/LevelWords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/ProgrammeModel.h"
#include "Gui/TabKey.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr int margin = 12;
constexpr double quietDb = -60.0;

bool isJob(const juce::File& file)
{
    return file.isDirectory() || file.getFileName() == "job.json";
}

} // namespace

AuditionEditor::AuditionEditor(AuditionModel& auditionModel, BenchModel* benchModel,
                               TuningModel* tuningModel, BlindModel* blindModel, JobModel* jobModel,
                               EventModel* eventModel)
    : model(auditionModel),
      bench(benchModel),
      tuner(benchModel != nullptr ? tuningModel : nullptr),
      blind(blindModel),
      events(eventModel),
      sound(model.parameters()),
      transport(model),
      road(model.parameters()),
      ridePanel(model.parameters())
{
    setTitle("Saddletone");
    setWantsKeyboardFocus(true);
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);

    openJobButton.setTitle("Open job");
    openJobButton.setDescription("Opens the folder of a customer's bike.");
    openJobButton.onClick = [this] { chooseJob(); };
    lookButton.setDescription("Switches between the dark and the light look.");
    lookButton.onClick = [this] {
        model.setUsesLightLook(!model.usesLightLook());
        applyLook(model.usesLightLook());
    };
    audioButton.setTitle("Audio settings");
    audioButton.setDescription("Chooses the audio output.");
    audioButton.onClick = [this] { model.showAudioSettings(); };
    blindButton.setTitle("Blind test");
    blindButton.setDescription("Compares candidates without knowing which is which. Key: T.");
    blindButton.onClick = [this] { showBlindTest(true); };
    eventButton.setTitle("Event");
    eventButton.setDescription(
        "Fills the screen for listeners at an event, with everything else out "
        "of reach. Key: E.");
    eventButton.onClick = [this] { openEvent(); };
    for (juce::TextButton* button :
         {&openJobButton, &blindButton, &eventButton, &lookButton, &audioButton}) {
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
    audioButton.setVisible(model.hasAudioSettings());

    addAndMakeVisible(heading);
    plates.onPick = [this](std::size_t index) { pickCandidate(index); };
    sound.onQuiet = [this] { quieten(); };
    road.onUnit = [this](SpeedUnit unit) { model.setSpeedUnit(unit); };
    for (juce::Component* part : std::initializer_list<juce::Component*> {
             &plates, &response, &sound, &fairness, &transport, &road})
        addAndMakeVisible(*part);
    addControl(*this, rideButton, "Ride and ears",
               "Screen, ear plugs, engine and volume, and what remains audible. Key: R.");
    rideButton.onClick = [this] { showRide(!rideIsOpen); };
    ridePanel.onClose = [this] { showRide(false); };
    addChildComponent(ridePanel);
    if (model.seat() != nullptr) {
        addControl(*this, seatButton, "Seat",
                   "Headphones, head, and listening over the bike's own speakers. Key: S.");
        seatButton.onClick = [this] { showSeat(!seatIsOpen); };
        seatPanel = std::make_unique<SeatPanel>(*model.seat());
        seatPanel->onClose = [this] { showSeat(false); };
        seatPanel->onQuiet = [this] { quieten(); };
        addChildComponent(*seatPanel);
    }
    if (model.programmes() != nullptr) {
        programmes = std::make_unique<ProgrammePanel>(*model.programmes());
        programmes->onClose = [this] { showProgrammeList(false); };
        transport.onList = [this] { showProgrammeList(!listIsOpen); };
        addChildComponent(*programmes);
    }

    if (blind != nullptr) {
        blindPanel = std::make_unique<BlindPanel>(*blind, model.parameters());
        blindPanel->onClose = [this] { showBlindTest(false); };
        blindPanel->onQuiet = [this] { quieten(); };
        addChildComponent(*blindPanel);
    }
    blindButton.setVisible(blind != nullptr);
    eventButton.setVisible(events != nullptr);

    if (bench != nullptr) {
        signalsPlace = std::make_unique<SignalsPlace>(*bench);
        bikePlace = std::make_unique<BikePlace>(*bench);
        addChildComponent(*signalsPlace);
        addChildComponent(*bikePlace);
        stops.onPick = [this](Place picked) { goTo(picked); };
        stops.setHasPlace(Place::tuning, tuner != nullptr);
        stops.setHasPlace(Place::report, jobModel != nullptr);
        addAndMakeVisible(stops);
        road.setJoinsStops(true);
    }
    if (tuner != nullptr) {
        tuningPlace = std::make_unique<TuningPlace>(*tuner, model);
        addChildComponent(*tuningPlace);
    }

    if (jobModel != nullptr) {
        jobFrame = std::make_unique<JobFrame>(
            *this, *jobModel, model, bench, tuner,
            JobFrame::Actions {
                .goTo = [this](Place next) { goTo(next); },
                .askAboutUnsaved =
                    [this](std::function<void()> goOn) { askAboutUnsaved(std::move(goOn)); },
                .layOut =
                    [this] {
                        showParts();
                        resized();
                        repaint();
                    }});
        // They are in its menu.
        openJobButton.setVisible(false);
        lookButton.setVisible(false);
        audioButton.setButtonText(juce::String::fromUTF8("Audio\xe2\x80\xa6"));
    } else {
        openingStrip = std::make_unique<TaskStrip>();
        openingStrip->onCancel = [this] { model.cancelOpening(); };
        addChildComponent(*openingStrip);
    }

    problemPanel.onDismiss = [this] {
        model.dismissProblem();
        refresh();
    };
    addChildComponent(problemPanel);

    applyLook(model.usesLightLook());
    setSize(defaultWidth, defaultHeight);
    refresh();
    startTimerHz(30);
}

AuditionEditor::~AuditionEditor()
{
    setLookAndFeel(nullptr);
}

void AuditionEditor::applyLook(bool light)
{
    auto newLook = std::make_unique<Look>(light);
    // Of windows beside this one, too, such as choosers of files.
    juce::LookAndFeel::setDefaultLookAndFeel(newLook.get());
    // JUCE keeps what a look before this one had for the default.
    if (juce::Font().getTypefacePtr()->getName() != textTypeface())
        juce::Typeface::clearTypefaceCache();
    setLookAndFeel(newLook.get());
    look = std::move(newLook);
    lookButton.setButtonText(light ? "Dark look" : "Light look");
    lookButton.setTitle(lookButton.getButtonText());
    repaint();
}

void AuditionEditor::refresh()
{
    if (model.usesLightLook() != (look->palette() == lightPalette()))
        applyLook(model.usesLightLook());
    const std::shared_ptr<const JobView> oldJob = shown.job;
    const std::optional<juce::String> nowOnBikeBefore = shown.nowOnBike;
    shown = model.snapshot();
    if (eventScreen != nullptr && eventIsDone)
        closeEvent();
    if (eventScreen != nullptr) {
        eventScreen->show(shown);
        return;
    }
    plates.show(shown);
    response.show(shown);
    sound.show(shown);
    road.show(shown.speedUnit);
    if (rideIsOpen)
        ridePanel.show(shown);
    if (seatIsOpen)
        seatPanel->refresh();
    road.setEnabled(!shown.nowOnBike);
    road.setAlpha(shown.nowOnBike ? 0.5F : 1.0F);
    fairness.show(shown);
    if (place == Place::listen && fairness.getHeight() != fairness.heightFor(fairness.getWidth()))
        resized();
    transport.show(shown);
    if (programmes != nullptr && programmes->isVisible())
        programmes->show(shown);
    if (shown.nowOnBike != nowOnBikeBefore)
        repaint();
    // The next step stands out while there is nothing to hear.
    openJobButton.setToggleState(shown.job == nullptr && place == Place::listen,
                                 juce::dontSendNotification);
    refreshBench();
    refreshBlindTest();
    if (jobFrame != nullptr)
        jobFrame->show(place, shown, blindTestRuns());
    else
        showOpening();
    heading.show(headingOf(shown.job.get(), jobFrame != nullptr ? jobFrame->openJob() : nullptr));
    if (shown.job != oldJob)
        repaint();
    if (const juce::String newWords = levelWords(shown); newWords != words) {
        words = newWords;
        setDescription(words);
        repaint(wordsArea);
    }
    // Notes that hold the window come first; a problem can wait.
    problemPanel.setVisible(shown.problem.isNotEmpty() && safetyNote == nullptr && !isAsking());
    if (problemPanel.getText() != shown.problem) {
        problemPanel.setText(shown.problem);
        resized();
        if (shown.problem.isNotEmpty()) {
            problemPanel.toFront(false);
            juce::AccessibilityHandler::postAnnouncement(
                shown.problem, juce::AccessibilityHandler::AnnouncementPriority::high);
        }
    }
}

void AuditionEditor::showOpening()
{
    const bool wasVisible = openingStrip->isVisible();
    openingStrip->show(shown.opening, {}, false);
    if (openingStrip->isVisible() == wasVisible)
        return;
    resized();
    repaint();
}

bool AuditionEditor::blindTestRuns() const
{
    return blind != nullptr && blind->blindView().stage == BlindStage::running;
}

bool AuditionEditor::coversListen() const
{
    return blindIsOpen && place == Place::listen;
}

bool AuditionEditor::isCovered() const
{
    return jobFrame != nullptr && jobFrame->coversPlace();
}

void AuditionEditor::showBlindTest(bool shouldShow)
{
    if (blind == nullptr || (!shouldShow && blindTestRuns()))
        return;
    blindIsOpen = shouldShow;
    refreshBlindTest();
    if (!coversListen() && isShowing())
        grabKeyboardFocus();
}

void AuditionEditor::openEvent()
{
    if (events == nullptr || isInEvent() || place != Place::listen || coversListen()
        || safetyNote != nullptr || isAsking() || isCovered())
        return;
    for (juce::Component* const child : getChildren())
        if (child->isVisible() && child != &tooltips)
            behindEvent.push_back(child);
    for (juce::Component* const child : behindEvent)
        child->setVisible(false);
    eventScreen = std::make_unique<EventScreen>(*events, model);
    // The screen calls this from inside itself, so it may go only afterwards.
    eventScreen->onClose = [this] { eventIsDone = true; };
    eventIsDone = false;
    addAndMakeVisible(*eventScreen);
    eventScreen->setBounds(getLocalBounds());
    refresh();
    if (onFullScreen)
        onFullScreen(true);
    if (eventScreen->isShowing())
        eventScreen->grabKeyboardFocus();
}

void AuditionEditor::closeEvent()
{
    eventScreen.reset();
    for (juce::Component* const child : behindEvent)
        child->setVisible(true);
    behindEvent.clear();
    if (onFullScreen)
        onFullScreen(false);
    resized();
    repaint();
    if (isShowing())
        grabKeyboardFocus();
}

void AuditionEditor::refreshBlindTest()
{
    if (blind == nullptr)
        return;
    const BlindView view = blind->blindView();
    const bool isRunning = view.stage == BlindStage::running;
    if (isRunning && place == Place::listen)
        blindIsOpen = true; // begun in a window that has been closed since
    const bool covers = coversListen();
    blindButton.setEnabled(shown.job != nullptr && !covers);
    eventButton.setEnabled(shown.job != nullptr && !covers);
    openJobButton.setEnabled(!isRunning);
    transport.setCanChoose(!isRunning);
    blindPanel->show(view, shown.job);
    if (blindPanel->isVisible() == covers)
        return;
    // No names, curves or levels, and no other speed: they are behind it.
    if (covers) {
        showRide(false);
        showSeat(false);
        showProgrammeList(false);
    }
    showParts();
    blindPanel->setVisible(covers);
    resized();
    repaint();
    if (covers && isShowing())
        blindPanel->grabKeyboardFocus();
}

void AuditionEditor::showParts()
{
    if (isInEvent())
        return;
    const bool isOpen = !isCovered();
    const bool listens = place == Place::listen && isOpen;
    const bool showsListen = listens && !coversListen();
    for (juce::Component* part :
         std::initializer_list<juce::Component*> {&plates, &response, &sound, &fairness})
        part->setVisible(showsListen);
    showDetailButtons();
    transport.setVisible(listens);
    road.setVisible(place == Place::listen && !coversListen());
    ridePanel.setVisible(showsListen && rideIsOpen);
    if (programmes != nullptr)
        programmes->setVisible(showsListen && listIsOpen);
    blindButton.setVisible(blind != nullptr && place == Place::listen);
    eventButton.setVisible(events != nullptr && place == Place::listen);
    if (seatPanel != nullptr)
        seatPanel->setVisible(showsListen && seatIsOpen);
    if (bench == nullptr)
        return;
    stops.setVisible(!coversListen());
    signalsPlace->setVisible(place == Place::signals && isOpen);
    bikePlace->setVisible(place == Place::bike && isOpen);
    if (tuner != nullptr)
        tuningPlace->setVisible(place == Place::tuning && isOpen);
}

void AuditionEditor::showDetailButtons()
{
    // The seat and the list lie over them; what cannot be seen is not to be reached by keyboard.
    const bool areSeen =
        place == Place::listen && !isCovered() && !coversListen() && !seatIsOpen && !listIsOpen;
    rideButton.setVisible(areSeen);
    seatButton.setVisible(areSeen && seatPanel != nullptr);
}

void AuditionEditor::refreshBench()
{
    if (bench == nullptr)
        return;
    const BenchSnapshot snapshot = bench->benchSnapshot();
    // Only what is seen is kept up to date: the analyser alone has hundreds of figures.
    if (place == Place::signals)
        signalsPlace->show(snapshot);
    else if (place == Place::bike)
        bikePlace->show(snapshot);
    else if (place == Place::tuning)
        tuningPlace->show(shown);
    stops.show(place, newsWords(snapshot));
}

juce::String AuditionEditor::newsWords(const BenchSnapshot& snapshot) const
{
    if (snapshot.output.playing && snapshot.signals != nullptr
        && snapshot.output.selected < snapshot.signals->size())
        return (*snapshot.signals)[snapshot.output.selected].name + " is playing. Esc stops it.";
    if (snapshot.capture.state == measure::CaptureState::recording)
        return "A take is being recorded.";
    switch (place) {
    case Place::signals: return "In the shop: bring test tracks to the bike.";
    case Place::bike: return "At the bike: record and measure at the rider's head.";
    case Place::report: return "At the counter: what the customer takes home.";
    default: return "At the desk: change the tuning and hear it, parked.";
    }
}

void AuditionEditor::goTo(Place newPlace)
{
    if (bench == nullptr || (newPlace == Place::tuning && tuner == nullptr)
        || (newPlace == Place::report && jobFrame == nullptr) || blindTestRuns() || isInEvent())
        return;
    place = newPlace;
    blindIsOpen = false;
    if (blind != nullptr)
        blindPanel->setVisible(false);
    showParts();
    if (tuner != nullptr)
        tuner->setShown(place == Place::tuning);
    bench->enterPlace(place);
    resized();
    refresh();
    repaint();
    grabKeyboardFocus();
}

void AuditionEditor::showRide(bool shouldBeShown)
{
    rideIsOpen = shouldBeShown && !coversListen();
    ridePanel.setVisible(rideIsOpen && place == Place::listen);
    rideButton.setToggleState(rideIsOpen, juce::dontSendNotification);
    if (rideIsOpen) {
        if (listIsOpen)
            showProgrammeList(false);
        showSeat(false);
        ridePanel.show(shown);
        ridePanel.toFront(false);
    }
}

void AuditionEditor::showSeat(bool shouldBeShown)
{
    if (seatPanel == nullptr || shouldBeShown == seatIsOpen)
        return;
    seatIsOpen = shouldBeShown && !coversListen();
    seatPanel->setVisible(seatIsOpen && place == Place::listen);
    seatButton.setToggleState(seatIsOpen, juce::dontSendNotification);
    showDetailButtons();
    if (seatIsOpen) {
        if (listIsOpen)
            showProgrammeList(false);
        showRide(false);
        seatPanel->refresh();
        seatPanel->toFront(false);
        problemPanel.toFront(false);
    } else if (isShowing()) {
        grabKeyboardFocus();
    }
}

void AuditionEditor::showProgrammeList(bool shouldBeShown)
{
    if (programmes == nullptr)
        return;
    listIsOpen = shouldBeShown && !coversListen();
    programmes->setVisible(listIsOpen && place == Place::listen);
    transport.setListIsOpen(listIsOpen);
    showDetailButtons();
    if (listIsOpen) {
        showSeat(false);
        programmes->show(shown);
        programmes->toFront(false);
        problemPanel.toFront(false);
    } else {
        grabKeyboardFocus();
    }
}

void AuditionEditor::quieten()
{
    if (bench != nullptr)
        bench->stopSignal();
    // Elsewhere the audition is silent already, and its level is not seen.
    if (place != Place::listen && place != Place::tuning)
        return;
    setParameter(model.parameters(), parameterIds::outputLevelDb, quietDb);
    model.pause();
    if (model.programmes() != nullptr)
        model.programmes()->setLive(false);
}

bool AuditionEditor::isAsking() const
{
    return (unsavedPanel != nullptr && unsavedPanel->isVisible())
           || (jobFrame != nullptr && jobFrame->isAsking());
}

void AuditionEditor::openJob(const juce::File& folder)
{
    if (blindTestRuns() || isInEvent())
        return;
    // What follows is for headphones, and louder or not: nobody knows.
    if (shown.nowOnBike)
        quieten();
    if (jobFrame != nullptr)
        jobFrame->openJob(folder);
    else
        askAboutUnsaved([this, folder] { model.openJob(folder); });
}

void AuditionEditor::askAboutUnsaved(std::function<void()> goOn)
{
    if (tuner == nullptr || !tuner->tuningSnapshot().hasUnsaved) {
        goOn();
        return;
    }
    if (unsavedPanel != nullptr && unsavedPanel->isVisible())
        return;
    unsavedPanel = std::make_unique<UnsavedPanel>();
    unsavedPanel->onAnswer = [this, goOn = std::move(goOn)](UnsavedPanel::Answer answer) {
        const std::function<void()> next = goOn;
        unsavedPanel->setVisible(false);
        // The panel calls this from inside itself, so it may go only afterwards.
        juce::MessageManager::callAsync([safe = juce::Component::SafePointer<AuditionEditor>(this),
                                         panel = unsavedPanel.get()] {
            if (safe != nullptr && safe->unsavedPanel.get() == panel)
                safe->unsavedPanel.reset();
        });
        grabKeyboardFocus();
        if (answer == UnsavedPanel::Answer::stay)
            return;
        if (answer == UnsavedPanel::Answer::letGo)
            tuner->discardUnsaved();
        else if (!tuner->save())
            return; // what went wrong is said on Tuning
        next();
    };
    addAndMakeVisible(*unsavedPanel);
    goTo(Place::tuning);
    unsavedPanel->toFront(false);
    if (unsavedPanel->isShowing())
        unsavedPanel->grabKeyboardFocus();
}

void AuditionEditor::showSafetyNote(const std::function<void()>& onDismissed)
{
    safetyNote = std::make_unique<NoticePanel>(NoticePanel::Kind::safety, "Before you listen",
                                               "I understand");
    safetyNote->setText(firstStartWords());
    safetyNote->holdInput();
    safetyNote->onDismiss = [this, onDismissed] {
        // The panel calls this from inside itself, so it may go only afterwards.
        juce::MessageManager::callAsync(
            [safe = juce::Component::SafePointer<AuditionEditor>(this), onDismissed] {
                if (safe == nullptr || safe->safetyNote == nullptr)
                    return;
                safe->safetyNote.reset();
                safe->repaint();
                safe->grabKeyboardFocus();
                if (onDismissed)
                    onDismissed();
            });
    };
    addAndMakeVisible(*safetyNote);
    resized();
    safetyNote->grabKeyboardFocus();
}

void AuditionEditor::pickCandidate(std::size_t index)
{
    if (shown.job != nullptr && index < shown.job->candidates.size())
        setParameter(model.parameters(), parameterIds::candidate, static_cast<double>(index) + 1.0);
}

bool AuditionEditor::keyPressed(const juce::KeyPress& key)
{
    if (eventScreen != nullptr)
        return eventScreen->keyPressed(key);
    if (tabInto(*this, key))
        return true;
    if (coversListen() && safetyNote == nullptr && !isAsking()) {
        if (blindPanel->keyPressed(key))
            return true;
        if (!key.isKeyCode(juce::KeyPress::spaceKey)
            && (blindTestRuns() || !key.getModifiers().isCommandDown()))
            return false;
    } else if (key == juce::KeyPress::escapeKey) {
        quieten();
        return true;
    }
    if (bench != nullptr && safetyNote == nullptr && !isAsking())
        for (const Place each : allPlaces)
            if (key
                == juce::KeyPress('1' + static_cast<int>(each), juce::ModifierKeys::commandModifier,
                                  0)) {
                goTo(each);
                return true;
            }
    if (isAsking())
        return false;
    if (jobFrame != nullptr && safetyNote == nullptr && jobFrame->keyPressed(key)) {
        refresh();
        return true;
    }
    if (isCovered())
        return false;
    if (place == Place::tuning && safetyNote == nullptr) {
        if (tuningPlace->keyPressed(key))
            return true;
        if (!key.isKeyCode(juce::KeyPress::spaceKey))
            return false;
    } else if (place != Place::listen) {
        return false;
    }
    if (key.getModifiers().isCommandDown() || key.getModifiers().isCtrlDown()
        || key.getModifiers().isAltDown() || safetyNote != nullptr)
        return false;

    const juce::juce_wchar character = key.getTextCharacter();
    if (character >= '1' && character <= '8') {
        pickCandidate(static_cast<std::size_t>(character - '1'));
        return true;
    }
    if (character == 'r' || character == 'R') {
        showRide(!rideIsOpen);
        return true;
    }
    if (character == 's' || character == 'S') {
        showSeat(!seatIsOpen);
        return true;
    }
    if ((character == 't' || character == 'T') && blindButton.isEnabled()) {
        showBlindTest(true);
        return true;
    }
    if ((character == 'e' || character == 'E') && eventButton.isVisible()
        && eventButton.isEnabled()) {
        openEvent();
        return true;
    }
    if (character == 'b' || character == 'B') {
        const bool isOn = parameterValue(model.parameters(), parameterIds::bypass) > 0.5;
        setParameter(model.parameters(), parameterIds::bypass, isOn ? 0.0 : 1.0);
        return true;
    }
    if (key.isKeyCode(juce::KeyPress::spaceKey) && shown.player.available) {
        if (shown.player.playing)
            model.pause();
        else
            model.play();
        refresh();
        return true;
    }
    return road.driveBy(key);
}

void AuditionEditor::mouseDown(const juce::MouseEvent&)
{
    grabKeyboardFocus();
}

void AuditionEditor::chooseJob()
{
    chooser = std::make_unique<juce::FileChooser>(
        "Open a job folder",
        shown.job != nullptr ? shown.job->folder.getParentDirectory()
                             : juce::File::getSpecialLocation(juce::File::userDocumentsDirectory));
    chooser->launchAsync(
        juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
        [this](const juce::FileChooser& answered) {
            if (const juce::File folder = answered.getResult(); folder != juce::File())
                openJob(folder);
        });
}

bool AuditionEditor::isInterestedInFileDrag(const juce::StringArray& files)
{
    if (blindTestRuns() || isInEvent() || safetyNote != nullptr || isAsking())
        return false;
    if (files.size() == 1 && isJob(juce::File(files[0])))
        return true;
    return shown.player.available && (files.size() == 1 || programmes != nullptr);
}

void AuditionEditor::fileDragEnter(const juce::StringArray&, int, int)
{
    dropIsOver = true;
    repaint();
}

void AuditionEditor::fileDragExit(const juce::StringArray&)
{
    dropIsOver = false;
    repaint();
}

void AuditionEditor::filesDropped(const juce::StringArray& files, int x, int y)
{
    fileDragExit(files);
    const juce::File file(files[0]);
    if (files.size() == 1 && isJob(file)) {
        openJob(file);
        return;
    }
    const bool isOnList = programmes != nullptr && programmes->isVisible();
    if (files.size() == 1 && !isOnList) {
        model.openProgramme(file);
        return;
    }
    std::vector<juce::File> audio;
    for (const juce::String& name : files)
        if (!isJob(juce::File(name)))
            audio.emplace_back(name);
    const juce::Point<int> point(x, y);
    model.programmes()->addProgrammes(
        audio, isOnList && programmes->getBounds().contains(point)
                   ? programmes->rowAt(programmes->getLocalPoint(this, point))
                   : audition::ProgrammeList::maxEntries);
    showProgrammeList(true);
}

void AuditionEditor::paint(juce::Graphics& g)
{
    const Palette palette = look->palette();
    g.fillAll(palette.background);

    if (place == Place::listen && !coversListen() && !isCovered()) {
        g.setColour(palette.panel);
        g.fillRoundedRectangle(wordsArea.toFloat(), 8.0F);
        juce::AttributedString levels;
        levels.append(words, textFont(15.0F), palette.text);
        levels.setJustification(juce::Justification::centredLeft);
        levels.draw(g, wordsArea.reduced(14, 4).toFloat());
    }

    g.setColour(palette.mutedText);
    g.setFont(textFont(14.0F));
    const bool isAtBench = place == Place::signals || place == Place::bike;
    g.drawText(isAtBench         ? benchSafetyWords()
               : shown.nowOnBike ? onThisBikeSafetyWords()
                                 : safetyWords(),
               safetyArea, juce::Justification::centredLeft, true);
}

void AuditionEditor::paintOverChildren(juce::Graphics& g)
{
    if (!dropIsOver)
        return;
    const Palette palette = look->palette();
    g.setColour(palette.accentLine);
    g.drawRect(getLocalBounds(), 6);
    const auto sign = getLocalBounds().withSizeKeepingCentre(460, 60);
    g.setColour(palette.accent);
    g.fillRoundedRectangle(sign.toFloat(), 8.0F);
    g.setColour(palette.onAccent);
    g.setFont(textFont(19.0F, juce::Font::bold));
    g.drawText("Drop a job folder or audio files", sign, juce::Justification::centred, true);
}

void AuditionEditor::resized()
{
    if (eventScreen != nullptr)
        eventScreen->setBounds(getLocalBounds());
    auto area = getLocalBounds().reduced(margin, 8);

    auto top = area.removeFromTop(48);
    const auto placeButton = [&](juce::TextButton& button, int width) {
        button.setBounds(top.removeFromRight(width).withSizeKeepingCentre(width, 36));
        top.removeFromRight(8);
    };
    if (jobFrame != nullptr)
        jobFrame->placeInHeading(top);
    else
        placeButton(openJobButton, 120);
    if (blindButton.isVisible())
        placeButton(blindButton, 130);
    if (eventButton.isVisible())
        placeButton(eventButton, 112);
    if (audioButton.isVisible())
        placeButton(audioButton, jobFrame != nullptr ? 90 : 160);
    if (jobFrame != nullptr)
        jobFrame->placeNextStep(top);
    else
        placeButton(lookButton, 110);
    if (openingStrip != nullptr && openingStrip->isVisible())
        openingStrip->setBounds(
            top.removeFromRight(std::clamp(top.getWidth() * 2 / 5, 240, 380)).reduced(0, 2));
    heading.setBounds(top.withTrimmedRight(8));
    area.removeFromTop(4);

    safetyArea = area.removeFromBottom(22);
    area.removeFromBottom(4);
    const auto listenArea = area;
    const int spare = std::max(0, getHeight() - smallestHeight);
    const int roadHeight = 148 + std::min(24, spare / 8);
    const bool isBeforeRoad = place != Place::listen;
    auto strip = area.removeFromBottom(isBeforeRoad ? PlaceStops::lowHeight : roadHeight);
    area.removeFromBottom(10);
    if (bench != nullptr)
        stops.setBounds(isBeforeRoad ? strip : strip.removeFromLeft(PlaceStops::streetWidth));
    if (isBeforeRoad) {
        signalsPlace->setBounds(area);
        bikePlace->setBounds(area);
        if (tuningPlace != nullptr)
            tuningPlace->setBounds(area);
    } else {
        road.setBounds(strip);
    }
    const auto placeArea = area;
    if (jobFrame != nullptr)
        jobFrame->placeInContent(placeArea);
    plates.setBounds(area.removeFromTop(102 + std::min(40, spare / 5)));
    area.removeFromTop(10);

    sound.setBounds(area.removeFromRight(std::clamp(getWidth() * 3 / 10, 360, 440)));
    area.removeFromRight(margin);
    transport.setBounds(area.removeFromBottom(60));
    area.removeFromBottom(8);
    wordsArea = area.removeFromBottom(66);
    auto details = wordsArea.removeFromRight(150);
    if (seatPanel != nullptr) {
        seatButton.setBounds(details.removeFromBottom(31));
        details.removeFromBottom(4);
    }
    rideButton.setBounds(details);
    wordsArea.removeFromRight(8);
    area.removeFromBottom(8);
    fairness.setBounds(area.removeFromBottom(fairness.heightFor(area.getWidth())));
    area.removeFromBottom(4);
    response.setBounds(area);
    ridePanel.setBounds(area.withBottom(fairness.getBottom()));
    if (seatPanel != nullptr)
        seatPanel->setBounds(area.withBottom(wordsArea.getBottom()));
    if (programmes != nullptr)
        programmes->setBounds(area.withBottom(wordsArea.getBottom()));
    if (coversListen()) {
        auto covered = listenArea;
        transport.setBounds(covered.removeFromBottom(60));
        covered.removeFromBottom(8);
        blindPanel->setBounds(covered);
    }

    // Over the curves, so that everything that can be pressed stays in reach.
    const auto noticeArea = isBeforeRoad ? placeArea.reduced(60, 20) : response.getBounds();
    problemPanel.setBounds(noticeArea.withHeight(problemPanel.heightFor(noticeArea.getWidth())));
    const int noteWidth = std::min(760, getWidth() - 80);
    if (unsavedPanel != nullptr)
        unsavedPanel->setBounds(getLocalBounds().withSizeKeepingCentre(
            std::min(640, getWidth() - 80), UnsavedPanel::height));
    if (safetyNote != nullptr)
        safetyNote->setBounds(
            getLocalBounds().withSizeKeepingCentre(noteWidth, safetyNote->heightFor(noteWidth)));
}

} // namespace saddletone::gui
