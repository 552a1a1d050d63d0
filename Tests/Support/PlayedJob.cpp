#include "Support/PlayedJob.h"

#include "Core/Dsp/RandomSource.h"
#include "Gui/ParameterAccess.h"
#include "Plugin/Paths.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>

namespace saddletone::test {

using plugin::AuditionProcessor;

Stereo makeProgramme(std::size_t numFrames, double level)
{
    dsp::RandomSource random(77);
    Stereo programme {std::vector<float>(numFrames), std::vector<float>(numFrames)};
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        for (auto& channel : programme)
            channel[frame] = static_cast<float>(level * random.nextGaussian());
    return programme;
}

Stereo process(AuditionProcessor& processor, const Stereo& input,
               const std::vector<std::size_t>& blockSizes, std::size_t numInputs)
{
    Stereo output = input;
    juce::MidiBuffer midi;
    std::size_t done = 0;
    for (std::size_t block = 0; done < input[0].size(); ++block) {
        const std::size_t count =
            std::min(blockSizes[block % blockSizes.size()], input[0].size() - done);
        juce::AudioBuffer<float> buffer(2, static_cast<int>(count));
        for (std::size_t channel = 0; channel < 2; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                buffer.setSample(static_cast<int>(channel), static_cast<int>(frame),
                                 channel < numInputs ? input[channel][done + frame] : 99.0F);
        processor.processBlock(buffer, midi);
        for (std::size_t channel = 0; channel < 2; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                output[channel][done + frame] =
                    buffer.getSample(static_cast<int>(channel), static_cast<int>(frame));
        done += count;
    }
    return output;
}

bool isAllFinite(const Stereo& audio)
{
    for (const auto& channel : audio)
        for (const float sample : channel)
            if (!std::isfinite(sample))
                return false;
    return true;
}

float peakOf(const Stereo& audio)
{
    float peak = 0.0F;
    for (const auto& channel : audio)
        for (const float sample : channel)
            peak = std::max(peak, std::abs(sample));
    return peak;
}

float largestDifference(const Stereo& first, const Stereo& second)
{
    float difference = 0.0F;
    for (std::size_t channel = 0; channel < 2; ++channel)
        for (std::size_t frame = 0; frame < first[channel].size(); ++frame)
            difference =
                std::max(difference, std::abs(first[channel][frame] - second[channel][frame]));
    return difference;
}

float largestStep(const std::vector<float>& samples)
{
    float step = 0.0F;
    for (std::size_t frame = 1; frame < samples.size(); ++frame)
        step = std::max(step, std::abs(samples[frame] - samples[frame - 1]));
    return step;
}

void waitUntilIdle(AuditionProcessor& processor)
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    do {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        processor.update();
    } while (processor.snapshot().busy && std::chrono::steady_clock::now() < giveUp);
    REQUIRE_FALSE(processor.snapshot().busy);
}

void set(AuditionProcessor& processor, const char* id, double value)
{
    gui::setParameter(processor.parameters(), id, value);
}

double get(AuditionProcessor& processor, const char* id)
{
    return gui::parameterValue(processor.parameters(), id);
}

juce::MemoryBlock stateOf(AuditionProcessor& processor)
{
    juce::MemoryBlock state;
    processor.getStateInformation(state);
    return state;
}

juce::MemoryBlock stateFromXml(const juce::String& text)
{
    juce::MemoryBlock state;
    juce::AudioProcessor::copyXmlToBinary(*juce::parseXML(text), state);
    return state;
}

void restore(AuditionProcessor& processor, const juce::MemoryBlock& state)
{
    processor.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
}

PlayedJob::PlayedJob() : job(writeMadeUpJob(folder.path() / "job", "Made-up job"))
{
    processor.openJob(plugin::toFile(job.folder));
    waitUntilIdle(processor);
    REQUIRE(processor.snapshot().problem.isEmpty());
    REQUIRE(processor.snapshot().job != nullptr);
    processor.prepareToPlay(sampleRate, 512);
}

} // namespace saddletone::test
