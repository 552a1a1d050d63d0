// The convolution of the audition engine beside zita-convolver and JUCE: stereo, without latency, at
// three lengths of response and three of block, in the same run and turn by turn. Two ways: block
// after block, and at the pace of real time, asleep until a block is due, so that caches are cold.
//
// Usage: saddletone_convolution_benchmark [--runs N] [--blocks N] [--paced-blocks N] [--details]
//                                         [--block FRAMES]
#include "ConvolutionPeers.h"

#include "Core/Audition/ProgrammeConvolver.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/ScopedFlushDenormals.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <thread>

#include <ctime>

namespace {

using namespace saddletone;
using namespace saddletone::benchmark;
using audition::PartitionedKernel;
using audition::PartitionLayout;
using audition::ProgrammeConvolver;

constexpr double sampleRate = 48000.0;
constexpr std::array<std::size_t, 3> allTaps {4096, 16384, 65536};
constexpr std::array<std::size_t, 3> allBlocks {64, 128, 512};

std::vector<float> decayingNoise(std::size_t numFrames, double decayDb, std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] =
            static_cast<float>(0.1 * random.nextGaussian()
                               * std::pow(10.0, -decayDb / 20.0 * static_cast<double>(frame)
                                                    / static_cast<double>(numFrames)));
    return samples;
}

class OurConvolver final : public Contestant {
public:
    /** Of numCandidates, all different, all ready, it plays the first, or the next one every
        switchFrames; meanwhile two play for the length of a fade. */
    OurConvolver(const StereoTaps& taps, std::size_t blockFrames, std::size_t numCandidates = 1,
                 std::size_t switchFrames = 0)
        : numFrames(blockFrames), framesToSwitch(switchFrames), switchPeriod(switchFrames)
    {
        name = "Saddletone";
        isOurs = true;
        const auto layout = PartitionLayout::forTaps(taps.left.size(), blockFrames);
        convolver.prepare(layout);
        for (std::size_t index = 0; index < numCandidates; ++index) {
            StereoTaps own = taps;
            for (std::vector<float>* ear : {&own.left, &own.right})
                for (float& tap : *ear)
                    tap /= static_cast<float>(1 + index);
            ProgrammeConvolver::Kernels kernels;
            kernels[0][0] = std::make_shared<const PartitionedKernel>(layout, own.left);
            kernels[1][1] = std::make_shared<const PartitionedKernel>(layout, own.right);
            candidates.push_back(std::move(kernels));
        }
        convolver.setVoice(0, &candidates.front());
    }

    void process(const float* const* input, float* const* output) override
    {
        if (switchPeriod > 0)
            goOn();
        std::size_t done = 0;
        while (done < numFrames) {
            const std::size_t count = std::min(convolver.framesToVisit(), numFrames - done);
            for (std::size_t channel = 0; channel < 2; ++channel)
                std::copy_n(input[channel] + done, count, piece[channel].begin());
            convolver.push(piece, count);
            convolver.render(voice, piece);
            if (fadeFrames > 0)
                convolver.render(1 - voice, other);
            for (std::size_t channel = 0; channel < 2; ++channel)
                std::copy_n(piece[channel].begin(), count, output[channel] + done);
            convolver.advance();
            done += count;
        }
    }

private:
    /** As the engine does it, but to the block. */
    void goOn()
    {
        if (framesToSwitch <= numFrames) {
            candidate = (candidate + 1) % candidates.size();
            convolver.beginVoice(1 - voice, &candidates[candidate]);
            framesToSwitch += switchPeriod;
            warmUpFrames = ProgrammeConvolver::warmUpFrames;
        }
        framesToSwitch -= numFrames;
        if (warmUpFrames > 0) {
            warmUpFrames -= std::min(warmUpFrames, numFrames);
            if (warmUpFrames == 0) {
                voice = 1 - voice;
                fadeFrames = 960;
            }
        } else if (fadeFrames > 0) {
            fadeFrames -= std::min(fadeFrames, numFrames);
            if (fadeFrames == 0)
                convolver.setVoice(1 - voice, nullptr);
        }
    }

    ProgrammeConvolver convolver;
    std::vector<ProgrammeConvolver::Kernels> candidates;
    std::array<ProgrammeConvolver::Piece, 2> piece {};
    std::array<ProgrammeConvolver::Piece, 2> other {};
    std::size_t numFrames;
    std::size_t framesToSwitch;
    std::size_t switchPeriod;
    std::size_t voice = 0;
    std::size_t candidate = 0;
    std::size_t warmUpFrames = 0;
    std::size_t fadeFrames = 0;
};

