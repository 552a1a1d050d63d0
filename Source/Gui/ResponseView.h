#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/FrequencyPlot.h"
#include "Gui/LineStyles.h"

#include <optional>
#include <vector>

namespace saddletone::gui {

/** What reaches the rider's ear over frequency: the candidates as curves, the noise of the
    ride as a hatched area. What of a curve lies in the hatched area drowns.
    A ribbon above them says, band by band, what of the music is heard (solid) and what drowns
    (hatched): of the last seconds while a file plays, else of all of it. */
class ResponseView final : public juce::Component {
public:
    ResponseView();

    void show(const AuditionSnapshot& snapshot);

    void paint(juce::Graphics& g) override;
    void resized() override { outlines.clear(); }

private:
    /** A candidate's curve as it is filled, at no offset. */
    struct Outline {
        juce::Path wide;
        juce::Path narrow; ///< Of the one that is heard, over the wide one.
        bool isOfHeard = false;
    };

    [[nodiscard]] FrequencyPlot plot() const;
    /** By how much a candidate's curve is moved, in decibels. */
    [[nodiscard]] double offsetDbOf(std::size_t index) const;
    /** Made anew where it is not kept; a move up or down needs no new one. */
    [[nodiscard]] const Outline& outlineOf(const FrequencyPlot& axes, std::size_t index);
    /** Where a spectrum of the ride's noise is drawn in a band. */
    [[nodiscard]] static juce::Point<float> noisePoint(const FrequencyPlot& axes,
                                                       const hearing::ThirdOctaveSpectrum& spectrum,
                                                       std::size_t band);
    /** Has drawn again what differs where one noise is shown after another. */
    void repaintBetween(const hearing::ThirdOctaveSpectrum& one,
                        const hearing::ThirdOctaveSpectrum& other);
    void drawRibbon(juce::Graphics& g, const FrequencyPlot& axes);
    void drawNoise(juce::Graphics& g, const FrequencyPlot& axes);
    void drawCurves(juce::Graphics& g, const FrequencyPlot& axes);
    void drawLegend(juce::Graphics& g) const;
    void drawNoiseLabel(juce::Graphics& g, const FrequencyPlot& axes) const;

    std::shared_ptr<const JobView> job;
    std::size_t heard = 0;
    audition::LevelMatch match = audition::LevelMatch::asOnTheBike;
    std::vector<double> matchGainsDb;
    audition::SceneRide ride;
    audition::RideChoice choice;
    double noiseTrimDb = 0.0;
    double programmeOffsetDb = 0.0; // of the radio and of plugs
    bool hasNoise = false;
    std::shared_ptr<const audition::RoadAudibility> road; // of the moment while something plays
    bool isOfMoment = false;
    hearing::ThirdOctaveSpectrum noise; // at the ear inside plugs

    std::vector<std::optional<Outline>> outlines; // one a candidate, of this job and size
    KeptHatching noiseHatching;
    KeptHatching ribbonHatching;
};

} // namespace saddletone::gui
