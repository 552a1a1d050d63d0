#include "Gui/LevelMeter.h"

#include "Gui/LevelWords.h"
#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr double bottomDbfs = -72.0;
constexpr double fallDbPerFrame = 0.8;   // 24 dB a second at 30 frames a second
constexpr double limitThresholdDb = 0.1; // below it nobody hears a change
constexpr int limitHoldFrames = 20;

} // namespace

LevelMeter::LevelMeter()
{
    setTitle("Output level");
    setInterceptsMouseClicks(false, false);
}

void LevelMeter::show(const AuditionSnapshot& snapshot)
{
    const double fallen = std::max(bottomDbfs, levelDbfs - fallDbPerFrame);
    const double newLevel = std::max(fallen, snapshot.outputPeakDbfs);
    double newLimit = limitDb;
    if (-snapshot.ceilingGainDb > limitThresholdDb) {
        newLimit = -snapshot.ceilingGainDb;
        framesToHold = limitHoldFrames;
    } else if (framesToHold > 0 && --framesToHold == 0) {
        newLimit = 0.0;
    }
    const double newGuard = -snapshot.guardGainDb > limitThresholdDb ? -snapshot.guardGainDb : 0.0;
    if (newLevel == levelDbfs && newLimit == limitDb && ceilingDbfs == snapshot.ceilingDbfs
        && newGuard == guardDb && ceilingDba == snapshot.ceilingDba
        && earWords == earLevelWords(snapshot))
        return;
    earWords = earLevelWords(snapshot);
    guardDb = newGuard;
    ceilingDba = snapshot.ceilingDba;
    levelDbfs = newLevel;
    limitDb = newLimit;
    ceilingDbfs = snapshot.ceilingDbfs;
    setDescription(juce::String(limitDb > 0.0 || guardDb > 0.0 ? "A ceiling holds the level back."
                                                               : "Below the ceiling.")
                   + (snapshot.headphoneSplDb > 0.0
                          ? " At the ear so far: " + exposureWords(snapshot.exposure) + "."
                          : juce::String()));
    repaint();
}

void LevelMeter::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    auto area = getLocalBounds().toFloat();
    const auto words = area.removeFromBottom(22.0F);
    const auto bar = area.reduced(0.0F, 3.0F);
    const auto xOf = [&](double dbfs) {
        const double proportion = std::clamp((dbfs - bottomDbfs) / -bottomDbfs, 0.0, 1.0);
        return bar.getX() + bar.getWidth() * static_cast<float>(proportion);
    };
    const bool isLimiting = limitDb > 0.0 || guardDb > 0.0;

    g.setColour(palette.control);
    g.fillRoundedRectangle(bar, 3.0F);
    g.setColour(isLimiting ? palette.warning : palette.accentLine);
    g.fillRoundedRectangle(bar.withRight(xOf(levelDbfs)), 3.0F);
    g.setColour(palette.text);
    g.fillRect(xOf(ceilingDbfs) - 1.5F, bar.getY() - 3.0F, 3.0F, bar.getHeight() + 6.0F);
    g.setColour(palette.outline);
    g.drawRoundedRectangle(bar, 3.0F, 1.0F);

    g.setFont(textFont(14.0F, isLimiting ? juce::Font::bold : juce::Font::plain));
    if (isLimiting) {
        const juce::String text = limitDb > 0.0
                                      ? "LIMITING by " + juce::String(limitDb + guardDb, 1) + " dB"
                                      : "HELD at " + juce::String(std::lround(ceilingDba))
                                            + " dB(A) by " + juce::String(guardDb, 1) + " dB";
        const auto box = words.withWidth(g.getCurrentFont().getStringWidthFloat(text) + 16.0F);
        g.setColour(palette.warning);
        g.fillRoundedRectangle(box, 3.0F);
        g.setColour(palette.onWarning);
        g.drawText(text, box, juce::Justification::centred, false);
    } else {
        g.setColour(palette.mutedText);
        g.drawText(earWords.isNotEmpty() ? earWords : juce::String("below the ceiling"), words,
                   juce::Justification::centredLeft, false);
    }
    g.setColour(palette.text);
    g.setFont(textFont(14.0F));
    g.drawText(levelDbfs <= bottomDbfs ? juce::String("silent")
                                       : juce::String(std::lround(levelDbfs)) + " dBFS peak",
               words, juce::Justification::centredRight, false);
}

} // namespace saddletone::gui
