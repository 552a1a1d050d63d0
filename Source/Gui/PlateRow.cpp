#include "Gui/PlateRow.h"

#include "Gui/Look.h"

#include <algorithm>
#include <array>

namespace saddletone::gui {

class PlateRow::Plate final : public juce::Button {
public:
    Plate(std::size_t index, const juce::String& candidateName)
        : juce::Button(candidateName), number(static_cast<int>(index) + 1)
    {
        setTitle("Candidate " + juce::String(number) + ": " + candidateName);
        setDescription("Press to hear it, or press the key " + juce::String(number) + ".");
        setTooltip(candidateName);
        setMouseClickGrabsKeyboardFocus(false);
        setHasFocusOutline(true);
    }

    void paintButton(juce::Graphics& g, bool isHighlighted, bool isDown) override
    {
        const Palette palette = paletteOf(*this);
        const bool isHeard = getToggleState();
        const auto area = getLocalBounds().toFloat().reduced(2.0F);
        const juce::Colour ink = drawPlate(g, palette, area, isHeard, isHighlighted, isDown);
        g.setColour(ink.withAlpha(0.6F));
        for (const float x : {area.getX() + 13.0F, area.getRight() - 13.0F})
            g.fillEllipse(juce::Rectangle<float>(6.0F, 6.0F).withCentre({x, area.getY() + 13.0F}));

        auto content = area.reduced(12.0F, 6.0F);
        const auto numberArea = content.removeFromTop(content.getHeight() * 0.48F);
        g.setColour(ink);
        g.setFont(textFont(std::clamp(area.getHeight() * 0.35F, 30.0F, 96.0F), juce::Font::bold));
        g.drawText(juce::String(number), numberArea, juce::Justification::centred, false);
        if (isHeard) {
            const float scale = std::max(1.0F, g.getCurrentFont().getHeightInPoints() / 48.0F);
            juce::Path mark;
            mark.addTriangle(-7.0F, -8.0F, -7.0F, 8.0F, 7.0F, 0.0F);
            for (const float side : {-1.0F, 1.0F})
                g.fillPath(mark, juce::AffineTransform::scale(-side * scale, scale)
                                     .translated(numberArea.getCentreX() + side * 34.0F * scale,
                                                 numberArea.getCentreY()));
        }
        const bool isLarge = area.getHeight() > 120.0F && area.getWidth() > 200.0F;
        const bool isHuge = area.getHeight() > 170.0F && area.getWidth() > 260.0F;
        drawWords(g, getName(),
                  textFont(isHuge    ? 24.0F
                           : isLarge ? 18.0F
                                     : 15.0F),
                  ink, content.toNearestInt(), juce::Justification::centred);
    }

private:
    int number;
};

PlateRow::PlateRow()
{
    setTitle("Candidates");
    setFocusContainerType(FocusContainerType::none);
}

PlateRow::~PlateRow() = default;

void PlateRow::show(const AuditionSnapshot& snapshot)
{
    if (snapshot.job != shown) {
        shown = snapshot.job;
        plates.clear();
        if (shown != nullptr)
            for (std::size_t index = 0; index < shown->candidates.size(); ++index) {
                auto plate = std::make_unique<Plate>(index, shown->candidates[index].name);
                plate->onClick = [this, index] {
                    if (onPick)
                        onPick(index);
                };
                addAndMakeVisible(*plate);
                plates.push_back(std::move(plate));
            }
        resized();
        repaint();
    }
    if (busy != snapshot.busy) {
        busy = snapshot.busy;
        repaint();
    }
    heard = snapshot.candidate;
    for (std::size_t index = 0; index < plates.size(); ++index)
        plates[index]->setToggleState(index == heard, juce::dontSendNotification);
}

void PlateRow::paint(juce::Graphics& g)
{
    if (!plates.empty())
        return;
    const Palette palette = paletteOf(*this);
    const auto area = getLocalBounds().toFloat().reduced(2.0F);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(area, 8.0F);
    juce::Path outline;
    outline.addRoundedRectangle(area.reduced(1.0F), 8.0F);
    const std::array<float, 2> dashes {8.0F, 6.0F};
    juce::Path dashed;
    juce::PathStrokeType(1.5F).createDashedStroke(dashed, outline, dashes.data(),
                                                  static_cast<int>(dashes.size()));
    g.setColour(palette.outline);
    g.fillPath(dashed);

    auto text = getLocalBounds().reduced(20, 12);
    g.setColour(palette.text);
    g.setFont(textFont(20.0F, juce::Font::bold));
    g.drawText(busy ? "The job is being opened." : "No job is open.",
               text.removeFromTop(text.getHeight() / 2), juce::Justification::centredBottom, true);
    g.setColour(palette.mutedText);
    g.setFont(textFont(15.0F));
    g.drawText(busy ? "Its candidates appear here."
                    : "Press \"Open job\" at the top right, or drop a job folder on this window. "
                      "Its candidates appear here.",
               text.withTrimmedTop(4), juce::Justification::centredTop, true);
}

void PlateRow::resized()
{
    if (plates.empty())
        return;
    constexpr int gap = 10;
    const int widestPlate = fillsWidth ? getWidth() : std::max(260, getWidth() / 3 - gap);
    const auto count = static_cast<int>(plates.size());
    const int width = std::min(widestPlate, (getWidth() - gap * (count - 1)) / count);
    for (int index = 0; index < count; ++index)
        plates[static_cast<std::size_t>(index)]->setBounds(index * (width + gap), 0, width,
                                                           getHeight());
}

std::vector<juce::Rectangle<int>> PlateRow::plateAreas() const
{
    std::vector<juce::Rectangle<int>> areas;
    for (const auto& plate : plates)
        areas.push_back(plate->getBounds());
    return areas;
}

} // namespace saddletone::gui
