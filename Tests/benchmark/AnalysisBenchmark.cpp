#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Files/AudioFile.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/Measurement.h"
#include "Core/Measure/RecordingChecks.h"
#include "Core/Signals/Signal.h"
#include "Support/SimulatedBike.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

// Analysis of a stereo recording of 60 s, step by step, beside the same steps in scipy on the same
// file in the same run. The figures of the two are compared too, so that neither is fast by doing
// something else.

namespace {

using namespace saddletone;

constexpr double sampleRate = 48000.0;
constexpr double recordingSeconds = 60.0;
constexpr int numRepetitions = 7;
constexpr double mostBandDisagreementDb = 0.001;
constexpr double mostResponseDisagreementDb = 0.02;
constexpr double mostClockDisagreementPpm = 0.05;

struct Material {
    std::filesystem::path recordingFile;
    std::filesystem::path descriptionFile;
    signals::SignalDescription track;
    dsp::AudioBuffer audio;
};

[[noreturn]] void giveUp(const std::string& reason)
{
    std::cerr << "saddletone_benchmark: " << reason << '\n';
    std::exit(1);
}

template <typename Value>
Value valueOf(dsp::Result<Value> result)
{
    if (!result)
        giveUp(result.error().message);
    return std::move(*result);
}

/** A sweep of 30 s through the simulated bike, taken down in stereo by a recorder whose clock runs
    40 ppm fast, with 8 s before it and white noise 60 dB below full scale throughout. */
Material makeMaterial(const std::filesystem::path& folder, double seconds)
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.sampleRate = sampleRate;
    request.seconds = 30.0;
    request.levelDbfs = -12.0;
    const auto signal = valueOf(signals::makeSignal(request));
    Material material;
    material.track = signal.description;
    material.descriptionFile =
        valueOf(signals::saveSignal(signal, folder / "track.wav", files::SampleFormat::pcm24));

    test::RecorderModel recorder;
    recorder.sampleRate = sampleRate;
    recorder.clockPpm = 40.0;
    recorder.startSeconds = 8.0;
    recorder.endSeconds = seconds;
    recorder.gain = 0.4;
    const test::SimulatedBike bike;
    auto take =
        test::record(bike.play(signal.audio.channels.front(), sampleRate), sampleRate, recorder);
    take.resize(static_cast<std::size_t>(seconds * sampleRate));
    dsp::RandomSource random(1);
    dsp::AudioBuffer audio = dsp::makeSilence(sampleRate, 2, take.size());
    for (std::size_t frame = 0; frame < take.size(); ++frame) {
        audio.channels[0][frame] = take[frame] + static_cast<float>(0.001 * random.nextGaussian());
        audio.channels[1][frame] =
            0.6F * take[frame] + static_cast<float>(0.001 * random.nextGaussian());
    }
    material.recordingFile = folder / "recording.wav";
    if (const auto written =
            files::writeAudioFile(audio, material.recordingFile, files::SampleFormat::pcm16);
        !written)
        giveUp(written.error().message);
    material.audio = valueOf(files::readAudioFile(material.recordingFile));
    return material;
}

/** Runs the scipy script, which prints its timings and figures; importing is not in them. */
nlohmann::json runScipy(const Material& material)
{
    const char* python = std::getenv("SADDLETONE_PYTHON");
    const std::string command =
        std::string(python != nullptr ? python : "/usr/bin/python3") + " \""
        + SADDLETONE_SCIPY_SCRIPT + "\" \"" + material.recordingFile.string() + "\" \""
        + material.descriptionFile.string() + "\" " + std::to_string(numRepetitions);
    FILE* pipe = popen(command.c_str(), "r");
    if (pipe == nullptr)
        giveUp("cannot start python3");
    std::string text;
    std::array<char, 4096> buffer {};
    while (const std::size_t got = std::fread(buffer.data(), 1, buffer.size(), pipe))
        text.append(buffer.data(), got);
    if (pclose(pipe) != 0)
        giveUp("the scipy script failed; it needs python3 with numpy and scipy "
               "(SADDLETONE_PYTHON names another python3)");
    const auto json = nlohmann::json::parse(text, nullptr, false);
    if (json.is_discarded())
        giveUp("the scipy script printed something else than JSON: " + text);
    return json;
}

/** Prints as the console does and keeps the best time of every step. */
class BestTimes : public benchmark::ConsoleReporter {
public:
    void ReportRuns(const std::vector<Run>& runs) override
    {
        for (const Run& run : runs)
            if (run.run_type == Run::RT_Iteration && !run.error_occurred) {
                const double seconds = run.GetAdjustedRealTime() * 1e-3;
                const auto [entry, isNew] =
                    bestSeconds.try_emplace(run.run_name.function_name, seconds);
                entry->second = std::min(entry->second, seconds);
            }
        ConsoleReporter::ReportRuns(runs);
    }

