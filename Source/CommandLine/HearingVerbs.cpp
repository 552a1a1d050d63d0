#include "CommandLine/Options.h"
#include "CommandLine/PresetOptions.h"
#include "CommandLine/RideOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Hearing/Audibility.h"
#include "Core/Hearing/Exposure.h"
#include "Core/Hearing/ProgrammeAtHead.h"
#include "Core/Hearing/StationaryLoudness.h"
#include "Core/Measure/Response.h"
#include "Core/Ride/RideSpectrum.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

constexpr double assumedSplDba = 90.0; // what an audition assumes, too

struct AudibilityOptions {
    std::string measured;
    std::string tuning;
    std::string programme;
    bool speech = false;
    RideOptions ride;
    double earPlugs = 0.0;
    double programmeSpl = assumedSplDba;
    bool splIsSet = false;
    double volume = 0.0;
    double share = 80.0;
    double margin = 0.0;
    double sensitivity = 0.0;
    bool hasSensitivity = false;
    double distance = 0.8;
    double speakers = 2.0;
    double hours = 1.0;
    double headphone = 0.0;
    bool hasHeadphone = false;
    std::string table;
};

nlohmann::json finiteOrNull(double value)
{
    return std::isfinite(value) ? nlohmann::json(value) : nlohmann::json();
}

nlohmann::json loudnessOrNull(const hearing::ThirdOctaveSpectrum& sound)
{
    const auto loudness = hearing::stationaryLoudness(sound, hearing::SoundField::free);
    return loudness ? nlohmann::json(loudness->sones) : nlohmann::json();
}

std::string percentText(double share)
{
    return fixedText(100.0 * share, 0) + " %";
}

/** Runs of neighbouring drowned bands: "63 to 4000 Hz, 8000 Hz". */
std::string drownedText(const hearing::Audibility& audibility)
{
    std::string text;
    std::size_t band = 0;
    const auto drowns = [&audibility](std::size_t index) {
        return audibility.bands[index].inProgramme && audibility.bands[index].aboveDb < 0.0;
    };
    while (band < audibility.bands.size()) {
        if (!drowns(band)) {
            ++band;
            continue;
        }
        std::size_t last = band;
        while (last + 1 < audibility.bands.size() && drowns(last + 1))
            ++last;
        text += (text.empty() ? "" : ", ") + dsp::nominalLabel(audibility.bands[band].frequencyHz);
        if (last > band)
            text += " to " + dsp::nominalLabel(audibility.bands[last].frequencyHz);
        band = last + 1;
    }
    return text.empty() ? "nothing" : text + " Hz";
}

/** What is played and how loud it is at the head. */
struct Played {
    hearing::ThirdOctaveSpectrum programmeDbfs;
    hearing::ThirdOctaveSpectrum speechDbfs; ///< Spoken word of the same A-weighted level.
    hearing::ThirdOctaveSpectrum bareGainDb; ///< Without a helmet.
    hearing::ThirdOctaveSpectrum gainDb;
    double splAtFullScaleDb = 0.0;
    std::string levelSource;

    [[nodiscard]] hearing::ThirdOctaveSpectrum
    atHead(const hearing::ThirdOctaveSpectrum& track,
           const hearing::ThirdOctaveSpectrum& gain) const
    {
        return hearing::ProgrammeAtHead {track, gain, splAtFullScaleDb, 0.0}.splDb();
    }
};

dsp::Result<Played> readPlayed(const AudibilityOptions& options, ride::Helmet helmet)
{
    const auto response = measure::loadResponse(options.measured);
    if (!response)
        return response.unexpected();
    tuning::Tuning tuning;
    if (!options.tuning.empty()) {
        auto loaded = tuning::loadTuning(options.tuning);
        if (!loaded)
            return loaded.unexpected();
        tuning = std::move(*loaded);
    }

    Played played;
    played.programmeDbfs = hearing::pinkProgrammeDbfs(hearing::assumedProgrammeDbfs);
    if (options.speech) {
        const auto speech = hearing::speechProgramme();
        played.programmeDbfs = speech.raisedBy(hearing::assumedProgrammeDbfs - speech.totalDb());
    } else if (!options.programme.empty()) {
        const auto programme = files::readAudioFile(options.programme);
        if (!programme)
            return programme.unexpected();
        played.programmeDbfs = hearing::programmeSpectrumDbfs(*programme);
    }
    const double trackDbfsA = played.programmeDbfs.totalDb(dsp::Weighting::a);
    // Sixteen bits end below -100 dBFS: such a file says nothing of a programme.
    constexpr double silentDbfsA = -100.0;
    if (trackDbfsA < silentDbfsA)
        return dsp::fail(dsp::ErrorCode::notTrustworthy,
                         options.programme + ": the programme is silent; give one with sound");
    played.speechDbfs = hearing::speechProgramme().scaledToDba(trackDbfsA);

    played.bareGainDb = hearing::headGainDb(*response, tuning, ride::Helmet::none);
    played.gainDb = hearing::headGainDb(*response, tuning, helmet);
    if (options.splIsSet) {
        const double unscaledDba =
            played.programmeDbfs.raisedBy(played.bareGainDb).totalDb(dsp::Weighting::a);
        played.splAtFullScaleDb = options.programmeSpl - unscaledDba;
        played.levelSource = "set";
    } else if (response->hasCalibration) {
        played.splAtFullScaleDb = response->calibration.splAtFullScaleDb();
        played.levelSource = "measured";
    } else {
        // A tuning moves the level; what is assumed is that of the bike as it was measured.
        played.splAtFullScaleDb = hearing::assumedSplAtFullScaleDb(
            hearing::headGainDb(*response, {}, ride::Helmet::none), assumedSplDba);
        played.levelSource = "assumed";
    }
    played.splAtFullScaleDb += options.volume;
    return played;
}