double threadSeconds()
{
    std::timespec time {};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

/** What reading the processor-time clock twice in a row takes by that clock. */
double clockSeconds()
{
    std::vector<double> differences(2001);
    for (double& difference : differences) {
        const double before = threadSeconds();
        difference = threadSeconds() - before;
    }
    std::ranges::nth_element(differences, differences.begin() + 1000);
    return differences[1000];
}

/** What one contestant took: of several runs the best. */
struct Figures {
    double meanMicroseconds = std::numeric_limits<double>::infinity();
    double slowMicroseconds = std::numeric_limits<double>::infinity(); ///< 99.9th percentile.
};

/** A contestant with its place in the programme and what it took in one run. */
struct Entry {
    std::unique_ptr<Contestant> contestant;
    std::size_t nextBlock = 0;
    std::vector<double> blockSeconds {};
    double sumSeconds = 0.0;
    std::size_t numSummed = 0;
    Figures unpaced {};
    Figures paced {};
};

using Field = std::vector<Entry>;

class Stage {
public:
    explicit Stage(std::size_t blockFrames)
        : numFrames(blockFrames),
          programme {decayingNoise(65536, 0.0, 11), decayingNoise(65536, 0.0, 12)},
          output {std::vector<float>(blockFrames), std::vector<float>(blockFrames)}
    {
    }

    void runBlock(Entry& entry)
    {
        const std::size_t begin = entry.nextBlock++ * numFrames % programme[0].size();
        const std::array<const float*, 2> in {programme[0].data() + begin,
                                              programme[1].data() + begin};
        const std::array<float*, 2> out {output[0].data(), output[1].data()};
        entry.contestant->process(in.data(), out.data());
    }

    [[nodiscard]] const std::array<std::vector<float>, 2>& lastOutput() const { return output; }

private:
    std::size_t numFrames;
    std::array<std::vector<float>, 2> programme;
    std::array<std::vector<float>, 2> output;
};

void beginRun(Field& field)
{
    for (Entry& entry : field) {
        entry.blockSeconds.clear();
        entry.sumSeconds = 0.0;
        entry.numSummed = 0;
    }
}

void endRun(Field& field, Figures Entry::*kind)
{
    for (Entry& entry : field) {
        auto& times = entry.blockSeconds;
        const auto place =
            static_cast<std::ptrdiff_t>(std::ceil(0.999 * static_cast<double>(times.size())) - 1.0);
        std::ranges::nth_element(times, times.begin() + place);
        Figures& best = entry.*kind;
        best.meanMicroseconds = std::min(
            best.meanMicroseconds, 1e6 * entry.sumSeconds / static_cast<double>(entry.numSummed));
        best.slowMicroseconds =
            std::min(best.slowMicroseconds, 1e6 * times[static_cast<std::size_t>(place)]);
    }
}

/** One block, timed for itself: by processor time, as on a machine with other work to do the time
    on the wall is that of the others. */
double timeBlock(Stage& stage, Entry& entry, double overhead)
{
    const double before = threadSeconds();
    stage.runBlock(entry);
    const double seconds = std::max(0.0, threadSeconds() - before - overhead);
    entry.blockSeconds.push_back(seconds);
    return seconds;
}

void runUnpaced(Stage& stage, Field& field, std::size_t numBlocks)
{
    constexpr std::size_t turnBlocks = 64;
    const double overhead = clockSeconds();
    beginRun(field);
    for (std::size_t done = 0; done < numBlocks; done += turnBlocks)
        for (Entry& entry : field) {
            stage.runBlock(entry); // Its own data are back in the caches.
            // The mean without the clock between blocks, which is not free.
            const double before = threadSeconds();
            const double othersBefore = entry.contestant->otherThreadsSeconds();
            for (std::size_t block = 0; block < turnBlocks; ++block)
                stage.runBlock(entry);
            entry.sumSeconds += entry.contestant->otherThreadsSeconds() - othersBefore;
            entry.sumSeconds += threadSeconds() - before;
            entry.numSummed += turnBlocks;
            for (std::size_t block = 0; block < turnBlocks; ++block)
                timeBlock(stage, entry, overhead);
        }
    endRun(field, &Entry::unpaced);
}

void runPaced(Stage& stage, Field& field, std::size_t blockFrames, std::size_t numBlocks)
{
    const double overhead = clockSeconds();
    const std::chrono::duration<double> period(static_cast<double>(blockFrames) / sampleRate);
    beginRun(field);
    std::vector<double> othersBefore;
    for (const Entry& entry : field)
        othersBefore.push_back(entry.contestant->otherThreadsSeconds());
    auto due = std::chrono::steady_clock::now();
    for (std::size_t block = 0; block < numBlocks; ++block) {
        due += std::chrono::duration_cast<std::chrono::steady_clock::duration>(period);
        std::this_thread::sleep_until(due);
        for (std::size_t turn = 0; turn < field.size(); ++turn) {
            Entry& entry = field[(block + turn) % field.size()];
            entry.sumSeconds += timeBlock(stage, entry, overhead);
            ++entry.numSummed;
        }
    }
    for (std::size_t index = 0; index < field.size(); ++index)
        field[index].sumSeconds +=
            field[index].contestant->otherThreadsSeconds() - othersBefore[index];
    endRun(field, &Entry::paced);
}

/** Runs all for long enough that responses are full, then holds the peers' output to ours. */
void check(Stage& stage, Field& field, std::size_t numTaps, std::size_t blockFrames)
{
    const std::size_t numBlocks = (numTaps + 32768) / blockFrames;
    std::vector<std::vector<float>> outputs;
    for (Entry& entry : field) {
        std::vector<float> samples;
        for (std::size_t block = 0; block < numBlocks; ++block) {
            stage.runBlock(entry);
            if (block * blockFrames >= numTaps + 16384)
                for (const auto& ear : stage.lastOutput())
                    samples.insert(samples.end(), ear.begin(), ear.end());
        }
        outputs.push_back(std::move(samples));
    }
    for (std::size_t index = 1; index < outputs.size(); ++index) {
        double error = 0.0;
        double power = 0.0;
        for (std::size_t place = 0; place < outputs[0].size(); ++place) {
            const auto ours = static_cast<double>(outputs[0][place]);
            error += std::pow(static_cast<double>(outputs[index][place]) - ours, 2.0);
            power += ours * ours;
        }
        const double errorDb = 10.0 * std::log10(error / power + 1e-30);
        if (!(errorDb < -100.0)) {
            std::fprintf(stderr, "%s differs by %.1f dB at %zu taps and %zu frames\n",
                         field[index].contestant->name.c_str(), errorDb, numTaps, blockFrames);
            std::exit(1);
        }
    }
}

Field makeField(std::size_t numTaps, std::size_t blockFrames)
{
    const StereoTaps taps {decayingNoise(numTaps, 60.0, 1), decayingNoise(numTaps, 60.0, 2)};
    std::vector<std::unique_ptr<Contestant>> contestants;
    contestants.push_back(std::make_unique<OurConvolver>(taps, blockFrames));
    addJuce(contestants, taps, blockFrames);
    addZita(contestants, taps, blockFrames);
    Field field;
    for (auto& contestant : contestants)
        field.push_back({.contestant = std::move(contestant)});
    return field;
}

void printField(const Field& field, std::size_t numTaps, std::size_t blockFrames, bool isDetailed,
                const char* mode, Figures Entry::*kind)
{
    const Figures& ours = field.front().*kind;
    const Entry* cheapest = nullptr;
    const Entry* evenest = nullptr;
    for (const Entry& entry : field) {
        const Figures& figures = entry.*kind;
        if (isDetailed)
            std::printf("    %-20s %9.2f %9.2f\n", entry.contestant->name.c_str(),
                        figures.meanMicroseconds, figures.slowMicroseconds);
        if (entry.contestant->isOurs)
            continue;
        if (cheapest == nullptr || figures.meanMicroseconds < (cheapest->*kind).meanMicroseconds)
            cheapest = &entry;
        if (entry.contestant->isUniform
            && (evenest == nullptr || figures.slowMicroseconds < (evenest->*kind).slowMicroseconds))
            evenest = &entry;
    }
    std::printf("| %zu | %zu | %s | %.2f | %.2f | %s | %.2f | %.2f | %.2f | %s | %.2f |\n", numTaps,
                blockFrames, mode, ours.meanMicroseconds, (cheapest->*kind).meanMicroseconds,
                cheapest->contestant->name.c_str(),
                ours.meanMicroseconds / (cheapest->*kind).meanMicroseconds, ours.slowMicroseconds,
                (evenest->*kind).slowMicroseconds, evenest->contestant->name.c_str(),
                ours.slowMicroseconds / (evenest->*kind).slowMicroseconds);
    std::fflush(stdout);
}

/** Eight candidates against one, and what switching among them every 100 ms takes. */
void compareCandidates(std::size_t numTaps, std::size_t blockFrames, std::size_t numBlocks,
                       std::size_t numRuns)
{
    const StereoTaps taps {decayingNoise(numTaps, 60.0, 1), decayingNoise(numTaps, 60.0, 2)};
    Stage stage(blockFrames);
    Field field;
    field.push_back({.contestant = std::make_unique<OurConvolver>(taps, blockFrames)});
    field.push_back({.contestant = std::make_unique<OurConvolver>(taps, blockFrames, 8)});
    field.push_back({.contestant = std::make_unique<OurConvolver>(taps, blockFrames, 8, 4800)});
    for (std::size_t run = 0; run < numRuns; ++run)
        runUnpaced(stage, field, numBlocks);
    const auto& one = field[0].unpaced;
    const auto& eight = field[1].unpaced;
    const auto& switching = field[2].unpaced;
    std::printf("| %zu | %zu | %.2f | %.2f | %.2f | %.2f | %.2f | %.2f |\n", numTaps, blockFrames,
                one.meanMicroseconds, eight.meanMicroseconds,
                eight.meanMicroseconds / one.meanMicroseconds, switching.meanMicroseconds,
                one.slowMicroseconds, switching.slowMicroseconds);
    std::fflush(stdout);
}

} // namespace

