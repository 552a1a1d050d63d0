#include "Gui/BlindPanel.h"

#include "Core/Report/BlindWords.h"
#include "Gui/Look.h"
#include "Gui/ParameterIds.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr int margin = 20;
constexpr int labelWidth = 110;
constexpr int controlHeight = 36;

juce::String textOf(const std::string& utf8)
{
    return juce::String::fromUTF8(utf8.c_str());
}

juce::String letterOf(audition::BlindKind kind, std::size_t place)
{
    return juce::String::charToString(
        static_cast<juce::juce_wchar>(audition::blindLetter(kind, place)));
}

} // namespace

/** A candidate that can be chosen, or a place that can be listened to. */
class BlindPanel::Plate final : public juce::Button {
public:
    Plate(const juce::String& mark, const juce::String& title) : juce::Button(mark)
    {
        setTitle(title);
        setMouseClickGrabsKeyboardFocus(false);
        setHasFocusOutline(true);
    }

    void setWords(const juce::String& newWords)
    {
        if (words == newWords)
            return;
        words = newWords;
        repaint();
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const auto area = getLocalBounds().toFloat().reduced(2.0F);
        const juce::Colour ink =
            drawPlate(g, palette, area, getToggleState(), isHighlighted, isDown);
        auto content = area.reduced(10.0F, 6.0F);
        const auto markArea = content.removeFromTop(content.getHeight() * 0.5F);
        g.setColour(ink);
        g.setFont(textFont(std::clamp(area.getHeight() * 0.38F, 26.0F, 72.0F), juce::Font::bold));
        g.drawText(getName(), markArea, juce::Justification::centred, false);
        drawWords(g, words, textFont(area.getHeight() > 120.0F ? 17.0F : 15.0F), ink,
                  content.toNearestInt(), juce::Justification::centred);
    }

private:
    juce::String words;
};

BlindPanel::BlindPanel(BlindModel& blindModel, juce::AudioProcessorValueTreeState& parameters)
    : model(blindModel)
{
    setTitle("Blind test");
    setWantsKeyboardFocus(true);
    addControl(*this, abxButton, "Is there a difference?",
               "Two candidates: in each trial say whether X is A or B.");
    abxButton.onClick = [this] { chooseKind(audition::BlindKind::abx); };
    addControl(*this, preferenceButton, "Which is liked best?",
               "Two to eight candidates: in each trial say which one you like best.");
    preferenceButton.onClick = [this] { chooseKind(audition::BlindKind::preference); };

    for (auto count = audition::fewestBlindTrials; count <= audition::mostBlindTrials; ++count)
        trialsBox.addItem(juce::String(count) + " trials", static_cast<int>(count));
    trialsBox.setSelectedId(16, juce::dontSendNotification);
    trialsBox.onChange = [this] { refresh(); };
    addControl(*this, trialsBox, "Trials", "How many answers are given. More tell smaller things.");
    matchBox.addItem("Equal loudness", 1);
    matchBox.addItem("As on the bike", 2);
    matchBox.setSelectedId(1, juce::dontSendNotification);
    matchBox.onChange = [this] { refresh(); };
    addControl(*this, matchBox, "Levels",
               "Whether the candidates are equally loud or keep their differences in level.");

    addControl(*this, beginButton, "Start", "Hides the names and begins. Key: Return.");
    beginButton.onClick = [this] {
        if (view.stage == BlindStage::over)
            prepareAnother();
        else
            begin();
    };
    addControl(*this, closeButton, "Close", "Goes back to Listen. Key: T.");
    closeButton.onClick = [this] { close(); };
    addControl(*this, isAButton, "X is A", "Marks this answer. Key: 1.");
    isAButton.onClick = [this] { chooseAnswer(0); };
    addControl(*this, isBButton, "X is B", "Marks this answer. Key: 2.");
    isBButton.onClick = [this] { chooseAnswer(1); };
    addControl(*this, answerButton, "Answer",
               "Gives the answer. There is no way back. Key: Return.");
    answerButton.onClick = [this] { answer(); };
    addControl(*this, quietButton, "Quiet, or stop",
               "Turns the output down at once and pauses, then asks whether to go on. Key: Esc.");
    quietButton.onClick = [this] { askToAbandon(); };
    addControl(*this, goOnButton, "Go on", "Back to the trial. Key: Return.");
    goOnButton.onClick = [this] {
        asksToAbandon = false;
        refresh();
    };
    addControl(*this, abandonButton, "Abandon the run",
               "Ends the run. It is kept as abandoned, without a result. Key: Q.");
    abandonButton.onClick = [this] {
        asksToAbandon = false;
        model.abandon();
        takeUp();
    };
    addControl(*this, storeButton, "Try again to keep it", "Writes the run into the job again.");
    storeButton.onClick = [this] {
        model.storeAgain();
        takeUp();
    };

    outputLabel.setText("Output", juce::dontSendNotification);
    outputLabel.setFont(textFont(15.0F));
    outputLabel.setAccessible(false); // the slider itself carries the name
    addAndMakeVisible(outputLabel);
    outputSlider.setSliderStyle(juce::Slider::LinearHorizontal);
    outputSlider.setTextBoxStyle(juce::Slider::TextBoxRight, false, 96, 28);
    outputSlider.setTextValueSuffix(" dB");
    outputSlider.setWantsKeyboardFocus(true);
    addControl(*this, outputSlider, "Output level", "Level to the headphones.");
    outputAttachment = std::make_unique<juce::AudioProcessorValueTreeState::SliderAttachment>(
        parameters, parameterIds::outputLevelDb, outputSlider);
    refresh();
}

