#include "Support/BlindRig.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Job/BlindRuns.h"
#include "Plugin/Paths.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <thread>

namespace saddletone::test {

BlindRig::BlindRig()
    : job(writeMadeUpJob(folder.path() / "job", "Made-up job")),
      processor(std::make_unique<plugin::AuditionProcessor>())
{
    processor->openJob(plugin::toFile(job.folder));
    settle();
    REQUIRE(processor->snapshot().job != nullptr);
    processor->prepareToPlay(sampleRate, 512);
    settle();
}

void BlindRig::settle()
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(120);
    do {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        processor->update();
    } while (processor->heard().isBuilding && std::chrono::steady_clock::now() < giveUp);
    REQUIRE_FALSE(processor->heard().isBuilding);
}

std::array<std::vector<float>, 2> BlindRig::play(std::size_t numFrames)
{
    constexpr std::size_t blockFrames = 480;
    dsp::RandomSource random(3);
    std::array<std::vector<float>, 2> heard;
    juce::MidiBuffer midi;
    for (std::size_t done = 0; done < numFrames; done += blockFrames) {
        juce::AudioBuffer<float> buffer(2, static_cast<int>(blockFrames));
        for (int frame = 0; frame < static_cast<int>(blockFrames); ++frame)
            for (int channel = 0; channel < 2; ++channel)
                buffer.setSample(channel, frame, static_cast<float>(0.05 * random.nextGaussian()));
        processor->processBlock(buffer, midi);
        for (std::size_t channel = 0; channel < 2; ++channel) {
            const float* const samples = buffer.getReadPointer(static_cast<int>(channel));
            heard[channel].insert(heard[channel].end(), samples, samples + blockFrames);
        }
    }
    return heard;
}

std::vector<audition::BlindRun> BlindRig::storedRuns() const
{
    const auto loaded = job::loadJob(job.folder);
    REQUIRE(loaded);
    const auto runs = job::blindRunsOf(*loaded);
    REQUIRE(runs);
    return *runs;
}

} // namespace saddletone::test
