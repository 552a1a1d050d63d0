#include "CommandLine/FileArguments.h"
#include "CommandLine/GroupOptions.h"
#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/RideOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/OfflineRender.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Hearing/ProgrammeAtHead.h"
#include "Core/Measure/Response.h"
#include "Core/Report/Wording.h"
#include "Core/Seat/CandidateDifference.h"
#include "Core/Seat/ListenerSeat.h"
#include "Core/Tuning/TuningFile.h"

#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct ListenOptions {
    std::string measured;
    GroupOptions groups;
    std::string tuning;
    RideOptions ride;
    std::string plugs = "none";
    std::string speedVolume;
    std::string overdrive;
    double volume = 0.0;
    double headphoneSpl = 0.0;
    bool hasHeadphone = false;
    std::string headphones;
    std::string headphoneTarget;
    bool binaural = false;
    std::string headSet;
    bool noiseOnly = false;
    bool programmeOnly = false;
    std::string programme;
    std::string out;
    double programmeSpl = 90.0;
    double level = -12.0;
    double ceiling = -6.0;
    double noiseTrim = 0.0;
    std::uint64_t seed = 1;
    double startRamp = 1.0;
    std::size_t block = 512;
    std::string bits = "24";
    bool onThisBike = false;
    std::string now;
    std::string nowTuning;
    const CLI::App* verb = nullptr;

    [[nodiscard]] bool has(const char* option) const
    {
        return verb->get_option(option)->count() > 0;
    }
};

/** What the bike brings by itself when its own speakers are listened to. */
constexpr std::array notOnThisBike {"--speed-kmh",
                                    "--speed-mph",
                                    "--gear",
                                    "--rpm",
                                    "--helmet",
                                    "--screen",
                                    "--tall-screen",
                                    "--engine",
                                    "--engine-running",
                                    "--bike",
                                    "--firing",
                                    "--recorded-noise",
                                    "--plugs",
                                    "--speed-volume",
                                    "--overdrive",
                                    "--volume",
                                    "--headphone-spl",
                                    "--headphones",
                                    "--headphone-target",
                                    "--binaural",
                                    "--head-set",
                                    "--noise-only",
                                    "--programme-only",
                                    "--noise-trim"};

/** Wrong usage of what belongs to listening on the bike, if there is any. */
std::optional<Failure> checkOnThisBike(const ListenOptions& options)
{
    if (!options.onThisBike)
        return std::nullopt;
    for (const char* option : notOnThisBike)
        if (options.has(option))
            return usageFailure(std::string(option)
                                + " does not go with --on-this-bike: over the bike's own speakers "
                                  "ride, helmet, ears and distortion are there by themselves");
    if (options.tuning.empty() && options.now.empty() && options.nowTuning.empty())
        return usageFailure("--on-this-bike plays what differs from what the bike has now; give "
                            "--tuning, or what it has now with --now or --now-tuning");
    return std::nullopt;
}

/** What the bike plays now; null: this is for headphones. */
dsp::Result<std::shared_ptr<const audition::CandidateRequest>>
loadNowOnBike(const ListenOptions& options)
{
    if (!options.onThisBike)
        return std::shared_ptr<const audition::CandidateRequest> {};
    auto response = measure::loadResponse(options.now.empty() ? options.measured : options.now);
    if (!response)
        return response.unexpected();
    audition::CandidateRequest now {response->name, std::move(*response), {}};
    if (!options.nowTuning.empty()) {
        auto tuning = tuning::loadTuning(options.nowTuning);
        if (!tuning)
            return tuning.unexpected();
        now.tuning = std::move(*tuning);
        now.name +=
            " with " + (now.tuning.name.empty() ? std::string("a tuning") : now.tuning.name);
    }
    return std::shared_ptr<const audition::CandidateRequest>(
        std::make_shared<audition::CandidateRequest>(std::move(now)));
}