BlindPanel::~BlindPanel() = default;

bool BlindPanel::isAbx() const noexcept
{
    return (isRunning() ? view.kind : kind) == audition::BlindKind::abx;
}

void BlindPanel::show(const BlindView& newView, const std::shared_ptr<const JobView>& newJob)
{
    if (job != newJob && !isRunning()) {
        const std::size_t numBefore = isChosen.size();
        job = newJob;
        const std::size_t numCandidates = job != nullptr ? job->candidates.size() : 0;
        isChosen.resize(numCandidates, false);
        if (numBefore != numCandidates && !isChosen.empty())
            for (std::size_t index = 0; index < numCandidates; ++index)
                isChosen[index] = kind != audition::BlindKind::abx || index < 2;
    } else if (view == newView) {
        return;
    }
    const bool isNewTrial = view.stage != newView.stage || view.numAnswered != newView.numAnswered;
    view = newView;
    if (isNewTrial) {
        chosenAnswer = -1;
        asksToAbandon = false;
    }
    makePlates();
    refresh();
    if (!isNewTrial)
        return;
    const juce::String said = getDescription();
    juce::AccessibilityHandler::postAnnouncement(
        said, juce::AccessibilityHandler::AnnouncementPriority::medium);
    if (isShowing())
        grabKeyboardFocus();
}

void BlindPanel::makePlates()
{
    const std::size_t numPlaces = isRunning() ? view.hasHeard.size() : 0;
    if (placePlates.size() != numPlaces) {
        placePlates.clear();
        for (std::size_t place = 0; place < numPlaces; ++place) {
            const juce::String letter = letterOf(view.kind, place);
            auto plate = std::make_unique<Plate>(letter, "Listen to " + letter);
            plate->setDescription("Switches to " + letter + ". Key: " + letter + ".");
            plate->onClick = [this, place] { listenTo(place); };
            addAndMakeVisible(*plate);
            placePlates.push_back(std::move(plate));
        }
    }
    // Gone while the test runs, names and all.
    const std::size_t numCandidates =
        view.stage == BlindStage::idle && job != nullptr ? job->candidates.size() : 0;
    if (candidatePlates.size() == numCandidates && platesOf == job)
        return;
    platesOf = job;
    candidatePlates.clear();
    for (std::size_t index = 0; index < numCandidates; ++index) {
        const juce::String number(index + 1);
        const juce::String& name = job->candidates[index].name;
        auto plate = std::make_unique<Plate>(number, "Candidate " + number + ": " + name);
        plate->setDescription("Takes it into the test or leaves it out. Key: " + number + ".");
        plate->setTooltip(name);
        plate->setWords(name);
        plate->onClick = [this, index] { toggleCandidate(index); };
        addAndMakeVisible(*plate);
        candidatePlates.push_back(std::move(plate));
    }
}

