#include "Gui/LevelWords.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

const juce::String separator = juce::String::fromUTF8(" \xc2\xb7 ");

/** A whole number with a true minus sign. */
juce::String wholeNumber(double value)
{
    const auto rounded = static_cast<int>(std::lround(value));
    return rounded < 0 ? juce::String::fromUTF8("\xe2\x88\x92") + juce::String(-rounded)
                       : juce::String(rounded);
}

juce::String signedNumber(double value)
{
    return (std::lround(value) > 0 ? "+" : "") + wholeNumber(value);
}

juce::String balanceWords(double programmeOverNoiseDb)
{
    const auto difference = std::lround(programmeOverNoiseDb);
    if (difference == 0)
        return "music and noise are equally strong";
    const juce::String amount(static_cast<int>(std::abs(difference)));
    return "music is " + amount + " dB " + (difference < 0 ? "below" : "above") + " the noise";
}

/** What is done to the music for headphones and head. */
juce::String seatWords(const JobView& job)
{
    if (job.isHeadphoneCorrected)
        return job.isBinaural ? " (corrected, binaural)" : " (corrected)";
    return job.isBinaural ? " (binaural)" : "";
}

} // namespace

juce::String levelWords(const AuditionSnapshot& snapshot)
{
    if (snapshot.job == nullptr)
        return "Levels are shown here once a job is open.";

    const audition::AuditionLevels& levels = snapshot.levels;
    const bool isMeasured = snapshot.levelSource == audition::LevelSource::measured;
    juce::String words = "On the bike, at the ear: music " + wholeNumber(levels.programmeSplDba)
                         + " dB(A) (" + (isMeasured ? "calibrated" : "assumed") + ")";
    if (levels.radioGainDb != 0.0)
        words << ", radio " << signedNumber(levels.radioGainDb) << " dB";
    if (snapshot.isOverdriven)
        words << ", with distortion as measured";
    if (levels.noise.totalDba <= dsp::silenceDb) {
        words << separator << "parked: no noise";
    } else {
        words << separator << "noise " << wholeNumber(levels.noise.totalDba) << " dB(A)";
        if (audition::isNoiseMeasured(snapshot.ride))
            words << " (recorded";
        else
            words << juce::String::fromUTF8(" \xc2\xb1 ") << wholeNumber(ride::windSpreadDb)
                  << " dB (estimate";
        if (std::lround(snapshot.noiseTrimDb) != 0)
            words << ", trimmed by " << wholeNumber(snapshot.noiseTrimDb) << " dB";
        words << ")" << separator << balanceWords(levels.programmeSplDba - levels.noise.totalDba);
    }
    words << separator << "to the headphones" << seatWords(*snapshot.job) << ": ";
    // How loud that is depends on the headphones.
    if (snapshot.headphoneSplDb > 0.0)
        words << wholeNumber(
            std::min(levels.outputDbfsA + snapshot.headphoneSplDb, snapshot.ceilingDba))
              << " dB(A) at the ear, at most " << wholeNumber(snapshot.ceilingDba);
    else
        words << wholeNumber(levels.outputDbfsA) << " dBFS(A), their SPL is not known";
    return words;
}

juce::String timeWords(double seconds)
{
    const auto whole = static_cast<int>(std::floor(std::max(0.0, seconds)));
    return juce::String(whole / 60) + ":" + juce::String(whole % 60).paddedLeft('0', 2);
}

juce::String safetyWords()
{
    return "Headphones are for a parked listener, never for riding. Loud sound harms hearing: "
           "start "
           "quiet. Levels are estimates unless calibrated.";
}

juce::String benchSafetyWords()
{
    return "Test signals can damage speakers and hearing: start at the lowest volume, wear ear "
           "plugs "
           "near a loud bike, keep bystanders away.";
}

juce::String firstStartWords()
{
    return "The output starts quiet. Put the headphones on first, then turn it up slowly; Esc "
           "makes "
           "it quiet at once.\n\n"
           "Loud sound harms hearing, and headphones can be louder than they seem.\n\n"
           "Headphones are for a parked listener. Never ride with them; what local law says about "
           "sound on a motorcycle comes before anything shown here.\n\n"
           "Levels are estimates unless they are marked as calibrated.";
}

} // namespace saddletone::gui
