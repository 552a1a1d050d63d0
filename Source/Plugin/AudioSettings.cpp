#include "Plugin/AudioSettings.h"

#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::plugin {

namespace {

constexpr int margin = 20;
constexpr int rowHeight = 34;
constexpr int rowGap = 10;
constexpr int labelWidth = 140;
constexpr int silentId = 1000; // of the device box; no interface has as many outputs

juce::String rateWords(double sampleRate)
{
    return juce::String(std::lround(sampleRate)) + " Hz";
}

/** With the time that so many frames take. */
juce::String blockWords(int numFrames, double sampleRate)
{
    return juce::String(numFrames) + " frames"
           + (sampleRate > 0.0 ? " (" + juce::String(1000.0 * numFrames / sampleRate, 1) + " ms)"
                               : juce::String());
}

/** Names of two channels next to each other, or of the last one alone. */
juce::String pairWords(const juce::StringArray& channels, int first)
{
    return channels[first]
           + (first + 1 < channels.size() ? " + " + channels[first + 1] : juce::String());
}

} // namespace

AudioSettings::AudioSettings(juce::AudioDeviceManager& deviceManager) : manager(deviceManager)
{
    setTitle("Audio settings");
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);
    addRow(typeLabel, typeBox, "Audio system", "The kind of device that sound goes through.");
    addRow(deviceLabel, deviceBox, "Output",
           "The headphones or interface that is listened through.");
    addRow(pairLabel, pairBox, "Channels", "Which of its outputs are left and right.");
    addRow(rateLabel, rateBox, "Sample rate", "How many frames a second the output takes.");
    addRow(blockLabel, blockBox, "Block",
           "Frames that are handed over at once. More of them are safer against gaps, fewer are "
           "quicker to follow.");
    typeBox.onChange = [this] {
        problem.clear();
        manager.setCurrentAudioDeviceType(typeBox.getText(), true);
        refresh();
    };
    deviceBox.onChange = [this] { chooseDevice(); };
    pairBox.onChange = [this] {
        juce::AudioIODevice* const device = manager.getCurrentAudioDevice();
        if (device == nullptr) // unplugged while the list was open
            return;
        const int numChannels = device->getOutputChannelNames().size();
        const int first = 2 * pairBox.getSelectedItemIndex();
        change([first, numChannels](Setup& setup) {
            setup.useDefaultOutputChannels = false;
            setup.outputChannels.clear();
            setup.outputChannels.setRange(first, std::min(2, numChannels - first), true);
        });
    };
    rateBox.onChange = [this] {
        change([this](Setup& setup) { setup.sampleRate = rateBox.getSelectedId(); });
    };
    blockBox.onChange = [this] {
        change([this](Setup& setup) { setup.bufferSize = blockBox.getSelectedId(); });
    };
    setSize(width, height);
    refresh();
    manager.addChangeListener(this);
}

AudioSettings::~AudioSettings()
{
    manager.removeChangeListener(this);
}

void AudioSettings::addRow(juce::Label& label, gui::ChoiceBox& box, const char* name,
                           const char* description)
{
    label.setText(name, juce::dontSendNotification);
    label.setFont(gui::textFont(15.0F));
    label.setAccessible(false); // the box itself carries the name
    addAndMakeVisible(label);
    gui::addControl(*this, box, name, description);
    box.setTextWhenNothingSelected("None");
}

void AudioSettings::change(const std::function<void(Setup&)>& edit)
{
    Setup setup = manager.getAudioDeviceSetup();
    edit(setup);
    problem = manager.setAudioDeviceSetup(setup, true);
    refresh();
}

void AudioSettings::chooseDevice()
{
    const bool isSilent = deviceBox.getSelectedId() == silentId;
    const juce::String name = isSilent ? juce::String() : deviceBox.getText();
    change([&name](Setup& setup) {
        setup.outputDeviceName = name;
        setup.useDefaultOutputChannels = true;
    });
}