dsp::Result<void> writeTable(const std::string& file, const hearing::Audibility& audibility)
{
    std::vector<std::vector<double>> columns(6);
    for (const hearing::BandAudibility& band : audibility.bands) {
        columns[0].push_back(band.frequencyHz);
        columns[1].push_back(band.programmeDb);
        columns[2].push_back(band.noiseDb);
        columns[3].push_back(band.thresholdDb);
        columns[4].push_back(band.aboveDb);
        columns[5].push_back(band.gainNeededDb);
    }
    return files::writeTextFile(file,
                                files::csvText({"frequency_hz", "programme_spl_db", "noise_spl_db",
                                                "threshold_spl_db", "above_db", "gain_needed_db"},
                                               columns));
}

/** What the gains cost in power, in words and numbers. */
void addPower(const AudibilityOptions& options, const Played& played,
              const hearing::Audibility& audibility, double overallGainDb, Output& output)
{
    std::vector<double> gainsDb;
    for (const hearing::BandAudibility& band : audibility.bands)
        gainsDb.push_back(band.gainNeededDb);
    const double overallRatio = hearing::powerRatio(overallGainDb);
    const double bandsRatio = hearing::powerRatio(played.programmeDbfs, gainsDb);
    output.text += "amplifier power: " + fixedText(overallRatio, 1)
                   + " times as much for the volume, " + fixedText(bandsRatio, 1)
                   + " times for the bands alone\n";
    output.json["powerRatioOverall"] = overallRatio;
    output.json["powerRatioBands"] = bandsRatio;
    if (!options.hasSensitivity)
        return;
    const hearing::SpeakerPower speakers {options.sensitivity, options.distance, options.speakers};
    const double levelDb = played.atHead(played.programmeDbfs, played.bareGainDb).totalDb();
    const double nowWatts = speakers.wattsEach(levelDb);
    output.text += "at " + fixedText(options.sensitivity, 1) + " dB for 1 W at 1 m and "
                   + fixedText(options.distance, 2) + " m: " + fixedText(nowWatts, 2)
                   + " W now into each of " + fixedText(options.speakers, 0) + ", "
                   + fixedText(nowWatts * overallRatio, 2) + " W for the volume, "
                   + fixedText(nowWatts * bandsRatio, 2)
                   + " W for the bands, on average; peaks take about ten times as much\n";
    output.json["wattsEachNow"] = nowWatts;
    output.json["wattsEachOverall"] = nowWatts * overallRatio;
    output.json["wattsEachBands"] = nowWatts * bandsRatio;
}

/** What the level that the goal asks for does to the day's dose. */
void addDose(const AudibilityOptions& options, double programmeDba, double noiseDba,
             double overallGainDb, Output& output)
{
    const auto doseOf = [&](double musicDba) {
        return hearing::assessExposure({.noiseDba = noiseDba,
                                        .musicDba = musicDba,
                                        .hours = options.hours,
                                        .earPlugDb = options.earPlugs});
    };
    const auto now = doseOf(programmeDba);
    const auto raised = doseOf(programmeDba + std::max(0.0, overallGainDb));
    output.text += "dose of " + fixedText(options.hours, 1)
                   + " h by NIOSH: " + fixedText(now.withMusic.dosePercent, 0) + " % now, "
                   + fixedText(raised.withMusic.dosePercent, 0)
                   + " % with that volume; ear plugs or a smaller goal lower it. Guidance, not "
                     "medical or legal advice: see 'saddletone exposure'.\n";
    output.json["dosePercentNow"] = now.withMusic.dosePercent;
    output.json["dosePercentWithGain"] = raised.withMusic.dosePercent;
}

