#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/BlindModel.h"
#include "Gui/ChoiceBox.h"

#include <functional>

namespace saddletone::gui {

/** The blind test from its choices to its outcome. While it runs nothing but letters is shown.

    Keys before: 1 to 8 candidates, Return begins, T closes. While it runs: letters (or, with a
    preference, numbers) listen, 1 and 2 say which X is, Return answers. Afterwards: N prepares
    another run, T closes. Esc is quiet at once, and while it runs asks whether to abandon. */
class BlindPanel final : public juce::Component {
public:
    BlindPanel(BlindModel& blindModel, juce::AudioProcessorValueTreeState& parameters);
    ~BlindPanel() override;
    BlindPanel(const BlindPanel&) = delete;
    BlindPanel& operator=(const BlindPanel&) = delete;

    /** Called when the panel is to be closed. */
    std::function<void()> onClose;
    /** Called when the listener wants silence at once. */
    std::function<void()> onQuiet;

    void show(const BlindView& newView, const std::shared_ptr<const JobView>& newJob);

    void paint(juce::Graphics& g) override;
    void resized() override;
    void lookAndFeelChanged() override;
    bool keyPressed(const juce::KeyPress& key) override;

private:
    class Plate;

    [[nodiscard]] bool isRunning() const noexcept { return view.stage == BlindStage::running; }
    [[nodiscard]] bool isAbx() const noexcept;
    void chooseKind(audition::BlindKind kind);
    void toggleCandidate(std::size_t index);
    [[nodiscard]] BlindChoice choice() const;
    /** Why the choices cannot be tested as they are; empty if they can. */
    [[nodiscard]] juce::String hindrance() const;
    void begin();
    void prepareAnother();
    void listenTo(std::size_t place);
    void chooseAnswer(std::size_t place);
    void answer();
    void beQuiet();
    void askToAbandon();
    void close();
    bool choicesKeyPressed(const juce::KeyPress& key);
    bool trialKeyPressed(const juce::KeyPress& key);
    bool outcomeKeyPressed(const juce::KeyPress& key);
    /** Shows what has become of a command at once. */
    void takeUp() { show(model.blindView(), job); }
    void makePlates();
    void refresh();
    /** The sign in front of words that tell what is in the way. */
    void drawMark(juce::Graphics& g, juce::Rectangle<int> area) const;
    void drawChoices(juce::Graphics& g) const;
    void drawTrial(juce::Graphics& g) const;
    void drawOutcome(juce::Graphics& g) const;
    void layOutChoices(juce::Rectangle<int> area);
    void layOutTrial(juce::Rectangle<int> area);

    BlindModel& model;
    BlindView view;
    std::shared_ptr<const JobView> job;
    audition::BlindKind kind = audition::BlindKind::abx;
    std::vector<bool> isChosen; ///< One a candidate of the job.
    int chosenAnswer = -1;      ///< Of ABX; -1: none yet.
    bool asksToAbandon = false;

    std::vector<std::unique_ptr<Plate>> candidatePlates;
    std::shared_ptr<const JobView> platesOf; ///< Job of candidatePlates.
    std::vector<std::unique_ptr<Plate>> placePlates;
    juce::TextButton abxButton {"Is there a difference? (ABX)"};
    juce::TextButton preferenceButton {"Which is liked best?"};
    ChoiceBox trialsBox;
    ChoiceBox matchBox;
    juce::TextButton beginButton {"Start (Return)"};
    juce::TextButton closeButton {"Close (T)"};
    juce::TextButton isAButton {"X is A (1)"};
    juce::TextButton isBButton {"X is B (2)"};
    juce::TextButton answerButton;
    juce::TextButton quietButton {"Quiet, or stop (Esc)"};
    juce::TextButton goOnButton {"Go on (Return)"};
    juce::TextButton abandonButton {"Abandon the run (Q)"};
    juce::TextButton storeButton {"Try again to keep it"};
    juce::Label outputLabel;
    juce::Slider outputSlider;
    std::unique_ptr<juce::AudioProcessorValueTreeState::SliderAttachment> outputAttachment;

    juce::Rectangle<int> headingArea, introArea, questionLabel, candidatesLabel, trialsLabel,
        matchLabel, needArea, matchWordsArea, conditionsArea, messageArea, progressArea,
        outcomeArea;
};

} // namespace saddletone::gui
