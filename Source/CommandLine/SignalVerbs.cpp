#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Signals/Signal.h"
#include "Core/Signals/TrackSet.h"

#include <memory>
#include <optional>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;

struct SignalOptions {
    std::string type;
    std::string out;
    std::optional<double> seconds;
    double rate = 48000.0;
    std::optional<double> level;
    std::string bits = "24";
    std::uint64_t seed = 1;
    std::optional<double> from;
    std::optional<double> to;
    std::optional<std::string> driver;
    std::optional<int> tonesPerOctave;
    double frequency = 1000.0;
    bool periodic = false;
};

bool takesBand(signals::SignalType type)
{
    using signals::SignalType;
    return type == SignalType::pink || type == SignalType::white || type == SignalType::level
           || type == SignalType::sweep || type == SignalType::bands || type == SignalType::stepped
           || type == SignalType::multitone;
}

bool isNoise(signals::SignalType type)
{
    using signals::SignalType;
    return type == SignalType::pink || type == SignalType::white || type == SignalType::level
           || type == SignalType::calibratedPink;
}

/** An option that has no meaning for the type is a mistake, not something to pass over. */
std::optional<Failure> checkOptions(const SignalOptions& options, signals::SignalType type)
{
    using signals::SignalType;
    if (options.periodic && type != SignalType::pink)
        return usageFailure("--periodic is for pink noise only");
    if ((options.from || options.to) && !takesBand(type))
        return usageFailure("--from and --to have no meaning for " + options.type);
    if (options.level && type == SignalType::calibratedPink)
        return usageFailure("calibrated pink noise has the level of SMPTE ST 2095-1, "
                            "-18.5 dBFS; use pink for another --level");
    if (options.tonesPerOctave && type != SignalType::multitone)
        return usageFailure("--tones is for a multitone only");
    if (options.driver && (type != SignalType::pink || options.from || options.to))
        return usageFailure("--driver names a band of pink noise; it goes with pink only, and not "
                            "with --from and --to");
    return std::nullopt;
}

/** The band of a driver into the request; false if there is no such driver. */
bool applyDriver(const std::string& name, signals::SignalRequest& request)
{
    for (const signals::DriverBand& band : signals::driverBands)
        if (band.name == name) {
            request.fromHz = band.fromHz;
            request.toHz = band.toHz;
            request.levelDbfs = band.levelDbfs;
            return true;
        }
    return false;
}

std::variant<Output, Failure> makeSignalFile(const SignalOptions& options)
{
    const auto type = signals::parseSignalType(options.type);
    if (!type)
        return usageFailure(type.error().message);
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    if (auto failure = checkOptions(options, *type))
        return *failure;
    if (auto failure = checkEnding("--out", options.out, {".wav", ".flac", ".mp3"}))
        return *std::move(failure);

    signals::SignalRequest request = signals::usualRequest(*type);
    request.sampleRate = options.rate;
    request.fromHz = options.from;
    request.toHz = options.to;
    if (options.driver && !applyDriver(*options.driver, request))
        return usageFailure("driver '" + *options.driver
                            + "' is not known; use woofer, mid or tweeter");
    request.seconds = options.seconds.value_or(request.seconds);
    request.levelDbfs = options.level.value_or(request.levelDbfs);
    request.seed = options.seed;
    request.repetition =
        options.periodic ? signals::Repetition::periodic : signals::Repetition::none;
    request.frequencyHz = options.frequency;
    request.tonesPerOctave = options.tonesPerOctave.value_or(request.tonesPerOctave);
    const auto signal = signals::makeSignal(request);
    if (!signal)
        return usageFailure(signal.error().message);
    const auto description = signals::saveSignal(*signal, options.out, *format);
    if (!description)
        return inputFailure(description.error());

    const signals::SignalDescription& made = signal->description;
    const bool lossy = files::fileTypeOf(options.out) == files::FileType::mp3;
    const double seconds = static_cast<double>(made.numFrames) / made.sampleRate;
    Output output;
    const bool silent = *type == signals::SignalType::silence;
    output.text =
        options.out + ": " + options.type + ", " + fixedText(seconds, 2) + " s, "
        + fixedText(made.sampleRate, 0) + " Hz"
        + (silent ? std::string()
                  : ", level " + fixedText(made.levelDbfs, 2) + " dBFS, peak "
                        + fixedText(made.peakDbfs, 2) + " dBFS"
                        + (lossy ? " (nominal: the MP3 coding changes them a little)" : ""))
        + "\n" + description->string() + ": its description\n";
    if (!silent && !isNoise(*type))
        output.text += "Start quietly: test tones can damage speakers and amplifiers, and loud "
                       "sound harms hearing.\n";
    output.json = {{"file", options.out},
                   {"description", description->string()},
                   {"type", options.type},
                   {"numFrames", made.numFrames},
                   {"numChannels", made.numChannels},
                   {"sampleRate", made.sampleRate},
                   {"seconds", seconds},
                   {"levelDbfs", made.levelDbfs},
                   {"peakDbfs", made.peakDbfs},
                   {"levelsAreNominal", lossy},
                   {"seed", made.seed}};
    if (!silent)
        output.json["crestFactorDb"] = signals::crestFactorDb(made);
    if (made.periodFrames != 0)
        output.json["periodFrames"] = made.periodFrames;
    if (!made.segments.empty())
        output.json["numSegments"] = made.segments.size();
    if (!made.tones.empty())
        output.json["numTones"] = made.tones.size();
    return output;
}

