#include "CommandLine/Verbs.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Signals/Signal.h"
#include "Core/Signals/TrackSet.h"

#include <memory>
#include <optional>

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
    double frequency = 1000.0;
    bool periodic = false;
};

std::variant<Output, Failure> makeSignalFile(const SignalOptions& options)
{
    const auto type = signals::parseSignalType(options.type);
    if (!type)
        return usageFailure(type.error().message);
    const auto format = files::parseSampleFormat(options.bits);
    if (!format)
        return usageFailure(format.error().message);
    if (options.periodic && *type != signals::SignalType::pink)
        return usageFailure("--periodic is for pink noise only");

    const bool sweep = *type == signals::SignalType::sweep;
    signals::SignalRequest request;
    request.type = *type;
    request.sampleRate = options.rate;
    request.seconds = options.seconds.value_or(sweep ? 12.0 : 30.0);
    request.levelDbfs = options.level.value_or(sweep ? -12.0 : -20.0);
    request.seed = options.seed;
    request.repetition =
        options.periodic ? signals::Repetition::periodic : signals::Repetition::none;
    request.fromHz = options.from;
    request.toHz = options.to;
    request.frequencyHz = options.frequency;
    const auto signal = signals::makeSignal(request);
    if (!signal)
        return usageFailure(signal.error().message);
    const auto description = signals::saveSignal(*signal, options.out, *format);
    if (!description)
        return inputFailure(description.error());

    const signals::SignalDescription& made = signal->description;
    const double seconds = static_cast<double>(made.numFrames) / made.sampleRate;
    Output output;
    const bool silent = *type == signals::SignalType::silence;
    output.text = options.out + ": " + options.type + ", " + fixedText(seconds, 2) + " s, "
                  + fixedText(made.sampleRate, 0) + " Hz"
                  + (silent ? std::string()
                            : ", level " + fixedText(made.levelDbfs, 2) + " dBFS, peak "
                                  + fixedText(made.peakDbfs, 2) + " dBFS")
                  + "\n" + description->string() + ": its description\n";
    if (sweep || *type == signals::SignalType::sine)
        output.text += "Start quietly: test tones can damage speakers and amplifiers, and loud "
                       "sound harms hearing.\n";
    output.json = {{"file", options.out},           {"description", description->string()},
                   {"type", options.type},          {"numFrames", made.numFrames},
                   {"sampleRate", made.sampleRate}, {"levelDbfs", made.levelDbfs},
                   {"peakDbfs", made.peakDbfs},     {"seed", made.seed}};
    return output;
}

} // namespace

void addSignalVerbs(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<SignalOptions>();
    CLI::App* verb =
        app.add_subcommand("signal", "Make a test signal: a WAV file and its description");
    verb->add_option("type", options->type, "pink, white, sweep, sine or silence")->required();
    verb->add_option("--out", options->out, "WAV (or FLAC) file to write")->required();
    verb->add_option("--seconds", options->seconds,
                     "Length in s, 0.5 to 600 (of the sweep itself); default 30, sweep 12");
    verb->add_option("--rate", options->rate, "44100, 48000, 88200 or 96000 Hz")
        ->capture_default_str();
    verb->add_option("--level", options->level,
                     "AES17 level in dBFS, -100 to 0; default -20, sweep -12");
    verb->add_option("--bits", options->bits, "16, 24 or 32f")->capture_default_str();
    verb->add_option("--seed", options->seed, "Seed of noise and dither, 0 to 2^63 - 1")
        ->check(CLI::Range(std::uint64_t {0}, std::uint64_t {0x7FFFFFFFFFFFFFFF}))
        ->capture_default_str();
    verb->add_option("--from", options->from, "Lowest frequency of noise or sweep in Hz");
    verb->add_option("--to", options->to, "Highest frequency of noise or sweep in Hz");
    verb->add_option("--frequency", options->frequency, "Frequency of the sine in Hz")
        ->capture_default_str();
    verb->add_flag("--periodic", options->periodic,
                   "Pink noise that repeats without a seam, at least as long as asked for");
    verb->callback(
        [options, &shared] { shared.action = [options] { return makeSignalFile(*options); }; });

    auto folder = std::make_shared<std::string>();
    auto rate = std::make_shared<double>(44100.0);
    CLI::App* tracks = app.add_subcommand(
        "tracks", "Write the shop's numbered set of test tracks with a printable list");
    tracks->add_option("--out", *folder, "Folder to write to")->required();
    tracks->add_option("--rate", *rate, "44100, 48000, 88200 or 96000 Hz")->capture_default_str();
    tracks->callback([folder, rate, &shared] {
        shared.action = [folder, rate]() -> std::variant<Output, Failure> {
            // A rate that is not offered is an argument's fault, found before anything is written.
            if (const auto probe = signals::makeSignal(signals::shopTracks(*rate).back().request);
                !probe)
                return usageFailure(probe.error().message);
            const auto written = signals::writeTrackSet(*folder, *rate);
            if (!written)
                return inputFailure(written.error());
            Output output;
            output.json["tracks"] = nlohmann::json::array();
            for (const auto& file : *written) {
                output.text += file.string() + "\n";
                output.json["tracks"].push_back(file.string());
            }
            const std::string list = (std::filesystem::path(*folder) / "track-list.html").string();
            output.text += list + ": what they are for; print it\n";
            output.json["trackList"] = list;
            return output;
        };
    });
}

} // namespace saddletone::commandline
