#include "Gui/HeadphoneRow.h"

#include "Gui/Look.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"

namespace saddletone::gui {

namespace {

constexpr const char* ceilingDescription =
    "Highest A-weighted level at the ear; kept where it is known what the headphones make of full "
    "scale.";

} // namespace

HeadphoneRow::HeadphoneRow(juce::AudioProcessorValueTreeState& parameters)
    : splField("Headphones at full scale",
               "Sound pressure level at the ear, in dB, that the headphones make of a full-scale "
               "sine, as measured on them with this output's volume; 0 if it is not known. With it "
               "the level at the ear is shown and kept.",
               {.lowest = 80.0, .highest = 140.0},
               [](double splDb) {
                   return splDb > 80.0 ? juce::String(splDb, 1) + " dB SPL"
                                       : juce::String("not known");
               }),
      ceilingField("Ceiling at the ear", ceilingDescription, {.lowest = 60.0, .highest = 100.0},
                   [](double levelDba) { return juce::String(levelDba, 0) + " dB(A)"; })
{
    splField.onNumber = [&parameters](double splDb) {
        setParameter(parameters, parameterIds::headphoneSplDb, splDb);
    };
    ceilingField.onNumber = [&parameters](double levelDba) {
        setParameter(parameters, parameterIds::ceilingDba, levelDba);
    };
    for (NumberField* const field : {&splField, &ceilingField})
        addAndMakeVisible(*field);
}

void HeadphoneRow::show(const AuditionSnapshot& snapshot)
{
    splField.show(snapshot.headphoneSplDb > 0.0 ? snapshot.headphoneSplDb : 80.0);
    ceilingField.show(snapshot.ceilingDba);
    if (const bool isKnownNow = snapshot.headphoneSplDb > 0.0; isKnownNow != isKnown) {
        isKnown = isKnownNow;
        ceilingField.setDescription(isKnown ? "Highest A-weighted level at the ear; it is kept."
                                            : ceilingDescription);
    }
}

void HeadphoneRow::paint(juce::Graphics& g)
{
    g.setColour(paletteOf(*this).mutedText);
    g.setFont(textFont(14.0F));
    g.drawText("at most", wordsArea, juce::Justification::centred, false);
}

void HeadphoneRow::resized()
{
    auto area = getLocalBounds().reduced(0, 1);
    ceilingField.setBounds(area.removeFromRight(78));
    wordsArea = area.removeFromRight(62);
    splField.setBounds(area);
}

} // namespace saddletone::gui
