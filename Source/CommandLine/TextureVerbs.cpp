#include "CommandLine/CalibrationOption.h"
#include "CommandLine/Options.h"
#include "CommandLine/RideOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Ride/NoiseAnalysis.h"
#include "Core/Ride/NoiseTexture.h"
#include "Core/Ride/RecordedNoise.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <memory>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct TextureOptions {
    std::vector<std::string> recordings;
    std::vector<double> speedsKmh;
    std::string calibration;
    double calibrationSpl = 94.0;
    std::string out;
    std::string render;
    double renderSpeedKmh = -1.0; // below 0: that of the first recording
    double seconds = 30.0;
    double sampleRate = 48000.0;
    std::uint64_t seed = 1;
};

nlohmann::json recordingJson(const ride::NoiseRecording& recording,
                             const std::optional<double>& splAtFullScaleDb)
{
    const auto left = ride::thirdOctaveLevelsDbfs(recording.state, 0);
    const auto right = ride::thirdOctaveLevelsDbfs(recording.state, 1);
    const auto bands = dsp::thirdOctaveBands();
    auto thirdOctaves = nlohmann::json::array();
    for (std::size_t band = 0; band < bands.size(); ++band) {
        if (left[band] <= dsp::silenceDb)
            continue;
        nlohmann::json entry {{"frequencyHz", bands[band].centreHz},
                              {"leftDbfs", left[band]},
                              {"rightDbfs", right[band]},
                              {"coherence", recording.state.coherence[4 * band]}};
        if (splAtFullScaleDb) {
            entry["leftSplDb"] = left[band] + *splAtFullScaleDb;
            entry["rightSplDb"] = right[band] + *splAtFullScaleDb;
        }
        thirdOctaves.push_back(entry);
    }
    auto tones = nlohmann::json::array();
    for (std::size_t index = 0; index < recording.state.numTones; ++index) {
        const ride::NoiseTone& tone = recording.state.tones[index];
        tones.push_back({{"frequencyHz", tone.frequencyHz},
                         {"leftDbfs", tone.levelsDbfs[0]},
                         {"rightDbfs", tone.levelsDbfs[1]},
                         {"levelDeviationDb", tone.levelDeviationDb},
                         {"glideProportion", tone.glideProportion}});
    }
    return {{"recording", recording.name},
            {"speedKmh", recording.state.speedKmh},
            {"durationSeconds", recording.durationSeconds},
            {"levelDeviationDb", recording.levelDeviationDb},
            {"thirdOctaves", thirdOctaves},
            {"tones", tones},
            {"remarks", recording.remarks}};
}

std::string recordingText(const ride::NoiseRecording& recording,
                          const std::optional<double>& splAtFullScaleDb)
{
    double power = 0.0;
    for (std::size_t ear = 0; ear < 2; ++ear)
        for (const double levelDbfs : ride::thirdOctaveLevelsDbfs(recording.state, ear))
            power += 0.5 * dsp::dbToPower(levelDbfs);
    const double levelDb = dsp::powerToDb(power);
    std::string text = recording.name + ": " + fixedText(recording.state.speedKmh, 0) + " km/h, "
                       + fixedText(recording.durationSeconds, 1) + " s, "
                       + (splAtFullScaleDb ? fixedText(levelDb + *splAtFullScaleDb, 1) + " dB SPL"
                                           : fixedText(levelDb, 1) + " dBFS (relative)")
                       + " unweighted, level fluctuates by "
                       + fixedText(recording.levelDeviationDb, 1) + " dB, "
                       + std::to_string(recording.state.numTones)
                       + (recording.state.numTones == 1 ? " tone" : " tones");
    for (std::size_t index = 0; index < recording.state.numTones; ++index)
        text +=
            (index == 0 ? " at " : ", ") + fixedText(recording.state.tones[index].frequencyHz, 0);
    text += recording.state.numTones > 0 ? " Hz\n" : "\n";
    for (const std::string& remark : recording.remarks)
        text += "note: " + remark + "\n";
    return text;
}

dsp::Result<void> renderTexture(const ride::RecordedNoise& noise, const TextureOptions& options,
                                double speedKmh)
{
    const auto numFrames = static_cast<std::size_t>(options.seconds * options.sampleRate);
    dsp::AudioBuffer audio =
        dsp::makeSilence(options.sampleRate, ride::NoiseTexture::numEars, numFrames);
    ride::NoiseTexture texture(noise, options.seed);
    texture.setParameters({speedKmh});
    constexpr std::size_t blockFrames = 4096;
    texture.prepare({options.sampleRate, blockFrames, ride::NoiseTexture::numEars});
    const dsp::ScopedFlushDenormals flushDenormals;
    for (std::size_t done = 0; done < numFrames; done += blockFrames) {
        const std::array<float*, 2> pointers {audio.channels[0].data() + done,
                                              audio.channels[1].data() + done};
        texture.process({pointers.data(), 2, std::min(blockFrames, numFrames - done)});
    }
    // Gusts may pass the recording's full scale; floats hold them.
    return files::writeAudioFile(audio, options.render, files::SampleFormat::float32);
}