Output describeOnThisBike(const ListenOptions& options, const audition::Rendering& rendering,
                          const std::string& nowName)
{
    const audition::OnThisBikeFigures& figures = *rendering.onThisBike;
    const bool isMeasured = rendering.levelSource == audition::LevelSource::measured;
    Output output;
    output.text =
        options.out + ": " + fixedText(rendering.audio.durationSeconds(), 1)
        + " s, for the speakers of a bike that plays '" + nowName
        + "' now: through it they sound as the candidate would\n"
        + (figures.isUnchanged
               ? "that is what it plays now: the programme passes unchanged but for "
                 "the output level\n"
               : "")
        + "highest gain of the filter " + report::signedText(figures.highestGainDb, 1)
        + " dB, of at most " + report::signedText(seat::DifferenceSettings {}.maxBoostDb, 0)
        + "; limited in " + fixedText(100.0 * figures.limitedProportion, 0) + " % of the range\n"
        + "at the head, with loud music and the radio's volume as measured: "
        + fixedText(rendering.levels.programmeSplDba, 1) + " dB(A), "
        + (isMeasured ? "measured" : "assumed") + "\n"
        + "No noise, helmet, headphone or head is in the file; distortion and the limiter "
          "of a tuning are not either.\n"
        + "Parked, engine off. Begin with the radio's volume at its lowest: what is boosted "
          "can harm speakers, amplifier and hearing. Turn the volume down before another "
          "source plays.\n";
    output.json = {{"file", options.out},
                   {"onThisBike",
                    {{"now", nowName},
                     {"isUnchanged", figures.isUnchanged},
                     {"highestGainDb", figures.highestGainDb},
                     {"maxBoostDb", seat::DifferenceSettings {}.maxBoostDb},
                     {"limitedProportion", figures.limitedProportion}}},
                   {"programmeSplDba", rendering.levels.programmeSplDba},
                   {"programmeLevelSource", isMeasured ? "measured" : "assumed"},
                   {"outputDbfsA", rendering.levels.outputDbfsA},
                   {"outputGainDb", rendering.levels.programmeGainDb}};
    return output;
}

/** Which orders of distortion are heard, and where. */
void describeOverdrive(const measure::HammersteinModel& model, bool hasProgramme, double heldDb,
                       Output& output)
{
    const bool isHeard = model.speaks() && hasProgramme;
    output.text += isHeard         ? "The distortion of the speakers is heard as measured:\n"
                   : !hasProgramme ? "There is no programme in this result, and no distortion:\n"
                                   : "No distortion is heard, as the model supports no order:\n";
    nlohmann::json orders = nlohmann::json::array();
    for (const measure::OrderSupport& order : model.orders) {
        output.text += "  " + order.words + "\n";
        orders.push_back(
            {{"order", order.order}, {"supported", !order.ranges.empty()}, {"words", order.words}});
    }
    constexpr double worthSayingDb = 0.05;
    const bool isBeyond = isHeard && heldDb >= worthSayingDb;
    if (isBeyond)
        output.text += "The programme drives the speakers up to " + fixedText(heldDb, 1)
                       + " dB harder than they were measured: there the distortion is an estimate, "
                         "and may be more in truth.\n";
    output.json["overdrive"] = {{"model", model.name},
                                {"isHeard", isHeard},
                                {"orders", std::move(orders)},
                                {"beyondMeasuredDb", isHeard ? heldDb : 0.0},
                                {"isEstimate", isBeyond}};
}

