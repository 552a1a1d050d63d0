// What a host may expect of the plug-in, and what it must survive of a host.
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Plugin/RidePrograms.h"
#include "Support/PlayedJob.h"

#include <catch2/catch.hpp>

#include <clocale>
#include <cmath>
#include <cstdlib>
#include <locale>
#include <map>
#include <set>
#include <string>
#include <thread>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

constexpr double sampleRate = test::PlayedJob::sampleRate;

using test::get;
using test::isAllFinite;
using test::makeProgramme;
using test::peakOf;
using test::PlayedJob;
using test::process;
using test::set;
using test::stateFromXml;
using test::stateOf;
using test::Stereo;
using test::waitUntilIdle;

/** A state that a host kept of an earlier version. */
juce::MemoryBlock keptState(const char* name)
{
    juce::MemoryBlock state;
    REQUIRE(plugin::toFile(std::filesystem::path(SADDLETONE_HOST_STATES_DIR) / name)
                .loadFileAsData(state));
    return state;
}

/** A state with text that the framework itself would not write. */
juce::MemoryBlock stateWithText(const juce::String& text)
{
    juce::MemoryBlock state = stateFromXml("<saddletone/>");
    state.setSize(8);
    state.append(text.toRawUTF8(), text.getNumBytesAsUTF8());
    const auto numBytes =
        juce::ByteOrder::swapIfBigEndian(static_cast<juce::uint32>(text.getNumBytesAsUTF8()));
    state.copyFrom(&numBytes, 4, 4);
    return state;
}

std::unique_ptr<juce::XmlElement> xmlOf(AuditionProcessor& processor)
{
    const juce::MemoryBlock state = stateOf(processor);
    return juce::AudioProcessor::getXmlFromBinary(state.getData(),
                                                  static_cast<int>(state.getSize()));
}

/** What the tests set parameters to: none is the default of any. */
std::map<std::string, double> unusualValues()
{
    return {{ids::candidate, 2.0},       {ids::speedKmh, 61.0},     {ids::noiseTrimDb, 3.5},
            {ids::outputLevelDb, -31.0}, {ids::ceilingDbfs, -13.0}, {ids::headphoneSplDb, 105.0},
            {ids::ceilingDba, 70.0},     {ids::monitor, 2.0},       {ids::levelMatch, 1.0},
            {ids::helmet, 1.0},          {ids::screen, 1.0},        {ids::earPlugs, 2.0},
            {ids::engineNoise, 1.0},     {ids::radioVolumeDb, 7.0}, {ids::bypass, 1.0}};
}

double defaultOf(AuditionProcessor& processor, const std::string& id)
{
    const auto* const parameter = processor.parameters().getParameter(id);
    return static_cast<double>(parameter->convertFrom0to1(parameter->getDefaultValue()));
}

/** The texts of all parameters at some values. */
std::vector<juce::String> textsOf(AuditionProcessor& processor)
{
    std::vector<juce::String> texts;
    for (juce::AudioProcessorParameter* const parameter : processor.getParameters())
        for (const float value : {0.0F, 0.123F, 0.25F, 0.5F, 0.777F, 1.0F})
            texts.push_back(parameter->getText(value, 64));
    return texts;
}

/** Decimal comma and points between thousands, as in Germany, for C++ streams. */
struct GermanPunctuation final : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    char do_thousands_sep() const override { return '.'; }
    std::string do_grouping() const override { return "\3"; }
};

