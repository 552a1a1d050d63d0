#pragma once

#include "Core/Audition/AuditionEngine.h"

#include <array>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace saddletone::test {

/** Two ears. */
using Stereo = std::array<std::vector<float>, audition::numEars>;

/** White noise of normal distribution. */
[[nodiscard]] std::vector<float> gaussianNoise(std::size_t numFrames, double rms,
                                               std::uint64_t seed);

/** Noise that falls by 60 dB over its length: stands for a measured response. Energy 1. */
[[nodiscard]] std::vector<float> decayingNoise(std::size_t numTaps, std::uint64_t seed);

/** numFrames samples of convolution with taps, summed directly in double precision. */
[[nodiscard]] std::vector<double> directConvolution(std::span<const float> samples,
                                                    std::span<const float> taps);

/** RMS of the difference over RMS of the reference, in dB; of equal length. */
[[nodiscard]] double relativeErrorDb(std::span<const float> samples,
                                     std::span<const double> reference);

/** A scene whose candidates have the given taps in both ears, at default levels. */
[[nodiscard]] std::unique_ptr<audition::AuditionScene>
sceneOf(const audition::PartitionLayout& layout, std::span<const std::vector<float>> candidates);

/** Settings without start ramp, for tests that look at single samples. */
[[nodiscard]] audition::AuditionEngine::Settings promptSettings();

/** Parameters that leave the programme alone: no noise, no limiting of the signals used here. */
[[nodiscard]] audition::AuditionEngine::Parameters programmeAlone();

/** Runs a programme through an engine in blocks of the given sizes, taken in turn, over and over. */
[[nodiscard]] Stereo runEngine(audition::AuditionEngine& engine, const Stereo& programme,
                               std::span<const std::size_t> blockSizes);

/** The same from one frame up to another, appended to output. */
void runEngineOver(audition::AuditionEngine& engine, const Stereo& programme, std::size_t fromFrame,
                   std::size_t toFrame, std::span<const std::size_t> blockSizes, Stereo& output);

/** Largest distance between neighbouring samples. */
[[nodiscard]] double largestStep(std::span<const float> samples);

/** Largest distance between two signals. */
[[nodiscard]] double largestDifference(std::span<const float> one, std::span<const float> other);

} // namespace saddletone::test