int main(int argumentCount, char** arguments)
{
    std::size_t numRuns = 3;
    std::size_t numBlocks = 12800;
    std::size_t numPacedBlocks = 4000;
    std::size_t onlyBlock = 0;
    bool isDetailed = false;
    for (int index = 1; index < argumentCount; ++index) {
        const std::string_view argument = arguments[index];
        const bool hasValue = index + 1 < argumentCount;
        const auto value = [&] { return std::strtoull(arguments[++index], nullptr, 10); };
        if (argument == "--details")
            isDetailed = true;
        else if (argument == "--block" && hasValue)
            onlyBlock = value();
        else if (argument == "--runs" && hasValue)
            numRuns = value();
        else if (argument == "--blocks" && hasValue)
            numBlocks = value();
        else if (argument == "--paced-blocks" && hasValue)
            numPacedBlocks = value();
        else {
            std::fprintf(stderr,
                         "usage: %s [--runs N] [--blocks N] [--paced-blocks N] "
                         "[--details] [--block FRAMES]\n",
                         arguments[0]);
            return 2;
        }
    }

    const dsp::ScopedFlushDenormals flushDenormals;
    std::printf("Stereo convolution, %s; microseconds a block, best of %zu runs.\n\n",
                dsp::spectralKernels().name, numRuns);
    std::printf("| taps | block | mode | mean | best peer | | ratio | 99.9 %% | best uniform | | "
                "ratio |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
    for (const std::size_t blockFrames : allBlocks) {
        if (onlyBlock != 0 && blockFrames != onlyBlock)
            continue;
        Stage stage(blockFrames);
        std::vector<Field> fields;
        for (const std::size_t numTaps : allTaps) {
            fields.push_back(makeField(numTaps, blockFrames));
            check(stage, fields.back(), numTaps, blockFrames);
        }
        for (std::size_t run = 0; run < numRuns; ++run)
            for (Field& field : fields) {
                if (numBlocks > 0)
                    runUnpaced(stage, field, numBlocks);
                if (numPacedBlocks > 0)
                    runPaced(stage, field, blockFrames, numPacedBlocks);
            }
        for (std::size_t index = 0; index < fields.size(); ++index) {
            if (numBlocks > 0)
                printField(fields[index], allTaps[index], blockFrames, isDetailed, "at once",
                           &Entry::unpaced);
            if (numPacedBlocks > 0)
                printField(fields[index], allTaps[index], blockFrames, isDetailed, "paced",
                           &Entry::paced);
        }
    }

    std::printf(
        "\n| taps | block | one | eight | ratio | switching | one 99.9 %% | switching 99.9 %% "
        "|\n|---|---|---|---|---|---|---|---|\n");
    for (const std::size_t blockFrames : allBlocks)
        for (const std::size_t numTaps : allTaps)
            compareCandidates(numTaps, blockFrames, std::max<std::size_t>(numBlocks, 6400),
                              numRuns);
    return 0;
}
