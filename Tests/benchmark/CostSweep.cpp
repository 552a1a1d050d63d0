// How time grows: with taps, candidates, channels, filters and length, one of them at a time.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Audition/ProgrammeConvolver.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Files/AudioFile.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Measure/Measurement.h"
#include "Core/Tuning/FilterFit.h"
#include "Support/FitFixtures.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <fstream>
#include <functional>
#include <memory>
#include <utility>

#include <benchmark/benchmark.h>

namespace saddletone::bench {

namespace {

constexpr std::size_t blockFrames = 128;
constexpr std::size_t numRepetitions = 9;
constexpr std::array<double, 4> lengthsSeconds {60.0, 120.0, 240.0, 480.0};

/** One size of one series, with a run's seconds for each repetition. */
struct Point {
    std::string axis;   ///< What grows, and its unit.
    std::string series; ///< What is timed.
    double size = 0.0;
    std::function<double()> run;
    std::vector<double> seconds {};
};

using Points = std::vector<Point>;

/** Seconds of one call where a call is too short for the clock. */
template <typename Step>
double secondsOfMany(std::size_t count, Step&& step)
{
    return secondsOf([&] {
               for (std::size_t index = 0; index < count; ++index)
                   step();
           })
           / static_cast<double>(count);
}

/** A convolver playing noise through one to four paths between two channels and two ears. */
class Player {
public:
    Player(std::size_t numTaps, std::size_t numPaths)
        : layout(audition::PartitionLayout::forTaps(numTaps, blockFrames))
    {
        for (std::size_t path = 0; path < numPaths; ++path) {
            // Left to left, right to right, then across.
            const std::size_t ear = path % 2;
            kernels[ear][path < 2 ? ear : 1 - ear] =
                std::make_shared<const audition::PartitionedKernel>(
                    layout, decayingNoise(numTaps, 60.0, 0.1, path + 1));
        }
        for (auto& channel : noise)
            channel = decayingNoise(blockFrames, 0.0, 0.1, 7);
        convolver.prepare(layout);
        convolver.setVoice(0, &kernels);
    }

    void playBlock()
    {
        std::size_t done = 0;
        while (done < blockFrames) {
            const std::size_t count = std::min(convolver.framesToVisit(), blockFrames - done);
            for (std::size_t channel = 0; channel < noise.size(); ++channel)
                std::copy_n(noise[channel].data() + done, count, piece[channel].begin());
            convolver.push(piece, count);
            convolver.render(0, piece);
            convolver.advance();
            done += count;
        }
        ::benchmark::DoNotOptimize(piece);
    }

private:
    audition::PartitionLayout layout;
    audition::ProgrammeConvolver convolver;
    audition::ProgrammeConvolver::Kernels kernels;
    std::array<std::vector<float>, 2> noise;
    std::array<audition::ProgrammeConvolver::Piece, 2> piece {};
};

/** The mean block over several of the longest partitions, so that all of its work is counted. */
double secondsOfBlock(Player& player)
{
    return secondsOfMany(8 * audition::PartitionLayout::longestBlock / blockFrames,
                         [&] { player.playBlock(); });
}

void addTaps(Points& points)
{
    for (std::size_t numTaps = 1024; numTaps <= 131072; numTaps *= 2) {
        const auto player = std::make_shared<Player>(numTaps, 2);
        points.push_back({"taps", "convolution, stereo, a block of 128 frames",
                          static_cast<double>(numTaps),
                          [player] { return secondsOfBlock(*player); }});
        const auto taps =
            std::make_shared<const std::vector<float>>(decayingNoise(numTaps, 60.0, 0.1, 1));
        const auto layout = audition::PartitionLayout::forTaps(numTaps, blockFrames);
        points.push_back({"taps", "cutting a kernel", static_cast<double>(numTaps), [taps, layout] {
                              return secondsOfMany(10, [&] {
                                  ::benchmark::DoNotOptimize(
                                      audition::PartitionedKernel(layout, *taps));
                              });
                          }});
    }
}

audition::SceneRequest sceneOf(std::size_t numCandidates)
{
    audition::SceneRequest scene;
    for (std::size_t index = 0; index < numCandidates; ++index) {
        measure::Response response;
        response.impulse = decayingNoise(32640, 60.0, 0.05, index + 1);
        scene.candidates.push_back({"candidate " + std::to_string(index), response, {}});
    }
    return scene;
}

/** An engine with a scene, on its way. */
struct Playing {
    audition::AuditionEngine engine {{}};
    std::array<std::vector<float>, 2> samples {decayingNoise(blockFrames, 0.0, 0.1, 7),
                                               decayingNoise(blockFrames, 0.0, 0.1, 8)};
    std::array<std::vector<float>, 2> heard {std::vector<float>(blockFrames),
                                             std::vector<float>(blockFrames)};

    explicit Playing(const audition::SceneRequest& scene)
    {
        engine.prepare({sampleRate, blockFrames, 2});
        engine.publish(std::make_unique<audition::AuditionScene>(
            valueOf(audition::buildScene(scene, engine.layout(), sampleRate))));
        engine.reset();
    }

