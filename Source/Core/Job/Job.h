#pragma once

#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/InnerPath.h"
#include "Core/Measure/GroupedStates.h"
#include "Core/Measure/Response.h"
#include "Core/Measure/StateOrigin.h"
#include "Core/Report/SpeedUnits.h"
#include "Core/Ride/Helmet.h"
#include "Core/Seat/HeadphoneCalibration.h"
#include "Core/Seat/SpeakerPlaces.h"
#include "Core/Tuning/Tuning.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::job {

inline constexpr std::string_view jobFileName = "job.json";
inline constexpr std::string_view previousFileName = "job.previous.json";

/** Where a state comes from that was measured on another bike, in another job. */
struct OtherBike {
    std::string jobTitle;
    std::string bike;    ///< In words, as that job has it; empty = it does not say.
    std::string stateId; ///< In that job.
    std::string date;    ///< ISO 8601; empty = not known.

    bool operator==(const OtherBike&) const = default;
};

/** A measured state that a job refers to. */
struct JobState {
    std::string id;   ///< Unique in the job: letters, digits, '-' and '_'.
    std::string file; ///< STATE.json, relative to the job folder; never leaves it.
    /** Nothing: it was measured on the job's own bike. */
    std::optional<OtherBike> measuredElsewhere {};

    bool operator==(const JobState&) const = default;
};

/** Something to listen to: a state and perhaps a tuning. */
struct JobCandidate {
    std::string name;
    std::string stateId;
    std::string tuningFile; ///< TUNING.json, relative to the job folder; empty = as measured.
    /** Speed volume of its radio, relative to the job folder; empty = it does not follow speed. */
    std::string speedVolumeFile {};
    /** MODEL.json of how its speakers distort, relative to the job folder; empty = linear. */
    std::string overdriveFile {};
    /** The other states, where it is put together from speaker groups that were measured one by one;
        stateId is the first of them. */
    std::vector<std::string> groupStateIds {};
    measure::GroupSum groupSum = measure::GroupSum::timed;
    /** What the shop proposes to the customer; at most one candidate of a job. */
    bool isProposed = false;

    /** stateId, and the groups' behind it. */
    [[nodiscard]] std::vector<std::string> allStateIds() const;

    bool operator==(const JobCandidate&) const = default;
};

/** The bike's own noise, and where the ride of an audition starts. */
struct JobRide {
    double speedKmh = 0.0; ///< 0 to 250.
    ride::Helmet helmet = ride::Helmet::fullFace;
    ride::Screen screen = ride::Screen::none;
    ride::EarPlugs earPlugs = ride::EarPlugs::none;
    audition::EngineNoise engineNoise = audition::EngineNoise::whenRiding;
    std::string bike = "touring-twin"; ///< Of ride::drivetrainTable.
    std::string engine = "v-twin-45";  ///< An engine preset's name.
    /** Of every cylinder within 720 degrees, in place of the preset's; empty: the preset's. */
    std::vector<double> firingAnglesDegrees {};
    double measuredRpm = 0.0; ///< 200 to 20000; 0: from speed and gear.
    /** NOISE.json of recordings, relative to the job folder; empty: the noise is modelled. */
    std::string recordedNoiseFile {};
    /** See audition::SceneRequest; an assumption unless the states are calibrated. */
    double assumedProgrammeSplDba = 90.0;

    bool operator==(const JobRide&) const = default;
};

/** The listener's seat in the shop; files are relative to the job folder, empty where there is none.
    See seat::SeatSettings. */
struct JobSeat {
    std::string headphoneResponseFile;
    std::string headphoneTargetFile;
    bool isBinaural = false;
    std::string headSetFile;              ///< SOFA; empty: the set that libmysofa's package ships.
    std::string headphoneCalibrationFile; ///< HEADPHONE.json.
    seat::SpeakerPlaces places {};

    bool operator==(const JobSeat&) const = default;
};

/** How the customer's report shows a job. */
struct JobReportStyle {
    static constexpr std::size_t mostSpeeds = 3;
    /** Ascending, 0 to 250, at most mostSpeeds; empty: parked, and two that a rider of these units
        knows. */
    std::vector<double> speedsKmh {};
    report::SpeedUnits speedUnits = report::SpeedUnits::both;

    bool operator==(const JobReportStyle&) const = default;
};

/** What the cost of the proposal is worked out with; the speaker is the first file of the job's
    folder "speakers". */
struct JobCost {
    double amplifierWatts = 0.0; ///< Sine power of a channel, 1 to 2000; 0: not known.
    double plannedSplDb = 90.0;  ///< See tuning::CostRequest.
    double distanceMetres = 0.8; ///< The same.

    bool operator==(const JobCost&) const = default;
};

