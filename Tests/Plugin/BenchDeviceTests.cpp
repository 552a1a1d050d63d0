#include "Plugin/BenchDevice.h"
#include "Plugin/BenchInput.h"
#include "Support/PluginAllocationCounter.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <vector>

using namespace saddletone;
using plugin::BenchDevice;

namespace {

/** An audition that passes its input on and adds 0.5. */
class Passing final : public juce::AudioIODeviceCallback {
public:
    void audioDeviceIOCallbackWithContext(const float* const* inputs, int numInputs,
                                          float* const* outputs, int numOutputs, int numFrames,
                                          const juce::AudioIODeviceCallbackContext&) override
    {
        largestBlock = std::max(largestBlock, numFrames);
        for (int channel = 0; channel < numOutputs; ++channel)
            for (int frame = 0; frame < numFrames; ++frame)
                outputs[channel][frame] =
                    0.5F + (channel < numInputs ? inputs[channel][frame] : 0.0F);
    }
    void audioDeviceAboutToStart(juce::AudioIODevice*) override {}
    void audioDeviceStopped() override {}

    int largestBlock = 0;
};

/** Remembers the input. */
class Remembering final : public BenchDevice::InputListener {
public:
    void prepareInput(const dsp::ProcessSpec& spec) override { prepared = spec; }
    void closeInput() override {}
    void processInput(dsp::ChannelView<const float> input, const Moment& moment) noexcept override
    {
        for (const float sample : input[0])
            if (numSamples < samples.size())
                samples[numSamples++] = sample;
        if (moment.timeSeconds)
            lastTimeSeconds = *moment.timeSeconds;
    }

    dsp::ProcessSpec prepared;
    std::array<float, 20000> samples {};
    std::size_t numSamples = 0;
    double lastTimeSeconds = 0.0;
};

struct Driver {
    std::vector<float> input = std::vector<float>(4096, 0.25F);
    std::array<std::vector<float>, 2> output {std::vector<float>(4096, 9.0F),
                                              std::vector<float>(4096, 9.0F)};

    void run(BenchDevice& device, int numFrames, std::uint64_t timeNs = 0)
    {
        const std::array<const float*, 1> inputs {input.data()};
        const std::array<float*, 2> outputs {output[0].data(), output[1].data()};
        juce::AudioIODeviceCallbackContext context;
        context.hostTimeNs = &timeNs;
        device.audioDeviceIOCallbackWithContext(inputs.data(), 1, outputs.data(), 2, numFrames,
                                                context);
    }
};

} // namespace

TEST_CASE("The audition never hears the input, and the bench does", "[plugin][bench]")
{
    Passing audition;
    Remembering listener;
    BenchDevice device(&audition, &listener);
    device.prepare({.sampleRate = 48000.0, .maxBlockFrames = 512, .numChannels = 1});
    Driver driver;
    driver.run(device, 512, 2'000'000'000);
    for (int frame = 0; frame < 512; ++frame)
        REQUIRE(driver.output[0][static_cast<std::size_t>(frame)] == 0.5F);
    CHECK(listener.prepared.numChannels == 1);
    CHECK(listener.numSamples == 512);
    CHECK(listener.samples[511] == 0.25F);
    CHECK(listener.lastTimeSeconds == 2.0);
    CHECK(device.takeOutputPeak() == 0.5F);
    CHECK(device.takeOutputPeak() == 0.0F);
}

TEST_CASE("The audition is faded out where it is not to be heard", "[plugin][bench]")
{
    Passing audition;
    BenchDevice device(&audition, nullptr);
    device.prepare({.sampleRate = 48000.0, .maxBlockFrames = 4096, .numChannels = 0});
    Driver driver;
    device.setAuditionHeard(false);
    driver.run(device, 4096);
    // 20 ms are 960 frames.
    CHECK(driver.output[0][480] == Approx(0.25).margin(1e-3));
    CHECK(driver.output[0][961] == 0.0F);
    device.setAuditionHeard(true);
    driver.run(device, 4096);
    CHECK(driver.output[0][480] == Approx(0.25).margin(1e-3));
    CHECK(driver.output[0][1000] == 0.5F);
}

TEST_CASE("Audition and test signal together stay below full scale, and no NaN leaves",
          "[plugin][bench]")
{
    Passing audition; // a constant of 0.5
    BenchDevice device(&audition, nullptr);
    device.prepare({.sampleRate = 48000.0, .maxBlockFrames = 512, .numChannels = 1});
    auto loud = std::make_shared<dsp::AudioBuffer>(dsp::makeSilence(48000.0, 1, 48000));
    std::ranges::fill(loud->channels[0], 0.9F);
    loud->channels[0][30000] = std::numeric_limits<float>::quiet_NaN();
    device.player.setGains(1.0F, 1.0F);
    device.player.play({.audio = loud, .repeats = false, .startRampSeconds = 0.01});
    Driver driver;
    float largest = 0.0F;
    for (int block = 0; block < 80; ++block) {
        driver.run(device, 512);
        for (const auto& channel : driver.output)
            for (int frame = 0; frame < 512; ++frame) {
                REQUIRE(std::isfinite(channel[static_cast<std::size_t>(frame)]));
                largest = std::max(largest, std::abs(channel[static_cast<std::size_t>(frame)]));
            }
    }
    CHECK(largest <= 1.0F);
    CHECK(largest > 0.99F); // without the ceiling it would have been 1.4
}

TEST_CASE("Blocks that are longer than announced are cut up", "[plugin][bench]")
{
    Passing audition;
    Remembering listener;
    BenchDevice device(&audition, &listener);
    device.prepare({.sampleRate = 48000.0, .maxBlockFrames = 480, .numChannels = 1});
    Driver driver;
    driver.run(device, 4096);
    CHECK(audition.largestBlock == 480);
    CHECK(listener.numSamples == 4096);
    CHECK(driver.output[1][4095] == 0.5F);
}

TEST_CASE("The audio callback allocates nothing while it meters, analyses and keeps a pre-roll",
          "[plugin][bench]")
{
    Passing audition;
    plugin::BenchInput input;
    BenchDevice device(&audition, &input);
    input.chooseChannel(0, "made-up device");
    device.prepare({.sampleRate = 48000.0, .maxBlockFrames = 512, .numChannels = 1});
    REQUIRE(input.isOpen());
    Driver driver;
    driver.run(device, 512);
    const test::AllocationCounter allocations;
    for (int block = 0; block < 200; ++block) {
        if (block == 100)
            input.setBandsPerOctave(24);
        driver.run(device, 512, static_cast<std::uint64_t>(block) * 10'666'667);
    }
    CHECK(allocations.count() == 0);
    CHECK(input.recorder().meter(0).peakDbfs() == Approx(-12.04).margin(0.01)); // 20 log10 0.25
    CHECK(input.analyserSnapshot().settings.bandsPerOctave == 24);
}
