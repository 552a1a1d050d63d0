#include "Support/AuditionFixtures.h"

#include "Core/Dsp/RandomSource.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::test {

std::vector<float> gaussianNoise(std::size_t numFrames, double rms, std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    std::vector<float> samples(numFrames);
    for (float& sample : samples)
        sample = static_cast<float>(rms * random.nextGaussian());
    return samples;
}

std::vector<float> decayingNoise(std::size_t numTaps, std::uint64_t seed)
{
    std::vector<float> taps = gaussianNoise(numTaps, 1.0, seed);
    double energy = 0.0;
    for (std::size_t tap = 0; tap < numTaps; ++tap) {
        const double position = static_cast<double>(tap) / static_cast<double>(numTaps);
        taps[tap] *= static_cast<float>(std::pow(10.0, -3.0 * position));
        energy += static_cast<double>(taps[tap]) * static_cast<double>(taps[tap]);
    }
    for (float& tap : taps)
        tap = static_cast<float>(static_cast<double>(tap) / std::sqrt(energy));
    return taps;
}

std::vector<double> directConvolution(std::span<const float> samples, std::span<const float> taps)
{
    std::vector<double> result(samples.size(), 0.0);
    for (std::size_t tap = 0; tap < std::min(taps.size(), samples.size()); ++tap) {
        const auto weight = static_cast<double>(taps[tap]);
        for (std::size_t frame = tap; frame < samples.size(); ++frame)
            result[frame] += weight * static_cast<double>(samples[frame - tap]);
    }
    return result;
}

double relativeErrorDb(std::span<const float> samples, std::span<const double> reference)
{
    assert(samples.size() == reference.size());
    double error = 0.0;
    double power = 0.0;
    for (std::size_t frame = 0; frame < samples.size(); ++frame) {
        const double difference = static_cast<double>(samples[frame]) - reference[frame];
        error += difference * difference;
        power += reference[frame] * reference[frame];
    }
    return error > 0.0 ? 10.0 * std::log10(error / power) : -400.0;
}

std::unique_ptr<audition::AuditionScene> sceneOf(const audition::PartitionLayout& layout,
                                                 std::span<const std::vector<float>> candidates)
{
    auto scene = std::make_unique<audition::AuditionScene>();
    for (const std::vector<float>& taps : candidates) {
        audition::SceneCandidate candidate;
        const auto kernel = std::make_shared<const audition::PartitionedKernel>(layout, taps);
        candidate.kernels[0][0] = kernel;
        candidate.kernels[1][1] = kernel;
        scene->candidates.push_back(std::move(candidate));
    }
    return scene;
}

audition::AuditionEngine::Settings promptSettings()
{
    audition::AuditionEngine::Settings settings;
    settings.startRampSeconds = 0.0;
    return settings;
}

audition::AuditionEngine::Parameters programmeAlone()
{
    audition::AuditionEngine::Parameters parameters;
    parameters.ride.speedKmh = 0.0;
    parameters.ceilingDbfs = 0.0;
    return parameters;
}

Stereo runEngine(audition::AuditionEngine& engine, const Stereo& programme,
                 std::span<const std::size_t> blockSizes)
{
    Stereo output;
    runEngineOver(engine, programme, 0, programme[0].size(), blockSizes, output);
    return output;
}

void runEngineOver(audition::AuditionEngine& engine, const Stereo& programme, std::size_t fromFrame,
                   std::size_t toFrame, std::span<const std::size_t> blockSizes, Stereo& output)
{
    const std::size_t offset = output[0].size();
    for (auto& ear : output)
        ear.resize(offset + toFrame - fromFrame);
    std::size_t turn = 0;
    for (std::size_t begin = fromFrame; begin < toFrame;) {
        const std::size_t count = std::min(blockSizes[turn++ % blockSizes.size()], toFrame - begin);
        const std::array<const float*, 2> input {programme[0].data() + begin,
                                                 programme[1].data() + begin};
        const std::size_t place = offset + begin - fromFrame;
        const std::array<float*, 2> ears {output[0].data() + place, output[1].data() + place};
        engine.process({input.data(), 2, count}, {ears.data(), 2, count});
        begin += count;
    }
}

double largestStep(std::span<const float> samples)
{
    double largest = 0.0;
    for (std::size_t frame = 1; frame < samples.size(); ++frame)
        largest = std::max(largest, std::abs(static_cast<double>(samples[frame])
                                             - static_cast<double>(samples[frame - 1])));
    return largest;
}

double largestDifference(std::span<const float> one, std::span<const float> other)
{
    assert(one.size() == other.size());
    double largest = 0.0;
    for (std::size_t frame = 0; frame < one.size(); ++frame)
        largest = std::max(
            largest, std::abs(static_cast<double>(one[frame]) - static_cast<double>(other[frame])));
    return largest;
}

} // namespace saddletone::test