void BlindPanel::chooseKind(audition::BlindKind newKind)
{
    if (kind == newKind)
        return;
    kind = newKind;
    // Two for ABX: those that were chosen first; for a preference whatever there is.
    std::size_t numKept = 0;
    for (std::size_t index = 0; index < isChosen.size(); ++index) {
        const bool isAbxNow = kind == audition::BlindKind::abx;
        isChosen[index] = isAbxNow ? isChosen[index] && numKept < 2 : true;
        numKept += isChosen[index] ? 1U : 0U;
    }
    refresh();
}

void BlindPanel::toggleCandidate(std::size_t index)
{
    if (index >= isChosen.size())
        return;
    isChosen[index] = !isChosen[index];
    refresh();
}

BlindChoice BlindPanel::choice() const
{
    BlindChoice made;
    made.kind = kind;
    for (std::size_t index = 0; index < isChosen.size(); ++index)
        if (isChosen[index])
            made.candidates.push_back(index);
    made.numTrials = static_cast<std::size_t>(trialsBox.getSelectedId());
    made.match = matchBox.getSelectedId() == 1 ? audition::LevelMatch::equalLoudness
                                               : audition::LevelMatch::asOnTheBike;
    return made;
}

juce::String BlindPanel::hindrance() const
{
    if (view.obstacle.isNotEmpty())
        return view.obstacle;
    const std::size_t numChosen = choice().candidates.size();
    if (kind == audition::BlindKind::abx && numChosen != 2)
        return "Choose two candidates: press their plates or the keys 1 to 8.";
    if (numChosen < 2)
        return "Choose at least two candidates: press their plates or the keys 1 to 8.";
    return {};
}

void BlindPanel::begin()
{
    if (view.stage == BlindStage::idle && hindrance().isEmpty())
        model.begin(choice());
    takeUp();
}

void BlindPanel::prepareAnother()
{
    model.dismiss();
    takeUp();
}

void BlindPanel::listenTo(std::size_t place)
{
    model.listenTo(place);
    takeUp();
}

void BlindPanel::chooseAnswer(std::size_t place)
{
    chosenAnswer = static_cast<int>(place);
    refresh();
}

void BlindPanel::answer()
{
    if (!view.canAnswer || (isAbx() && chosenAnswer < 0))
        return;
    model.answer(isAbx() ? static_cast<std::size_t>(chosenAnswer) : view.place);
    takeUp();
}

void BlindPanel::beQuiet()
{
    if (onQuiet)
        onQuiet();
}

void BlindPanel::askToAbandon()
{
    beQuiet();
    asksToAbandon = true;
    refresh();
}

void BlindPanel::close()
{
    if (view.stage == BlindStage::over)
        model.dismiss();
    if (onClose)
        onClose();
}

