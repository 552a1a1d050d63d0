#include "Gui/FindingPanel.h"

#include "Gui/Look.h"

#include <cmath>

namespace saddletone::gui {

class FindingPanel::Text final : public juce::Component {
public:
    void show(const std::optional<FindingView>& newFinding)
    {
        finding = newFinding;
        layOut(getWidth());
        repaint();
    }

    void layOut(int width) { setSize(std::max(1, width), std::max(1, heightAt(width))); }

    void paint(juce::Graphics& g) override
    {
        const Palette palette = paletteOf(*this);
        float top = 0.0F;
        if (finding && finding->isProblem) {
            const juce::Rectangle<float> mark(0.0F, 0.0F, 20.0F, 20.0F);
            g.setColour(palette.warning);
            g.fillRoundedRectangle(mark, 3.0F);
            g.setColour(palette.onWarning);
            g.setFont(textFont(15.0F, juce::Font::bold));
            g.drawText("!", mark, juce::Justification::centred, false);
        }
        for (const auto& [layout, indent] : layouts(palette.text, getWidth())) {
            layout.draw(g, {static_cast<float>(indent), top,
                            static_cast<float>(getWidth() - indent), layout.getHeight()});
            top += layout.getHeight() + gap;
        }
    }

private:
    static constexpr float gap = 8.0F;

    /** Paragraphs and how far they stand in. */
    [[nodiscard]] std::vector<std::pair<juce::TextLayout, int>> layouts(juce::Colour colour,
                                                                        int width) const
    {
        std::vector<std::pair<juce::TextLayout, int>> made;
        const auto add = [&](const juce::String& words, const juce::Font& font, int indent) {
            juce::AttributedString attributed;
            attributed.setWordWrap(juce::AttributedString::byWord);
            attributed.append(words, font, colour);
            juce::TextLayout layout;
            layout.createLayout(attributed, static_cast<float>(std::max(20, width - indent)));
            made.emplace_back(std::move(layout), indent);
        };
        if (!finding) {
            add("It is being worked out.", textFont(15.0F), 0);
            return made;
        }
        add(finding->headline, textFont(16.0F, juce::Font::bold), finding->isProblem ? 28 : 0);
        for (const juce::String& sentence : finding->sentences)
            add(sentence, textFont(15.0F), 0);
        return made;
    }

    [[nodiscard]] int heightAt(int width) const
    {
        float height = 0.0F;
        for (const auto& [layout, indent] : layouts(juce::Colours::white, width))
            height += layout.getHeight() + gap;
        return static_cast<int>(std::ceil(height));
    }

    std::optional<FindingView> finding;
};

FindingPanel::FindingPanel(const juce::String& title) : text(std::make_unique<Text>())
{
    setTitle(title);
    view.setTitle(title);
    view.setDescription("It is being worked out.");
    view.setWantsKeyboardFocus(true);
    view.setHasFocusOutline(true);
    view.setScrollBarsShown(true, false);
    view.setScrollBarThickness(12);
    view.setViewedComponent(text.get(), false);
    addAndMakeVisible(view);
}

void FindingPanel::show(const std::optional<FindingView>& finding)
{
    juce::String words = "It is being worked out.";
    if (finding)
        words = finding->headline + "\n" + finding->sentences.joinIntoString("\n");
    if (words == view.getDescription())
        return;
    view.setDescription(words);
    setDescription(words);
    static_cast<Text*>(text.get())->show(finding);
    view.setViewPosition(0, 0);
    resized();
}

void FindingPanel::resized()
{
    view.setBounds(getLocalBounds());
    static_cast<Text*>(text.get())->layOut(std::max(1, getWidth() - 16));
}

} // namespace saddletone::gui
