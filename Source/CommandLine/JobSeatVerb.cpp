#include "CommandLine/FileArguments.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Job/SeatStore.h"
#include "Core/Measure/CalibrationRecord.h"
#include "Core/Seat/SeatWords.h"

#include <algorithm>
#include <array>
#include <memory>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using Outcome = std::variant<Output, Failure>;

struct JobSeatOptions {
    std::string folder;
    std::string headphones;
    std::string target;
    std::string level;
    double splDb = 0.0;
    std::string binaural;
    std::string headSet;
    seat::SpeakerPlaces places;
    double frontMetres = 0.0;
    double rearMetres = 0.0;
    std::vector<std::string> cleared;
    const CLI::App* verb = nullptr;

    [[nodiscard]] bool has(const char* option) const
    {
        return verb->get_option(option)->count() > 0;
    }
    [[nodiscard]] bool clears(const std::string& what) const
    {
        return std::ranges::find(cleared, what) != cleared.end()
               || std::ranges::find(cleared, "all") != cleared.end();
    }
};

constexpr std::array placeOptions {"--front-azimuth", "--front-elevation", "--front-distance",
                                   "--rear-azimuth",  "--rear-elevation",  "--rear-distance"};

/** What can be cleared, and the options that set it. */
const std::vector<std::pair<std::string, std::vector<const char*>>>& clearable()
{
    static const std::vector<std::pair<std::string, std::vector<const char*>>> table {
        {"headphones", {"--headphones", "--target"}},
        {"target", {"--target"}},
        {"level", {"--level", "--spl"}},
        {"head-set", {"--head-set"}},
        {"places", {placeOptions.begin(), placeOptions.end()}}};
    return table;
}

/** What the options ask for, on top of the places that the job has. */
job::SeatChange changeOf(const JobSeatOptions& options, const seat::SpeakerPlaces& before)
{
    job::SeatChange change;
    const auto file = [&](const char* option, const std::string& what,
                          const std::string& value) -> std::optional<std::filesystem::path> {
        if (options.clears(what))
            return std::filesystem::path();
        return options.has(option) ? std::optional<std::filesystem::path>(value) : std::nullopt;
    };
    change.headphoneResponse = file("--headphones", "headphones", options.headphones);
    change.headphoneTarget = file("--target", "target", options.target);
    change.headphoneCalibration = file("--level", "level", options.level);
    change.headSet = file("--head-set", "head-set", options.headSet);
    if (options.has("--spl"))
        change.headphoneSplDb = options.splDb;
    if (options.has("--binaural"))
        change.isBinaural = options.binaural == "on";
    else if (options.clears("all"))
        change.isBinaural = false;
    if (options.clears("places")) {
        change.places = seat::SpeakerPlaces {};
    } else if (std::ranges::any_of(placeOptions,
                                   [&](const char* option) { return options.has(option); })) {
        seat::SpeakerPlaces places = before;
        if (options.has("--front-azimuth"))
            places.front.azimuthDegrees = options.places.front.azimuthDegrees;
        if (options.has("--front-elevation"))
            places.front.elevationDegrees = options.places.front.elevationDegrees;
        if (options.has("--front-distance"))
            places.frontMetres = options.frontMetres;
        if (options.has("--rear-azimuth"))
            places.rear.azimuthDegrees = options.places.rear.azimuthDegrees;
        if (options.has("--rear-elevation"))
            places.rear.elevationDegrees = options.places.rear.elevationDegrees;
        if (options.has("--rear-distance"))
            places.rearMetres = options.rearMetres;
        change.places = places;
    }
    return change;
}

nlohmann::json placeJson(const seat::Direction& direction, const std::optional<double>& metres)
{
    return {{"azimuthDegrees", direction.azimuthDegrees},
            {"elevationDegrees", direction.elevationDegrees},
            {"distanceMetres", metres ? nlohmann::json(*metres) : nlohmann::json()}};
}

Output describe(const JobSeatOptions& options, const job::StoredSeat& stored, bool isChanged)
{
    const auto sentences = seat::seatSentences(stored.listener.get(), stored.headphones);
    const auto fileOrNull = [](const std::string& file) {
        return file.empty() ? nlohmann::json() : nlohmann::json(file);
    };
    const job::JobSeat& seat = stored.seat;
    Output output;
    output.text = options.folder + (isChanged ? ": the seat is now\n" : ": the seat\n");
    for (const std::string& sentence : sentences)
        output.text += "- " + sentence + "\n";
    if (!seat.headSetFile.empty() && !seat.isBinaural)
        output.text +=
            "- The head set '" + seat.headSetFile + "' is kept, and heard with --binaural on.\n";
    const bool isCorrected = stored.listener != nullptr && stored.listener->isCorrected();
    output.json = {{"headphoneResponseFile", fileOrNull(seat.headphoneResponseFile)},
                   {"headphoneIsInvented", isCorrected && stored.listener->isHeadphoneInvented},
                   {"headphoneTargetFile", fileOrNull(seat.headphoneTargetFile)},
                   {"headphoneCalibrationFile", fileOrNull(seat.headphoneCalibrationFile)},
                   {"headphoneSplDb", stored.headphones
                                          ? nlohmann::json(stored.headphones->splAtFullScaleDb())
                                          : nlohmann::json()},
                   {"isBinaural", seat.isBinaural},
                   {"headSetFile", fileOrNull(seat.headSetFile)},
                   {"headSet", stored.listener != nullptr && stored.listener->isBinaural()
                                   ? nlohmann::json(stored.listener->head->description)
                                   : nlohmann::json()},
                   {"speakerPlaces",
                    {{"front", placeJson(seat.places.front, seat.places.frontMetres)},
                     {"rear", placeJson(seat.places.rear, seat.places.rearMetres)}}},
                   {"sentences", sentences},
                   {"isChanged", isChanged}};
    return output;
}