void BlindPanel::refresh()
{
    const bool isIdle = view.stage == BlindStage::idle;
    const bool isOver = view.stage == BlindStage::over;
    const bool isTrial = isRunning() && !asksToAbandon;
    for (juce::Component* part : std::initializer_list<juce::Component*> {
             &abxButton, &preferenceButton, &trialsBox, &matchBox})
        part->setVisible(isIdle);
    beginButton.setVisible(isIdle || isOver);
    closeButton.setVisible(isIdle || isOver);
    isAButton.setVisible(isTrial && isAbx());
    isBButton.setVisible(isTrial && isAbx());
    answerButton.setVisible(isTrial);
    quietButton.setVisible(isTrial);
    goOnButton.setVisible(isRunning() && asksToAbandon);
    abandonButton.setVisible(isRunning() && asksToAbandon);
    storeButton.setVisible(isOver && !view.isStored);
    outputLabel.setVisible(isRunning());
    outputSlider.setVisible(isRunning());

    abxButton.setToggleState(kind == audition::BlindKind::abx, juce::dontSendNotification);
    preferenceButton.setToggleState(kind == audition::BlindKind::preference,
                                    juce::dontSendNotification);
    for (std::size_t index = 0; index < candidatePlates.size(); ++index)
        candidatePlates[index]->setToggleState(isChosen[index], juce::dontSendNotification);
    beginButton.setButtonText(isOver ? "Another run (N)" : "Start (Return)");
    beginButton.setTitle(isOver ? "Another run" : "Start");
    beginButton.setDescription(isOver ? "Back to the choices. Key: N."
                                      : "Hides the names and begins. Key: Return.");
    beginButton.setTooltip(beginButton.getDescription());
    beginButton.setEnabled(isOver || hindrance().isEmpty());
    beginButton.setToggleState(beginButton.isEnabled() && !isOver, juce::dontSendNotification);

    for (std::size_t place = 0; place < placePlates.size(); ++place) {
        Plate& plate = *placePlates[place];
        plate.setVisible(isTrial);
        plate.setToggleState(place == view.place, juce::dontSendNotification);
        plate.setWords(place == view.place && view.silence.isNotEmpty() ? "silent"
                       : place == view.place                            ? "you hear this"
                       : view.hasHeard[place]                           ? "heard"
                                                                        : "not heard yet");
    }
    isAButton.setToggleState(chosenAnswer == 0, juce::dontSendNotification);
    isBButton.setToggleState(chosenAnswer == 1, juce::dontSendNotification);
    answerButton.setButtonText(isAbx() ? juce::String("Give this answer (Return)")
                                       : "I like " + letterOf(view.kind, view.place)
                                             + " best (Return)");
    answerButton.setEnabled(view.canAnswer && (!isAbx() || chosenAnswer >= 0));
    answerButton.setToggleState(answerButton.isEnabled(), juce::dontSendNotification);

    juce::String said;
    if (isIdle)
        said = "Choose the question and the candidates. " + hindrance();
    else if (isOver)
        said = view.headline + " " + view.sentences.joinIntoString(" ") + " " + view.storeWords;
    else if (asksToAbandon)
        said = "Abandon this run?";
    else
        said = "Trial " + juce::String(view.numAnswered + 1) + " of " + juce::String(view.numTrials)
               + ". " + view.silence;
    setDescription(said);
    resized();
    repaint();
}

bool BlindPanel::keyPressed(const juce::KeyPress& key)
{
    if (key.getModifiers().isCommandDown() || key.getModifiers().isCtrlDown()
        || key.getModifiers().isAltDown())
        return false;
    switch (view.stage) {
    case BlindStage::idle: return choicesKeyPressed(key);
    case BlindStage::running: return trialKeyPressed(key);
    case BlindStage::over: return outcomeKeyPressed(key);
    }
    return false;
}

bool BlindPanel::choicesKeyPressed(const juce::KeyPress& key)
{
    const juce::juce_wchar character = key.getTextCharacter();
    if (key == juce::KeyPress::escapeKey)
        beQuiet();
    else if (character == 't' || character == 'T')
        close();
    else if (key == juce::KeyPress::returnKey)
        begin();
    else if (character >= '1' && character <= '8')
        toggleCandidate(static_cast<std::size_t>(character - '1'));
    else
        return false;
    return true;
}

