#include "Plugin/AudioSettings.h"
#include "Support/OffscreenWindow.h"

#include <catch2/catch.hpp>

#include <memory>
#include <utility>

using namespace saddletone;

namespace {

/** An interface that plays nothing, with three outputs and two inputs. */
class QuietInterface final : public juce::AudioIODevice {
public:
    QuietInterface(const juce::String& called, bool refusesToOpen)
        : juce::AudioIODevice(called, "Quiet"), refuses(refusesToOpen)
    {
    }

    juce::StringArray getOutputChannelNames() override { return {"One", "Two", "Three"}; }
    juce::StringArray getInputChannelNames() override { return {"Mic 1", "Mic 2"}; }
    juce::Array<double> getAvailableSampleRates() override { return {44100.0, 48000.0}; }
    juce::Array<int> getAvailableBufferSizes() override { return {256, 512}; }
    int getDefaultBufferSize() override { return 512; }
    juce::String open(const juce::BigInteger& inputChannels, const juce::BigInteger& outputChannels,
                      double newRate, int newFrames) override
    {
        if (refuses)
            return "it is in use";
        inputs = inputChannels;
        outputs = outputChannels;
        sampleRate = newRate;
        blockFrames = newFrames;
        isOn = true;
        return {};
    }
    void close() override { isOn = false; }
    bool isOpen() override { return isOn; }
    void start(juce::AudioIODeviceCallback* called) override
    {
        callback = called;
        if (callback != nullptr)
            callback->audioDeviceAboutToStart(this);
    }
    void stop() override
    {
        if (callback != nullptr)
            std::exchange(callback, nullptr)->audioDeviceStopped();
    }
    bool isPlaying() override { return callback != nullptr; }
    juce::String getLastError() override { return {}; }
    int getCurrentBufferSizeSamples() override { return blockFrames; }
    double getCurrentSampleRate() override { return sampleRate; }
    int getCurrentBitDepth() override { return 24; }
    juce::BigInteger getActiveOutputChannels() const override { return outputs; }
    juce::BigInteger getActiveInputChannels() const override { return inputs; }
    int getOutputLatencyInSamples() override { return 0; }
    int getInputLatencyInSamples() override { return 0; }

private:
    bool refuses;
    bool isOn = false;
    double sampleRate = 48000.0;
    int blockFrames = 512;
    juce::BigInteger inputs, outputs;
    juce::AudioIODeviceCallback* callback = nullptr;
};

class QuietInterfaces final : public juce::AudioIODeviceType {
public:
    QuietInterfaces() : juce::AudioIODeviceType("Quiet") {}

    void scanForDevices() override {}
    juce::StringArray getDeviceNames(bool) const override { return {"Phones", "Stage", "Taken"}; }
    int getDefaultDeviceIndex(bool) const override { return 0; }
    int getIndexOfDevice(juce::AudioIODevice* device, bool) const override
    {
        return device != nullptr ? getDeviceNames(false).indexOf(device->getName()) : -1;
    }
    bool hasSeparateInputsAndOutputs() const override { return true; }
    juce::AudioIODevice* createDevice(const juce::String& outputName,
                                      const juce::String& inputName) override
    {
        const juce::String name = outputName.isNotEmpty() ? outputName : inputName;
        return new QuietInterface(name, name == "Taken"); // the caller takes it over
    }
};

struct Rig {
    juce::AudioDeviceManager devices;
    std::unique_ptr<plugin::AudioSettings> settings;

    Rig()
    {
        devices.addAudioDeviceType(std::make_unique<QuietInterfaces>());
        REQUIRE(devices.initialise(0, 2, nullptr, true).isEmpty());
        settings = std::make_unique<plugin::AudioSettings>(devices);
    }

    juce::ComboBox& box(const juce::String& title) const
    {
        auto* const found = dynamic_cast<juce::ComboBox*>(test::findTitled(*settings, title));
        INFO(title);
        REQUIRE(found != nullptr);
        return *found;
    }
    void choose(const juce::String& title, const juce::String& item) const
    {
        juce::ComboBox& chosen = box(title);
        for (int index = 0; index < chosen.getNumItems(); ++index)
            if (chosen.getItemText(index) == item) {
                chosen.setSelectedItemIndex(index, juce::sendNotificationSync);
                return;
            }
        FAIL(title << " has no " << item);
    }
    juce::AudioIODevice& device() const { return *devices.getCurrentAudioDevice(); }
};

} // namespace

TEST_CASE("The audio settings show what is used, and choose something else", "[plugin][settings]")
{
    const Rig rig;
    CHECK(rig.box("Audio system").getText() == "Quiet");
    CHECK(rig.box("Output").getText() == "Phones");
    CHECK(rig.box("Channels").getText() == "One + Two");
    CHECK(rig.box("Sample rate").getText() == "48000 Hz");
    CHECK(rig.box("Block").getText() == "512 frames (10.7 ms)");

    rig.choose("Block", "256 frames (5.3 ms)");
    CHECK(rig.device().getCurrentBufferSizeSamples() == 256);
    rig.choose("Sample rate", "44100 Hz");
    CHECK(rig.device().getCurrentSampleRate() == 44100.0);
    CHECK(rig.box("Block").getText() == "256 frames (5.8 ms)");
    rig.choose("Channels", "Three");
    CHECK(rig.device().getActiveOutputChannels().toString(2) == "100");
    CHECK(rig.box("Channels").getText() == "Three");
    rig.choose("Output", "Stage");
    CHECK(rig.device().getName() == "Stage");
    CHECK(rig.box("Channels").getText() == "One + Two");
}

TEST_CASE("Choosing an output leaves the bench's input open", "[plugin][settings]")
{
    Rig rig;
    juce::AudioDeviceManager::AudioDeviceSetup setup = rig.devices.getAudioDeviceSetup();
    setup.inputDeviceName = "Phones";
    setup.useDefaultInputChannels = false;
    setup.inputChannels.setBit(1);
    REQUIRE(rig.devices.setAudioDeviceSetup(setup, true).isEmpty());
    rig.choose("Block", "256 frames (5.3 ms)");
    CHECK(rig.device().getActiveInputChannels().toString(2) == "10");
    rig.choose("Channels", "Three");
    CHECK(rig.device().getActiveInputChannels().toString(2) == "10");
}

TEST_CASE("An output that cannot be opened is named, and none is an answer", "[plugin][settings]")
{
    const Rig rig;
    rig.choose("Output", "Taken");
    CHECK(rig.settings->getDescription().contains("it is in use"));
    rig.choose("Output", "Phones");
    CHECK(rig.settings->getDescription().contains("heard at once"));
    rig.choose("Output", "None: no sound");
    CHECK(rig.devices.getCurrentAudioDevice() == nullptr);
    CHECK(rig.settings->getDescription().contains("no sound"));
    for (const char* const title : {"Channels", "Sample rate", "Block"})
        CHECK_FALSE(rig.box(title).isEnabled());
    CHECK(rig.box("Output").isEnabled());
}