Outcome runTexture(const TextureOptions& options)
{
    if (options.recordings.size() != options.speedsKmh.size())
        return usageFailure("texture: " + std::to_string(options.recordings.size())
                            + " recording(s) but " + std::to_string(options.speedsKmh.size())
                            + " speed(s); give one --speed-kmh for each --recording, in the same "
                              "order");
    if (!options.render.empty() && files::fileTypeOf(options.render) != files::FileType::wav)
        return usageFailure("texture: --render '" + options.render
                            + "' must end in .wav, as the texture is written in 32-bit floats");
    std::optional<ReadCalibration> calibration;
    if (!options.calibration.empty()) {
        auto read = calibrationFrom(options.calibration, options.calibrationSpl);
        if (!read)
            return inputFailure(read.error());
        calibration = std::move(*read);
    }
    std::vector<ride::NoiseRecording> recordings;
    for (std::size_t index = 0; index < options.recordings.size(); ++index) {
        const std::string& file = options.recordings[index];
        showProgress("analysing " + file);
        const auto audio = files::readAudioFile(file);
        if (!audio)
            return inputFailure(audio.error());
        auto recording = ride::analyseNoise(std::filesystem::path(file).filename().string(), *audio,
                                            options.speedsKmh[index]);
        if (!recording)
            return inputFailure(recording.error());
        recordings.push_back(std::move(*recording));
    }
    auto noise = ride::makeRecordedNoise(std::move(recordings));
    if (!noise)
        return inputFailure(noise.error());
    if (calibration) {
        noise->splAtFullScaleDb = calibration->calibration.splAtFullScaleDb();
        noise->calibrationNote =
            calibration->note.empty()
                ? "calibrator's tone in "
                      + std::filesystem::path(options.calibration).filename().string()
                : calibration->note;
    }
    const double renderSpeedKmh =
        options.renderSpeedKmh >= 0.0 ? options.renderSpeedKmh : options.speedsKmh.front();
    if (!options.render.empty()) {
        showProgress("rendering");
        if (const auto rendered = renderTexture(*noise, options, renderSpeedKmh); !rendered)
            return inputFailure(rendered.error());
    }
    if (const auto saved = ride::saveRecordedNoise(*noise, options.out); !saved)
        return inputFailure(saved.error());

    Output output;
    output.json = {{"noise", options.out},
                   {"calibrated", noise->splAtFullScaleDb.has_value()},
                   {"recordings", nlohmann::json::array()}};
    for (const ride::NoiseRecording& recording : noise->recordings) {
        output.text += recordingText(recording, noise->splAtFullScaleDb);
        output.json["recordings"].push_back(recordingJson(recording, noise->splAtFullScaleDb));
    }
    output.text += noise->splAtFullScaleDb
                       ? "levels: dB SPL, " + noise->calibrationNote + "\n"
                       : std::string("levels: relative, as there is no --calibration\n");
    if (noise->splAtFullScaleDb)
        output.json["splAtFullScaleDb"] = *noise->splAtFullScaleDb;
    output.json["figures"] = figuresJson(noise->figures());
    if (!options.render.empty()) {
        const std::string sentence = noise->placeSentence(renderSpeedKmh);
        output.text += options.render + ": " + fixedText(options.seconds, 1) + " s, seed "
                       + std::to_string(options.seed) + ". " + sentence + "\n";
        output.json["render"] = {{"file", options.render},
                                 {"speedKmh", renderSpeedKmh},
                                 {"seed", options.seed},
                                 {"sentence", sentence}};
    }
    return output;
}

} // namespace

void addTextureVerbs(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<TextureOptions>();
    CLI::App* verb =
        addVerb(app, "texture", "Make endless road noise out of recordings at a rider's head");
    addOption(*verb, "--recording", options->recordings,
              "Road noise at a constant speed, one or two channels, 10 s or more; several "
              "with a speed each")
        ->required()
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    addOption(*verb, "--speed-kmh", options->speedsKmh,
              "Speed of each recording, in the same order")
        ->required()
        ->expected(1)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll)
        ->check(CLI::Range(0.0, 400.0));
    auto* calibration =
        addOption(*verb, "--calibration", options->calibration,
                  "Recording of a calibrator's 1 kHz tone, or what `calibrate` saved (CAL.json)");
    addOption(*verb, "--calibration-spl", options->calibrationSpl,
              "Level of the calibrator in dB SPL; a saved calibration brings its own")
        ->capture_default_str()
        ->needs(calibration);
    addOption(*verb, "--out", options->out, "NOISE.json to write")->required();
    auto* render = addOption(*verb, "--render", options->render,
                             "WAV of the texture to write, 32-bit floats in the "
                             "recordings' full scale");
    addOption(*verb, "--render-speed-kmh", options->renderSpeedKmh,
              "Speed to render (default: that of the first recording)")
        ->check(CLI::Range(0.0, 400.0))
        ->needs(render);
    addOption(*verb, "--seconds", options->seconds, "Length to render")
        ->capture_default_str()
        ->check(CLI::Range(0.1, 3600.0))
        ->needs(render);
    addOption(*verb, "--rate", options->sampleRate, "Sample rate to render, in Hz")
        ->capture_default_str()
        ->check(CLI::Range(8000.0, 192000.0))
        ->needs(render);
    addOption(*verb, "--seed", options->seed, "Seed of the rendered texture")
        ->capture_default_str()
        ->needs(render);
    verb->callback(
        [options, &shared] { shared.action = [options] { return runTexture(*options); }; });
}

} // namespace saddletone::commandline