void AudioSettings::showDevices()
{
    typeBox.clear(juce::dontSendNotification);
    for (const juce::AudioIODeviceType* const type : manager.getAvailableDeviceTypes())
        typeBox.addItem(type->getTypeName(), typeBox.getNumItems() + 1);
    deviceBox.clear(juce::dontSendNotification);
    const juce::AudioIODeviceType* const type = manager.getCurrentDeviceTypeObject();
    if (type == nullptr)
        return;
    for (int index = 0; index < typeBox.getNumItems(); ++index)
        if (typeBox.getItemText(index) == type->getTypeName())
            typeBox.setSelectedItemIndex(index, juce::dontSendNotification);
    const juce::StringArray names = type->getDeviceNames(false);
    deviceBox.addItemList(names, 1);
    deviceBox.addItem("None: no sound", silentId);
    const int shown = names.indexOf(manager.getAudioDeviceSetup().outputDeviceName);
    deviceBox.setSelectedId(shown >= 0 ? shown + 1 : silentId, juce::dontSendNotification);
}

void AudioSettings::showFormat(juce::AudioIODevice& device)
{
    const juce::StringArray channels = device.getOutputChannelNames();
    for (int first = 0; first < channels.size(); first += 2)
        pairBox.addItem(pairWords(channels, first), first / 2 + 1);
    const int firstUsed = device.getActiveOutputChannels().findNextSetBit(0);
    if (firstUsed >= 0)
        pairBox.setSelectedItemIndex(firstUsed / 2, juce::dontSendNotification);
    const double sampleRate = device.getCurrentSampleRate();
    for (const double rate : device.getAvailableSampleRates())
        rateBox.addItem(rateWords(rate), static_cast<int>(std::lround(rate)));
    rateBox.setSelectedId(static_cast<int>(std::lround(sampleRate)), juce::dontSendNotification);
    for (const int numFrames : device.getAvailableBufferSizes())
        blockBox.addItem(blockWords(numFrames, sampleRate), numFrames);
    blockBox.setSelectedId(device.getCurrentBufferSizeSamples(), juce::dontSendNotification);
}

void AudioSettings::refresh()
{
    showDevices();
    for (gui::ChoiceBox* const box : {&pairBox, &rateBox, &blockBox})
        box->clear(juce::dontSendNotification);
    juce::AudioIODevice* const device = manager.getCurrentAudioDevice();
    if (device != nullptr)
        showFormat(*device);
    for (gui::ChoiceBox* const box : {&pairBox, &rateBox, &blockBox})
        box->setEnabled(box->getNumItems() > 0);
    setDescription(stateWords());
    repaint();
}

juce::String AudioSettings::stateWords() const
{
    if (problem.isNotEmpty())
        return "That could not be opened: " + problem
               + ". Choose something else, or end what else is using it.";
    const juce::AudioIODevice* const device = manager.getCurrentAudioDevice();
    if (device == nullptr || manager.getAudioDeviceSetup().outputDeviceName.isEmpty())
        return "There is no sound, as no output is chosen.";
    return "What changes here is heard at once. All ceilings of the level stay as they are.";
}

void AudioSettings::paint(juce::Graphics& g)
{
    const gui::Palette palette = gui::paletteOf(*this);
    g.fillAll(palette.background);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(stateArea.toFloat(), 8.0F);
    gui::drawWords(g, stateWords(), gui::textFont(15.0F), palette.text, stateArea.reduced(14, 6),
                   juce::Justification::centredLeft);
}

void AudioSettings::resized()
{
    auto area = getLocalBounds().reduced(margin);
    for (const auto& [label, box] :
         {std::pair {&typeLabel, &typeBox}, std::pair {&deviceLabel, &deviceBox},
          std::pair {&pairLabel, &pairBox}, std::pair {&rateLabel, &rateBox},
          std::pair {&blockLabel, &blockBox}}) {
        auto row = area.removeFromTop(rowHeight);
        label->setBounds(row.removeFromLeft(labelWidth));
        box->setBounds(row);
        area.removeFromTop(rowGap);
    }
    stateArea = area;
}

} // namespace saddletone::plugin
