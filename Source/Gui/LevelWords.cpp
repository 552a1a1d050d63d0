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

juce::String doseText(double percent)
{
    if (percent > 0.0 && percent < 0.1)
        return "below 0.1 %";
    return juce::String(percent, percent > 0.0 && percent < 9.95 ? 1 : 0) + " %";
}

/** What is done to the music for headphones and head. */
juce::String seatWords(const JobView& job)
{
    if (job.isHeadphoneCorrected)
        return job.isBinaural ? " (corrected, binaural)" : " (corrected)";
    return job.isBinaural ? " (binaural)" : "";
}

juce::String onThisBikeWords(const AuditionSnapshot& snapshot)
{
    const juce::String& heard = snapshot.job->candidates[snapshot.candidate].name;
    const bool isMeasured = snapshot.levelSource == audition::LevelSource::measured;
    return "What the speakers of this bike play: " + heard + " on a bike that plays "
           + *snapshot.nowOnBike + " now" + separator
           + "with loud music and its volume as measured "
           + wholeNumber(snapshot.levels.programmeSplDba) + " dB(A) at the head ("
           + (isMeasured ? "calibrated" : "assumed") + ")" + separator + "output "
           + wholeNumber(snapshot.levels.untouchedGainDb) + " dB, without noise or headphones";
}

} // namespace

juce::String levelWords(const AuditionSnapshot& snapshot)
{
    if (snapshot.job == nullptr)
        return "Levels are shown here once a job is open.";

    if (snapshot.nowOnBike)
        return onThisBikeWords(snapshot);
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

juce::String onThisBikeSafetyWords()
{
    return "Over the bike's own speakers: parked, engine off, its volume at the lowest first. Loud "
           "sound harms hearing, and boost can harm speakers.";
}

juce::String earLevelText(double levelDba)
{
    return levelDba < hearing::SessionExposure::quietDba ? juce::String("silent")
                                                         : wholeNumber(levelDba) + " dB(A)";
}

juce::String earLevelWords(const AuditionSnapshot& snapshot)
{
    if (!(snapshot.headphoneSplDb > 0.0))
        return {};
    return earLevelText(snapshot.earLevelDba) + ", dose "
           + doseText(snapshot.exposure.nioshDosePercent());
}

juce::String exposureWords(const hearing::SessionExposure& exposure)
{
    if (exposure.seconds() < 1.0)
        return "nothing yet";
    return wholeNumber(exposure.averageDba()) + " dB(A) on average over "
           + timeWords(exposure.seconds()) + ", " + doseText(exposure.nioshDosePercent())
           + " of a day by NIOSH (guidance)";
}

juce::String timeWords(double seconds)
{
    const auto whole = static_cast<int>(std::floor(std::max(0.0, seconds)));
    return juce::String(whole / 60) + ":" + juce::String(whole % 60).paddedLeft('0', 2);
}

juce::String safetyWords()
{
    return "Headphones: for parked listeners, never for riding. Loud sound harms hearing: start "
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