    [[nodiscard]] bool hasAll() const { return bestSeconds.size() == 4; }
    [[nodiscard]] double secondsOf(const std::string& step) const { return bestSeconds.at(step); }

private:
    std::map<std::string, double> bestSeconds;
};

double largestDifference(const std::vector<double>& ours, const std::vector<double>& theirs,
                         std::size_t from, std::size_t to)
{
    double largest = 0.0;
    for (std::size_t index = from; index < std::min(to, theirs.size()); ++index)
        largest = std::max(largest, std::abs(ours[index] - theirs[index]));
    return largest;
}

bool agrees(const std::string& what, double difference, double most, const std::string& unit)
{
    std::printf("  %-28s %.4f %s (at most %.3f)\n", what.c_str(), difference, unit.c_str(), most);
    return difference <= most;
}

} // namespace

int main(int argc, char** argv)
{
    benchmark::Initialize(&argc, argv);
    if (benchmark::ReportUnrecognizedArguments(argc, argv))
        return 2;
    const test::TemporaryFolder folder;
    const Material material = makeMaterial(folder.path(), recordingSeconds);
    const nlohmann::json scipy = runScipy(material);

    measure::MeasurementRequest request;
    request.track = material.track;
    request.recordings = {{"recording.wav", material.audio}};
    measure::BandAnalysis bands;
    measure::Response response;
    const auto add = [](const char* name, auto step) {
        benchmark::RegisterBenchmark(name,
                                     [step](benchmark::State& state) {
                                         for ([[maybe_unused]] auto iteration : state)
                                             step();
                                     })
            ->Unit(benchmark::kMillisecond)
            ->UseRealTime()
            ->MinTime(0.01)
            ->Repetitions(numRepetitions)
            ->ReportAggregatesOnly(false);
    };
    add("read",
        [&] { benchmark::DoNotOptimize(valueOf(files::readAudioFile(material.recordingFile))); });
    // Kept from one repetition to the next, as scipy keeps its plans.
    dsp::FftStore transforms;
    add("bands",
        [&] { bands = measure::analyseBands(material.audio, 3, dsp::Weighting::z, transforms); });
    add("markers", [&] {
        const std::span<const float> samples = material.audio.channels[0];
        benchmark::DoNotOptimize(valueOf(measure::findMarkers(samples, sampleRate, material.track,
                                                              "recording.wav", transforms)));
    });
    add("response", [&] { response = valueOf(measure::measureResponse(request, transforms)); });
    BestTimes times;
    benchmark::RunSpecifiedBenchmarks(&times);
    benchmark::Shutdown();
    if (!times.hasAll()) {
        std::printf("\nNot all steps were run, so nothing is compared.\n");
        return 0;
    }

    std::printf(
        "\nBest of %d, one stereo recording of %.0f s at 48 kHz, up to %u threads on either "
        "side:\n",
        numRepetitions, recordingSeconds, std::thread::hardware_concurrency());
    std::printf("  %-10s %14s %14s %8s\n", "step", "Saddletone ms", "scipy ms", "ratio");
    double ours = 0.0;
    double theirs = 0.0;
    for (const std::string step : {"read", "bands", "markers", "response"}) {
        const double here = times.secondsOf(step);
        const double there = scipy.at("seconds").at(step).get<double>();
        std::printf("  %-10s %14.1f %14.1f %8.2f%s\n", step.c_str(), 1e3 * here, 1e3 * there,
                    there / here, step == "markers" ? "   (also part of response)" : "");
        if (step != "markers") {
            ours += here;
            theirs += there;
        }
    }
    std::printf("  %-10s %14.1f %14.1f %8.2f\n", "whole", 1e3 * ours, 1e3 * theirs, theirs / ours);

    std::vector<double> levels;
    for (const measure::BandConfidence& band : response.bands)
        levels.push_back(band.levelDb);
    std::printf("\nThe two differ by:\n");
    const auto theirBands = scipy.at("bandsDbfs").get<std::vector<double>>();
    const auto theirLevels = scipy.at("levelsDb").get<std::vector<double>>();
    // Bands outside 40 Hz to 16 kHz are not compared for the response: its edges are weighted.
    bool agreed = agrees("levels of bands", largestDifference(bands.levelsDbfs, theirBands, 0, 31),
                         mostBandDisagreementDb, "dB");
    agreed &= agrees("response, 40 Hz to 16 kHz", largestDifference(levels, theirLevels, 3, 30),
                     mostResponseDisagreementDb, "dB");
    agreed &= agrees("clock", std::abs(response.clockPpm - scipy.at("clockPpm").get<double>()),
                     mostClockDisagreementPpm, "ppm");
    return agreed ? 0 : 1;
}
