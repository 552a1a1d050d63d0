#include "Core/Audition/ProgrammeConvolver.h"

#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <functional>
#include <memory>
#include <vector>

using namespace saddletone;
using audition::PartitionedKernel;
using audition::PartitionLayout;
using audition::ProgrammeConvolver;
using test::Stereo;

namespace {

ProgrammeConvolver::Kernels diagonal(const PartitionLayout& layout, std::span<const float> left,
                                     std::span<const float> right)
{
    ProgrammeConvolver::Kernels kernels;
    kernels[0][0] = std::make_shared<const PartitionedKernel>(layout, left);
    kernels[1][1] = std::make_shared<const PartitionedKernel>(layout, right);
    return kernels;
}

/** Frames from begin to end through one voice, in calls of the given sizes over and over. */
void play(ProgrammeConvolver& convolver, std::size_t voice, const Stereo& programme,
          std::size_t begin, std::size_t end, std::span<const std::size_t> calls, Stereo& output)
{
    std::size_t turn = 0;
    std::array<ProgrammeConvolver::Piece, 2> in {};
    std::array<ProgrammeConvolver::Piece, 2> out {};
    while (begin < end) {
        const std::size_t callEnd = std::min(end, begin + calls[turn++ % calls.size()]);
        while (begin < callEnd) {
            const std::size_t count = std::min(convolver.framesToVisit(), callEnd - begin);
            for (std::size_t ear = 0; ear < 2; ++ear)
                std::copy_n(programme[ear].begin() + static_cast<std::ptrdiff_t>(begin), count,
                            in[ear].begin());
            convolver.push(in, count);
            convolver.render(voice, out);
            convolver.advance();
            for (std::size_t ear = 0; ear < 2; ++ear)
                output[ear].insert(output[ear].end(), out[ear].begin(),
                                   out[ear].begin() + static_cast<std::ptrdiff_t>(count));
            begin += count;
        }
    }
}

Stereo stereoNoise(std::size_t numFrames, std::uint64_t seed)
{
    return {test::gaussianNoise(numFrames, 0.25, seed),
            test::gaussianNoise(numFrames, 0.25, seed + 1)};
}

constexpr std::array<std::size_t, 1> gridCalls {64};

} // namespace

// Single precision carries 24 bits: rounding of the products lies near -140 dB, their sums over a
// response somewhat higher.
TEST_CASE("Partitioned convolution is the direct sum", "[core][audition]")
{
    const std::size_t numTaps = GENERATE(1U, 63U, 64U, 65U, 512U, 4097U, 30000U);
    const std::size_t room = GENERATE(0U, 5000U);
    const std::size_t blockFrames = GENERATE(64U, 100U, 512U, 8192U);
    CAPTURE(numTaps, room, blockFrames);
    const PartitionLayout layout = PartitionLayout::forTaps(numTaps + room, blockFrames);
    const auto left = test::decayingNoise(numTaps, 11);
    const auto right = test::decayingNoise(numTaps / 2 + 1, 12);
    const auto kernels = diagonal(layout, left, right);
    const Stereo programme = stereoNoise(numTaps + 9000, 13);
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    convolver.setVoice(0, &kernels);
    Stereo output;
    play(convolver, 0, programme, 0, programme[0].size(), gridCalls, output);
    const double leftDb =
        test::relativeErrorDb(output[0], test::directConvolution(programme[0], left));
    const double rightDb =
        test::relativeErrorDb(output[1], test::directConvolution(programme[1], right));
    CAPTURE(leftDb, rightDb);
    CHECK(std::max(leftDb, rightDb) < -110.0);
    // Our last figures lie below -132 dB; a drift upwards is a loss of precision.
    CHECK(std::max(leftDb, rightDb) < -130.0);
}

TEST_CASE("Four kernels make true stereo", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(9000, 64);
    std::array<std::array<std::vector<float>, 2>, 2> taps;
    ProgrammeConvolver::Kernels kernels;
    const Stereo programme = stereoNoise(20000, 21);
    for (std::size_t ear = 0; ear < 2; ++ear)
        for (std::size_t input = 0; input < 2; ++input) {
            taps[ear][input] = test::decayingNoise(9000 - 4000 * input, 23 + 2 * ear + input);
            kernels[ear][input] =
                std::make_shared<const PartitionedKernel>(layout, taps[ear][input]);
        }
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    convolver.setVoice(0, &kernels);
    Stereo output;
    play(convolver, 0, programme, 0, 20000, gridCalls, output);
    for (std::size_t ear = 0; ear < 2; ++ear) {
        auto expected = test::directConvolution(programme[0], taps[ear][0]);
        const auto crossed = test::directConvolution(programme[1], taps[ear][1]);
        std::ranges::transform(expected, crossed, expected.begin(), std::plus {});
        CHECK(test::relativeErrorDb(output[ear], expected) < -130.0);
    }
}

