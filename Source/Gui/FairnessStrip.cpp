#include "Gui/FairnessStrip.h"

#include "Gui/Look.h"

#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int sideMargin = 14;

/** With a sign and one decimal. */
juce::String differenceWords(double differenceDb)
{
    const double rounded = std::round(10.0 * differenceDb) / 10.0;
    const juce::String sign = rounded > 0.0   ? juce::String("+")
                              : rounded < 0.0 ? juce::String::fromUTF8("\xe2\x88\x92")
                                              : juce::String();
    return sign + juce::String(std::abs(rounded), 1);
}

juce::String basisWords(MatchBasis basis, bool hasFile)
{
    switch (basis) {
    case MatchBasis::programme: return "this part (BS.1770-4)";
    case MatchBasis::measuring: return "this part is being measured";
    case MatchBasis::pinkNoise: break;
    }
    return hasFile ? "pink noise, as this part is too short or quiet" : "pink noise";
}

} // namespace

juce::String fairnessWords(const AuditionSnapshot& snapshot)
{
    const FairnessView& fairness = snapshot.fairness;
    if (snapshot.job == nullptr || fairness.differencesDb.empty())
        return {};
    const bool isEqual = snapshot.match == audition::LevelMatch::equalLoudness;
    if (fairness.differencesDb.size() == 1)
        return "One candidate: nothing to compare it with.";
    juce::StringArray differences;
    for (std::size_t index = 1; index < fairness.differencesDb.size(); ++index)
        differences.add(juce::String(static_cast<int>(index) + 1) + ": "
                        + differenceWords(fairness.differencesDb[index]));
    return juce::String(isEqual ? "Equally loud. Taken out re 1, in dB: "
                                : "Same volume step. Re 1, in dB: ")
           + differences.joinIntoString(", ") + "; "
           + basisWords(fairness.basis, snapshot.player.loaded && !snapshot.nowOnBike);
}

FairnessStrip::FairnessStrip()
{
    setTitle("Loudness of the candidates");
    setInterceptsMouseClicks(false, false);
}

void FairnessStrip::show(const AuditionSnapshot& snapshot)
{
    juce::String newWords = fairnessWords(snapshot);
    if (newWords == words)
        return;
    words = std::move(newWords);
    setDescription(words);
    repaint();
}

int FairnessStrip::heightFor(int width) const
{
    constexpr int lineHeight = 18;
    const bool isLong = textFont(14.0F).getStringWidth(words) > width - 2 * sideMargin;
    return 4 + (isLong ? 2 : 1) * lineHeight;
}

void FairnessStrip::paint(juce::Graphics& g)
{
    drawWords(g, words, textFont(14.0F), paletteOf(*this).text,
              getLocalBounds().reduced(sideMargin, 0), juce::Justification::centredLeft);
}

} // namespace saddletone::gui