Outcome runJobSeat(const JobSeatOptions& options)
{
    for (const auto& [what, setters] : clearable())
        for (const char* setter : setters)
            if (options.clears(what) && options.has(setter))
                return usageFailure("--clear " + what + " and " + setter
                                    + " say the opposite; give one of them");
    const auto job = loadJobArgument(options.folder);
    if (!job)
        return inputFailure(job.error());
    const bool isChange =
        !options.cleared.empty() || options.has("--headphones") || options.has("--target")
        || options.has("--level") || options.has("--spl") || options.has("--binaural")
        || options.has("--head-set") || std::ranges::any_of(placeOptions, [&](const char* option) {
               return options.has(option);
           });
    if (isChange) {
        const auto stored = job::changeSeat(options.folder, changeOf(options, job->seat.places),
                                            measure::todayUtc());
        if (!stored)
            return inputFailure(stored.error());
        return describe(options, *stored, true);
    }
    auto listener = job::loadListenerSeat(*job);
    if (!listener)
        return inputFailure(listener.error());
    auto headphones = job::loadHeadphones(*job);
    if (!headphones)
        return inputFailure(headphones.error());
    return describe(options, {job->seat, *std::move(listener), *std::move(headphones)}, false);
}

} // namespace

void addJobSeatVerb(CLI::App& job, Shared& shared)
{
    auto options = std::make_shared<JobSeatOptions>();
    CLI::App* verb =
        addVerb(job, "seat",
                "Set the listener's headphones and head in the job; what is not given stays, and "
                "without options it says what is set");
    options->verb = verb;
    addOption(*verb, "folder", options->folder, "Folder of the job")->required();
    addOption(*verb, "--headphones", options->headphones,
              "Table of the headphones' response; is copied into the job");
    addOption(*verb, "--target", options->target,
              "Table that the headphones are to have; is copied into the job");
    auto* level = addOption(*verb, "--level", options->level,
                            "HEADPHONE.json of headphone-level; is copied into the job");
    addOption(*verb, "--spl", options->splDb,
              "In place of it: dB SPL that 0 dBFS makes in the headphones, above 80 to 140")
        ->check(withinRange(seat::lowestHeadphoneSplDb, seat::highestHeadphoneSplDb))
        ->excludes(level);
    addOption(*verb, "--binaural", options->binaural,
              "on: speakers are heard from where they stand; off")
        ->check(oneOf({"on", "off"}));
    addOption(*verb, "--head-set", options->headSet,
              "SOFA file of a head, SimpleFreeFieldHRIR; is copied into the job (default: "
              "the set that libmysofa ships)");
    const auto addPlace = [&](const std::string& which, seat::Direction& direction,
                              double& metres) {
        addOption(*verb, "--" + which + "-azimuth", direction.azimuthDegrees,
                  "Where the left " + which
                      + " speaker stands, in degrees: 0 ahead, 90 at the left ear, 180 "
                        "behind; the right one mirrors it")
            ->check(withinRange(0.0, 180.0));
        addOption(*verb, "--" + which + "-elevation", direction.elevationDegrees,
                  "Its elevation in degrees: below 0 is lower than the ears")
            ->check(withinRange(-90.0, 90.0));
        addOption(*verb, "--" + which + "-distance", metres,
                  "Its distance from the middle of the head in m (default: that of the "
                  "head set)")
            ->check(withinRange(seat::nearestSpeakerMetres, seat::farthestSpeakerMetres));
    };
    addPlace("front", options->places.front, options->frontMetres);
    addPlace("rear", options->places.rear, options->rearMetres);
    addOption(*verb, "--clear", options->cleared,
              "Take out of the job: headphones (with their target), target, level, "
              "head-set, places or all; may be given more than once")
        ->check(oneOf({"headphones", "target", "level", "head-set", "places", "all"}));
    verb->callback(
        [options, &shared] { shared.action = [options] { return runJobSeat(*options); }; });
}

} // namespace saddletone::commandline