/** Sets a locale with a decimal comma, in C++ and, where the system has one, in C. */
class CommaLocale {
public:
    CommaLocale()
        : cppBefore(std::locale::global(
            std::locale(std::locale::classic(), new GermanPunctuation))), // the locale owns it
          cBefore(std::setlocale(LC_ALL, nullptr))
    {
        for (const char* const name : {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8"})
            if (std::setlocale(LC_ALL, name) != nullptr)
                break;
    }
    CommaLocale(const CommaLocale&) = delete;
    CommaLocale& operator=(const CommaLocale&) = delete;
    ~CommaLocale()
    {
        std::locale::global(cppBefore);
        std::setlocale(LC_ALL, cBefore.c_str());
    }

private:
    std::locale cppBefore;
    std::string cBefore;
};

} // namespace

TEST_CASE("Texts, values and states are the same where a comma is the decimal point",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    const std::vector<juce::String> texts = textsOf(processor);
    set(processor, ids::speedKmh, 1123.4);
    set(processor, ids::outputLevelDb, -20.3);
    const juce::MemoryBlock state = stateOf(processor);

    const CommaLocale comma;
    REQUIRE(juce::String(1.5, 1) == "1,5"); // or nothing is proved
    CHECK(textsOf(processor) == texts);
    CHECK(stateOf(processor) == state);
    AuditionProcessor restored;
    test::restore(restored, state);
    CHECK(get(restored, ids::outputLevelDb) == get(processor, ids::outputLevelDb));
    for (juce::AudioProcessorParameter* const parameter : restored.getParameters()) {
        INFO(parameter->getName(64));
        for (const float value : {0.0F, 0.3F, 0.5F, 1.0F}) {
            const juce::String text = parameter->getText(value, 64);
            CHECK(parameter->getText(parameter->getValueForText(text), 64) == text);
        }
    }
}

TEST_CASE("States that earlier versions wrote with a decimal comma come back whole",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    test::restore(processor,
                  stateFromXml("<saddletone schemaVersion=\"1\">"
                               "<parameter id=\"outputLevelDb\" value=\"-20,29999923706055\"/>"
                               "</saddletone>"));
    CHECK(get(processor, ids::outputLevelDb) == Approx(-20.3).margin(1e-4));
}

TEST_CASE("Parameters with a quantity say their unit, and hosts get each by a name of its own",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    std::set<juce::String> names;
    for (juce::AudioProcessorParameter* const each : processor.getParameters()) {
        const auto* const parameter = dynamic_cast<juce::RangedAudioParameter*>(each);
        REQUIRE(parameter != nullptr);
        INFO(parameter->getParameterID());
        CHECK(names.insert(parameter->getName(64)).second);
        const bool isQuantity = dynamic_cast<const juce::AudioParameterFloat*>(each) != nullptr;
        CHECK(parameter->getLabel().isNotEmpty() == isQuantity);
        // The house's names end in the unit.
        if (parameter->getParameterID().endsWith("Db"))
            CHECK(parameter->getLabel().startsWith("dB"));
    }
}

TEST_CASE("What protects the listener, and the helmet, cannot be automated", "[plugin][manners]")
{
    AuditionProcessor processor;
    for (juce::AudioProcessorParameter* const each : processor.getParameters()) {
        const juce::String id = dynamic_cast<juce::RangedAudioParameter*>(each)->getParameterID();
        INFO(id);
        const bool isHeld = id == ids::ceilingDbfs || id == ids::ceilingDba
                            || id == ids::headphoneSplDb || id == ids::helmet;
        CHECK(each->isAutomatable() == !isHeld);
    }
}

TEST_CASE("A text that is no value sets a parameter to its default and never makes it loud",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    for (const char* const id : {ids::outputLevelDb, ids::noiseTrimDb, ids::ceilingDbfs,
                                 ids::ceilingDba, ids::radioVolumeDb, ids::monitor, ids::helmet}) {
        const auto* const parameter = processor.parameters().getParameter(id);
        INFO(id);
        for (const char* const text : {"", "loud", "dB", "?"})
            CHECK(parameter->getValueForText(text) == Approx(parameter->getDefaultValue()));
    }
    const auto* const helmet = processor.parameters().getParameter(ids::helmet);
    CHECK(helmet->convertFrom0to1(helmet->getValueForText(" open FACE ")) == 1.0F);
    const auto* const level = processor.parameters().getParameter(ids::outputLevelDb);
    CHECK(level->convertFrom0to1(level->getValueForText(juce::String::fromUTF8("\xe2\x88\x92"
                                                                               "17,5 dB")))
          == Approx(-17.5F));
}

TEST_CASE("States that hosts kept of earlier versions come back", "[plugin][manners]")
{
    using Values = std::map<std::string, double>;
    const Values first {
        {ids::candidate, 3.0},       {ids::speedKmh, 104.6},   {ids::noiseTrimDb, -6.0},
        {ids::outputLevelDb, -18.0}, {ids::ceilingDbfs, -9.0}, {ids::monitor, 1.0},
        {ids::levelMatch, 1.0},      {ids::helmet, 0.0},       {ids::bypass, 0.0}};
    Values ear = first;
    ear[ids::headphoneSplDb] = 113.5;
    ear[ids::ceilingDba] = 75.0;
    Values ride = first;
    ride[ids::screen] = 2.0;
    ride[ids::earPlugs] = 1.0;
    ride[ids::engineNoise] = 2.0;
    ride[ids::radioVolumeDb] = -4.5;
    ride[ids::bypass] = 1.0;
    struct Kept {
        const char* file;
        Values values;
        bool hasJob;
        bool isLight;
    };
    for (const Kept& kept : {Kept {"first-layout.state", first, true, true},
                             Kept {"with-ear-level.state", ear, false, false},
                             Kept {"with-ride.state", ride, true, true},
                             Kept {"with-programme-list.state", ear, true, false}}) {
        INFO(kept.file);
        AuditionProcessor processor;
        const auto unusual = unusualValues();
        for (const auto& [id, value] : unusual)
            set(processor, id.c_str(), value);
        test::restore(processor, keptState(kept.file));
        waitUntilIdle(processor);
        for (const auto& [id, before] : unusual) {
            INFO(id);
            const bool isListenersOwn = id == ids::headphoneSplDb || id == ids::ceilingDba;
            const double expected = kept.values.contains(id) ? kept.values.at(id)
                                    : isListenersOwn         ? before
                                                             : defaultOf(processor, id);
            CHECK(get(processor, id.c_str()) == Approx(expected).margin(1e-3));
        }
        CHECK(processor.usesLightLook() == kept.isLight);
        CHECK(processor.getCurrentProgram() == 0);
        // The job is not there: it is told by name, and the session does not lose it.
        CHECK(processor.snapshot().problem.contains("/no such folder/Made-up tourer")
              == kept.hasJob);
        CHECK(
            (xmlOf(processor)->getStringAttribute("jobFolder") == "/no such folder/Made-up tourer")
            == kept.hasJob);
    }
}

TEST_CASE("A job opened in place of one that was not found is the state's from then on",
          "[plugin][manners]")
{
    PlayedJob played;
    test::restore(played.processor, keptState("first-layout.state"));
    waitUntilIdle(played.processor);
    CHECK(xmlOf(played.processor)->getStringAttribute("jobFolder").startsWith("/no such folder"));
    played.processor.openJob(plugin::toFile(played.job.folder));
    waitUntilIdle(played.processor);
    CHECK(xmlOf(played.processor)->getStringAttribute("jobFolder")
          == plugin::toFile(played.job.folder).getFullPathName());
}

TEST_CASE("What a later version adds to a state survives in this one", "[plugin][manners]")
{
    AuditionProcessor processor;
    test::restore(
        processor,
        stateFromXml("<saddletone schemaVersion=\"1\" lightLook=\"1\" fogDensity=\"0.25\">"
                     "<parameter id=\"outputLevelDb\" value=\"-25\"/>"
                     "<parameter id=\"passengerWeightKg\" value=\"70.5\"/>"
                     "<route name=\"Coast\"><stop km=\"12\"/></route></saddletone>"));
    set(processor, ids::outputLevelDb, -26.0);
    for (int round = 0; round < 2; ++round) {
        const auto xml = xmlOf(processor);
        REQUIRE(xml != nullptr);
        CHECK(xml->getStringAttribute("fogDensity") == "0.25");
        int numPassengers = 0;
        int numLevels = 0;
        for (const auto* const child : xml->getChildWithTagNameIterator("parameter")) {
            numPassengers += child->getStringAttribute("id") == "passengerWeightKg" ? 1 : 0;
            if (child->getStringAttribute("id") == "outputLevelDb") {
                ++numLevels;
                CHECK(child->getDoubleAttribute("value") == Approx(-26.0));
            }
        }
        CHECK(numPassengers == 1);
        CHECK(numLevels == 1);
        REQUIRE(xml->getChildByName("route") != nullptr);
        CHECK(xml->getChildByName("route")->getChildByName("stop")->getIntAttribute("km") == 12);
        AuditionProcessor next;
        test::restore(next, stateOf(processor));
        CHECK(stateOf(next) == stateOf(processor));
        test::restore(processor, stateOf(next));
    }
}

TEST_CASE("Names of files come back from a state whatever their characters", "[plugin][manners]")
{
    const juce::String name =
        juce::String::fromUTF8("/K\u00FCste \U0001F3CD <\"&amp;'> \n\t\x01 x.wav");
    auto xml =
        juce::parseXML("<saddletone schemaVersion=\"1\"><route>by the sea</route></saddletone>");
    xml->setAttribute("laterFile", name);
    juce::MemoryBlock state;
    juce::AudioProcessor::copyXmlToBinary(*xml, state);
    AuditionProcessor processor;
    test::restore(processor, state);
    CHECK(processor.snapshot().problem.isEmpty());
    const auto kept = xmlOf(processor);
    REQUIRE(kept != nullptr);
    CHECK(kept->getStringAttribute("laterFile") == name);
    REQUIRE(kept->getChildByName("route") != nullptr);
    CHECK(kept->getChildByName("route")->getAllSubText() == "by the sea");
}

TEST_CASE("A state that cannot be taken over changes nothing and says why", "[plugin][manners]")
{
    AuditionProcessor processor;
    for (const auto& [id, value] : unusualValues())
        set(processor, id.c_str(), value);
    const juce::MemoryBlock before = stateOf(processor);
    const juce::MemoryBlock kept = keptState("with-ride.state");
    juce::MemoryBlock bent = kept;
    for (std::size_t at = 40; at < 80; ++at)
        bent[at] = '<';

    struct Bad {
        juce::MemoryBlock state;
        const char* words;
    };
    for (const Bad& bad :
         {Bad {juce::MemoryBlock(kept.getData(), kept.getSize() / 2), "damaged"},
          Bad {bent, "damaged"}, Bad {juce::MemoryBlock("garbage", 7), "damaged"},
          // The framework's own reader goes beyond the end of this one,
          Bad {stateWithText("<saddletone schemaVersion=\"1\" loop=\"&#x"), "damaged"},
          // and runs out of stack over these.
          Bad {stateWithText("<saddletone schemaVersion=\"1\">"
                             + juce::String::repeatedString("<a>", 200000)),
               "damaged"},
          Bad {stateWithText("<!DOCTYPE saddletone [<!ENTITY a \"&a;\">]>"
                             "<saddletone schemaVersion=\"1\" loop=\"&a;\"/>"),
               "damaged"},
          Bad {stateFromXml("<saddletone schemaVersion=\"7\" lightLook=\"1\"/>"),
               "newer version"}}) {
        processor.dismissProblem();
        test::restore(processor, bad.state);
        CHECK(processor.snapshot().problem.contains(bad.words));
        CHECK(stateOf(processor) == before);
    }
    // Nothing kept is no damage.
    processor.dismissProblem();
    processor.setStateInformation(nullptr, 0);
    CHECK(processor.snapshot().problem.isEmpty());
    CHECK(stateOf(processor) == before);
}

TEST_CASE("Programs are rides with steady names that set the speed and nothing else",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    const juce::StringArray names {"Ride of the job", "Parked", "Town, 50 km/h",
                                   "Highway, 105 km/h"};
    REQUIRE(processor.getNumPrograms() == names.size());
    for (int index = 0; index < names.size(); ++index) {
        processor.changeProgramName(index, "Other");
        CHECK(processor.getProgramName(index) == names[index]);
    }
    CHECK(processor.getProgramName(-1).isEmpty());
    CHECK(processor.getProgramName(99).isEmpty());

    const auto unusual = unusualValues();
    for (const auto& [id, value] : unusual)
        set(processor, id.c_str(), value);
    CHECK(processor.getCurrentProgram() == 0);
    processor.setCurrentProgram(0); // as hosts do unasked
    CHECK(get(processor, ids::speedKmh) == Approx(61.0));
    for (const auto& [index, speedKmh] :
         {std::pair {1, 0.0}, std::pair {2, 50.0}, std::pair {3, 105.0}}) {
        processor.setCurrentProgram(index);
        CHECK(processor.getCurrentProgram() == index);
        CHECK(get(processor, ids::speedKmh) == Approx(speedKmh));
        for (const auto& [id, value] : unusual)
            if (id != ids::speedKmh) {
                INFO(id);
                CHECK(get(processor, id.c_str()) == Approx(value));
            }
    }
    processor.setCurrentProgram(99);
    processor.setCurrentProgram(-1);
    CHECK(processor.getCurrentProgram() == 3);

    // A ride that was changed after its program was chosen comes back as it was.
    set(processor, ids::speedKmh, 88.0);
    AuditionProcessor restored;
    test::restore(restored, stateOf(processor));
    CHECK(restored.getCurrentProgram() == 3);
    CHECK(get(restored, ids::speedKmh) == Approx(88.0));
}

TEST_CASE("The first program is the ride that the job was made with", "[plugin][manners]")
{
    PlayedJob played;
    played.processor.setCurrentProgram(3);
    set(played.processor, ids::helmet, 0);
    played.processor.setCurrentProgram(0);
    CHECK(get(played.processor, ids::speedKmh) == Approx(80.0));
    CHECK(get(played.processor, ids::helmet) == 1.0);
    played.processor.setCurrentProgram(2);
    played.processor.openJob(plugin::toFile(played.job.folder));
    waitUntilIdle(played.processor);
    CHECK(played.processor.getCurrentProgram() == 0);
}

TEST_CASE("The plug-in takes mono and stereo in, gives stereo out and refuses all else",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    using Set = juce::AudioChannelSet;
    for (const Set& in : {Set::disabled(), Set::mono(), Set::stereo(), Set::createLCR(),
                          Set::quadraphonic(), Set::create5point1(), Set::discreteChannels(2)})
        for (const Set& out : {Set::disabled(), Set::mono(), Set::stereo(), Set::quadraphonic(),
                               Set::discreteChannels(2)}) {
            juce::AudioProcessor::BusesLayout layout;
            layout.inputBuses.add(in);
            layout.outputBuses.add(out);
            INFO(in.getDescription() << " to " << out.getDescription());
            CHECK(processor.checkBusesLayoutSupported(layout)
                  == ((in == Set::mono() || in == Set::stereo()) && out == Set::stereo()));
        }
}

TEST_CASE("The tail has no end while the noise of a ride is heard", "[plugin][manners]")
{
    AuditionProcessor processor;
    const double kernelSeconds = audition::AuditionEngine::Settings {}.maxKernelSeconds;
    set(processor, ids::speedKmh, 80);
    CHECK(std::isinf(processor.getTailLengthSeconds()));
    set(processor, ids::monitor, 1); // programme only
    CHECK(processor.getTailLengthSeconds() == kernelSeconds);
    set(processor, ids::monitor, 2);
    CHECK(std::isinf(processor.getTailLengthSeconds()));
    set(processor, ids::bypass, 1);
    CHECK(processor.getTailLengthSeconds() == kernelSeconds);
    set(processor, ids::bypass, 0);
    set(processor, ids::speedKmh, 0);
    CHECK(processor.getTailLengthSeconds() == kernelSeconds);
    set(processor, ids::engineNoise, 1); // also parked
    CHECK(std::isinf(processor.getTailLengthSeconds()));
}

namespace {

/** A pass with automation, as a host makes it: parameters at block boundaries. */
Stereo renderAutomated(AuditionProcessor& processor, std::size_t blockFrames)
{
    const Stereo programme = makeProgramme(96 * 512);
    Stereo whole;
    for (std::size_t begin = 0; begin < programme[0].size(); begin += blockFrames) {
        const std::size_t block = begin / 512;
        if (begin % 512 == 0 && block % 16 == 4)
            set(processor, ids::candidate, static_cast<double>(1 + block / 16 % 3));
        if (begin % 512 == 0 && block % 8 == 0)
            set(processor, ids::speedKmh, static_cast<double>(block));
        Stereo piece;
        for (std::size_t channel = 0; channel < 2; ++channel)
            piece[channel].assign(programme[channel].begin() + static_cast<std::ptrdiff_t>(begin),
                                  programme[channel].begin()
                                      + static_cast<std::ptrdiff_t>(begin + blockFrames));
        piece = process(processor, piece, {blockFrames});
        for (std::size_t channel = 0; channel < 2; ++channel)
            whole[channel].insert(whole[channel].end(), piece[channel].begin(),
                                  piece[channel].end());
    }
    return whole;
}

} // namespace

TEST_CASE("Rendering offline gives the samples of real time", "[plugin][manners]")
{
    PlayedJob played;
    set(played.processor, ids::candidate, 1);
    set(played.processor, ids::speedKmh, 0);
    played.processor.prepareToPlay(sampleRate, 512);
    const Stereo live = renderAutomated(played.processor, 512);
    CHECK(peakOf(live) > 0.001F);
    for (const std::size_t blockFrames : {std::size_t {64}, std::size_t {512}}) {
        played.processor.setNonRealtime(true);
        set(played.processor, ids::candidate, 1);
        set(played.processor, ids::speedKmh, 0);
        played.processor.prepareToPlay(sampleRate, static_cast<int>(blockFrames));
        CHECK(renderAutomated(played.processor, blockFrames) == live);
    }
}

TEST_CASE("Rendering offline waits for what has to be built, so that each pass is the same",
          "[plugin][manners]")
{
    PlayedJob played;
    played.processor.setNonRealtime(true);
    const auto pass = [&] {
        set(played.processor, ids::helmet, 1);
        set(played.processor, ids::candidate, 1);
        set(played.processor, ids::speedKmh, 60);
        played.processor.prepareToPlay(sampleRate, 512);
        Stereo heard = process(played.processor, makeProgramme(20 * 512), {512});
        set(played.processor, ids::helmet, 2);
        const Stereo rest = process(played.processor, makeProgramme(20 * 512), {512});
        CHECK(played.processor.snapshot().ride.parameters.helmet == ride::Helmet::fullFace);
        CHECK_FALSE(played.processor.snapshot().busy);
        for (std::size_t channel = 0; channel < 2; ++channel)
            heard[channel].insert(heard[channel].end(), rest[channel].begin(), rest[channel].end());
        return heard;
    };
    const Stereo first = pass();
    CHECK(pass() == first);
    played.processor.setNonRealtime(false);
}

TEST_CASE("Instances side by side do not hear one another", "[plugin][manners]")
{
    const Stereo programme = makeProgramme(48000);
    const auto prepared = [](PlayedJob& played, double candidate, double speedKmh, double rate) {
        set(played.processor, ids::candidate, candidate);
        set(played.processor, ids::speedKmh, speedKmh);
        played.processor.prepareToPlay(rate, 512);
    };
    PlayedJob one;
    PlayedJob other;
    prepared(one, 1, 100, 48000.0);
    prepared(other, 3, 0, 96000.0);
    const Stereo oneAlone = process(one.processor, programme, {512});
    const Stereo otherAlone = process(other.processor, programme, {300});
    CHECK_FALSE(oneAlone == otherAlone);

    prepared(one, 1, 100, 48000.0);
    prepared(other, 3, 0, 96000.0);
    Stereo oneBeside;
    Stereo otherBeside;
    std::thread thread([&] { oneBeside = process(one.processor, programme, {512}); });
    otherBeside = process(other.processor, programme, {300});
    thread.join();
    CHECK(oneBeside == oneAlone);
    CHECK(otherBeside == otherAlone);
    CHECK(get(one.processor, ids::candidate) == 1.0);
    CHECK(get(other.processor, ids::candidate) == 3.0);
}

TEST_CASE("A host may change rate and blocks, prepare twice, suspend and go on",
          "[plugin][manners]")
{
    PlayedJob played;
    AuditionProcessor& processor = played.processor;
    const Stereo programme = makeProgramme(24000);
    const Stereo fresh = process(processor, programme, {512});
    const auto ceiling =
        static_cast<float>(std::pow(10.0, get(processor, ids::ceilingDbfs) / 20.0));
    struct Setup {
        double rate;
        int announced;
        std::vector<std::size_t> blocks;
    };
    for (const Setup& setup :
         {Setup {44100.0, 64, {64, 4096, 0, 1}}, Setup {192000.0, 1, {1024, 7}},
          Setup {8000.0, 32, {33}}, Setup {88200.0, 8192, {8192, 16}}, Setup {48000.0, 0, {512}}}) {
        INFO(setup.rate << " Hz, " << setup.announced << " frames");
        processor.setRateAndBufferSizeDetails(setup.rate, setup.announced);
        processor.prepareToPlay(setup.rate, setup.announced);
        processor.prepareToPlay(setup.rate, setup.announced);
        const Stereo heard = process(processor, programme, setup.blocks);
        CHECK(isAllFinite(heard));
        CHECK(peakOf(heard) > 0.0F);
        CHECK(peakOf(heard) <= ceiling * 1.000001F);
        processor.suspendProcessing(true);
        processor.releaseResources();
        processor.reset();
        processor.suspendProcessing(false);
        // Without another call to prepare, as some hosts do.
        CHECK(isAllFinite(process(processor, programme, setup.blocks)));
        juce::AudioBuffer<float> buffer(2, 64);
        buffer.clear();
        juce::MidiBuffer midi;
        processor.processBlockBypassed(buffer, midi);
        CHECK(std::isfinite(buffer.getMagnitude(0, 64)));
    }
    processor.prepareToPlay(sampleRate, 512);
    CHECK(process(processor, programme, {512}) == fresh);
}

TEST_CASE("A host may hand over any number of channels", "[plugin][manners]")
{
    PlayedJob played;
    juce::MidiBuffer midi;
    for (const int numChannels : {0, 1, 2, 3, 8}) {
        INFO(numChannels);
        juce::AudioBuffer<float> buffer(numChannels, 256);
        for (int channel = 0; channel < numChannels; ++channel)
            for (int frame = 0; frame < 256; ++frame)
                buffer.setSample(channel, frame, 0.5F);
        played.processor.processBlock(buffer, midi);
        if (numChannels == 1)
            CHECK(buffer.getMagnitude(0, 256) == 0.0F);
        for (int channel = 2; channel < numChannels; ++channel)
            CHECK(buffer.getMagnitude(channel, 0, 256) == 0.0F);
    }
}

TEST_CASE("A host's session has the window's size, whatever its scale", "[plugin][manners]")
{
    const auto open = [](AuditionProcessor& processor, const auto& act) {
        const std::unique_ptr<juce::AudioProcessorEditor> editor(processor.createEditorIfNeeded());
        act(*editor);
        const juce::String size =
            juce::Point<int>(editor->getWidth(), editor->getHeight()).toString();
        processor.editorBeingDeleted(editor.get());
        return size;
    };
    const auto leave = [](juce::AudioProcessorEditor&) {};
    const auto scaleTwice = [](juce::AudioProcessorEditor& editor) { editor.setScaleFactor(2.0F); };
    const auto stateOf = [](AuditionProcessor& processor) {
        juce::MemoryBlock kept;
        processor.getStateInformation(kept);
        return kept;
    };
    AuditionProcessor first;
    CHECK(open(first, leave) == "1280, 720");
    open(first, [](juce::AudioProcessorEditor& editor) {
        editor.setScaleFactor(2.0F);
        editor.setSize(1500, 900);
    });
    CHECK(open(first, leave) == "1500, 900");
    AuditionProcessor second;
    const juce::MemoryBlock kept = stateOf(first);
    second.setStateInformation(kept.getData(), static_cast<int>(kept.getSize()));
    CHECK(open(second, scaleTwice) == "1500, 900");

    // A size that no window has comes from something else than a window.
    for (const auto& [width, height, expected] :
         {std::tuple {"3", "99999", "1024, 2400"}, std::tuple {"none", "", "1280, 720"},
          std::tuple {"-1500", "900", "1280, 720"}}) {
        auto xml = juce::AudioProcessor::getXmlFromBinary(kept.getData(),
                                                          static_cast<int>(kept.getSize()));
        xml->setAttribute("windowWidth", width);
        xml->setAttribute("windowHeight", height);
        juce::MemoryBlock odd;
        juce::AudioProcessor::copyXmlToBinary(*xml, odd);
        AuditionProcessor third;
        third.setStateInformation(odd.getData(), static_cast<int>(odd.getSize()));
        CHECK(open(third, leave) == expected);
    }
}

TEST_CASE("The editor in a host can be resized and scaled, and takes the keyboard",
          "[plugin][manners]")
{
    AuditionProcessor processor;
    const std::unique_ptr<juce::AudioProcessorEditor> editor(processor.createEditorIfNeeded());
    REQUIRE(editor != nullptr);
    CHECK(editor->isResizable());
    REQUIRE(editor->getConstrainer() != nullptr);
    CHECK(editor->getConstrainer()->getMinimumWidth() <= 1024);
    CHECK(editor->getConstrainer()->getMinimumHeight() <= 700);
    REQUIRE(editor->getNumChildComponents() > 0);
    juce::Component& screen = *editor->getChildComponent(0);
    for (const float scale : {1.0F, 1.25F, 1.5F, 2.0F}) {
        editor->setScaleFactor(scale);
        editor->setSize(1100, 720);
        CHECK(screen.getLocalBounds() == juce::Rectangle<int>(1100, 720));
        const auto drawn = editor->localAreaToGlobal(editor->getLocalBounds().toFloat());
        CHECK(drawn.getWidth() == Approx(1100.0F * scale).margin(1.0));
        CHECK(drawn.getHeight() == Approx(720.0F * scale).margin(1.0));
    }
    CHECK(screen.getWantsKeyboardFocus());
    const auto traverser = editor->createKeyboardFocusTraverser();
    REQUIRE(traverser != nullptr);
    juce::Component* const first = traverser->getDefaultComponent(editor.get());
    REQUIRE(first != nullptr);
    CHECK(editor->isParentOf(first));
    processor.editorBeingDeleted(editor.get());
}