struct TrackOptions {
    std::string out;
    double rate = 44100.0;
    std::string format = "wav";
};

std::variant<Output, Failure> writeTracks(const TrackOptions& options)
{
    const auto type = files::parseFileType(options.format);
    if (!type)
        return usageFailure(type.error().message);
    // A rate that is not offered is an argument's fault, found before anything is written.
    if (const auto problem = signals::checkTrackRate(options.rate, *type); !problem)
        return usageFailure(problem.error().message);
    showProgress("writing the tracks");
    const auto written = signals::writeTrackSet(options.out, options.rate, *type);
    if (!written)
        return inputFailure(written.error());
    Output output;
    output.json["tracks"] = nlohmann::json::array();
    for (const auto& file : *written) {
        output.text += file.string() + "\n";
        output.json["tracks"].push_back(file.string());
    }
    const std::string list = (std::filesystem::path(options.out) / "track-list.html").string();
    output.text += list + ": what they are for; print it\n";
    output.json["trackList"] = list;
    return output;
}

} // namespace

void addSignalVerbs(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<SignalOptions>();
    CLI::App* verb =
        addVerb(app, "signal", "Make a test signal: an audio file and its description");
    addOption(*verb, "type", options->type,
              signals::signalTypeWords()
                  + ". level: pink noise 500 Hz to 2 kHz; calibrated-pink: SMPTE ST 2095-1; "
                    "bands: a warble in each third octave; stepped: a sine at each; "
                    "multitone: tones of all of them at once; polarity: positive pulses; "
                    "channels: beeps that name the speakers; gain-set: sines of 1 kHz and "
                    "40 Hz at -10, -5 and 0 dBFS")
        ->required();
    addOption(*verb, "--out", options->out,
              "File to write: WAV, or by its ending FLAC or MP3 (320 kb/s)")
        ->required();
    addOption(*verb, "--seconds", options->seconds,
              "Length in s, 0.5 to 600 (of the sweep itself); default 30, sweep 12, channels "
              "44. Of each part for bands (4), stepped (3) and gain-set (10), 1 to 20");
    addOption(*verb, "--rate", options->rate, "44100, 48000, 88200 or 96000 Hz")
        ->capture_default_str();
    addOption(*verb, "--level", options->level,
              "AES17 level in dBFS, -100 to 0; default -20, sweep and polarity -12, "
              "gain-set 0 (its highest)");
    addOption(*verb, "--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    addOption(*verb, "--seed", options->seed, "Seed of noise and dither, 0 to 2^63 - 1")
        ->check(CLI::Range(std::uint64_t {0}, std::uint64_t {0x7FFFFFFFFFFFFFFF}))
        ->capture_default_str();
    addOption(*verb, "--from", options->from,
              "Lowest frequency in Hz of noise or sweep; first third octave of bands, "
              "stepped and multitone (25)");
    addOption(*verb, "--to", options->to,
              "Highest frequency in Hz of noise or sweep; last third octave of bands, "
              "stepped and multitone (16000)");
    addOption(*verb, "--driver", options->driver,
              "woofer, mid or tweeter: pink noise in a band that is safe for it, by "
              "judgement (60 to 300, 500 to 2500, 5000 to 16000 Hz)");
    addOption(*verb, "--tones", options->tonesPerOctave,
              "Tones an octave of the multitone: 3, 6, 12 or 24 (the default)");
    addOption(*verb, "--frequency", options->frequency, "Frequency of the sine in Hz")
        ->capture_default_str();
    addFlag(*verb, "--periodic", options->periodic,
            "Pink noise that repeats without a seam, at least as long as asked for");
    verb->callback(
        [options, &shared] { shared.action = [options] { return makeSignalFile(*options); }; });

    auto set = std::make_shared<TrackOptions>();
    CLI::App* tracks = addVerb(
        app, "tracks", "Write the shop's numbered set of test tracks with a printable list");
    addOption(*tracks, "--out", set->out, "Folder to write to")->required();
    addOption(*tracks, "--rate", set->rate, "44100, 48000, 88200 or 96000 Hz; MP3 up to 48000")
        ->capture_default_str();
    addOption(*tracks, "--format", set->format,
              "wav, flac or mp3 (320 kb/s, for radios that play nothing else)")
        ->capture_default_str();
    tracks->callback([set, &shared] { shared.action = [set] { return writeTracks(*set); }; });
}

} // namespace saddletone::commandline
