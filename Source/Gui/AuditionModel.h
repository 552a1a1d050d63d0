#pragma once

#include "Core/Audition/AuditionLevels.h"
#include "Core/Audition/RideSound.h"
#include "Core/Audition/RoadAudibility.h"
#include "Core/Hearing/SessionExposure.h"
#include "Gui/SpeedUnit.h"
#include "Gui/TaskView.h"

#include <juce_audio_processors/juce_audio_processors.h>

#include <cstddef>
#include <memory>
#include <optional>
#include <vector>

namespace saddletone::gui {

class ProgrammeModel;
class SeatModel;

/** One candidate as the screens show it. */
struct CandidateView {
    juce::String name;
    /** Octave-band SPL at the ear, in dB, of pink noise at the reference programme level, as on
        the bike; one value for each of JobView::frequenciesHz. */
    std::vector<double> octaveSplDb;
    double matchGainDb = 0.0; ///< Added with audition::LevelMatch::equalLoudness.
};

/** A loaded job as the screens show it. */
struct JobView {
    juce::File folder;
    juce::String title;
    juce::String shop;
    juce::String bike;
    bool invented = false;
    bool isHeadphoneCorrected = false; ///< Music is corrected for the shop's headphones.
    bool isBinaural = false;           ///< Speakers are heard from where they stand.
    std::vector<double> frequenciesHz; ///< Ascending, 20 Hz to 20 kHz.
    std::vector<CandidateView> candidates;
    std::vector<juce::File> programmes;
};

/** What the loudness of candidates is compared with. */
enum class MatchBasis {
    pinkNoise, ///< No programme is known: it comes from the host or an input, or is silent.
    measuring, ///< Pink noise for those that are not measured yet.
    programme  ///< The file or region that is heard.
};

/** How far candidates are from each other. */
struct FairnessView {
    std::vector<double> differencesDb; ///< Re the first, at the same volume step.
    std::vector<double> matchGainsDb;  ///< Added with audition::LevelMatch::equalLoudness.
    MatchBasis basis = MatchBasis::pinkNoise;

    bool operator==(const FairnessView&) const = default;
};

/** The programme player; in a host the programme comes from the host and there is none. */
struct PlayerView {
    bool available = false;
    bool loaded = false;
    bool playing = false;
    bool looping = false;
    juce::String title;
    double positionSeconds = 0.0;
    double durationSeconds = 0.0;
};

/** Everything the screens need to know, at one moment. */
struct AuditionSnapshot {
    std::shared_ptr<const JobView> job; ///< Null: no job is open.
    std::size_t candidate = 0;          ///< Index of the one that is heard.
    audition::SceneRide ride;           ///< Of the job.
    audition::RideChoice choice;        ///< Of the listener.
    SpeedUnit speedUnit = SpeedUnit::mph;
    /** What of the programme remains on it; null: it is not known yet. */
    std::shared_ptr<const audition::RoadAudibility> road;
    /** The same of the last seconds, while a file plays; null otherwise. */
    std::shared_ptr<const audition::RoadAudibility> roadNow;
    audition::LevelMatch match = audition::LevelMatch::asOnTheBike;
    double noiseTrimDb = 0.0;
    double ceilingDbfs = -6.0;
    audition::AuditionLevels levels;
    audition::LevelSource levelSource = audition::LevelSource::assumed;
    /** Name of what the bike plays now whose own speakers are listened to; nothing: headphones
        are. */
    std::optional<juce::String> nowOnBike;
    bool isOverdriven = false; ///< The distortion of its speakers is heard.
    FairnessView fairness;     ///< One value for each candidate of the job.
    PlayerView player;
    double outputPeakDbfs = -400.0; ///< Largest of the last tenth of a second.
    double ceilingGainDb = 0.0;     ///< 0 = the ceiling does nothing.
    /** dB SPL at the ear of a full-scale sine; 0 = not known, and then there is no level there. */
    double headphoneSplDb = 0.0;
    double ceilingDba = 80.0;
    double earLevelDba = -400.0; ///< Behind all ceilings; of the last second.
    double guardGainDb = 0.0;    ///< What keeps that level at its ceiling; 0 = nothing does.
    /** Since the program began, as far as the level at the ear is known. */
    hearing::SessionExposure exposure;
    juce::String problem; ///< What went wrong last; empty = nothing.
    bool busy = false;    ///< A job or programme is being loaded.
    JobTaskView opening;  ///< That, where it takes longer than a moment; the programme first.
};

/** What the screens see of the program. All of it is for the message thread. */
class AuditionModel {
public:
    virtual ~AuditionModel() = default;

    [[nodiscard]] virtual juce::AudioProcessorValueTreeState& parameters() = 0;
    [[nodiscard]] virtual AuditionSnapshot snapshot() = 0;

    /** folder: a job folder, or the job.json in one. What is heard stays until it has loaded. */
    virtual void openJob(const juce::File& folder) = 0;
    virtual void openProgramme(const juce::File& file) = 0;
    /** Ends what AuditionSnapshot::opening tells of. What was heard before stays. */
    virtual void cancelOpening() = 0;
    virtual void play() = 0;
    virtual void pause() = 0;
    virtual void setLooping(bool shouldLoop) = 0;
    virtual void setPositionSeconds(double seconds) = 0;
    virtual void dismissProblem() = 0;

    /** Null where there is no list: in a host, whose track is the programme. */
    [[nodiscard]] virtual ProgrammeModel* programmes() { return nullptr; }

    /** Null where there is no seat to change. */
    [[nodiscard]] virtual SeatModel* seat() { return nullptr; }

    [[nodiscard]] virtual bool usesLightLook() const = 0;
    virtual void setUsesLightLook(bool light) = 0;
    /** What speeds are shown and entered in. */
    virtual void setSpeedUnit(SpeedUnit unit) = 0;

    /** False in a host, which has its own audio settings. */
    [[nodiscard]] virtual bool hasAudioSettings() const = 0;
    virtual void showAudioSettings() = 0;
};

} // namespace saddletone::gui
