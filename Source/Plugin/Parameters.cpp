#include "Plugin/Parameters.h"

#include "Core/Dsp/Units.h"
#include "Gui/ParameterIds.h"
#include "Plugin/DecimalText.h"

#include <cmath>

namespace saddletone::plugin {

namespace ids = gui::parameterIds;

namespace {

/** Of the first release; a host needs it to sort parameters of later ones behind. */
constexpr int versionHint = 1;

/** Of the parameters that came with the ceiling in dB(A). */
constexpr int earLevelVersionHint = 2;

/** The lowest figure for headphones, which stands for none: no headphone is as quiet. */
constexpr float unknownHeadphoneDb = 80.0F;

/** Whether a host may draw a curve of it. Not what protects the listener, nor what needs another
    scene to be built and is therefore not heard at once. */
enum class Automation { yes, no };

/** First number of a text, whatever the locale; a comma is a decimal point and a true minus sign a
    minus. */
float numberIn(const juce::String& text)
{
    return text.replaceCharacter(',', '.')
        .replace(juce::String::fromUTF8("\xe2\x88\x92"), "-")
        .trim()
        .getFloatValue();
}

bool hasNumber(const juce::String& text)
{
    return text.containsAnyOf("0123456789");
}

float speedIn(const juce::String& text)
{
    const float number = numberIn(text);
    return text.containsIgnoreCase("mph")
               ? static_cast<float>(dsp::mphToKmh(static_cast<double>(number)))
               : number;
}

std::unique_ptr<juce::AudioParameterFloat> makeLevel(const char* id, const juce::String& name,
                                                     float lowest, float highest, float initial,
                                                     const juce::String& unit,
                                                     Automation automation = Automation::yes)
{
    return std::make_unique<juce::AudioParameterFloat>(
        juce::ParameterID(id, versionHint), name,
        juce::NormalisableRange<float>(lowest, highest, 0.1F), initial,
        juce::AudioParameterFloatAttributes()
            .withLabel(unit)
            .withAutomatable(automation == Automation::yes)
            .withStringFromValueFunction([](float value, int) { return decimalText(value, 1); })
            // Words must not count as 0 dB, which is the loudest for some.
            .withValueFromStringFunction([initial](const juce::String& text) {
                return hasNumber(text) ? numberIn(text) : initial;
            }));
}

std::unique_ptr<juce::AudioParameterChoice> makeChoice(const char* id, const juce::String& name,
                                                       const juce::StringArray& choices,
                                                       int initial,
                                                       Automation automation = Automation::yes)
{
    return std::make_unique<juce::AudioParameterChoice>(
        juce::ParameterID(id, versionHint), name, choices, initial,
        juce::AudioParameterChoiceAttributes()
            .withAutomatable(automation == Automation::yes)
            .withValueFromStringFunction([choices, initial](const juce::String& text) {
                const int index = choices.indexOf(text.trim(), true);
                return index >= 0 ? index : initial;
            }));
}

} // namespace

juce::AudioProcessorValueTreeState::ParameterLayout makeParameterLayout()
{
    const audition::AuditionEngine::Parameters initial;
    juce::AudioProcessorValueTreeState::ParameterLayout layout;
    layout.add(std::make_unique<juce::AudioParameterInt>(
        juce::ParameterID(ids::candidate, versionHint), "Candidate", 1,
        static_cast<int>(audition::maxCandidates), 1));
    layout.add(std::make_unique<juce::AudioParameterFloat>(
        juce::ParameterID(ids::speedKmh, versionHint), "Speed",
        juce::NormalisableRange<float>(0.0F, 225.0F), 0.0F,
        juce::AudioParameterFloatAttributes()
            .withLabel("km/h")
            .withStringFromValueFunction([](float value, int) { return decimalText(value, 1); })
            .withValueFromStringFunction(speedIn)));
    layout.add(makeLevel(ids::noiseTrimDb, "Noise level", -24.0F, 12.0F, 0.0F, "dB"));
    layout.add(makeLevel(ids::outputLevelDb, "Output level", -60.0F, 0.0F,
                         static_cast<float>(initial.outputLevelDb), "dB"));
    layout.add(makeLevel(ids::ceilingDbfs, "Ceiling", -30.0F, -1.0F,
                         static_cast<float>(initial.ceilingDbfs), "dBFS", Automation::no));
    layout.add(std::make_unique<juce::AudioParameterFloat>(
        juce::ParameterID(ids::headphoneSplDb, earLevelVersionHint), "Headphones at full scale",
        juce::NormalisableRange<float>(unknownHeadphoneDb, 140.0F, 0.1F), unknownHeadphoneDb,
        juce::AudioParameterFloatAttributes()
            .withLabel("dB SPL")
            .withAutomatable(false)
            .withStringFromValueFunction([](float value, int) {
                return value <= unknownHeadphoneDb ? juce::String("not known")
                                                   : decimalText(value, 1);
            })
            .withValueFromStringFunction(numberIn)));
    layout.add(makeLevel(ids::ceilingDba, "Ceiling at the ear", 60.0F, 100.0F,
                         static_cast<float>(initial.ceilingDba), "dB(A)", Automation::no));
    // Order of audition::Monitor, LevelMatch, ride::Helmet, Screen, EarPlugs and EngineNoise.
    layout.add(makeChoice(ids::monitor, "Monitor",
                          {"Programme + noise", "Programme only", "Noise only"}, 0));
    layout.add(makeChoice(ids::levelMatch, "Level match", {"As on the bike", "Equal loudness"}, 0));
    layout.add(
        makeChoice(ids::helmet, "Helmet", {"None", "Open face", "Full face"}, 2, Automation::no));
    layout.add(makeChoice(ids::screen, "Screen", {"None", "Low", "Tall"}, 0));
    layout.add(makeChoice(ids::earPlugs, "Ear plugs", {"None", "As labelled", "As often worn"}, 0));
    layout.add(
        makeChoice(ids::engineNoise, "Engine noise", {"When riding", "Also parked", "Off"}, 0));
    layout.add(makeLevel(ids::radioVolumeDb, "Radio volume", -40.0F, 20.0F, 0.0F, "dB"));
    layout.add(std::make_unique<juce::AudioParameterBool>(
        juce::ParameterID(ids::bypass, versionHint), "Bypass", false,
        juce::AudioParameterBoolAttributes()
            .withStringFromValueFunction(
                [](bool isOn, int) { return juce::String(isOn ? "On" : "Off"); })
            .withValueFromStringFunction([](const juce::String& text) {
                return text.trim().equalsIgnoreCase("on") || numberIn(text) > 0.5F;
            })));
    return layout;
}

ParameterReader::ParameterReader(const juce::AudioProcessorValueTreeState& parameters)
    : candidate(parameters.getRawParameterValue(ids::candidate)),
      speedKmh(parameters.getRawParameterValue(ids::speedKmh)),
      noiseTrimDb(parameters.getRawParameterValue(ids::noiseTrimDb)),
      outputLevelDb(parameters.getRawParameterValue(ids::outputLevelDb)),
      ceilingDbfs(parameters.getRawParameterValue(ids::ceilingDbfs)),
      headphoneSplDb(parameters.getRawParameterValue(ids::headphoneSplDb)),
      ceilingDba(parameters.getRawParameterValue(ids::ceilingDba)),
      monitor(parameters.getRawParameterValue(ids::monitor)),
      levelMatch(parameters.getRawParameterValue(ids::levelMatch)),
      helmetChoice(parameters.getRawParameterValue(ids::helmet)),
      screen(parameters.getRawParameterValue(ids::screen)),
      earPlugs(parameters.getRawParameterValue(ids::earPlugs)),
      engineNoise(parameters.getRawParameterValue(ids::engineNoise)),
      radioVolumeDb(parameters.getRawParameterValue(ids::radioVolumeDb)),
      bypass(parameters.getRawParameterValue(ids::bypass))
{
}

audition::AuditionEngine::Parameters ParameterReader::engineParameters() const noexcept
{
    const auto read = [](Value value) {
        return static_cast<double>(value->load(std::memory_order_relaxed));
    };
    const auto choice = [&](Value value) { return static_cast<int>(std::lround(read(value))); };
    audition::AuditionEngine::Parameters parameters;
    parameters.candidate = static_cast<std::size_t>(std::max(1, choice(candidate)) - 1);
    parameters.ride = {.speedKmh = read(speedKmh),
                       .screen = static_cast<ride::Screen>(choice(screen)),
                       .earPlugs = static_cast<ride::EarPlugs>(choice(earPlugs)),
                       .engine = static_cast<audition::EngineNoise>(choice(engineNoise))};
    parameters.volumeDb = read(radioVolumeDb);
    parameters.noiseTrimDb = read(noiseTrimDb);
    parameters.outputLevelDb = read(outputLevelDb);
    parameters.ceilingDbfs = read(ceilingDbfs);
    if (const double splDb = read(headphoneSplDb); splDb > static_cast<double>(unknownHeadphoneDb))
        parameters.headphoneSplAtFullScaleDb = splDb;
    parameters.ceilingDba = read(ceilingDba);
    parameters.monitor = read(bypass) > 0.5 ? audition::Monitor::untouched
                                            : static_cast<audition::Monitor>(choice(monitor));
    parameters.match = static_cast<audition::LevelMatch>(choice(levelMatch));
    return parameters;
}

ride::Helmet ParameterReader::helmet() const noexcept
{
    return static_cast<ride::Helmet>(std::lround(helmetChoice->load(std::memory_order_relaxed)));
}

} // namespace saddletone::plugin