/** One bike of one customer: a folder with job.json and the files it names. */
struct Job {
    std::filesystem::path folder;
    std::string title;
    std::string shop;
    std::string bike;
    std::string question;  ///< What the customer wants to know; empty: the usual question.
    bool invented = false; ///< Demo data; shown wherever the job is shown.
    std::vector<JobState> states;
    std::vector<JobCandidate> candidates; ///< At most audition::maxCandidates.
    std::vector<std::string> programmes;  ///< Audio files, relative to the job folder.
    JobRide ride;
    JobSeat seat;
    JobReportStyle report;
    JobCost cost;
    /** The document as read, none of a new job; keys that this version does not know are written
        back. */
    std::shared_ptr<const nlohmann::json> document {};
    /** CRC-32 of job.json as it was read or last saved: what saveJob() expects to find. Empty: there
        was none. */
    std::string storedChecksum {};
    /** What was wrong when it was opened and could be put right, to be shown; not stored. */
    std::vector<std::string> warnings {};
};

inline constexpr int jobSchemaVersion = 1;

/** Reads and checks FOLDER/job.json; does not open the files it names. Where job.json is missing or
    no JSON any more, its previous version is read, and a warning says so. */
[[nodiscard]] dsp::Result<Job> loadJob(const std::filesystem::path& folder);

/** The same of a job.json's text; source names it in messages. */
[[nodiscard]] dsp::Result<Job> jobFromText(const std::string& text, const std::string& source,
                                           const std::filesystem::path& folder);

/** What saveJob() does where job.json is not what the job was read from. */
enum class SaveRule {
    refuseChanged,
    overwriteChanged, ///< The user was asked.
};

/** Writes job.json by write-temp, fsync, rename; the previous version stays as job.previous.json, a
    damaged one as job.damaged-1.json, -2 ... Makes the folder if needed. Refused: another process
    has the right to write (see JobLock); job.json has changed since it was read, or has gone with its
    disk. */
[[nodiscard]] dsp::Result<void> saveJob(Job& job, SaveRule rule = SaveRule::refuseChanged);

/** Fails unless the speeds of a report rise, from 0 to 250 km/h, and are at most
    JobReportStyle::mostSpeeds. */
[[nodiscard]] dsp::Result<void> checkReportSpeeds(std::span<const double> speedsKmh);

/** The modelled ride of a job; fails if a name or an angle is not known. */
[[nodiscard]] dsp::Result<ride::RideParameters> rideParameters(const JobRide& ride);

/** What a listener to the job starts with. */
[[nodiscard]] audition::RideChoice rideChoice(const JobRide& ride) noexcept;

/** Loads what the job's candidates name: everything a scene is built from. */
[[nodiscard]] dsp::Result<audition::SceneRequest> loadSceneRequest(const Job& job);

/** The job's seat with its files as they were read; null if there is nothing to do for it. */
[[nodiscard]] dsp::Result<std::shared_ptr<const seat::ListenerSeat>>
loadListenerSeat(const Job& job);

/** How loud the job's headphones play; nothing if it does not say. */
[[nodiscard]] dsp::Result<std::optional<seat::HeadphoneCalibration>> loadHeadphones(const Job& job);

/** A name that no state of the job and no file FOLDER/subfolder/NAME.json has yet: wanted, with '-'
    for whatever is not a letter, digit or '_', and a number behind it where that is taken. */
[[nodiscard]] std::string freeName(const Job& job, const std::string& subfolder,
                                   const std::string& wanted);

/** What addState() did. */
struct AddedState {
    std::string id;
    bool isCandidate = false; ///< False: there are audition::maxCandidates already.
};

/** Copies a response (and a tuning, where there is one) into the job's folder under names like
    wantedId, makes it a candidate if there is room, and saves the job. On failure the job is as it
    was, here and on the disk. */
[[nodiscard]] dsp::Result<AddedState>
addState(Job& job, const measure::Response& response, const std::string& wantedId,
         const std::string& candidateName, const std::optional<tuning::Tuning>& tuning = {},
         const measure::StateOrigin& origin = {}, const std::optional<OtherBike>& otherBike = {});

/** A response to be copied into a job, and the id it is to have. */
struct StateToAdd {
    measure::Response response;
    std::string wantedId;
    measure::StateOrigin origin {};
    std::optional<OtherBike> measuredElsewhere {};
};

/** The same for a candidate of speaker groups that were measured one by one. Refused, beside what
    measure::groupStates() does: a job without room for another candidate. Returns the ids. */
[[nodiscard]] dsp::Result<std::vector<std::string>>
addGroups(Job& job, const std::vector<StateToAdd>& states, measure::GroupSum sum,
          const std::string& candidateName, const std::optional<tuning::Tuning>& tuning = {});

/** Writes a tuning's document (see tuning::tuningToJson()) into the job's folder under a name like
    wanted that no file has yet. Returns its path relative to the folder, for a candidate to name;
    job.json stays as it is. */
[[nodiscard]] dsp::Result<std::string> storeTuning(const Job& job, const nlohmann::json& tuning,
                                                   const std::string& wanted);

/** Opens everything the job names; returns one line a problem, none if all is well. */
[[nodiscard]] std::vector<std::string> checkJob(const Job& job);

/** Of every path that a job names. */
using files::resolveInside;

} // namespace saddletone::job