bool BlindPanel::trialKeyPressed(const juce::KeyPress& key)
{
    const juce::juce_wchar character =
        juce::CharacterFunctions::toUpperCase(key.getTextCharacter());
    if (asksToAbandon) {
        if (key == juce::KeyPress::returnKey || key == juce::KeyPress::escapeKey)
            goOnButton.onClick();
        else if (character == 'Q')
            abandonButton.onClick();
        else
            return false;
        return true;
    }
    if (key == juce::KeyPress::escapeKey) {
        askToAbandon();
        return true;
    }
    if (key == juce::KeyPress::returnKey) {
        answer();
        return true;
    }
    for (std::size_t place = 0; place < placePlates.size(); ++place)
        if (character == static_cast<juce::juce_wchar>(audition::blindLetter(view.kind, place))) {
            listenTo(place);
            return true;
        }
    if (character < '1' || character > '8')
        return false;
    const auto number = static_cast<std::size_t>(character - '1');
    if (!isAbx())
        listenTo(number);
    else if (number < 2)
        chooseAnswer(number);
    return true;
}

bool BlindPanel::outcomeKeyPressed(const juce::KeyPress& key)
{
    const juce::juce_wchar character =
        juce::CharacterFunctions::toUpperCase(key.getTextCharacter());
    if (key == juce::KeyPress::escapeKey)
        beQuiet();
    else if (character == 'T')
        close();
    else if (character == 'N')
        prepareAnother();
    else // Return too: pressed once too often after the last answer it would wipe the outcome
        return key == juce::KeyPress::returnKey;
    return true;
}

void BlindPanel::drawMark(juce::Graphics& g, juce::Rectangle<int> area) const
{
    const Palette palette = paletteOf(*this);
    const auto mark = area.withWidth(22).withHeight(22).toFloat();
    g.setColour(palette.warning);
    g.fillRoundedRectangle(mark, 3.0F);
    g.setColour(palette.onWarning);
    g.setFont(textFont(15.0F, juce::Font::bold));
    g.drawText("!", mark, juce::Justification::centred, false);
}

void BlindPanel::drawChoices(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.text);
    g.setFont(textFont(15.0F));
    for (const auto& [area, words] :
         {std::pair {questionLabel, "Question"}, std::pair {candidatesLabel, "Candidates"},
          std::pair {trialsLabel, "Trials"}, std::pair {matchLabel, "Levels"}})
        g.drawText(words, area, juce::Justification::centredLeft, false);
    drawWords(g,
              "Names are hidden while it runs, the order is drawn by lot, and whatever comes of it "
              "is kept in the job. Nothing is kept of who listened.",
              textFont(15.0F), palette.mutedText, introArea, juce::Justification::topLeft);
    const BlindChoice made = choice();
    if (made.candidates.size() >= 2)
        drawWords(g, textOf(report::blindNeedWords(kind, made.candidates.size(), made.numTrials)),
                  textFont(15.0F), palette.mutedText, needArea, juce::Justification::centredLeft);
    drawWords(g,
              made.match == audition::LevelMatch::equalLoudness
                  ? "Advised: only the sound differs, not how loud it is."
                  : "The louder one may be picked for being louder; the result will say so.",
              textFont(15.0F), palette.mutedText, matchWordsArea, juce::Justification::centredLeft);
    if (view.conditions.isNotEmpty())
        drawWords(g, "As set on Listen, and held until the end: " + view.conditions + ".",
                  textFont(15.0F), palette.text, conditionsArea, juce::Justification::topLeft);
    const juce::String words = hindrance();
    if (words.isEmpty())
        return;
    drawMark(g, messageArea);
    drawWords(g, words, textFont(15.0F), palette.text, messageArea.withTrimmedLeft(30),
              juce::Justification::topLeft);
}

