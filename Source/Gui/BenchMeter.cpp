#include "Gui/BenchMeter.h"

#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr double bottomDbfs = -72.0;
constexpr double fallDbPerFrame = 0.8; // 24 dB a second at 30 frames a second
// Peaks of a recording should lie between these, as the track list says.
constexpr double aimAboveDbfs = -20.0;
constexpr double careAboveDbfs = -6.0;

} // namespace

BenchMeter::BenchMeter(const juce::String& title, Marks newMarks) : marks(newMarks)
{
    setTitle(title);
    setInterceptsMouseClicks(false, false);
}

void BenchMeter::show(double peakDbfs, bool isClipHeld, const juce::String& newWords)
{
    const double fallen = std::max(bottomDbfs, levelDbfs - fallDbPerFrame);
    const double newLevel = std::max(fallen, peakDbfs);
    if (newLevel == levelDbfs && clipHeld == isClipHeld && words == newWords)
        return;
    levelDbfs = newLevel;
    clipHeld = isClipHeld;
    words = newWords;
    setDescription(clipHeld ? "Clipped." : "Not clipped.");
    repaint();
}

void BenchMeter::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    auto area = getLocalBounds().toFloat();
    const auto line = area.removeFromBottom(22.0F);
    const auto bar = area.reduced(0.0F, 2.0F);
    const auto xOf = [&](double dbfs) {
        const double proportion = std::clamp((dbfs - bottomDbfs) / -bottomDbfs, 0.0, 1.0);
        return bar.getX() + bar.getWidth() * static_cast<float>(proportion);
    };
    g.setColour(palette.control);
    g.fillRoundedRectangle(bar, 3.0F);
    g.setColour(levelDbfs > careAboveDbfs ? palette.warning : palette.accentLine);
    g.fillRoundedRectangle(bar.withRight(xOf(levelDbfs)), 3.0F);
    g.setColour(palette.text);
    for (const double mark : {aimAboveDbfs, careAboveDbfs})
        if (marks == Marks::recording)
            g.fillRect(xOf(mark) - 1.0F, bar.getY() - 2.0F, 2.0F, bar.getHeight() + 4.0F);
    g.setColour(palette.outline);
    g.drawRoundedRectangle(bar, 3.0F, 1.0F);

    auto text = line;
    if (clipHeld) {
        const auto box = text.removeFromLeft(86.0F).reduced(0.0F, 1.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(box, 3.0F);
        g.setColour(palette.onWarning);
        g.setFont(textFont(14.0F, juce::Font::bold));
        g.drawText("CLIPPED", box, juce::Justification::centred, false);
        text.removeFromLeft(8.0F);
    }
    g.setFont(textFont(14.0F));
    g.setColour(palette.text);
    g.drawText(levelDbfs <= bottomDbfs
                   ? juce::String("silent")
                   : juce::String::fromUTF8(levelDbfs < -0.5 ? "\xe2\x88\x92" : "")
                         + juce::String(std::abs(std::lround(levelDbfs))) + " dBFS peak",
               text.removeFromRight(110.0F), juce::Justification::centredRight, false);
    g.setColour(palette.mutedText);
    g.drawText(words, text, juce::Justification::centredLeft, true);
}

} // namespace saddletone::gui
