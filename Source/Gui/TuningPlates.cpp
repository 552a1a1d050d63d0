#include "Gui/TuningPlates.h"

#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

class TuningPlates::Plate final : public juce::Button {
public:
    explicit Plate(std::size_t index) : juce::Button({}), number(static_cast<int>(index) + 1)
    {
        setMouseClickGrabsKeyboardFocus(false);
        setHasFocusOutline(true);
    }

    void show(const TuningCandidate& candidate, bool isEdited)
    {
        setToggleState(isEdited, juce::dontSendNotification);
        if (name == candidate.name && isUnsaved == candidate.isUnsaved && getTitle().isNotEmpty())
            return;
        name = candidate.name;
        isUnsaved = candidate.isUnsaved;
        setTitle("Candidate " + juce::String(number) + ": " + name
                 + (isUnsaved ? ", not saved" : ""));
        setDescription("Press to edit and hear it, or press the key " + juce::String(number)
                       + ". It is made from the state " + candidate.stateName + ".");
        setTooltip(name + (isUnsaved ? " (not saved)" : ""));
        repaint();
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const bool isEdited = getToggleState();
        const auto area = getLocalBounds().toFloat().reduced(2.0F);
        const juce::Colour ink = drawPlate(g, palette, area, isEdited, isHighlighted, isDown);
        auto content = getLocalBounds().reduced(9, 5);
        auto top = content.removeFromTop(26);
        g.setColour(ink);
        g.setFont(textFont(22.0F, juce::Font::bold));
        g.drawText(juce::String(number), top.removeFromLeft(20), juce::Justification::centredLeft,
                   false);
        if (isUnsaved) {
            g.fillEllipse(top.removeFromLeft(10).toFloat().withSizeKeepingCentre(9.0F, 9.0F));
            const juce::Font font = textFont(14.0F, juce::Font::italic);
            const juce::String words = "not saved";
            // The small button lies on the right, unless this is the edited one.
            const auto place = top.withTrimmedLeft(5).withTrimmedRight(isEdited ? 0 : 42);
            g.setFont(font);
            if (font.getStringWidth(words) <= place.getWidth())
                g.drawText(words, place, juce::Justification::centredLeft, false);
        }
        drawWords(g, name, textFont(14.0F), ink, content, juce::Justification::topLeft);
    }

private:
    const int number;
    juce::String name;
    bool isUnsaved = false;
};

class TuningPlates::BesideButton final : public juce::Button {
public:
    explicit BesideButton(std::size_t candidateIndex) : juce::Button({}), index(candidateIndex)
    {
        setMouseClickGrabsKeyboardFocus(false);
        setHasFocusOutline(true);
    }

    void show(const TuningCandidate& candidate)
    {
        setToggleState(candidate.isBeside, juce::dontSendNotification);
        setTitle("Curve of candidate " + juce::String(index + 1)
                 + (candidate.isBeside ? ", shown" : ", hidden"));
        setDescription("Lays the curve of " + candidate.name + " beside the edited one.");
        setTooltip(getDescription());
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const auto area = getLocalBounds().toFloat().reduced(1.5F);
        juce::Colour fill = getToggleState() ? palette.panel : palette.control;
        if (isHighlighted || isDown)
            fill = fill.contrasting(0.08F);
        g.setColour(fill);
        g.fillRoundedRectangle(area, 5.0F);
        g.setColour(getToggleState() ? palette.text : palette.outline);
        g.drawRoundedRectangle(area, 5.0F, getToggleState() ? 2.0F : 1.0F);
        juce::Path line;
        line.startNewSubPath(area.getX() + 5.0F, area.getCentreY());
        line.lineTo(area.getRight() - 5.0F, area.getCentreY());
        g.setColour(getToggleState() ? palette.text : palette.mutedText);
        strokeDashed(g, line, index);
    }

private:
    const std::size_t index;
};

TuningPlates::TuningPlates()
{
    setTitle("Candidates");
}

TuningPlates::~TuningPlates() = default;

void TuningPlates::show(const TuningSnapshot& snapshot)
{
    while (plates.size() < snapshot.candidates.size()) {
        const std::size_t index = plates.size();
        plates.push_back(std::make_unique<Plate>(index));
        plates.back()->onClick = [this, index] { onPick(index); };
        addChildComponent(*plates.back());
        besideButtons.push_back(std::make_unique<BesideButton>(index));
        besideButtons.back()->onClick = [this, index] {
            onBeside(index, !besideButtons[index]->getToggleState());
        };
        addChildComponent(*besideButtons.back());
    }
    for (std::size_t index = 0; index < plates.size(); ++index) {
        const bool isShown = index < snapshot.candidates.size();
        plates[index]->setVisible(isShown);
        // The edited one's curve is shown anyway.
        besideButtons[index]->setVisible(isShown && index != snapshot.edited);
        if (!isShown)
            continue;
        plates[index]->show(snapshot.candidates[index], index == snapshot.edited);
        besideButtons[index]->show(snapshot.candidates[index]);
    }
    if (numShown != snapshot.candidates.size()) {
        numShown = snapshot.candidates.size();
        resized();
        repaint();
    }
}

void TuningPlates::paint(juce::Graphics& g)
{
    if (numShown > 0)
        return;
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    g.setColour(palette.text);
    g.setFont(textFont(16.0F, juce::Font::bold));
    g.drawText("No job is open. Press \"Open job\" at the top right.", getLocalBounds(),
               juce::Justification::centred, true);
}

void TuningPlates::resized()
{
    if (numShown == 0)
        return;
    constexpr int gap = 8;
    constexpr int widest = 220;
    const auto count = static_cast<int>(numShown);
    const int width = std::min(widest, (getWidth() - gap * (count - 1)) / count);
    for (int index = 0; index < count; ++index) {
        const juce::Rectangle<int> area(index * (width + gap), 0, width, getHeight());
        plates[static_cast<std::size_t>(index)]->setBounds(area);
        besideButtons[static_cast<std::size_t>(index)]->setBounds(area.getRight() - 48,
                                                                  area.getY() + 6, 42, 28);
    }
}

} // namespace saddletone::gui