Outcome runAudibility(const AudibilityOptions& options)
{
    const auto parameters = options.ride.parameters();
    if (!parameters)
        return usageFailure(parameters.error().message);
    const ride::RideParameters& ride = *parameters;
    const auto sceneRide = sceneRideFrom(options.ride, ride);
    if (!sceneRide)
        return inputFailure(sceneRide.error());
    audition::RideChoice choice;
    choice.speedKmh = ride.speedKmh;
    choice.screen = ride.screen;
    choice.engine = options.ride.engineNoise();
    const auto played = readPlayed(options, ride.helmet);
    if (!played)
        return inputFailure(played.error());

    hearing::AudibilityRequest request;
    request.programme = played->atHead(played->programmeDbfs, played->gainDb);
    request.noise = audition::noiseSpectrum(*sceneRide, choice);
    request.earPlugDb = options.earPlugs;
    request.goal = {options.share / 100.0, options.margin};
    showProgress("comparing music and noise");
    const auto audibility = hearing::assessAudibility(request);
    const auto speech = played->atHead(played->speechDbfs, played->gainDb);
    const auto spoken = hearing::speechInRide(speech, request.noise, options.earPlugs);
    const auto drowning = hearing::drowningSpeedKmh(
        request.programme,
        [&sceneRide, choice](double speedKmh) {
            audition::RideChoice faster = choice;
            faster.speedKmh = speedKmh;
            return audition::noiseSpectrum(*sceneRide, faster);
        },
        options.earPlugs, request.goal);
    if (!options.table.empty())
        if (const auto written = writeTable(options.table, audibility); !written)
            return inputFailure(written.error());

    const double programmeDba = request.programme.totalDb(dsp::Weighting::a);
    const double noiseDba = request.noise.totalDb(dsp::Weighting::a);
    Output output;
    output.text =
        fixedText(ride.speedKmh, 0) + " km/h (" + fixedText(dsp::kmhToMph(ride.speedKmh), 0)
        + " mph), " + std::string(ride::helmetLabel(ride.helmet))
        + (options.earPlugs > 0.0 ? ", ear plugs " + fixedText(options.earPlugs, 0) + " dB" : "")
        + "\nprogramme at the ear: " + fixedText(programmeDba, 1) + " dB(A), " + played->levelSource
        + "\nnoise at the ear: "
        + (noiseDba > dsp::silenceDb ? fixedText(noiseDba, 1) + " dB(A) +- "
                                           + fixedText(ride::windSpreadDb, 0) + " dB, estimated"
                                     : std::string("none"))
        + "\nstill heard: " + percentText(audibility.shareOfScale)
        + " of the programme's part of the ear's frequency scale, "
        + percentText(audibility.loudness.share()) + " of its loudness ("
        + fixedText(audibility.loudness.maskedSones, 1) + " of "
        + fixedText(audibility.loudness.quietSones, 1) + " sone)\ndrowns: "
        + drownedText(audibility) + "\nspoken word as loud: " + percentText(spoken.audibleShare)
        + " heard, intelligibility index " + fixedText(spoken.index, 2)
        + " (above 0.75 good, below 0.45 poor)\n";
    nlohmann::json bands = nlohmann::json::array();
    for (const hearing::BandAudibility& band : audibility.bands)
        bands.push_back(
            {{"frequencyHz", band.frequencyHz},
             {"programmeSplDb", levelOrNull(band.programmeDb)},
             {"noiseSplDb", levelOrNull(band.noiseDb)},
             {"thresholdSplDb", band.thresholdDb},
             {"aboveDb", band.inProgramme ? nlohmann::json(band.aboveDb) : nlohmann::json()},
             {"gainNeededDb", band.gainNeededDb}});
    output.json = {{"speedKmh", ride.speedKmh},
                   {"helmet", options.ride.helmet},
                   {"screen", options.ride.screen},
                   {"earPlugDb", options.earPlugs},
                   {"programmeSplDba", programmeDba},
                   {"programmeLevelSource", played->levelSource},
                   {"noiseSplDba", levelOrNull(noiseDba)},
                   {"noiseSpreadDb", ride::windSpreadDb},
                   {"shareOfErbScale", audibility.shareOfScale},
                   {"shareOfErbScaleAtMargin", audibility.shareAtMargin},
                   {"shareOfLoudness", audibility.loudness.share()},
                   {"loudnessInQuietSones", audibility.loudness.quietSones},
                   {"loudnessInNoiseSones", audibility.loudness.maskedSones},
                   {"programmeLoudnessIso532Sones", loudnessOrNull(request.programme)},
                   {"noiseLoudnessIso532Sones", loudnessOrNull(request.noise)},
                   {"speechAudibleShare", spoken.audibleShare},
                   {"speechSplDba", speech.totalDb(dsp::Weighting::a)},
                   {"speechIntelligibilityIndex", spoken.index},
                   {"goalSharePercent", options.share},
                   {"goalMarginDb", options.margin},
                   {"overallGainDb", nullptr},
                   {"drowningSpeedKmh", nullptr},
                   {"bands", bands},
                   {"figures", figuresJson(hearing::hearingFigures())},
                   {"noiseFigures", figuresJson(audition::noiseFigures(*sceneRide, choice))}};

    std::string goalText = fixedText(options.share, 0) + " % of it ";
    if (options.margin > 0.0)
        goalText += "stand " + fixedText(options.margin, 1) + " dB above the masked threshold";
    else if (options.margin < 0.0)
        goalText += "can be heard in peaks of " + fixedText(-options.margin, 1) + " dB";
    else
        goalText += "can just be heard";
    if (audibility.overallGainDb) {
        const double gain = *audibility.overallGainDb;
        output.json["overallGainDb"] = gain;
        output.text += gain > 0.0 ? "so that " + goalText + ": " + fixedText(gain, 1)
                                        + " dB more volume, or the bands' gains of the table\n"
                                  : goalText + " with " + fixedText(-gain, 1) + " dB to spare\n";
        if (gain > 0.0)
            addPower(options, *played, audibility, gain, output);
        addDose(options, programmeDba, noiseDba, gain, output);
    } else {
        output.text += "The programme is too quiet to be heard even parked; turn it up.\n";
    }
    if (options.hasHeadphone) {
        const double roadDba = hearing::powerSum(request.programme, request.noise)
                                   .raisedBy(-options.earPlugs)
                                   .totalDb(dsp::Weighting::a);
        const double scale = hearing::headphoneScaleDownDb(roadDba, options.headphone);
        output.json["roadSplDba"] = roadDba;
        output.json["headphoneScaleDownDb"] = scale;
        output.text += "music and noise at " + fixedText(options.headphone, 1)
                       + " dB(A) in headphones are " + fixedText(scale, 1)
                       + " dB below the road; the ratio of the two stays as it is\n";
    }
    if (drowning) {
        output.json["drowningSpeedKmh"] = *drowning;
        output.text += *drowning > 0.0
                           ? "at this volume " + goalText + " up to " + fixedText(*drowning, 0)
                                 + " km/h (" + fixedText(dsp::kmhToMph(*drowning), 0) + " mph)\n"
                           : "at this volume that is not reached at any speed\n";
    } else {
        output.text += "at this volume that holds up to 300 km/h\n";
    }
    return output;
}

