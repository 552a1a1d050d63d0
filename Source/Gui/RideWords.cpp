#include "Gui/RideWords.h"

#include "Core/Dsp/OctaveBands.h"
#include "Gui/LevelWords.h"

#include <cmath>

namespace saddletone::gui {

namespace {

juce::String percent(double share)
{
    return juce::String(static_cast<int>(std::lround(100.0 * share))) + " %";
}

juce::String decibels(double levelDb)
{
    return juce::String(static_cast<int>(std::lround(levelDb))) + " dB";
}

juce::String times(double ratio)
{
    return ratio < 10.0 ? juce::String(ratio, 1)
                        : juce::String(static_cast<int>(std::lround(ratio)));
}

/** Runs of neighbouring bands that drown: "63 to 400 Hz, 8000 Hz". */
juce::String drownedBands(const hearing::Audibility& music)
{
    juce::StringArray runs;
    const auto drowns = [&music](std::size_t band) {
        return music.bands[band].inProgramme && music.bands[band].aboveDb < 0.0;
    };
    for (std::size_t band = 0; band < music.bands.size(); ++band) {
        if (!drowns(band))
            continue;
        std::size_t last = band;
        while (last + 1 < music.bands.size() && drowns(last + 1))
            ++last;
        juce::String run(dsp::nominalLabel(music.bands[band].frequencyHz));
        if (last > band)
            run << " to " << juce::String(dsp::nominalLabel(music.bands[last].frequencyHz));
        runs.add(run);
        band = last;
    }
    return runs.isEmpty() ? juce::String() : runs.joinIntoString(", ") + " Hz";
}

} // namespace

std::optional<FindingView> roadFinding(const AuditionSnapshot& snapshot)
{
    if (snapshot.job == nullptr)
        return FindingView {"Open a job to see what of the music remains on the road.", {}, false};
    if (snapshot.nowOnBike)
        return FindingView {
            "There is no ride: the bike's own speakers are listened to.",
            {"Choose headphones under Seat to hear what of the music remains on the road."},
            false};
    if (snapshot.road == nullptr)
        return std::nullopt;
    const audition::RoadAudibility& road = *snapshot.road;
    FindingView finding;
    const juce::String where =
        snapshot.choice.speedKmh < 0.5
            ? juce::String("Parked")
            : "At " + speedWords(snapshot.choice.speedKmh, snapshot.speedUnit);
    finding.headline = where + ": " + percent(road.music.shareOfScale)
                       + " of the music's range is heard, " + percent(road.music.loudness.share())
                       + " of its loudness.";
    if (const juce::String bands = drownedBands(road.music); bands.isNotEmpty())
        finding.sentences.add("Drowned: " + bands + ".");
    finding.sentences.add("Spoken word as loud: intelligibility index "
                          + juce::String(road.speech.index, 2)
                          + " of 1 (above 0.75 good, below 0.45 poor).");
    if (!road.music.overallGainDb) {
        finding.sentences.add("The music is too quiet to be heard even in silence.");
    } else if (const double gain = *road.music.overallGainDb; gain > 0.5) {
        finding.sentences.add(
            "To just hear 80 % of the range: " + decibels(gain) + " more volume, which takes "
            + times(road.powerRatio)
            + " times the amplifier power. More than amplifier and speakers are made for harms "
              "them.");
    } else {
        finding.sentences.add("80 % of the range is heard with " + decibels(std::max(0.0, -gain))
                              + " to spare.");
    }
    if (snapshot.levels.noise.totalDba > dsp::silenceDb) {
        juce::StringArray parts;
        const auto add = [&parts](const char* name, double levelDba) {
            if (levelDba > dsp::silenceDb)
                parts.add(juce::String(name) + " "
                          + juce::String(static_cast<int>(std::lround(levelDba))));
        };
        add("wind", snapshot.levels.noise.windDba);
        add("tyres", snapshot.levels.noise.tyreDba);
        add("engine", snapshot.levels.noise.engineDba);
        if (!parts.isEmpty())
            finding.sentences.add("The noise at the ear, dB(A): " + parts.joinIntoString(", ")
                                  + ".");
        if (snapshot.ride.recorded != nullptr)
            finding.sentences.add(
                juce::String(snapshot.ride.recorded->placeSentence(snapshot.choice.speedKmh)));
        juce::StringArray lines;
        lines.addLines(juce::String(hearing::exposureGuidance(road.exposure, road.dose)));
        lines.removeEmptyStrings();
        finding.sentences.add("One hour of it, by the NIOSH criterion:");
        finding.sentences.addArray(lines);
    }
    const double roadDba = dsp::powerToDb(dsp::dbToPower(snapshot.levels.programmeSplDba)
                                          + dsp::dbToPower(snapshot.levels.noise.totalDba));
    const auto whole = [](double level) {
        return juce::String(static_cast<int>(std::lround(level)));
    };
    juce::String here = "Here music and noise have the same ratio as on the road, but not its "
                        "level of "
                        + whole(roadDba) + " dB(A): ";
    if (snapshot.headphoneSplDb > 0.0) {
        const double earDba =
            std::min(snapshot.levels.outputDbfsA + snapshot.headphoneSplDb, snapshot.ceilingDba);
        here << "in the headphones they are at " << whole(earDba) << " dB(A), "
             << whole(roadDba - earDba) << " dB below it.";
    } else {
        here << "in the headphones they are at " << whole(snapshot.levels.outputDbfsA)
             << " dBFS(A); how far below the road that is, a known headphone level would say.";
    }
    finding.sentences.add(here);
    finding.sentences.add(
        "All of this is an estimate, for steady sound and young, healthy ears"
        + juce::String(audition::isNoiseMeasured(snapshot.ride)
                           ? "."
                           : "; the level of the noise may be 4 dB off and more."));
    return finding;
}

FindingView noiseFinding(const AuditionSnapshot& snapshot)
{
    FindingView finding;
    finding.headline =
        snapshot.ride.recorded != nullptr ? "The noise was recorded." : "The noise is a model.";
    for (const dsp::ModelFigure& figure : audition::noiseFigures(snapshot.ride, snapshot.choice))
        finding.sentences.add(juce::String::fromUTF8(figure.name.c_str()) + ": "
                              + juce::String::fromUTF8(figure.value.c_str()) + " ("
                              + juce::String(std::string(dsp::figureStatusName(figure.status)))
                              + ": " + juce::String::fromUTF8(figure.source.c_str()) + ")");
    return finding;
}

} // namespace saddletone::gui
