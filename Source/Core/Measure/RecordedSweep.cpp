#include "Core/Measure/RecordedSweep.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/RaisedCosine.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace saddletone::measure {

namespace {

constexpr std::size_t blockFrames = 256;
constexpr std::size_t blocksPerTask = 256;
constexpr double silentShare = 0.49;

/** sin(2 pi cycles) of cycles from -1/2 to 1/2, to 6e-8: Taylor's series up to the eleventh power on
    a quarter of a cycle, where the next term is below that. */
float sineOfCycles(float cycles)
{
    constexpr float quarter = 0.25F;
    const float size = std::abs(cycles);
    const float folded = quarter - std::abs(size - quarter);
    const float x = folded * static_cast<float>(2.0 * std::numbers::pi);
    const float square = x * x;
    float sum = -1.0F / 39916800.0F;
    sum = sum * square + 1.0F / 362880.0F;
    sum = sum * square - 1.0F / 5040.0F;
    sum = sum * square + 1.0F / 120.0F;
    sum = sum * square - 1.0F / 6.0F;
    sum = sum * square + 1.0F;
    return std::copysign(x * sum, cycles);
}

/** The first recorder frame at or after a frame of the track. */
std::size_t firstFrameFrom(double trackFrame, const SweepSampling& sampling, std::size_t numFrames)
{
    const double frame = std::ceil(trackFrame * sampling.framesPerTrackFrame + sampling.startFrame);
    return static_cast<std::size_t>(std::clamp(frame, 0.0, static_cast<double>(numFrames)));
}

} // namespace

void writeRecordedSweep(const signals::SweepShape& shape, const SweepSampling& sampling,
                        std::span<float> frames)
{
    const double trackFrames = static_cast<double>(shape.numFrames);
    const double growthFrames = trackFrames / std::log(shape.toHz / shape.fromHz); // of the track
    const double recorderRate = sampling.trackRate * sampling.framesPerTrackFrame;
    const auto trackFrameOf = [&](double frequencyHz) {
        return growthFrames * std::log(frequencyHz / shape.fromHz);
    };
    const double foldsFrom = trackFrameOf(highestRecordedShare * recorderRate);
    const double foldsTo = trackFrameOf(silentShare * recorderRate);

    // The fades of signals::makeSweep() reach zero half a frame outside the sweep.
    const std::size_t begin = firstFrameFrom(-0.5, sampling, frames.size());
    const std::size_t end =
        firstFrameFrom(std::min(trackFrames - 0.5, foldsTo), sampling, frames.size());
    std::fill_n(frames.begin(), begin, 0.0F);
    std::fill(frames.begin() + static_cast<std::ptrdiff_t>(end), frames.end(), 0.0F);
    const auto trackFrameAt = [&](std::size_t frame) {
        return (static_cast<double>(frame) - sampling.startFrame) / sampling.framesPerTrackFrame;
    };

    // Within a block the phase grows by the same factors, whatever the block.
    std::array<double, blockFrames> growth {};
    for (std::size_t frame = 0; frame < blockFrames; ++frame)
        growth[frame] =
            std::exp(static_cast<double>(frame) / (sampling.framesPerTrackFrame * growthFrames));
    const double startCycles = shape.fromHz * growthFrames / sampling.trackRate;
    const auto amplitude = static_cast<float>(shape.amplitude);
    const auto writeBlock = [&](std::size_t from) {
        const double cycles = startCycles * std::exp(trackFrameAt(from) / growthFrames);
        const auto block = frames.subspan(from, std::min(blockFrames, end - from));
        for (std::size_t frame = 0; frame < block.size(); ++frame) {
            // Adding and taking away so large a number rounds to a whole one; below 2^51 only.
            constexpr double rounder = 6755399441055744.0; // 1.5 * 2^52
            const double here = cycles * growth[frame];
            const double whole = (here + rounder) - rounder;
            block[frame] = amplitude * sineOfCycles(static_cast<float>(here - whole));
        }
    };
    const std::size_t numBlocks = (end - std::min(begin, end) + blockFrames - 1) / blockFrames;
    dsp::runInParallel((numBlocks + blocksPerTask - 1) / blocksPerTask, [&](std::size_t task) {
        const std::size_t last = std::min(numBlocks, (task + 1) * blocksPerTask);
        for (std::size_t block = task * blocksPerTask; block < last; ++block)
            writeBlock(begin + block * blockFrames);
    });

    const auto fade = [&](double fromTrackFrame, double toTrackFrame, const auto& position) {
        const std::size_t last = std::min(end, firstFrameFrom(toTrackFrame, sampling, end));
        for (std::size_t frame = firstFrameFrom(fromTrackFrame, sampling, end); frame < last;
             ++frame)
            frames[frame] *= static_cast<float>(dsp::raisedCosine(position(trackFrameAt(frame))));
    };
    const auto fadeInFrames = static_cast<double>(shape.fadeInFrames);
    const auto fadeOutFrames = static_cast<double>(shape.fadeOutFrames);
    fade(-0.5, fadeInFrames, [&](double at) { return (at + 0.5) / fadeInFrames; });
    fade(trackFrames - fadeOutFrames - 1.0, trackFrames,
         [&](double at) { return (trackFrames - 0.5 - at) / fadeOutFrames; });
    fade(foldsFrom, foldsTo, [&](double at) { return (foldsTo - at) / (foldsTo - foldsFrom); });
}

} // namespace saddletone::measure
