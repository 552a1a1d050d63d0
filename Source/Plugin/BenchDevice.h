#pragma once

#include "Core/Audition/CeilingLimiter.h"
#include "Plugin/SignalPlayer.h"

#include <juce_audio_devices/juce_audio_devices.h>

#include <array>
#include <optional>
#include <vector>

namespace saddletone::plugin {

/** The standalone's audio callback: what the audition plays, the test signal, and the input.

    The audition is silent while a bench place is entered, and hears the input only when told to. Up to
    maxChannels channels each way; further outputs are silent, further inputs are not looked at. */
class BenchDevice final : public juce::AudioIODeviceCallback {
public:
    static constexpr std::size_t maxChannels = 32;

    /** What takes the input; called on the audio thread, under its rules. */
    class InputListener {
    public:
        /** What is known of the time of a block. */
        struct Moment {
            std::optional<double> timeSeconds; ///< Of its first frame, by the device's clock.
            /** The device lost audio in front of the block; 0 = it cannot tell how many frames. */
            std::optional<std::uint64_t> lostFrames;
        };

        virtual ~InputListener() = default;
        // Setup (may allocate, not during process)
        virtual void prepareInput(const dsp::ProcessSpec& spec) = 0;
        virtual void closeInput() = 0;
        // Audio thread (bounded, no lock, no allocation, no I/O)
        virtual void processInput(dsp::ChannelView<const float> input,
                                  const Moment& moment) noexcept = 0;
    };

    // Setup (may allocate, not during process)
    /** Both may be null and must outlive this. */
    BenchDevice(juce::AudioIODeviceCallback* auditionCallback, InputListener* inputListener);

    /** What audioDeviceAboutToStart() does, with the device's figures given. */
    void prepare(const dsp::ProcessSpec& spec);
    void audioDeviceAboutToStart(juce::AudioIODevice* device) override;
    void audioDeviceStopped() override;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void
    audioDeviceIOCallbackWithContext(const float* const* inputs, int numInputs,
                                     float* const* outputs, int numOutputs, int numFrames,
                                     const juce::AudioIODeviceCallbackContext& context) override;

    // Any thread
    void setAuditionHeard(bool shouldBeHeard) noexcept { auditionHeard.store(shouldBeHeard); }
    /** Whether the audition gets the first two channels of the input. */
    void setInputHeard(bool shouldBeHeard) noexcept { inputHeard.store(shouldBeHeard); }
    [[nodiscard]] double sampleRate() const noexcept { return rate.load(); }
    /** Largest output sample, linear, since the last call. */
    [[nodiscard]] float takeOutputPeak() noexcept { return outputPeak.exchange(0.0F); }

    SignalPlayer player;

private:
    void renderAudition(dsp::ChannelView<const float> input, float* const* outputs,
                        std::size_t numOutputs, const juce::AudioIODeviceCallbackContext& context);

    [[nodiscard]] InputListener::Moment
    momentOf(const juce::AudioIODeviceCallbackContext& context) noexcept;

    static constexpr double auditionRampSeconds = 0.02;

    juce::AudioIODeviceCallback* const audition;
    InputListener* const listener;
    std::atomic<bool> auditionHeard {true};
    std::atomic<bool> inputHeard {false};
    std::atomic<double> rate {48000.0};
    std::atomic<float> outputPeak {0.0F};

    // Audio thread
    juce::AudioIODevice* current = nullptr; // null: driven without a device
    int numOverruns = 0;
    std::size_t maxBlockFrames = 0;
    std::vector<float> silence;
    /** Last of all, at full scale: audition and test signal may overlap for some moments. */
    audition::CeilingLimiter ceiling;
    double auditionGain = 1.0;
    double auditionGainPerFrame = 1.0;
};

} // namespace saddletone::plugin
