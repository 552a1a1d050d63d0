#pragma once

#include <juce_audio_devices/juce_audio_devices.h>

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

namespace saddletone::test {

/** What stands between the output of a simulated audio device and its input: gets one frame of the
    output (mean of its channels), gives one frame of the input. */
using Room = std::function<float(float)>;

/** An audio device that runs only when it is told to, so that a test needs no hardware and no
    waiting. It has two outputs and four inputs; what the room makes of the output comes in on
    input 1 (counted from 0), one block later, and the other inputs are silent. */
class SimulatedDevice final : public juce::AudioIODevice {
public:
    explicit SimulatedDevice(double rate);

    static constexpr int blockFrames = 480;
    static constexpr int roomInput = 1;

    /** Runs the callback over whole blocks; returns the left output. */
    std::vector<float> run(double seconds);
    void setRoom(Room newRoom) { room = std::move(newRoom); }
    void reportOverrun() { ++numOverruns; }
    [[nodiscard]] int numInputsOpen() const { return inputs.countNumberOfSetBits(); }

    juce::StringArray getOutputChannelNames() override { return {"Left", "Right"}; }
    juce::StringArray getInputChannelNames() override
    {
        return {"Mic 1", "Mic 2", "Mic 3", "Mic 4"};
    }
    juce::Array<double> getAvailableSampleRates() override { return {sampleRate}; }
    juce::Array<int> getAvailableBufferSizes() override { return {blockFrames}; }
    int getDefaultBufferSize() override { return blockFrames; }
    juce::String open(const juce::BigInteger& inputChannels, const juce::BigInteger& outputChannels,
                      double, int) override;
    void close() override;
    bool isOpen() override { return opened; }
    void start(juce::AudioIODeviceCallback* newCallback) override;
    void stop() override;
    bool isPlaying() override { return callback != nullptr; }
    juce::String getLastError() override { return {}; }
    int getCurrentBufferSizeSamples() override { return blockFrames; }
    double getCurrentSampleRate() override { return sampleRate; }
    int getCurrentBitDepth() override { return 24; }
    juce::BigInteger getActiveOutputChannels() const override { return outputs; }
    juce::BigInteger getActiveInputChannels() const override { return inputs; }
    int getOutputLatencyInSamples() override { return 0; }
    int getInputLatencyInSamples() override { return 0; }
    int getXRunCount() const noexcept override { return numOverruns; }

private:
    double sampleRate;
    bool opened = false;
    juce::BigInteger inputs, outputs;
    juce::AudioIODeviceCallback* callback = nullptr;
    Room room;
    std::vector<float> heard = std::vector<float>(blockFrames);
    int numOverruns = 0;
};

/** A kind of device with one simulated device. */
class SimulatedDeviceType final : public juce::AudioIODeviceType {
public:
    explicit SimulatedDeviceType(double rate)
        : juce::AudioIODeviceType("Simulated"), sampleRate(rate)
    {
    }

    void scanForDevices() override {}
    juce::StringArray getDeviceNames(bool) const override { return {"Simulated interface"}; }
    int getDefaultDeviceIndex(bool) const override { return 0; }
    int getIndexOfDevice(juce::AudioIODevice*, bool) const override { return 0; }
    bool hasSeparateInputsAndOutputs() const override { return true; }
    juce::AudioIODevice* createDevice(const juce::String&, const juce::String&) override
    {
        return new SimulatedDevice(sampleRate); // the caller takes it over
    }

private:
    double sampleRate;
};

} // namespace saddletone::test
