#include "CommandLine/FileArguments.h"
#include "CommandLine/Verbs.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <array>
#include <memory>
#include <optional>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct ListenOptions {
    std::string measured;
    std::string tuning;
    double speedKmh = 0.0;
    double speedMph = 0.0;
    bool inMph = false;
    std::string helmet = "full";
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
};

std::variant<Output, Failure> runListen(const ListenOptions& options)
{
    const auto helmet = ride::parseHelmet(options.helmet);
    if (!helmet)
        return usageFailure(helmet.error().message);
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    if (options.noiseOnly && options.programmeOnly)
        return usageFailure(
            "--noise-only and --programme-only leave nothing to hear; give one of them");
    if (auto failure = checkEnding("--out", options.out, {".wav", ".flac"}))
        return *std::move(failure);
    if (auto failure =
            checkOutputs({options.measured, measure::impulsePath(options.measured).string(),
                          options.tuning, options.programme},
                         {options.out}))
        return *std::move(failure);
    const double speedKmh = options.inMph ? dsp::mphToKmh(options.speedMph) : options.speedKmh;

    auto response = measure::loadResponse(options.measured);
    if (!response)
        return inputFailure(response.error());
    audition::CandidateRequest candidate {response->name, std::move(*response), {}};
    if (!options.tuning.empty()) {
        auto tuning = tuning::loadTuning(options.tuning);
        if (!tuning)
            return inputFailure(tuning.error());
        candidate.tuning = std::move(*tuning);
    }
    const auto programme = files::readAudioFile(options.programme);
    if (!programme)
        return inputFailure(programme.error());

    audition::SceneRequest scene;
    scene.candidates.push_back(std::move(candidate));
    scene.helmet = *helmet;
    scene.assumedProgrammeSplDba = options.programmeSpl;
    audition::AuditionEngine::Settings settings;
    settings.noiseSeed = options.seed;
    settings.startRampSeconds = options.startRamp;
    audition::AuditionEngine::Parameters parameters;
    parameters.speedKmh = speedKmh;
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

    const audition::AuditionLevels& levels = rendering->levels;
    const bool measured = rendering->levelSource == audition::LevelSource::measured;
    Output output;
    output.text = options.out + ": " + fixedText(rendering->audio.durationSeconds(), 1) + " s at "
                  + fixedText(speedKmh, 0) + " km/h (" + fixedText(dsp::kmhToMph(speedKmh), 0)
                  + " mph), " + std::string(ride::helmetLabel(*helmet)) + "\n"
                  + "programme at the ear: " + fixedText(levels.programmeSplDba, 1) + " dB(A), "
                  + (measured ? "measured" : "assumed") + "\n";
    output.json = {{"file", options.out},
                   {"speedKmh", speedKmh},
                   {"helmet", options.helmet},
                   {"programmeSplDba", levels.programmeSplDba},
                   {"programmeLevelSource", measured ? "measured" : "assumed"},
                   {"windSplDba", nullptr},
                   {"scaleDb", levels.scaleDb},
                   {"outputDbfsA", levels.outputDbfsA}};
    if (levels.windSplDba > dsp::silenceDb) {
        output.text += "wind at the ear: " + fixedText(levels.windSplDba, 1) + " dB(A) +- "
                       + fixedText(ride::windSpreadDb, 0) + " dB, estimated; music stands "
                       + fixedText(levels.programmeSplDba - levels.windSplDba, 1) + " dB re wind\n";
        output.json["windSplDba"] = levels.windSplDba;
    }
    const bool limited =
        std::ranges::any_of(std::array {tuning::OutputGroup::left, tuning::OutputGroup::right},
                            [&](tuning::OutputGroup side) {
                                return tuning::hasLimiter(scene.candidates.front().tuning, side);
                            });
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
    CLI::App* verb = app.add_subcommand(
        "listen", "Render programme through a measured bike, a tuning and ride noise");
    verb->add_option("--measured", options->measured, "STATE.json")->required();
    verb->add_option("--tuning", options->tuning, "TUNING.json");
    auto* kmh = verb->add_option("--speed-kmh", options->speedKmh, "Speed in km/h, 0 to 250")
                    ->check(withinRange(0.0, 250.0));
    auto* mph = verb->add_option("--speed-mph", options->speedMph, "Speed in mph, 0 to 155")
                    ->check(withinRange(0.0, 155.0));
    kmh->excludes(mph);
    verb->add_option("--helmet", options->helmet, "none, open or full")->capture_default_str();
    verb->add_flag("--noise-only", options->noiseOnly, "Ride noise without the programme");
    verb->add_flag("--programme-only", options->programmeOnly,
                   "The programme at its level in the ride, without noise");
    verb->add_option("--programme", options->programme,
                     "Music or speech to hear (WAV, FLAC, Ogg, MP3, AIFF)")
        ->required();
    verb->add_option("--out", options->out, "Audio file to write (WAV or FLAC)")->required();
    verb->add_option("--programme-spl", options->programmeSpl,
                     "Assumed dB(A) at the head with loud music, 50 to 120; not used where the "
                     "state is calibrated")
        ->check(withinRange(50.0, 120.0))
        ->capture_default_str();
    verb->add_option("--level", options->level, "Output level in dB, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    verb->add_option("--ceiling", options->ceiling, "Highest true peak in dBTP, -60 to 0")
        ->check(withinRange(-60.0, 0.0))
        ->capture_default_str();
    verb->add_option("--noise-trim", options->noiseTrim, "Noise re the truth in dB, -24 to 12")
        ->check(withinRange(-24.0, 12.0))
        ->capture_default_str();
    verb->add_option("--seed", options->seed, "Seed of the noise")->capture_default_str();
    verb->add_option("--start-ramp", options->startRamp, "Rise from silence in s, 0 to 10")
        ->check(withinRange(0.0, 10.0))
        ->capture_default_str();
    verb->add_option("--block", options->block,
                     "Frames a block, 1 to 65536; the result does not depend on it")
        ->check(CLI::Range(std::size_t {1}, std::size_t {65536}))
        ->capture_default_str();
    verb->add_option("--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->callback([options, mph, &shared] {
        options->inMph = mph->count() > 0;
        shared.action = [options] { return runListen(*options); };
    });
}

} // namespace saddletone::commandline