void addAudibility(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<AudibilityOptions>();
    CLI::App* verb =
        addVerb(app, "audibility",
                "What of a programme remains in the noise of a ride, and what more it takes");
    addOption(*verb, "--measured", options->measured, "STATE.json")->required();
    addOption(*verb, "--tuning", options->tuning, "TUNING.json")
        ->transform(fileOrPreset(presets::PresetKind::tuning));
    auto* programme = addOption(*verb, "--programme", options->programme,
                                "Music or speech (WAV, FLAC, Ogg, MP3, AIFF); pink noise "
                                "if neither this nor --speech is given");
    addFlag(*verb, "--speech", options->speech, "The long-term spectrum of speech")
        ->excludes(programme);
    addRideOptions(*verb, options->ride, 250.0);
    addNoiseOptions(*verb, options->ride);
    addOption(*verb, "--ear-plugs", options->earPlugs,
              "What ear plugs take off as worn, in dB, 0 to 50")
        ->check(CLI::Range(0.0, 50.0))
        ->capture_default_str();
    auto* spl = addOption(*verb, "--programme-spl", options->programmeSpl,
                          "dB(A) of the programme at the place of the head without a "
                          "helmet, 40 to 130, instead of what the calibration says")
                    ->check(CLI::Range(40.0, 130.0));
    addOption(*verb, "--volume", options->volume,
              "Volume control against where it stood when measured, in dB, -60 to 30")
        ->check(CLI::Range(-60.0, 30.0))
        ->capture_default_str();
    addOption(*verb, "--share", options->share, "Goal: so much of the programme, 1 to 100 %")
        ->check(CLI::Range(1.0, 100.0))
        ->capture_default_str();
    addOption(*verb, "--margin", options->margin,
              "Goal: so far above the masked threshold in dB, -20 to 30; below 0 its peaks "
              "alone are to be heard")
        ->check(CLI::Range(-20.0, 30.0))
        ->capture_default_str();
    auto* sensitivity = addOption(*verb, "--sensitivity", options->sensitivity,
                                  "Of a speaker, dB at 1 m for 1 W, 60 to 120: says watts")
                            ->check(CLI::Range(60.0, 120.0));
    addOption(*verb, "--distance", options->distance, "Speaker to head in m, 0.05 to 10")
        ->check(CLI::Range(0.05, 10.0))
        ->capture_default_str();
    addOption(*verb, "--speakers", options->speakers, "How many play, 1 to 16")
        ->check(CLI::Range(1.0, 16.0))
        ->capture_default_str();
    addOption(*verb, "--hours", options->hours, "Riding time a day, for the dose, 0.1 to 24")
        ->check(CLI::Range(0.1, 24.0))
        ->capture_default_str();
    auto* headphone =
        addOption(*verb, "--headphone-dba", options->headphone,
                  "Level of music and noise together in headphones, dB(A), 30 to 100: says "
                  "by how much that is below the road")
            ->check(CLI::Range(30.0, 100.0));
    addOption(*verb, "--table", options->table, "Table to write (CSV)");
    verb->callback([options, spl, sensitivity, headphone, &shared] {
        if (!options->ride.hasSpeed())
            throw CLI::RequiredError("--speed-kmh or --speed-mph");
        options->splIsSet = spl->count() > 0;
        options->hasSensitivity = sensitivity->count() > 0;
        options->hasHeadphone = headphone->count() > 0;
        shared.action = [options] { return runAudibility(*options); };
    });
}

