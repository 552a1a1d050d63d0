#pragma once

#include "Gui/ChoiceBox.h"

#include <juce_audio_devices/juce_audio_devices.h>

#include <functional>

namespace saddletone::plugin {

/** Chooses what the program is heard through: kind of device, output, which pair of its channels,
    sample rate and block. Inputs stay as the bench has them.

    There is no test sound here: what JUCE has for it goes past the ceilings of the level. */
class AudioSettings final : public juce::Component, private juce::ChangeListener {
public:
    /** deviceManager must outlive it. */
    explicit AudioSettings(juce::AudioDeviceManager& deviceManager);
    ~AudioSettings() override;
    AudioSettings(const AudioSettings&) = delete;
    AudioSettings& operator=(const AudioSettings&) = delete;

    static constexpr int width = 560;
    static constexpr int height = 330;

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    using Setup = juce::AudioDeviceManager::AudioDeviceSetup;

    void changeListenerCallback(juce::ChangeBroadcaster*) override { refresh(); }
    void addRow(juce::Label& label, gui::ChoiceBox& box, const char* name, const char* description);
    void refresh();
    void showDevices();
    void showFormat(juce::AudioIODevice& device);
    void change(const std::function<void(Setup&)>& edit);
    void chooseDevice();
    [[nodiscard]] juce::String stateWords() const;

    juce::AudioDeviceManager& manager;
    juce::Label typeLabel, deviceLabel, pairLabel, rateLabel, blockLabel;
    gui::ChoiceBox typeBox, deviceBox, pairBox, rateBox, blockBox;
    juce::String problem; // of the last change; empty: none
    juce::Rectangle<int> stateArea;
};

} // namespace saddletone::plugin