std::variant<Output, Failure> runListen(const ListenOptions& options)
{
    const auto ride = options.ride.parameters();
    if (!ride)
        return usageFailure(ride.error().message);
    const auto plugs = ride::parseEarPlugs(options.plugs);
    if (!plugs)
        return usageFailure(plugs.error().message);
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    if (options.noiseOnly && options.programmeOnly)
        return usageFailure(
            "--noise-only and --programme-only leave nothing to hear; give one of them");
    if (auto failure = checkOnThisBike(options))
        return *std::move(failure);
    if (auto failure = checkEnding("--out", options.out, {".wav", ".flac"}))
        return *std::move(failure);
    std::vector<std::string> inputs {
        options.measured,
        measure::impulsePath(options.measured).string(),
        options.tuning,
        options.programme,
        options.now,
        options.now.empty() ? std::string() : measure::impulsePath(options.now).string(),
        options.nowTuning,
        options.speedVolume,
        options.ride.recordedNoise,
        options.headphones,
        options.headphoneTarget,
        options.headSet,
        options.overdrive,
        options.overdrive.empty() ? std::string()
                                  : measure::kernelsPath(options.overdrive).string()};
    const auto groupFiles = options.groups.files();
    inputs.insert(inputs.end(), groupFiles.begin(), groupFiles.end());
    if (auto failure = checkOutputs(inputs, {options.out}))
        return *std::move(failure);

    auto response = measure::loadResponse(options.measured);
    if (!response)
        return inputFailure(response.error());
    const auto groups = loadGroups(*response, options.groups);
    if (!groups)
        return inputFailure(groups.error());
    audition::CandidateRequest candidate;
    if (*groups != nullptr)
        candidate = audition::candidateOfGroups((*groups)->words(), *groups);
    else
        candidate = {response->name, std::move(*response), {}};
    if (!options.tuning.empty()) {
        auto tuning = tuning::loadTuning(options.tuning);
        if (!tuning)
            return inputFailure(tuning.error());
        candidate.tuning = std::move(*tuning);
    }
    if (!options.speedVolume.empty()) {
        auto dependence = audition::loadSpeedDependence(options.speedVolume);
        if (!dependence)
            return inputFailure(dependence.error());
        candidate.atSpeed = *std::move(dependence);
    }
    if (!options.overdrive.empty()) {
        auto model = measure::loadHammersteinModel(options.overdrive);
        if (!model)
            return inputFailure(model.error());
        candidate.overdrive = std::make_shared<const measure::HammersteinModel>(*std::move(model));
    }
    auto sceneRide = sceneRideFrom(options.ride, *ride);
    if (!sceneRide)
        return inputFailure(sceneRide.error());
    const auto programme = files::readAudioFile(options.programme);
    if (!programme)
        return inputFailure(programme.error());

    auto seat = seat::loadListenerSeat({.headphoneResponseFile = options.headphones,
                                        .headphoneTargetFile = options.headphoneTarget,
                                        .isBinaural = options.binaural,
                                        .headSetFile = options.headSet,
                                        .places = {}});
    if (!seat)
        return inputFailure(seat.error());

    auto nowOnBike = loadNowOnBike(options);
    if (!nowOnBike)
        return inputFailure(nowOnBike.error());
    audition::SceneRequest scene;
    scene.nowOnBike = *std::move(nowOnBike);
    // An assumed level is that of what the bike plays now.
    if (scene.nowOnBike != nullptr)
        scene.reference = *scene.nowOnBike;
    scene.seat = *std::move(seat);
    scene.candidates.push_back(std::move(candidate));
    scene.ride = *std::move(sceneRide);
    scene.assumedProgrammeSplDba = options.programmeSpl;
    audition::AuditionEngine::Settings settings;
    settings.noiseSeed = options.seed;
    settings.startRampSeconds = options.startRamp;
    audition::AuditionEngine::Parameters parameters;
    parameters.ride = {ride->speedKmh, ride->screen, *plugs, options.ride.engineNoise()};
    parameters.volumeDb = options.volume;
    parameters.noiseTrimDb = options.noiseTrim;
    parameters.outputLevelDb = options.level;
    parameters.ceilingDbfs = options.ceiling;
    if (options.noiseOnly)
        parameters.monitor = audition::Monitor::noiseOnly;
    if (options.programmeOnly)
        parameters.monitor = audition::Monitor::programmeOnly;

    showProgress("rendering");
    const auto rendering =
        audition::renderAudition(scene, *programme, settings, parameters, options.block);
    if (!rendering)
        return inputFailure(rendering.error());
    if (const auto written = files::writeAudioFile(rendering->audio, options.out, *format);
        !written)
        return inputFailure(written.error());

    if (scene.nowOnBike != nullptr)
        return describeOnThisBike(options, *rendering, scene.nowOnBike->name);
    const audition::AuditionLevels& levels = rendering->levels;
    const bool measured = rendering->levelSource == audition::LevelSource::measured;
    const bool noiseIsMeasured = audition::isNoiseMeasured(scene.ride);
    Output output;
    output.text =
        options.out + ": " + fixedText(rendering->audio.durationSeconds(), 1) + " s at "
        + fixedText(ride->speedKmh, 0) + " km/h (" + fixedText(dsp::kmhToMph(ride->speedKmh), 0)
        + " mph), " + std::string(ride::helmetLabel(ride->helmet)) + "\n" + "programme at the ear: "
        + fixedText(levels.programmeSplDba, 1) + " dB(A), " + (measured ? "measured" : "assumed")
        + (levels.radioGainDb != 0.0 ? ", radio " + report::signedText(levels.radioGainDb, 1)
                                           + " dB against the measurement"
                                     : std::string())
        + "\n";
    output.json = {{"file", options.out},
                   {"speedKmh", ride->speedKmh},
                   {"helmet", options.ride.helmet},
                   {"screen", options.ride.screen},
                   {"plugs", options.plugs},
                   {"plugLossDb", levels.plugLossDb},
                   {"radioGainDb", levels.radioGainDb},
                   {"programmeSplDba", levels.programmeSplDba},
                   {"programmeLevelSource", measured ? "measured" : "assumed"},
                   {"noiseSplDba", levelOrNull(levels.noise.totalDba)},
                   {"noiseLevelSource", noiseIsMeasured ? "measured" : "estimated"},
                   {"windSplDba", levelOrNull(levels.noise.windDba)},
                   {"tyreSplDba", levelOrNull(levels.noise.tyreDba)},
                   {"engineSplDba", levelOrNull(levels.noise.engineDba)},
                   {"scaleDb", levels.scaleDb},
                   {"outputDbfsA", levels.outputDbfsA},
                   {"figures", figuresJson(audition::noiseFigures(scene.ride, parameters.ride))}};
    if (levels.noise.totalDba > dsp::silenceDb) {
        output.text +=
            "noise at the ear: " + fixedText(levels.noise.totalDba, 1) + " dB(A)"
            + (noiseIsMeasured ? std::string(", recorded and calibrated")
                               : " +- " + fixedText(ride::windSpreadDb, 0) + " dB, estimated")
            + "; music stands "
            + report::signedText(levels.programmeSplDba - levels.noise.totalDba, 1)
            + " dB re noise\n";
        for (const auto& [name, levelDba] :
             {std::pair {"wind", levels.noise.windDba}, std::pair {"tyre", levels.noise.tyreDba},
              std::pair {"engine", levels.noise.engineDba}})
            if (levelDba > dsp::silenceDb)
                output.text += "  " + std::string(name) + " " + fixedText(levelDba, 1) + " dB(A)\n";
        if (scene.ride.recorded != nullptr)
            output.text += scene.ride.recorded->placeSentence(ride->speedKmh) + "\n";
    }
    const double roadDba = dsp::powerToDb(dsp::dbToPower(levels.programmeSplDba)
                                          + dsp::dbToPower(levels.noise.totalDba));
    output.json["roadSplDba"] = roadDba;
    output.text += "on the road music and noise make " + fixedText(roadDba, 1)
                   + " dB(A); in the file they are at " + fixedText(levels.outputDbfsA, 1)
                   + " dBFS(A), in the same ratio\n";
    if (options.hasHeadphone) {
        const double headphoneDba = levels.outputDbfsA + options.headphoneSpl;
        output.json["headphoneSplDba"] = headphoneDba;
        output.json["headphoneScaleDownDb"] = hearing::headphoneScaleDownDb(roadDba, headphoneDba);
        output.text += "over these headphones " + fixedText(headphoneDba, 1) + " dB(A), "
                       + fixedText(hearing::headphoneScaleDownDb(roadDba, headphoneDba), 1)
                       + " dB below the road\n";
    }
    if (const auto& model = scene.candidates.front().overdrive; model != nullptr)
        describeOverdrive(*model, parameters.monitor != audition::Monitor::noiseOnly,
                          rendering->overdriveHeldDb, output);
    describeGroups(groups->get(), output);
    const bool isCorrected = scene.seat != nullptr && scene.seat->isCorrected();
    const bool isBinaural = scene.seat != nullptr && scene.seat->isBinaural();
    output.json["headphoneCorrected"] = isCorrected;
    output.json["headSet"] =
        isBinaural ? nlohmann::json(scene.seat->head->description) : nlohmann::json();
    if (isCorrected)
        output.text += "music and ride noise are corrected for the headphones of '"
                       + options.headphones + "'; levels are those without\n";
    if (isBinaural)
        output.text +=
            "speakers are heard from where they stand (" + scene.seat->head->description + ")\n";
    const bool limited = audition::hasLimiterLeftOut(scene.candidates.front());
    output.json["limiterLeftOut"] = limited;
    if (limited)
        output.text += "The tuning's limiter is not in this result.\n";
    output.text += "Listen parked, over headphones, and start quietly; the file is far below the "
                   "levels of the road.\n";
    return output;
}

} // namespace

void addListenVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ListenOptions>();
    CLI::App* verb =
        addVerb(app, "listen", "Render programme through a measured bike, a tuning and ride noise");
    options->verb = verb;
    addOption(*verb, "--measured", options->measured, "STATE.json")->required();
    addGroupOptions(*verb, "--measured", options->groups);
    addOption(*verb, "--tuning", options->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning));
    addRideOptions(*verb, options->ride, 250.0);
    addNoiseOptions(*verb, options->ride);
    addOption(*verb, "--plugs", options->plugs, "Ear plugs: none, nominal or cautious")
        ->capture_default_str();
    addOption(*verb, "--speed-volume", options->speedVolume,
              "VOLUME.json of a radio whose volume or equaliser follows the speed");
    addOption(*verb, "--overdrive", options->overdrive,
              "MODEL.json of how the speakers distort (from the verb overdrive)");
    addOption(*verb, "--volume", options->volume,
              "Volume control against where it stood when measured, in dB, -60 to 30")
        ->check(withinRange(-60.0, 30.0))
        ->capture_default_str();
    auto* headphone = addOption(*verb, "--headphone-spl", options->headphoneSpl,
                                "dB SPL that 0 dBFS makes in the headphones, 60 to 140: "
                                "says how far below the road they are")
                          ->check(withinRange(60.0, 140.0));
    auto* headphones =
        addOption(*verb, "--headphones", options->headphones,
                  "Table of the headphones' response: what is heard is corrected for them")
            ->transform(fileOrPreset(presets::PresetKind::headphone));
    addOption(*verb, "--headphone-target", options->headphoneTarget,
              "Table that the headphones are to have (default: flat)")
        ->needs(headphones);
    auto* binaural = addFlag(*verb, "--binaural", options->binaural,
                             "Hear speakers from where they stand, by head-related responses");
    addOption(*verb, "--head-set", options->headSet,
              "SOFA file of a head (default: the set that libmysofa ships)")
        ->needs(binaural);
    auto* onThisBike = addFlag(
        *verb, "--on-this-bike", options->onThisBike,
        "For the bike's own speakers: the programme through what the candidate differs by from "
        "what the bike plays now, and nothing else");
    addOption(*verb, "--now", options->now,
              "STATE.json of what the bike plays now (default: --measured)")
        ->needs(onThisBike);
    addOption(*verb, "--now-tuning", options->nowTuning,
              "TUNING.json of what the bike plays now (default: none)")
        ->needs(onThisBike);
    addFlag(*verb, "--noise-only", options->noiseOnly, "Ride noise without the programme");
    addFlag(*verb, "--programme-only", options->programmeOnly,
            "The programme at its level in the ride, without noise");
    addOption(*verb, "--programme", options->programme,
              "Music or speech to hear (WAV, FLAC, Ogg, MP3, AIFF)")
        ->required();
    addOption(*verb, "--out", options->out, "Audio file to write (WAV or FLAC)")->required();
    addOption(*verb, "--programme-spl", options->programmeSpl,
              "Assumed dB(A) at the head with loud music, 50 to 120; not used where the "
              "state is calibrated")
        ->check(withinRange(50.0, 120.0))
        ->capture_default_str();
    addOption(*verb, "--level", options->level, "Output level in dB, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    addOption(*verb, "--ceiling", options->ceiling, "Highest true peak in dBTP, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    addOption(*verb, "--noise-trim", options->noiseTrim, "Noise re the truth in dB, -24 to 12")
        ->check(withinRange(-24.0, 12.0))
        ->capture_default_str();
    addOption(*verb, "--seed", options->seed, "Seed of the noise")->capture_default_str();
    addOption(*verb, "--start-ramp", options->startRamp, "Rise from silence in s, 0 to 10")
        ->check(withinRange(0.0, 10.0))
        ->capture_default_str();
    addOption(*verb, "--block", options->block,
              "Frames a block, 1 to 65536; the result does not depend on it")
        ->check(CLI::Range(std::size_t {1}, std::size_t {65536}))
        ->capture_default_str();
    addOption(*verb, "--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->callback([options, headphone, &shared] {
        options->hasHeadphone = headphone->count() > 0;
        shared.action = [options] { return runListen(*options); };
    });
}

} // namespace saddletone::commandline
