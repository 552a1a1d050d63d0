#include "CommandLine/FileArguments.h"
#include "CommandLine/JobArgument.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Audition/TakeHome.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <limits>
#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct TakeHomeOptions {
    std::string job;
    std::string programme;
    std::string out;
    double fromSeconds = 0.0;
    double toSeconds = 0.0; ///< 0: to the end.
    double speedKmh = 0.0;
    double speedMph = 0.0;
    bool hasKmh = false;
    bool hasMph = false;
    std::string helmet; ///< Empty: as the job says.
    bool programmeOnly = false;
    std::string match = "loudness";
    std::string format = "flac";
    double level = -12.0;
    double ceiling = -6.0;
    double headphoneSpl = 0.0;
    double ceilingDba = 80.0;
    double noiseTrim = 0.0;
    std::uint64_t seed = 1;
    bool withCorrection = false;
};

/** Today by the system's clock, ISO 8601. */
std::string today()
{
    const std::chrono::year_month_day date(
        std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now()));
    const auto twoDigits = [](unsigned value) {
        std::string text = value < 10 ? "0" : "";
        text += std::to_string(value);
        return text;
    };
    return std::to_string(static_cast<int>(date.year())) + "-"
           + twoDigits(static_cast<unsigned>(date.month())) + "-"
           + twoDigits(static_cast<unsigned>(date.day()));
}

/** Cuts audio to a part; false if nothing of it is in it. */
bool cut(dsp::AudioBuffer& audio, double fromSeconds, double toSeconds)
{
    const auto frameOf = [&](double seconds) {
        return static_cast<std::size_t>(std::min(std::round(seconds * audio.sampleRate),
                                                 static_cast<double>(audio.numFrames())));
    };
    const std::size_t begin = frameOf(fromSeconds);
    const std::size_t end = toSeconds > 0.0 ? frameOf(toSeconds) : audio.numFrames();
    if (begin >= end)
        return false;
    for (auto& channel : audio.channels) {
        channel.resize(end);
        channel.erase(channel.begin(), channel.begin() + static_cast<std::ptrdiff_t>(begin));
    }
    return true;
}

std::variant<Output, Failure> runTakeHome(const TakeHomeOptions& options)
{
    if (options.match != "loudness" && options.match != "road")
        return usageFailure("--match takes loudness or road, not '" + options.match + "'");
    const auto fileType = files::parseFileType(options.format);
    if (!fileType || *fileType == files::FileType::mp3)
        return usageFailure("--format takes flac or wav, not '" + options.format + "'");
    const auto job = loadJobArgument(options.job);
    if (!job)
        return inputFailure(job.error());
    if (options.programme.empty() && job->programmes.empty())
        return usageFailure("the job names no programme; give one with --programme FILE");
    auto scene = job::loadSceneRequest(*job);
    if (!scene)
        return inputFailure(scene.error());

    audition::TakeHomeRequest request;
    request.scene = *std::move(scene);
    if (!options.helmet.empty()) {
        const auto helmet = ride::parseHelmet(options.helmet);
        if (!helmet)
            return usageFailure(helmet.error().message);
        request.scene.ride.parameters.helmet = *helmet;
    }
    std::filesystem::path programme = options.programme;
    if (options.programme.empty()) {
        const auto inside = job::resolveInside(job->folder, job->programmes.front());
        if (!inside)
            return inputFailure(inside.error());
        programme = *inside;
    }
    auto audio = files::readAudioFile(programme, {.maxSeconds = 1800.0, .maxChannels = 2});
    if (!audio)
        return inputFailure(audio.error());
    request.programme = *std::move(audio);
    if (!cut(request.programme, options.fromSeconds, options.toSeconds))
        return usageFailure("nothing of '" + programme.string() + "' lies between --from and --to");
    request.programmeName = programme.stem().string();
    request.title = job->title;
    request.shop = job->shop;
    request.bike = job->bike;
    request.date = today();
    request.invented =
        job->invented || std::ranges::any_of(request.scene.candidates, [](const auto& candidate) {
            return candidate.response.invented;
        });
    request.parameters.ride = job::rideChoice(job->ride);
    request.parameters.ride.speedKmh = options.hasMph   ? dsp::mphToKmh(options.speedMph)
                                       : options.hasKmh ? options.speedKmh
                                                        : job->ride.speedKmh;
    request.parameters.noiseTrimDb = options.noiseTrim;
    request.parameters.outputLevelDb = options.level;
    request.parameters.ceilingDbfs = options.ceiling;
    request.parameters.headphoneSplAtFullScaleDb = options.headphoneSpl;
    request.parameters.ceilingDba = options.ceilingDba;
    if (options.programmeOnly)
        request.parameters.monitor = audition::Monitor::programmeOnly;
    request.parameters.match = options.match == "loudness" ? audition::LevelMatch::equalLoudness
                                                           : audition::LevelMatch::asOnTheBike;
    request.settings.noiseSeed = options.seed;
    request.keepsCorrection = options.withCorrection;
    if (options.withCorrection
        && (request.scene.seat == nullptr || !request.scene.seat->isCorrected()))
        return usageFailure("--with-correction needs headphones that the job corrects; name them "
                            "with: saddletone job seat "
                            + options.job + " --headphones TABLE");
    request.fileType = *fileType;
    request.folder = options.out;

    int shownTenths = -1;
    const auto written = audition::writeTakeHome(request, [&](double share) {
        if (const int tenths = static_cast<int>(10.0 * share); tenths != shownTenths) {
            shownTenths = tenths;
            showProgress(std::to_string(10 * tenths) + " %");
        }
        return true;
    });
    if (!written)
        return inputFailure(written.error());

    Output output;
    output.json = {{"card", written->card.string()}, {"files", nlohmann::json::array()}};
    for (const audition::TakeHomeFile& file : written->files) {
        output.text += file.file.string() + ": " + file.candidate + ", "
                       + fixedText(file.loudnessLufs, 1) + " LUFS, true peak "
                       + fixedText(file.truePeakDbtp, 1) + " dBTP\n";
        output.json["files"].push_back(
            {{"file", file.file.string()},
             {"candidate", file.candidate},
             {"asItIsNow", file.isAsItIsNow},
             {"programmeSplDba", file.levels.programmeSplDba},
             {"programmeLevelSource",
              file.levelSource == audition::LevelSource::measured ? "measured" : "assumed"},
             {"differenceDb", file.differenceDb},
             {"matchGainDb", file.matchGainDb},
             {"loudnessLufs", file.loudnessLufs},
             {"truePeakDbtp", file.truePeakDbtp},
             {"limiterLeftOut", file.hasLimiterLeftOut}});
    }
    output.text += written->card.string() + ": what they are; give it along\n"
                   + "Listen parked, over headphones, and start quietly.\n";
    return output;
}

} // namespace

void addTakeHomeVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<TakeHomeOptions>();
    CLI::App* verb = addVerb(
        app, "take-home", "Render all candidates of a job as files for the customer, with a card");
    addOption(*verb, "--job", options->job, "Folder of the job")->required();
    addOption(*verb, "--out", options->out, "Folder to write to")->required();
    addOption(*verb, "--programme", options->programme,
              "Music to hear (WAV, FLAC, Ogg, MP3, AIFF); without it the job's first");
    addOption(*verb, "--from", options->fromSeconds, "Beginning of the part in s")
        ->check(withinRange(0.0, 1800.0));
    addOption(*verb, "--to", options->toSeconds, "End of the part in s; without it the file's")
        ->check(withinRange(0.0, 1800.0));
    auto* kmh = addOption(*verb, "--speed-kmh", options->speedKmh,
                          "Speed in km/h, 0 to 250; without it the job's")
                    ->check(withinRange(0.0, 250.0));
    auto* mph = addOption(*verb, "--speed-mph", options->speedMph, "Speed in mph, 0 to 155")
                    ->check(withinRange(0.0, 155.0));
    kmh->excludes(mph);
    addOption(*verb, "--helmet", options->helmet, "none, open or full; without it the job's");
    addFlag(*verb, "--programme-only", options->programmeOnly, "Without ride noise");
    addOption(*verb, "--match", options->match,
              "loudness: all equally loud (BS.1770-4, over this part); road: as at one "
              "volume step")
        ->capture_default_str();
    addOption(*verb, "--format", options->format, "flac or wav")->capture_default_str();
    addOption(*verb, "--level", options->level, "Output level in dB, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    addOption(*verb, "--ceiling", options->ceiling, "Highest true peak in dBTP, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    addOption(*verb, "--headphone-spl", options->headphoneSpl,
              "dB SPL that the headphones make of full scale, 60 to 150; with it the level "
              "at the ear has a ceiling")
        ->check(withinRange(60.0, 150.0));
    addOption(*verb, "--ceiling-dba", options->ceilingDba,
              "Highest level at the ear in dB(A), 60 to 100")
        ->check(withinRange(60.0, 100.0))
        ->capture_default_str();
    addOption(*verb, "--noise-trim", options->noiseTrim, "Noise re the truth in dB, -24 to 12")
        ->check(withinRange(-24.0, 12.0))
        ->capture_default_str();
    addOption(*verb, "--seed", options->seed, "Seed of the noise")->capture_default_str();
    addFlag(*verb, "--with-correction", options->withCorrection,
            "Keep the correction of the job's headphones: files for these headphones alone");
    verb->callback([options, kmh, mph, &shared] {
        options->hasKmh = kmh->count() > 0;
        options->hasMph = mph->count() > 0;
        shared.action = [options] { return runTakeHome(*options); };
    });
}

} // namespace saddletone::commandline
