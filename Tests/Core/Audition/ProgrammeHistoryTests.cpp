#include "Core/Audition/ProgrammeHistory.h"

#include "Core/Dsp/Fft.h"
#include "Support/AuditionFixtures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <vector>

using namespace saddletone;
using audition::PartitionedKernel;
using audition::PartitionLayout;
using audition::ProgrammeHistory;

namespace {

/** Convolution by overlap-save over a history, in pieces of at most maxPiece frames. */
std::vector<float> convolve(const PartitionLayout& layout, const PartitionedKernel& kernel,
                            std::span<const float> samples, std::size_t maxPiece)
{
    ProgrammeHistory history;
    history.prepare(layout);
    std::vector<dsp::RealFft<float>> ffts;
    std::vector<std::vector<float>> tails;
    for (const auto& stage : layout.stages) {
        ffts.emplace_back(2 * stage.blockFrames);
        tails.emplace_back(stage.blockFrames, 0.0F);
    }
    std::vector<float> output(samples.size(), 0.0F);
    std::vector<float> real;
    std::vector<float> imag;
    for (std::size_t begin = 0; begin < samples.size();) {
        const std::size_t count =
            std::min({maxPiece, history.framesToBoundary(), samples.size() - begin});
        std::vector<std::size_t> positions;
        for (std::size_t stage = 0; stage < layout.stages.size(); ++stage)
            positions.push_back(history.stagePosition(stage));
        history.push(samples.subspan(begin, count));
        const auto out = std::span(output).subspan(begin, count);
        history.addHead(kernel, out);
        for (std::size_t stage = 0; stage < layout.stages.size(); ++stage) {
            for (std::size_t frame = 0; frame < count; ++frame)
                out[frame] += tails[stage][positions[stage] + frame];
            if (!history.stageCompleted(stage))
                continue;
            const std::size_t block = layout.stages[stage].blockFrames;
            real.assign(block + 1, 0.0F);
            imag.assign(block + 1, 0.0F);
            history.addStage(stage, kernel, real, imag);
            for (std::size_t bin = 0; bin <= block; ++bin)
                ffts[stage].spectrum()[bin] = {real[bin], imag[bin]};
            ffts[stage].inverse();
            std::ranges::copy(ffts[stage].time().subspan(block), tails[stage].begin());
        }
        begin += count;
    }
    return output;
}

} // namespace

// Single precision carries 24 bits: rounding of the products lies near -140 dB, their sums over a
// response somewhat higher.
TEST_CASE("Partitioned convolution is the direct sum", "[core][audition]")
{
    const std::size_t numTaps = GENERATE(1U, 63U, 64U, 65U, 512U, 4097U, 30000U);
    const std::size_t room = GENERATE(0U, 5000U);
    CAPTURE(numTaps, room);
    const auto taps = test::decayingNoise(numTaps, 11);
    const auto samples = test::gaussianNoise(numTaps + 9000, 0.25, 12);
    const PartitionLayout layout = PartitionLayout::forTaps(numTaps + room);
    const PartitionedKernel kernel(layout, taps);
    const auto reference = test::directConvolution(samples, taps);

    const auto output = convolve(layout, kernel, samples, 64);
    const double errorDb = test::relativeErrorDb(output, reference);
    CAPTURE(errorDb);
    CHECK(errorDb < -110.0);
    // Our last figures lie between -138 and -150 dB; a drift upwards is a loss of precision.
    CHECK(errorDb < -132.0);

    CHECK(convolve(layout, kernel, samples, 1) == output);
    CHECK(convolve(layout, kernel, samples, 37) == output);
}

TEST_CASE("A history that was reset equals a fresh one", "[core][audition]")
{
    const PartitionLayout layout = PartitionLayout::forTaps(1000);
    const PartitionedKernel kernel(layout, test::decayingNoise(1000, 3));
    const auto samples = test::gaussianNoise(64, 1.0, 4);
    ProgrammeHistory used;
    used.prepare(layout);
    for (int turn = 0; turn < 40; ++turn)
        used.push(samples);
    used.push(std::span(samples).first(17));
    used.reset();
    ProgrammeHistory fresh;
    fresh.prepare(layout);
    REQUIRE(used.framesToBoundary() == 64);

    for (int turn = 0; turn < 40; ++turn) {
        used.push(samples);
        fresh.push(samples);
        std::vector<float> fromUsed(64, 0.0F);
        std::vector<float> fromFresh(64, 0.0F);
        used.addHead(kernel, fromUsed);
        fresh.addHead(kernel, fromFresh);
        REQUIRE(fromUsed == fromFresh);
        for (std::size_t stage = 0; stage < layout.stages.size(); ++stage) {
            const std::size_t numBins = layout.stages[stage].blockFrames + 1;
            std::vector<float> real(numBins, 0.0F);
            std::vector<float> imag(numBins, 0.0F);
            std::vector<float> freshReal(numBins, 0.0F);
            std::vector<float> freshImag(numBins, 0.0F);
            used.addStage(stage, kernel, real, imag);
            fresh.addStage(stage, kernel, freshReal, freshImag);
            REQUIRE(real == freshReal);
            REQUIRE(imag == freshImag);
        }
    }
}
