// Analysis of a stereo recording of 60 s, step by step, beside the same steps in scipy on the same
// file.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Files/AudioFile.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/Measurement.h"

#include <algorithm>
#include <cmath>
#include <memory>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr double recordingSeconds = 60.0;
constexpr double mostBandDisagreementDb = 0.001;
constexpr double mostResponseDisagreementDb = 0.02;
constexpr double mostClockDisagreementPpm = 0.05;

/** What the steps work on. The transforms are kept from one repetition to the next, as scipy keeps
    its plans. */
struct Analysis {
    Material material;
    measure::MeasurementRequest request;
    dsp::FftStore transforms;
};

double largestDifference(const std::vector<double>& ours, const std::vector<double>& theirs,
                         std::size_t from, std::size_t to)
{
    double largest = 0.0;
    for (std::size_t index = from; index < std::min(to, theirs.size()); ++index)
        largest = std::max(largest, std::abs(ours[index] - theirs[index]));
    return largest;
}

void holdTogether(Contests& contests, Analysis& analysis, const nlohmann::json& theirBands,
                  const nlohmann::json& theirResponse)
{
    const auto bands =
        measure::analyseBands(analysis.material.audio, 3, dsp::Weighting::z, analysis.transforms);
    const auto response = valueOf(measure::measureResponse(analysis.request, analysis.transforms));
    std::vector<double> levels;
    for (const measure::BandConfidence& band : response.bands)
        levels.push_back(band.levelDb);
    contests.hold("levels of third octaves, scipy",
                  largestDifference(bands.levelsDbfs,
                                    theirBands.at("bandsDbfs").get<std::vector<double>>(), 0, 31),
                  mostBandDisagreementDb, "dB");
    // Bands outside 40 Hz to 16 kHz are not compared for the response: its edges are weighted.
    contests.hold(
        "response, 40 Hz to 16 kHz, scipy",
        largestDifference(levels, theirResponse.at("levelsDb").get<std::vector<double>>(), 3, 30),
        mostResponseDisagreementDb, "dB");
    contests.hold("clock, scipy",
                  std::abs(response.clockPpm - theirResponse.at("clockPpm").get<double>()),
                  mostClockDisagreementPpm, "ppm");
}

} // namespace

void addAnalysis(Contests& contests, Workshop& workshop)
{
    auto analysis = std::make_shared<Analysis>();
    analysis->material = makeMaterial(workshop.folder.path(), recordingSeconds);
    const Material& material = analysis->material;
    analysis->request.track = material.track;
    analysis->request.recordings = {{"recording.wav", material.audio}};

    ScipyPeer& scipy = workshop.scipy;
    const nlohmann::json reading {{"do", "read"}, {"file", material.recordingFile.string()}};
    const nlohmann::json banding {{"do", "bands"}};
    const nlohmann::json marking {{"do", "markers"}, {"track", material.descriptionFile.string()}};
    const nlohmann::json measuring {{"do", "response"},
                                    {"track", material.descriptionFile.string()}};
    const nlohmann::json all {{"do", "analysis"},
                              {"file", material.recordingFile.string()},
                              {"track", material.descriptionFile.string()}};
    (void)scipy.ask(reading);
    const auto theirBands = scipy.ask(banding);
    holdTogether(contests, *analysis, theirBands, scipy.ask(measuring));

    const auto read = [analysis] {
        ::benchmark::DoNotOptimize(valueOf(files::readAudioFile(analysis->material.recordingFile)));
    };
    const auto bands = [analysis] {
        ::benchmark::DoNotOptimize(measure::analyseBands(analysis->material.audio, 3,
                                                         dsp::Weighting::z, analysis->transforms));
    };
    const auto markers = [analysis] {
        ::benchmark::DoNotOptimize(valueOf(
            measure::findMarkers(analysis->material.audio.channels[0], sampleRate,
                                 analysis->material.track, "recording.wav", analysis->transforms)));
    };
    const auto response = [analysis] {
        ::benchmark::DoNotOptimize(
            valueOf(measure::measureResponse(analysis->request, analysis->transforms)));
    };
    const auto add = [&](const std::string& step, auto ours, const nlohmann::json& theirs) {
        const std::string work = "analysis of 60 s: " + step;
        contests.add(work, "Saddletone", [ours] { return secondsOf(ours); });
        contests.add(work, "SciPy", [&scipy, theirs] { return scipy.timed(theirs); });
    };
    add("read the file", read, reading);
    add("levels of third octaves", bands, banding);
    add("find both markers", markers, marking);
    add("response", response, measuring);
    add(
        "read, levels and response",
        [read, bands, response] {
            read();
            bands();
            response();
        },
        all);
}

} // namespace saddletone::bench