TEST_CASE("Convolution does not depend on how the stream is cut", "[core][audition]")
{
    const std::size_t blockFrames = GENERATE(1U, 64U, 480U, 2048U);
    CAPTURE(blockFrames);
    const PartitionLayout layout = PartitionLayout::forTaps(30000, blockFrames);
    const auto kernels =
        diagonal(layout, test::decayingNoise(30000, 31), test::decayingNoise(30000, 32));
    const Stereo programme = stereoNoise(60000, 33);
    const auto render = [&](std::span<const std::size_t> calls) {
        ProgrammeConvolver convolver;
        convolver.prepare(layout);
        convolver.setVoice(1, &kernels);
        Stereo output;
        play(convolver, 1, programme, 0, programme[0].size(), calls, output);
        return output;
    };
    const Stereo expected = render(gridCalls);
    const std::vector<std::vector<std::size_t>> cuts {
        {1}, {7}, {8192}, {1, 8191, 3, 4097, 65, 63, 777, 5001}};
    for (const auto& calls : cuts) {
        CAPTURE(calls);
        const bool same = render(calls) == expected;
        CHECK(same);
    }
}

TEST_CASE("A convolver that was reset equals a fresh one", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(5000, 64);
    const auto kernels =
        diagonal(layout, test::decayingNoise(5000, 41), test::decayingNoise(5000, 42));
    const Stereo programme = stereoNoise(12000, 43);
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    convolver.setVoice(0, &kernels);
    Stereo first;
    play(convolver, 0, programme, 0, 11111, gridCalls, first);
    convolver.beginVoice(1, &kernels);
    Stereo meanwhile;
    play(convolver, 0, programme, 0, 100, gridCalls, meanwhile);
    convolver.reset();
    convolver.setVoice(1, nullptr);
    Stereo second;
    play(convolver, 0, programme, 0, 11111, gridCalls, second);
    const bool same = first == second;
    CHECK(same);
}

TEST_CASE("A voice brought up at any frame goes on as if it had always played", "[core][audition]")
{
    const std::size_t blockFrames = GENERATE(64U, 512U, 8192U);
    const PartitionLayout layout = PartitionLayout::forTaps(40000, blockFrames);
    CAPTURE(blockFrames, layout.stages.size());
    const auto kernels =
        diagonal(layout, test::decayingNoise(40000, 51), test::decayingNoise(25000, 52));
    const Stereo programme = stereoNoise(90000, 53);
    ProgrammeConvolver always;
    always.prepare(layout);
    always.setVoice(0, &kernels);
    Stereo expected;
    play(always, 0, programme, 0, programme[0].size(), gridCalls, expected);

    const std::array<std::size_t, 3> calls {512, 33, 64};
    std::vector<std::size_t> beginnings {0, 1, 63, 64, 65, 500, 511, 512, 513};
    for (std::size_t frame = 4000; frame < 60000; frame += 1111)
        beginnings.push_back(frame);
    for (std::size_t boundary = 16384; boundary < 50000; boundary += 4096)
        for (const std::size_t before : {0U, 1U, 300U, 512U, 700U, 2048U})
            beginnings.push_back(boundary - before);
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    for (const std::size_t begin : beginnings) {
        CAPTURE(begin);
        convolver.reset();
        convolver.setVoice(0, nullptr);
        convolver.setVoice(1, nullptr);
        Stereo output;
        play(convolver, 1, programme, 0, begin, calls, output);
        convolver.beginVoice(1, &kernels);
        play(convolver, 1, programme, begin, begin + ProgrammeConvolver::warmUpFrames, calls,
             output);
        const std::size_t end = std::min<std::size_t>(programme[0].size(), begin + 20000);
        const std::size_t from = output[0].size();
        play(convolver, 1, programme, from, end, calls, output);
        for (std::size_t ear = 0; ear < 2; ++ear) {
            const bool same = std::equal(output[ear].begin() + static_cast<std::ptrdiff_t>(from),
                                         output[ear].end(),
                                         expected[ear].begin() + static_cast<std::ptrdiff_t>(from));
            REQUIRE(same);
        }
    }
}

