#include "Gui/EventGuard.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int meterHeight = 44;
constexpr int headingHeight = 30;

} // namespace

EventGuard::EventGuard()
{
    setTitle("Level guard");
    setInterceptsMouseClicks(false, false);
    addAndMakeVisible(meter);
}

void EventGuard::show(const AuditionSnapshot& snapshot, const hearing::SessionExposure& exposure)
{
    AuditionSnapshot ofListener = snapshot;
    ofListener.exposure = exposure;
    meter.show(ofListener);
    juce::String newHeading;
    juce::String newWords;
    if (snapshot.headphoneSplDb > 0.0) {
        newHeading = earLevelText(snapshot.earLevelDba) + " at your ear now";
        newWords = "Kept at " + juce::String(std::lround(snapshot.ceilingDba))
                   + " dB(A) at most. You so far: " + exposureWords(exposure) + ".";
    } else {
        newHeading = "At your ear: uncalibrated";
        newWords = "How loud these headphones are is not known. Ceiling "
                   + juce::String(snapshot.ceilingDbfs, 1) + " dBFS. Keep it low.";
    }
    if (newHeading == heading && newWords == words)
        return;
    heading = newHeading;
    words = newWords;
    setDescription(heading + ". " + words);
    repaint();
}

void EventGuard::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    auto area = getLocalBounds().reduced(14, 6).withTrimmedBottom(meterHeight);
    g.setColour(palette.text);
    g.setFont(textFont(22.0F, juce::Font::bold));
    g.drawText(heading, area.removeFromTop(headingHeight), juce::Justification::centredLeft, true);
    drawWords(g, words, textFont(15.0F), palette.text, area, juce::Justification::topLeft);
}

void EventGuard::resized()
{
    meter.setBounds(getLocalBounds().reduced(14, 6).removeFromBottom(meterHeight));
}

} // namespace saddletone::gui
