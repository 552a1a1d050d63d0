#include "Plugin/BenchDevice.h"

#include "Core/Dsp/ScopedFlushDenormals.h"

#include <algorithm>
#include <cmath>

namespace saddletone::plugin {

BenchDevice::BenchDevice(juce::AudioIODeviceCallback* auditionCallback,
                         InputListener* inputListener)
    : audition(auditionCallback), listener(inputListener)
{
    prepare({.sampleRate = 48000.0, .maxBlockFrames = 512, .numChannels = 0});
}

void BenchDevice::prepare(const dsp::ProcessSpec& spec)
{
    rate.store(spec.sampleRate);
    maxBlockFrames = spec.maxBlockFrames;
    silence.assign(maxBlockFrames, 0.0F);
    auditionGainPerFrame = 1.0 / (auditionRampSeconds * spec.sampleRate);
    auditionGain = auditionHeard.load() ? 1.0 : 0.0;
    player.prepare(spec);
    ceiling.setParameters({.ceilingDbfs = 0.0});
    ceiling.prepare(spec);
    if (listener != nullptr)
        listener->prepareInput(spec);
}

void BenchDevice::audioDeviceAboutToStart(juce::AudioIODevice* device)
{
    if (audition != nullptr)
        audition->audioDeviceAboutToStart(device);
    current = device;
    numOverruns = device->getXRunCount();
    prepare({.sampleRate = device->getCurrentSampleRate(),
             .maxBlockFrames =
                 static_cast<std::size_t>(std::max(1, device->getCurrentBufferSizeSamples())),
             .numChannels = static_cast<std::size_t>(
                 device->getActiveInputChannels().countNumberOfSetBits())});
}

void BenchDevice::audioDeviceStopped()
{
    player.stop();
    current = nullptr;
    if (listener != nullptr)
        listener->closeInput();
    if (audition != nullptr)
        audition->audioDeviceStopped();
}

BenchDevice::InputListener::Moment
BenchDevice::momentOf(const juce::AudioIODeviceCallbackContext& context) noexcept
{
    constexpr double secondsPerNanosecond = 1e-9;
    InputListener::Moment moment;
    if (context.hostTimeNs != nullptr)
        moment.timeSeconds = static_cast<double>(*context.hostTimeNs) * secondsPerNanosecond;
    if (current != nullptr)
        if (const int overruns = current->getXRunCount(); overruns > numOverruns) {
            numOverruns = overruns;
            moment.lostFrames = 0;
        }
    return moment;
}

void BenchDevice::renderAudition(dsp::ChannelView<const float> input, float* const* outputs,
                                 std::size_t numOutputs,
                                 const juce::AudioIODeviceCallbackContext& context)
{
    const std::size_t numInputs = input.numChannels();
    const std::size_t numFrames = input.numFrames();
    std::array<const float*, maxChannels> heard {};
    heard.fill(silence.data());
    if (inputHeard.load(std::memory_order_relaxed))
        for (std::size_t channel = 0; channel < std::min<std::size_t>(numInputs, 2); ++channel)
            heard[channel] = input[channel].data();
    audition->audioDeviceIOCallbackWithContext(heard.data(), static_cast<int>(numInputs), outputs,
                                               static_cast<int>(numOutputs),
                                               static_cast<int>(numFrames), context);
    const double target = auditionHeard.load(std::memory_order_relaxed) ? 1.0 : 0.0;
    if (auditionGain == 1.0 && target == 1.0)
        return;
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        auditionGain = target > auditionGain
                           ? std::min(1.0, auditionGain + auditionGainPerFrame)
                           : std::max(target, auditionGain - auditionGainPerFrame);
        for (std::size_t channel = 0; channel < numOutputs; ++channel)
            outputs[channel][frame] *= static_cast<float>(auditionGain);
    }
}

void BenchDevice::audioDeviceIOCallbackWithContext(
    const float* const* inputs, int numInputs, float* const* outputs, int numOutputs, int numFrames,
    const juce::AudioIODeviceCallbackContext& context)
{
    const juce::ScopedNoDenormals noDenormals;
    const dsp::ScopedFlushDenormals flush;
    const auto numFramesInAll = static_cast<std::size_t>(numFrames);
    const std::size_t inputChannels =
        std::min(static_cast<std::size_t>(std::max(0, numInputs)), maxChannels);
    const std::size_t outputChannels =
        std::min(static_cast<std::size_t>(std::max(0, numOutputs)), maxChannels);
    for (auto channel = static_cast<int>(outputChannels); channel < numOutputs; ++channel)
        std::fill_n(outputs[channel], numFramesInAll, 0.0F);

    InputListener::Moment moment = momentOf(context);
    float peak = 0.0F;
    // Drivers have been seen to give more frames than they announced.
    for (std::size_t done = 0; done < numFramesInAll;) {
        const std::size_t count = std::min(maxBlockFrames, numFramesInAll - done);
        std::array<const float*, maxChannels> inputPart {};
        std::array<float*, maxChannels> outputPart {};
        for (std::size_t channel = 0; channel < inputChannels; ++channel)
            inputPart[channel] = inputs[channel] + done;
        for (std::size_t channel = 0; channel < outputChannels; ++channel) {
            outputPart[channel] = outputs[channel] + done;
            std::fill_n(outputPart[channel], count, 0.0F);
        }
        if (listener != nullptr && inputChannels > 0)
            listener->processInput({inputPart.data(), inputChannels, count}, moment);
        moment = {};
        if (audition != nullptr)
            renderAudition({inputPart.data(), inputChannels, count}, outputPart.data(),
                           outputChannels, context);
        const dsp::ChannelView<float> output {outputPart.data(), outputChannels, count};
        player.process(output);
        ceiling.process(output);
        for (std::size_t channel = 0; channel < outputChannels; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                peak = std::max(peak, std::abs(outputPart[channel][frame]));
        done += count;
    }
    if (peak > outputPeak.load(std::memory_order_relaxed))
        outputPeak.store(peak, std::memory_order_relaxed);
}

} // namespace saddletone::plugin