void BlindPanel::drawTrial(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    // One mark a trial: given, to be given now, to come. How they turned out it does not tell.
    const auto count = static_cast<int>(view.numTrials);
    const float width = static_cast<float>(progressArea.getWidth()) / static_cast<float>(count);
    for (int trial = 0; trial < count; ++trial) {
        const auto box = juce::Rectangle<float>(static_cast<float>(progressArea.getX())
                                                    + width * static_cast<float>(trial),
                                                static_cast<float>(progressArea.getY()), width,
                                                static_cast<float>(progressArea.getHeight()))
                             .reduced(2.0F, 0.0F);
        const bool isGiven = trial < static_cast<int>(view.numAnswered);
        g.setColour(isGiven ? palette.accentLine : palette.control);
        g.fillRoundedRectangle(box, 3.0F);
        g.setColour(trial == static_cast<int>(view.numAnswered) ? palette.text : palette.outline);
        g.drawRoundedRectangle(box.reduced(0.5F), 3.0F,
                               trial == static_cast<int>(view.numAnswered) ? 2.0F : 1.0F);
    }
    if (asksToAbandon) {
        drawWords(
            g,
            "The output is turned down and the music is paused; turn it up again to go on.\n\n"
            "If you abandon the run, the answers given so far are kept as abandoned, without "
            "a result.",
            textFont(17.0F), palette.text, outcomeArea, juce::Justification::topLeft);
        return;
    }
    juce::String words;
    if (isAbx())
        words = "A and B are the two candidates; X is one of them. Switch with the keys A, B and X "
                "as often as you like, say with 1 or 2 which one X is, and give the answer with "
                "Return.";
    else
        words = "Listen to every letter, as often as you like. Return chooses the one you hear as "
                "the best. In the next trial the letters are dealt anew.";
    if (view.silence.isNotEmpty())
        words = view.silence;
    else if (!view.canAnswer)
        words << (isAbx() ? " Listen to X first." : " Some have not been heard yet.");
    auto area = introArea;
    if (view.silence.isNotEmpty()) {
        drawMark(g, area);
        area.removeFromLeft(30);
    }
    drawWords(g, words, textFont(16.0F), palette.text, area, juce::Justification::topLeft);
    drawWords(g, view.conditions, textFont(15.0F), palette.mutedText, conditionsArea,
              juce::Justification::centredLeft);
}

void BlindPanel::drawOutcome(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    auto area = outcomeArea;
    area.removeFromTop(drawWords(g, view.headline, textFont(26.0F, juce::Font::bold), palette.text,
                                 area.withHeight(std::min(80, area.getHeight())),
                                 juce::Justification::topLeft)
                       + 16);
    juce::StringArray paragraphs = view.sentences;
    paragraphs.add(view.storeWords);
    for (const juce::String& paragraph : paragraphs)
        area.removeFromTop(drawWords(g, paragraph, textFont(17.0F), palette.text, area,
                                     juce::Justification::topLeft)
                           + 10);
    area.removeFromTop(6);
    drawWords(g, view.conditions, textFont(15.0F), palette.mutedText, area,
              juce::Justification::topLeft);
}

void BlindPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    g.setColour(palette.text);
    g.setFont(textFont(21.0F, juce::Font::bold));
    juce::String heading = "Blind test";
    if (isRunning())
        heading = asksToAbandon ? "Abandon this run?"
                                : "Trial " + juce::String(view.numAnswered + 1) + " of "
                                      + juce::String(view.numTrials);
    g.drawText(heading, headingArea, juce::Justification::centredLeft, true);
    switch (view.stage) {
    case BlindStage::idle: drawChoices(g); break;
    case BlindStage::running: drawTrial(g); break;
    case BlindStage::over: drawOutcome(g); break;
    }
}

void BlindPanel::lookAndFeelChanged()
{
    outputLabel.setColour(juce::Label::textColourId, paletteOf(*this).text);
}