struct ExposureOptions {
    double noise = 0.0;
    double music = 0.0;
    bool hasMusic = false;
    double hours = 1.0;
    double earPlugs = 0.0;
};

nlohmann::json doseJson(const hearing::RideDose& dose)
{
    return {{"levelDba", dose.levelDba},
            {"dosePercent", dose.dosePercent},
            {"hoursToFull", finiteOrNull(dose.hoursToFull)},
            {"timeWeightedAverageDba", levelOrNull(dose.timeWeightedAverageDba)}};
}

Outcome runExposure(const ExposureOptions& options)
{
    const hearing::ExposureRequest request {.noiseDba = options.noise,
                                            .musicDba =
                                                options.hasMusic ? options.music : dsp::silenceDb,
                                            .hours = options.hours,
                                            .earPlugDb = options.earPlugs};
    const auto report = hearing::assessExposure(request);
    Output output;
    output.text = hearing::exposureGuidance(request, report);
    output.json = {
        {"hours", options.hours},
        {"earPlugDb", options.earPlugs},
        {"noiseDba", options.noise},
        {"musicDba", options.hasMusic ? nlohmann::json(options.music) : nlohmann::json()},
        {"nioshNoiseAlone", doseJson(report.noiseAlone)},
        {"niosh", doseJson(report.withMusic)},
        {"oshaPel", doseJson(report.pelWithMusic)},
        {"oshaHearingConservation", doseJson(report.actionWithMusic)},
        {"allowedDba", report.allowedDba},
        {"allowedMusicDba", levelOrNull(report.allowedMusicDba)},
        {"neededPlugDb", report.neededPlugDb},
        {"guidance", output.text}};
    return output;
}

void addExposure(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ExposureOptions>();
    CLI::App* verb = addVerb(
        app, "exposure", "Noise dose of a ride with and without music, and what would lower it");
    addOption(*verb, "--noise-dba", options->noise, "Noise at the ear in dB(A), 30 to 150")
        ->check(CLI::Range(30.0, 150.0))
        ->required();
    auto* music =
        addOption(*verb, "--music-dba", options->music, "Music at the ear in dB(A), 30 to 150")
            ->check(CLI::Range(30.0, 150.0));
    addOption(*verb, "--hours", options->hours, "Riding time in h, above 0 to 24")
        ->check(CLI::Range(0.01, 24.0))
        ->required();
    addOption(*verb, "--ear-plugs", options->earPlugs,
              "What ear plugs take off as worn, in dB, 0 to 50")
        ->check(CLI::Range(0.0, 50.0))
        ->capture_default_str();
    verb->callback([options, music, &shared] {
        options->hasMusic = music->count() > 0;
        shared.action = [options] { return runExposure(*options); };
    });
}

} // namespace

void addHearingVerbs(CLI::App& app, Shared& shared)
{
    addAudibility(app, shared);
    addExposure(app, shared);
}

} // namespace saddletone::commandline
