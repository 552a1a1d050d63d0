#pragma once

#include "Plugin/AuditionProcessor.h"
#include "Support/PluginJob.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace saddletone::test {

/** Two channels of a plug-in. */
using Stereo = std::array<std::vector<float>, 2>;

/** White noise of normal distribution, the same each time. */
[[nodiscard]] Stereo makeProgramme(std::size_t numFrames, double level = 0.2);

/** Runs the processor over a programme, in blocks of the given sizes, over and over. numInputs: 1 =
    the second channel of the buffer holds what must not be heard. */
[[nodiscard]] Stereo process(plugin::AuditionProcessor& processor, const Stereo& input,
                             const std::vector<std::size_t>& blockSizes, std::size_t numInputs = 2);

[[nodiscard]] bool isAllFinite(const Stereo& audio);
[[nodiscard]] float peakOf(const Stereo& audio);
[[nodiscard]] float largestDifference(const Stereo& first, const Stereo& second);
[[nodiscard]] float largestStep(const std::vector<float>& samples);

/** Waits until nothing is being loaded; a made-up job takes a fraction of a second. */
void waitUntilIdle(plugin::AuditionProcessor& processor);

/** A parameter in its own unit. */
void set(plugin::AuditionProcessor& processor, const char* id, double value);
[[nodiscard]] double get(plugin::AuditionProcessor& processor, const char* id);

[[nodiscard]] juce::MemoryBlock stateOf(plugin::AuditionProcessor& processor);
[[nodiscard]] juce::MemoryBlock stateFromXml(const juce::String& text);
void restore(plugin::AuditionProcessor& processor, const juce::MemoryBlock& state);

/** A processor that plays a made-up job at 48 kHz. */
struct PlayedJob {
    static constexpr double sampleRate = 48000.0;

    TemporaryFolder folder;
    job::Job job;
    plugin::AuditionProcessor processor;

    PlayedJob();
};

} // namespace saddletone::test
