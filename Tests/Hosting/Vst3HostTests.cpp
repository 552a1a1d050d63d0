// The built VST3 in a host: JUCE's own hosting classes, which share no code with the plug-in at run
// time. What it plays is held against the processor inside this program, to the bit.
#include "Gui/ParameterIds.h"
#include "Hosting/ScreenPicture.h"
#include "Plugin/RidePrograms.h"
#include "Support/MessageLoop.h"
#include "Support/PlayedJob.h"

#include <catch2/catch.hpp>

#include <cmath>
#include <memory>
#include <vector>

using namespace saddletone;
namespace ids = gui::parameterIds;

namespace {

using test::Stereo;

constexpr double allRates[] {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
constexpr int allBlocks[] {1, 16, 64, 127, 512, 4096, 8192};

using Instance = std::unique_ptr<juce::AudioPluginInstance>;

juce::PluginDescription findPlugin()
{
    juce::VST3PluginFormat format;
    juce::OwnedArray<juce::PluginDescription> found;
    format.findAllTypesForFile(found, SADDLETONE_VST3);
    REQUIRE(found.size() == 1);
    return *found.getFirst();
}

Instance makeInstance(double rate = 48000.0, int blockFrames = 512)
{
    juce::AudioPluginFormatManager manager;
    manager.addFormat(new juce::VST3PluginFormat()); // the manager takes it over
    juce::String problem;
    Instance instance = manager.createPluginInstance(findPlugin(), rate, blockFrames, problem);
    INFO(problem);
    REQUIRE(instance != nullptr);
    return instance;
}

/** A state of the processor as this host wraps it. */
juce::MemoryBlock wrapped(const juce::MemoryBlock& state)
{
    juce::XmlElement xml("VST3PluginState");
    xml.createNewChildElement("IComponent")->addTextElement(state.toBase64Encoding());
    juce::MemoryBlock block;
    juce::AudioProcessor::copyXmlToBinary(xml, block);
    return block;
}

juce::MemoryBlock stateOf(juce::AudioPluginInstance& instance)
{
    juce::MemoryBlock state;
    instance.getStateInformation(state);
    return state;
}

void restore(juce::AudioPluginInstance& instance, const juce::MemoryBlock& state)
{
    instance.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
}

juce::AudioProcessorParameter* parameterNamed(juce::AudioPluginInstance& instance,
                                              const juce::String& name)
{
    for (juce::AudioProcessorParameter* const parameter : instance.getParameters())
        if (parameter->getName(64) == name)
            return parameter;
    FAIL(name << " is not there");
    return nullptr;
}

Stereo process(juce::AudioProcessor& processor, const Stereo& input, int blockFrames)
{
    Stereo output = input;
    juce::MidiBuffer midi;
    const auto numFrames = static_cast<int>(input[0].size());
    juce::AudioBuffer<float> buffer(2, blockFrames);
    for (int done = 0; done < numFrames; done += blockFrames) {
        const int count = std::min(blockFrames, numFrames - done);
        buffer.setSize(2, count, false, false, true);
        for (int channel = 0; channel < 2; ++channel)
            buffer.copyFrom(channel, 0, input[static_cast<std::size_t>(channel)].data() + done,
                            count);
        processor.processBlock(buffer, midi);
        for (int channel = 0; channel < 2; ++channel)
            std::copy_n(buffer.getReadPointer(channel), count,
                        output[static_cast<std::size_t>(channel)].data() + done);
    }
    return output;
}

/** A job on a ride, as a session keeps it. */
juce::MemoryBlock rideState(test::PlayedJob& played)
{
    test::set(played.processor, ids::candidate, 3);
    test::set(played.processor, ids::speedKmh, 96.5);
    test::set(played.processor, ids::outputLevelDb, -9.5);
    return test::stateOf(played.processor);
}

} // namespace

TEST_CASE("A host finds the VST3 as an effect with its name and maker", "[hosting][vst3]")
{
    const juce::PluginDescription found = findPlugin();
    CHECK(found.name == "Saddletone");
    CHECK(found.manufacturerName == "Saddletone");
    CHECK(found.category.contains("Fx"));
    CHECK_FALSE(found.isInstrument);
    const Instance instance = makeInstance();
    CHECK(instance->getTotalNumInputChannels() == 2);
    CHECK(instance->getTotalNumOutputChannels() == 2);
    CHECK(instance->getLatencySamples() == 0);
    CHECK_FALSE(instance->acceptsMidi());
    CHECK_FALSE(instance->producesMidi());
}

TEST_CASE("The VST3 plays a session's job at every rate and block size as the processor does",
          "[hosting][vst3]")
{
    test::PlayedJob played;
    const juce::MemoryBlock state = rideState(played);
    const Stereo programme = test::makeProgramme(16384);
    const Instance hosted = makeInstance();
    restore(*hosted, wrapped(state));
    for (const double rate : allRates) {
        plugin::AuditionProcessor processor;
        test::restore(processor, state);
        for (const int blockFrames : allBlocks) {
            INFO(rate << " Hz, blocks of " << blockFrames);
            processor.prepareToPlay(rate, blockFrames);
            hosted->setRateAndBufferSizeDetails(rate, blockFrames);
            hosted->prepareToPlay(rate, blockFrames);
            const Stereo expected = process(processor, programme, blockFrames);
            const Stereo heard = process(*hosted, programme, blockFrames);
            CHECK(test::peakOf(expected) > 1e-4F);
            CHECK(test::isAllFinite(heard));
            CHECK(heard == expected);
            CHECK(hosted->getLatencySamples() == 0);
            hosted->releaseResources();
        }
    }
}

TEST_CASE("The VST3's state comes back in another instance", "[hosting][vst3]")
{
    test::PlayedJob played;
    const Instance first = makeInstance();
    restore(*first, wrapped(rideState(played)));
    first->prepareToPlay(48000.0, 512);
    const juce::MemoryBlock state = stateOf(*first);
    const Stereo programme = test::makeProgramme(8192);
    const Stereo heard = process(*first, programme, 512);

    const Instance second = makeInstance();
    restore(*second, state);
    second->prepareToPlay(48000.0, 512);
    REQUIRE(second->getParameters().size() == first->getParameters().size());
    for (int index = 0; index < first->getParameters().size(); ++index) {
        INFO(first->getParameters()[index]->getName(64));
        CHECK(second->getParameters()[index]->getValue()
              == first->getParameters()[index]->getValue());
    }
    CHECK(process(*second, programme, 512) == heard);
    CHECK(stateOf(*second) == state);

    // Damage is survived, and what is played stays.
    restore(*second, wrapped(juce::MemoryBlock("garbage", 7)));
    restore(*second, juce::MemoryBlock("garbage", 7));
    second->releaseResources();
    second->prepareToPlay(48000.0, 512);
    CHECK(process(*second, programme, 512) == heard);
}

TEST_CASE("A host shows the VST3's parameters with units and takes their texts", "[hosting][vst3]")
{
    const Instance instance = makeInstance();
    plugin::AuditionProcessor processor;
    for (juce::AudioProcessorParameter* const own : processor.getParameters()) {
        juce::AudioProcessorParameter* const parameter =
            parameterNamed(*instance, own->getName(64));
        INFO(own->getName(64));
        CHECK(parameter->getLabel() == own->getLabel());
        CHECK(parameter->isAutomatable() == own->isAutomatable());
        CHECK(parameter->getDefaultValue() == Approx(own->getDefaultValue()).margin(1e-6));
        for (const float value : {0.0F, 0.25F, 0.5F, 1.0F}) {
            const juce::String text = parameter->getText(value, 64);
            CHECK(text == own->getText(value, 64));
            CHECK(parameter->getText(parameter->getValueForText(text), 64) == text);
        }
    }
    juce::AudioProcessorParameter* const speed = parameterNamed(*instance, "Speed");
    CHECK(speed->getText(speed->getValueForText("50 mph"), 64) == "80.5");
}

TEST_CASE("A host can choose the VST3's rides as programs", "[hosting][vst3]")
{
    const Instance instance = makeInstance();
    REQUIRE(instance->getNumPrograms() == static_cast<int>(plugin::ridePrograms.size()));
    for (int index = 0; index < instance->getNumPrograms(); ++index)
        CHECK(instance->getProgramName(index)
              == plugin::ridePrograms[static_cast<std::size_t>(index)].name);
    for (const auto& [program, speedKmh] :
         {std::pair {2, 50.0}, std::pair {3, 105.0}, std::pair {1, 0.0}}) {
        instance->setCurrentProgram(program);
        test::runMessages(50);
        CHECK(instance->getCurrentProgram() == program);
        const juce::MemoryBlock state = stateOf(*instance);
        const auto xml = juce::AudioProcessor::getXmlFromBinary(state.getData(),
                                                                static_cast<int>(state.getSize()));
        REQUIRE(xml != nullptr);
        juce::MemoryBlock own;
        REQUIRE(own.fromBase64Encoding(xml->getChildElementAllSubText("IComponent", {})));
        plugin::AuditionProcessor processor;
        test::restore(processor, own);
        CHECK(test::get(processor, ids::speedKmh) == Approx(speedKmh));
        CHECK(processor.getCurrentProgram() == program);
    }
}

TEST_CASE("The VST3 takes a mono track and renders offline as in real time", "[hosting][vst3]")
{
    test::PlayedJob played;
    const juce::MemoryBlock state = rideState(played);
    const Stereo programme = test::makeProgramme(8192);
    const Instance hosted = makeInstance();
    juce::AudioProcessor::BusesLayout mono;
    mono.inputBuses.add(juce::AudioChannelSet::mono());
    mono.outputBuses.add(juce::AudioChannelSet::stereo());
    REQUIRE(hosted->setBusesLayout(mono));
    restore(*hosted, wrapped(state));
    hosted->prepareToPlay(48000.0, 256);
    const Stereo live = process(*hosted, programme, 256);
    REQUIRE(played.processor.setBusesLayout(mono));
    played.processor.prepareToPlay(48000.0, 256);
    CHECK(process(played.processor, programme, 256) == live);

    hosted->releaseResources();
    hosted->setNonRealtime(true);
    hosted->prepareToPlay(48000.0, 256);
    CHECK(process(*hosted, programme, 256) == live);
}

TEST_CASE("The VST3's tail has no end while a ride is heard", "[hosting][vst3]")
{
    const Instance instance = makeInstance();
    instance->prepareToPlay(48000.0, 512);
    CHECK(instance->getTailLengthSeconds() == Approx(0.68).margin(0.001));
    test::PlayedJob played;
    restore(*instance, wrapped(rideState(played)));
    CHECK(std::isinf(instance->getTailLengthSeconds()));
}

TEST_CASE("Two VST3 instances in one host play each its own", "[hosting][vst3]")
{
    test::PlayedJob played;
    const juce::MemoryBlock state = rideState(played);
    const Stereo programme = test::makeProgramme(8192);
    const Instance one = makeInstance();
    const Instance other = makeInstance();
    restore(*one, wrapped(state));
    one->prepareToPlay(48000.0, 512);
    other->prepareToPlay(96000.0, 64);
    const Stereo first = process(*one, programme, 512);
    CHECK(process(*other, programme, 64) != first);
    one->releaseResources();
    one->prepareToPlay(48000.0, 512);
    CHECK(process(*one, programme, 512) == first);
}

TEST_CASE(
    "The VST3's editor opens in a host's window, is drawn, resized and closed, again and again",
    "[hosting][vst3]")
{
    test::PlayedJob played;
    const Instance instance = makeInstance();
    restore(*instance, wrapped(rideState(played)));
    instance->prepareToPlay(48000.0, 512);
    for (int round = 0; round < 2; ++round) {
        const std::unique_ptr<juce::AudioProcessorEditor> editor(instance->createEditorIfNeeded());
        REQUIRE(editor != nullptr);
        // The instance keeps the size that it was given.
        CHECK(editor->getWidth() == (round == 0 ? 1280 : 1100));
        CHECK(editor->getHeight() == (round == 0 ? 720 : 710));
        juce::DocumentWindow window("Host", juce::Colours::magenta,
                                    juce::DocumentWindow::allButtons);
        window.setUsingNativeTitleBar(true);
        window.setContentNonOwned(editor.get(), true);
        window.setTopLeftPosition(40, 40);
        window.setVisible(true);
        test::runMessages(600);
        CHECK(test::countColoursOnScreen(editor->getScreenBounds()) > 50);
        editor->setSize(1100, 710);
        test::runMessages(300);
        CHECK(editor->getWidth() == 1100);
        CHECK(test::countColoursOnScreen(editor->getScreenBounds()) > 50);
        window.clearContentComponent();
    }
}
