#include "Support/SimulatedDevice.h"

#include <algorithm>
#include <cmath>

namespace saddletone::test {

SimulatedDevice::SimulatedDevice(double rate)
    : juce::AudioIODevice("Simulated interface", "Simulated"), sampleRate(rate)
{
}

juce::String SimulatedDevice::open(const juce::BigInteger& inputChannels,
                                   const juce::BigInteger& outputChannels, double, int)
{
    inputs = inputChannels;
    outputs = outputChannels;
    opened = true;
    return {};
}

void SimulatedDevice::close()
{
    stop();
    opened = false;
}

void SimulatedDevice::start(juce::AudioIODeviceCallback* newCallback)
{
    stop();
    callback = newCallback;
    if (callback != nullptr)
        callback->audioDeviceAboutToStart(this);
}

void SimulatedDevice::stop()
{
    if (callback != nullptr)
        std::exchange(callback, nullptr)->audioDeviceStopped();
}

std::vector<float> SimulatedDevice::run(double seconds)
{
    const auto numBlocks = static_cast<int>(std::lround(seconds * sampleRate / blockFrames));
    const auto numInputs = static_cast<std::size_t>(inputs.countNumberOfSetBits());
    const auto numOutputs = static_cast<std::size_t>(outputs.countNumberOfSetBits());
    const std::vector<float> silence(blockFrames);
    std::vector<float> played;
    for (int block = 0; block < numBlocks && callback != nullptr; ++block) {
        std::vector<const float*> inputPointers(numInputs, silence.data());
        if (numInputs > roomInput)
            inputPointers[roomInput] = heard.data();
        std::vector<std::vector<float>> output(numOutputs, std::vector<float>(blockFrames));
        std::vector<float*> outputPointers;
        for (std::vector<float>& channel : output)
            outputPointers.push_back(channel.data());
        callback->audioDeviceIOCallbackWithContext(
            inputPointers.data(), static_cast<int>(numInputs), outputPointers.data(),
            static_cast<int>(numOutputs), blockFrames, {});
        for (std::size_t frame = 0; frame < static_cast<std::size_t>(blockFrames); ++frame) {
            float mean = 0.0F;
            for (const std::vector<float>& channel : output)
                mean += channel[frame] / static_cast<float>(numOutputs);
            heard[frame] = room ? room(mean) : 0.0F;
        }
        if (!output.empty())
            played.insert(played.end(), output.front().begin(), output.front().end());
    }
    return played;
}

} // namespace saddletone::test