    void playBlock()
    {
        const std::array<const float*, 2> in {samples[0].data(), samples[1].data()};
        const std::array<float*, 2> out {heard[0].data(), heard[1].data()};
        engine.process({in.data(), 2, blockFrames}, {out.data(), 2, blockFrames});
    }
};

void addCandidates(Points& points)
{
    for (const std::size_t numCandidates : {1U, 2U, 4U, 8U}) {
        const auto scene = std::make_shared<const audition::SceneRequest>(sceneOf(numCandidates));
        const auto playing = std::make_shared<Playing>(*scene);
        points.push_back({"candidates", "building a scene, 0.68 s each",
                          static_cast<double>(numCandidates), [scene, playing] {
                              return secondsOf([&] {
                                  ::benchmark::DoNotOptimize(valueOf(audition::buildScene(
                                      *scene, playing->engine.layout(), sampleRate)));
                              });
                          }});
        points.push_back({"candidates", "playing one of them, a block of 128 frames",
                          static_cast<double>(numCandidates), [playing] {
                              return secondsOfMany(1000, [&] { playing->playBlock(); });
                          }});
    }
}

void addChannels(Points& points)
{
    for (const std::size_t numPaths : {1U, 2U, 4U}) {
        const auto player = std::make_shared<Player>(32768, numPaths);
        points.push_back({"channels or paths", "convolution, 32768 taps, a block of 128 frames",
                          static_cast<double>(numPaths),
                          [player] { return secondsOfBlock(*player); }});
    }
    const auto transforms = std::make_shared<dsp::FftStore>();
    for (const std::size_t numChannels : {1U, 2U, 4U, 8U}) {
        dsp::AudioBuffer audio {sampleRate, {}};
        for (std::size_t channel = 0; channel < numChannels; ++channel)
            audio.channels.push_back(decayingNoise(2880000, 0.0, 0.1, channel));
        const auto kept = std::make_shared<const dsp::AudioBuffer>(std::move(audio));
        points.push_back({"channels or paths", "third octaves of 60 s",
                          static_cast<double>(numChannels), [kept, transforms] {
                              return secondsOf([&] {
                                  ::benchmark::DoNotOptimize(measure::analyseBands(
                                      *kept, 3, dsp::Weighting::z, *transforms));
                              });
                          }});
    }
}

void addFilters(Points& points)
{
    auto made = std::make_shared<std::vector<tuning::FitCurve>>();
    for (std::uint64_t seed = 1; seed <= 4; ++seed)
        made->push_back(test::curveOf(test::unevenLevel(seed)));
    for (const int numFilters : {1, 2, 4, 7, 10})
        points.push_back(
            {"filters", "fit to one response", static_cast<double>(numFilters), [made, numFilters] {
                 std::size_t next = 0;
                 return secondsOfMany(made->size(), [&] {
                     const tuning::FitCurve& curve = (*made)[next++];
                     ::benchmark::DoNotOptimize(
                         valueOf(tuning::fitFilters({&curve, 1}, {}, numFilters)));
                 });
             }});
}

/** The beginning of a recording, in memory and as a file. */
struct Piece {
    measure::MeasurementRequest request;
    std::filesystem::path file;
    audition::SceneRequest scene = sceneOf(1);
    audition::AuditionEngine::Parameters riding;
};

std::shared_ptr<const Piece> beginningOf(const Material& material, double seconds,
                                         const std::filesystem::path& folder)
{
    auto piece = std::make_shared<Piece>();
    piece->request.track = material.track;
    dsp::AudioBuffer audio = material.audio;
    for (auto& channel : audio.channels)
        channel.resize(static_cast<std::size_t>(seconds * sampleRate));
    piece->file = folder / (std::to_string(static_cast<int>(seconds)) + ".wav");
    if (const auto written = files::writeAudioFile(audio, piece->file, files::SampleFormat::pcm24);
        !written)
        giveUp(written.error().message);
    piece->request.recordings = {{"recording", std::move(audio)}};
    piece->riding.ride.speedKmh = 110.0;
    return piece;
}

void addLengths(Points& points, Workshop& workshop)
{
    const Material material = makeMaterial(workshop.folder.path(), lengthsSeconds.back());
    const auto transforms = std::make_shared<dsp::FftStore>();
    for (const double seconds : lengthsSeconds) {
        const auto piece = beginningOf(material, seconds, workshop.folder.path());
        const auto add = [&](const std::string& series, auto step) {
            points.push_back({"length, s", series, seconds, [step] { return secondsOf(step); }});
        };
        add("reading a file, stereo",
            [piece] { ::benchmark::DoNotOptimize(valueOf(files::readAudioFile(piece->file))); });
        add("third octaves, stereo", [piece, transforms] {
            ::benchmark::DoNotOptimize(measure::analyseBands(
                piece->request.recordings.front().audio, 3, dsp::Weighting::z, *transforms));
        });
        add("response from a track of 30 s in it", [piece, transforms] {
            ::benchmark::DoNotOptimize(
                valueOf(measure::measureResponse(piece->request, *transforms)));
        });
        add("audition with noise, off line", [piece] {
            ::benchmark::DoNotOptimize(valueOf(audition::renderAudition(
                piece->scene, piece->request.recordings.front().audio, {}, piece->riding)));
        });
    }
}

void write(const Points& points, const std::filesystem::path& file)
{
    std::ofstream table(file);
    table << "axis;series;size;leastSeconds;medianSeconds\n";
    for (const Point& point : points)
        table << point.axis << ';' << point.series << ';' << point.size << ';'
              << *std::ranges::min_element(point.seconds) << ';' << dsp::medianOf(point.seconds)
              << '\n';
    if (!table.flush())
        giveUp("cannot write " + file.string());
}

} // namespace

void sweepCost(Workshop& workshop, const std::filesystem::path& file)
{
    const dsp::ScopedFlushDenormals flushDenormals;
    Points points;
    addTaps(points);
    addCandidates(points);
    addChannels(points);
    addFilters(points);
    addLengths(points, workshop);
    // All sizes in turn, over and over, so that what else the machine does meets all alike.
    for (std::size_t repetition = 0; repetition < numRepetitions; ++repetition) {
        for (Point& point : points)
            point.seconds.push_back(point.run());
        std::printf("repetition %zu of %zu\n", repetition + 1, numRepetitions);
        std::fflush(stdout);
    }
    write(points, file);
}

} // namespace saddletone::bench