TEST_CASE("Bringing a voice up takes no memory", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(40000, 64);
    const auto kernels =
        diagonal(layout, test::decayingNoise(40000, 61), test::decayingNoise(40000, 62));
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    const std::array<ProgrammeConvolver::Piece, 2> in {};
    std::array<ProgrammeConvolver::Piece, 2> out {};
    const test::AllocationCounter counter;
    convolver.setVoice(0, &kernels);
    for (int turn = 0; turn < 2000; ++turn) {
        if (turn == 700)
            convolver.beginVoice(1, &kernels);
        convolver.push(in, 64);
        convolver.render(0, out);
        convolver.advance();
    }
    CHECK(counter.numHeapCalls() == 0);
}

namespace {

/** Work of each call of a voice that plays all the time, over the largest block's period. */
std::vector<double> workOfCalls(std::size_t numTaps, std::size_t blockFrames,
                                std::size_t callFrames)
{
    const PartitionLayout layout = PartitionLayout::forTaps(numTaps, blockFrames);
    const auto taps = test::decayingNoise(numTaps, 71);
    const auto kernels = diagonal(layout, taps, taps);
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    convolver.setVoice(0, &kernels);
    const Stereo silence {std::vector<float>(callFrames), std::vector<float>(callFrames)};
    const std::array<std::size_t, 1> calls {callFrames};
    std::vector<double> work;
    std::uint64_t before = 0;
    const std::size_t numCalls = (8 * layout.stages.back().blockFrames + 65536) / callFrames;
    for (std::size_t call = 0; call < numCalls; ++call) {
        Stereo output;
        play(convolver, 0, silence, 0, callFrames, calls, output);
        // At first there is nothing to transform yet.
        if (call > numCalls / 2)
            work.push_back(static_cast<double>(convolver.workDone() - before));
        before = convolver.workDone();
    }
    return work;
}

} // namespace

TEST_CASE("Every block processed has about the same work", "[core][audition]")
{
    const std::size_t numTaps = GENERATE(4096U, 16384U, 65536U);
    const std::size_t blockFrames = GENERATE(64U, 128U, 480U, 512U);
    CAPTURE(numTaps, blockFrames);
    const auto work = workOfCalls(numTaps, blockFrames, blockFrames);
    double sum = 0.0;
    for (const double each : work)
        sum += each;
    const double mean = sum / static_cast<double>(work.size());
    const double largest = *std::ranges::max_element(work);
    CAPTURE(mean, largest);
    // A step cannot be cut further, and with short blocks there are few of them; 480 frames are seven
    // or eight grid periods. Done when it falls due, a block of 256 at 64 frames would make 3.
    CHECK(largest < 1.4 * mean);
}

// Bringing a voice up takes up to two whole jobs of the longest blocks in 512 frames, which the plan
// has 8192 frames and more for. In one block it would be thirty times the mean.
TEST_CASE("A switch burdens no block much", "[core][audition]")
{
    const std::size_t numTaps = GENERATE(4096U, 32640U, 65536U);
    CAPTURE(numTaps);
    constexpr std::size_t callFrames = 64;
    const PartitionLayout layout = PartitionLayout::forTaps(numTaps, callFrames);
    const auto taps = test::decayingNoise(numTaps, 81);
    const auto kernels = diagonal(layout, taps, taps);
    ProgrammeConvolver convolver;
    convolver.prepare(layout);
    convolver.setVoice(0, &kernels);
    const Stereo silence {std::vector<float>(callFrames), std::vector<float>(callFrames)};
    double largest = 0.0;
    double sum = 0.0;
    std::uint64_t before = 0;
    constexpr std::size_t numCalls = 6000;
    for (std::size_t call = 0; call < numCalls; ++call) {
        // At other places of the longest block every time, for as long as a fade and its delay take.
        if (call % 63 == 30)
            convolver.beginVoice(1, &kernels);
        if (call % 63 == 55)
            convolver.setVoice(1, nullptr);
        Stereo output;
        play(convolver, 0, silence, 0, callFrames, gridCalls, output);
        const auto work = static_cast<double>(convolver.workDone() - before);
        before = convolver.workDone();
        if (call % 63 >= 30)
            largest = std::max(largest, work);
        else
            sum += work;
    }
    const double mean = sum / static_cast<double>(numCalls) * 63.0 / 30.0;
    CAPTURE(mean, largest);
    CHECK(largest < 8.0 * mean);
}