void BlindPanel::layOutChoices(juce::Rectangle<int> area)
{
    introArea = area.removeFromTop(area.getWidth() < 1100 ? 44 : 24);
    area.removeFromTop(10);
    const auto row = [&](juce::Rectangle<int>& label, int height) {
        auto line = area.removeFromTop(height);
        area.removeFromTop(14);
        label = line.removeFromLeft(labelWidth);
        return line;
    };
    auto line = row(questionLabel, controlHeight);
    abxButton.setBounds(line.removeFromLeft(280));
    line.removeFromLeft(10);
    preferenceButton.setBounds(line.removeFromLeft(240));

    const int below = 2 * (controlHeight + 14) + 44 + 14 + 28;
    line = row(candidatesLabel, std::clamp(area.getHeight() - below - 14, 84, 150));
    const auto count = static_cast<int>(candidatePlates.size());
    constexpr int gap = 10;
    if (count > 0) {
        const int width = std::min(std::max(260, line.getWidth() / 3 - gap),
                                   (line.getWidth() - gap * (count - 1)) / count);
        for (const auto& plate : candidatePlates) {
            plate->setBounds(line.removeFromLeft(width));
            line.removeFromLeft(gap);
        }
    }
    line = row(trialsLabel, controlHeight);
    trialsBox.setBounds(line.removeFromLeft(180));
    needArea = line.withTrimmedLeft(14);
    line = row(matchLabel, controlHeight);
    matchBox.setBounds(line.removeFromLeft(180));
    matchWordsArea = line.withTrimmedLeft(14);
    conditionsArea = area.removeFromTop(44);
    area.removeFromTop(8);
    messageArea = area;
}

void BlindPanel::layOutTrial(juce::Rectangle<int> area)
{
    progressArea = area.removeFromTop(16);
    area.removeFromTop(12);
    outcomeArea = area;
    introArea = area.removeFromTop(48);
    area.removeFromTop(8);
    conditionsArea = area.removeFromBottom(24);
    area.removeFromBottom(10);
    if (isAbx()) {
        auto row =
            area.removeFromBottom(44).withSizeKeepingCentre(std::min(area.getWidth(), 720), 44);
        isAButton.setBounds(row.removeFromLeft(180));
        row.removeFromLeft(10);
        isBButton.setBounds(row.removeFromLeft(180));
        row.removeFromLeft(20);
        answerButton.setBounds(row);
    } else {
        answerButton.setBounds(area.removeFromBottom(44).withSizeKeepingCentre(320, 44));
    }
    area.removeFromBottom(12);
    const auto count = static_cast<int>(placePlates.size());
    if (count == 0)
        return;
    constexpr int gap = 12;
    const int width = std::min(260, (area.getWidth() - gap * (count - 1)) / count);
    auto row = area.withSizeKeepingCentre(count * width + (count - 1) * gap,
                                          std::min(area.getHeight(), 240));
    for (const auto& plate : placePlates) {
        plate->setBounds(row.removeFromLeft(width));
        row.removeFromLeft(gap);
    }
}

void BlindPanel::resized()
{
    auto area = getLocalBounds().reduced(margin, 14);
    auto bottom = area.removeFromBottom(controlHeight);
    area.removeFromBottom(10);
    const auto place = [&](juce::TextButton& button, int width) {
        button.setBounds(bottom.removeFromRight(width));
        bottom.removeFromRight(10);
    };
    if (isRunning()) {
        if (asksToAbandon) {
            place(abandonButton, 200);
            place(goOnButton, 180);
        } else {
            place(quietButton, 200);
        }
        outputLabel.setBounds(bottom.removeFromLeft(70));
        outputSlider.setBounds(bottom.removeFromLeft(std::min(420, bottom.getWidth())));
    } else {
        place(closeButton, 160);
        place(beginButton, 220);
        if (storeButton.isVisible())
            place(storeButton, 220);
    }
    headingArea = area.removeFromTop(32);
    area.removeFromTop(6);
    outcomeArea = area;
    if (view.stage == BlindStage::idle)
        layOutChoices(area);
    else if (isRunning())
        layOutTrial(area);
}

} // namespace saddletone::gui
