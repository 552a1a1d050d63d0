// The Listen place of the standalone: list, fair comparison, live input, files to take home.
#include "Core/Files/AudioFile.h"
#include "Gui/AuditionEditor.h"
#include "Gui/FairnessStrip.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Support/EditorFixtures.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <numbers>
#include <thread>

using namespace saddletone;
using plugin::AuditionProcessor;
namespace ids = gui::parameterIds;

namespace {

constexpr double sampleRate = 48000.0;

/** Writes two seconds of noise. */
juce::File writeNoise(const std::filesystem::path& file, double gain)
{
    juce::Random random(5);
    dsp::AudioBuffer audio = dsp::makeSilence(sampleRate, 2, 96000);
    for (auto& channel : audio.channels)
        for (float& sample : channel)
            sample = static_cast<float>(gain) * (2.0F * random.nextFloat() - 1.0F);
    REQUIRE(files::writeAudioFile(audio, file, files::SampleFormat::float32));
    return plugin::toFile(file);
}

/** The standalone's processor with a made-up job and two files. */
struct Listening {
    test::TemporaryFolder folder;
    job::Job job;
    std::unique_ptr<AuditionProcessor> processor;
    std::vector<juce::File> files;

    Listening() : job(test::writeMadeUpJob(folder.path() / "job", "Made-up job"))
    {
        processor = make();
        std::filesystem::create_directories(job.folder / "programme");
        files.push_back(writeNoise(job.folder / "programme" / "inside.wav", 0.1));
        files.push_back(writeNoise(folder.path() / "outside.wav", 0.05));
        processor->openJob(plugin::toFile(job.folder));
        processor->addProgrammes(files, 0);
        waitUntil([&] { return isIdle(*processor); });
        processor->prepareToPlay(sampleRate, 512);
    }

    static std::unique_ptr<AuditionProcessor> make()
    {
        juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Standalone);
        auto made = std::make_unique<AuditionProcessor>();
        juce::AudioProcessor::setTypeOfNextNewPlugin(juce::AudioProcessor::wrapperType_Undefined);
        made->setPlayConfigDetails(2, 2, sampleRate, 512);
        return made;
    }

    static bool isIdle(AuditionProcessor& each)
    {
        each.update();
        const auto snapshot = each.snapshot();
        return !snapshot.busy && snapshot.fairness.basis == gui::MatchBasis::programme;
    }

    template <typename Condition>
    static void waitUntil(Condition&& condition)
    {
        const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
        while (!condition() && std::chrono::steady_clock::now() < giveUp)
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
        REQUIRE(condition());
    }

    float play(float input, int numBlocks = 20)
    {
        float last = 0.0F;
        juce::MidiBuffer midi;
        for (int block = 0; block < numBlocks; ++block) {
            juce::AudioBuffer<float> buffer(2, 512);
            for (int channel = 0; channel < 2; ++channel)
                juce::FloatVectorOperations::fill(buffer.getWritePointer(channel), input, 512);
            processor->processBlock(buffer, midi);
            last = buffer.getMagnitude(0, 512);
        }
        return last;
    }
};

} // namespace

TEST_CASE("Candidates are compared over the file that is heard, and their differences are said",
          "[plugin][listening]")
{
    Listening listening;
    const auto snapshot = listening.processor->snapshot();
    REQUIRE(snapshot.fairness.differencesDb.size() == 3);
    CHECK(snapshot.fairness.differencesDb[0] == 0.0);
    // Against the core's own measure.
    const auto scene = audition::buildScene(
        *job::loadSceneRequest(listening.job),
        audition::PartitionLayout::forTaps(static_cast<std::size_t>(std::ceil(0.68 * sampleRate))),
        sampleRate);
    REQUIRE(scene);
    const auto audio = files::readAudioFile(plugin::toPath(listening.files[0]));
    REQUIRE(audio);
    const std::atomic<bool> stopped {false};
    std::vector<std::optional<double>> lufs;
    for (std::size_t index = 0; index < 3; ++index)
        lufs.push_back(audition::programmeLoudnessLufs(*scene, index, {*audio, 0, 96000}, stopped));
    const auto expected = audition::matchLoudness(*scene, lufs);
    for (std::size_t index = 0; index < 3; ++index)
        CHECK(snapshot.fairness.differencesDb[index]
              == Approx(expected.differencesDb[index]).margin(0.05));

    const juce::String words = gui::fairnessWords(snapshot);
    CHECK(words.contains("Same volume step"));
    CHECK(words.contains("BS.1770-4"));
    CHECK(words.contains("3: "));
    gui::setParameter(listening.processor->parameters(), ids::levelMatch, 1.0);
    listening.processor->update();
    const auto matched = listening.processor->snapshot();
    CHECK(gui::fairnessWords(matched).contains("Equally loud."));
    CHECK(gui::fairnessWords(matched).contains("3: "));

    // Another region has to be measured again.
    listening.processor->setLoopRegion(0, audition::LoopRegion {0.5, 1.5});
    listening.processor->update();
    CHECK(listening.processor->snapshot().fairness.basis == gui::MatchBasis::measuring);
    Listening::waitUntil([&] { return Listening::isIdle(*listening.processor); });
}

TEST_CASE("Without a file pink noise stands in, and the words say so", "[plugin][listening]")
{
    Listening listening;
    listening.processor->removeProgramme(0);
    listening.processor->removeProgramme(0);
    listening.processor->update();
    const auto snapshot = listening.processor->snapshot();
    CHECK(snapshot.fairness.basis == gui::MatchBasis::pinkNoise);
    CHECK(gui::fairnessWords(snapshot).contains("pink noise"));
    CHECK(snapshot.fairness.matchGainsDb[1] == snapshot.job->candidates[1].matchGainDb);
}

TEST_CASE("The list is kept in the state, inside the job by the way from its folder",
          "[plugin][listening]")
{
    Listening listening;
    listening.processor->setLoopRegion(0, audition::LoopRegion {0.25, 1.0});
    listening.processor->setAligned(true);
    listening.processor->setRestartsOnSwitch(true);
    juce::MemoryBlock state;
    listening.processor->getStateInformation(state);
    const auto xml =
        juce::AudioProcessor::getXmlFromBinary(state.getData(), static_cast<int>(state.getSize()));
    REQUIRE(xml != nullptr);
    const auto* const first = xml->getChildByName("programme");
    REQUIRE(first != nullptr);
    CHECK(first->getStringAttribute("file") == "programme/inside.wav");

    auto restored = Listening::make();
    restored->setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    Listening::waitUntil([&] { return Listening::isIdle(*restored); });
    const auto list = restored->programmeList();
    REQUIRE(list.rows.size() == 2);
    CHECK(list.rows[0].name == "inside.wav");
    CHECK(list.rows[1].name == "outside.wav");
    CHECK(list.rows[0].region == audition::LoopRegion {0.25, 1.0});
    CHECK(list.isAligned);
    CHECK(list.restartsOnSwitch);
    CHECK(restored->snapshot().problem.isEmpty());
}

TEST_CASE("A job keeps the files of the list that lie in its folder", "[plugin][listening]")
{
    Listening listening;
    listening.processor->keepInJob();
    CHECK(listening.processor->programmeList().keptWords.contains("1 file is kept"));
    CHECK(listening.processor->programmeList().keptWords.contains("1 outside"));
    const auto job = job::loadJob(listening.job.folder);
    REQUIRE(job);
    CHECK(job->programmes == std::vector<std::string> {"programme/inside.wav"});
    CHECK(job->candidates.size() == 3);

    auto other = Listening::make();
    other->openJob(plugin::toFile(listening.job.folder));
    Listening::waitUntil([&] { return Listening::isIdle(*other); });
    CHECK(other->programmeList().rows.size() == 1);
}

TEST_CASE("A switch starts the part again where that is wished for", "[plugin][listening]")
{
    Listening listening;
    listening.processor->play();
    static_cast<void>(listening.play(0.0F));
    gui::setParameter(listening.processor->parameters(), ids::candidate, 2.0);
    listening.processor->update();
    CHECK(listening.processor->snapshot().player.positionSeconds > 0.1);
    listening.processor->setRestartsOnSwitch(true);
    gui::setParameter(listening.processor->parameters(), ids::candidate, 3.0);
    listening.processor->update();
    CHECK(listening.processor->snapshot().player.positionSeconds == 0.0);
}

TEST_CASE("Live input is off until it is wished for, rises slowly, and the panic key ends it",
          "[plugin][listening]")
{
    Listening listening;
    gui::setParameter(listening.processor->parameters(), ids::speedKmh, 0.0);
    CHECK(listening.play(0.5F) == 0.0F);
    int numChannels = 2;
    bool isOpen = false;
    listening.processor->onSetLive = [&](bool shouldBeLive) {
        isOpen = shouldBeLive && numChannels > 0;
        return isOpen ? numChannels : 0;
    };
    CHECK(listening.processor->programmeList().canBeLive);
    CHECK_FALSE(listening.processor->programmeList().isLive);
    listening.processor->setLive(true);
    CHECK(isOpen);
    CHECK(listening.processor->programmeList().isLive);
    const float early = listening.play(0.1F, 4);
    const float late = listening.play(0.1F, 200);
    CHECK(early < 0.1F * late);
    CHECK(late > 0.0F);

    gui::AuditionEditor editor(*listening.processor);
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::escapeKey)));
    CHECK_FALSE(isOpen);
    CHECK_FALSE(listening.processor->programmeList().isLive);
    // What is left is the response ringing out.
    static_cast<void>(listening.play(0.5F, 200));
    CHECK(listening.play(0.5F) == 0.0F);

    numChannels = 0;
    listening.processor->setLive(true);
    CHECK_FALSE(listening.processor->programmeList().isLive);
}

TEST_CASE("The processor writes what is heard for the customer to take home", "[plugin][listening]")
{
    Listening listening;
    listening.processor->setLoopRegion(0, audition::LoopRegion {0.5, 1.5});
    const juce::File home = plugin::toFile(listening.folder.path() / "home");
    listening.processor->takeHome(home);
    Listening::waitUntil([&] { return !listening.processor->programmeList().takeHome.isRunning; });
    CHECK(listening.processor->programmeList().takeHome.words.contains("3 files"));
    CHECK(home.getChildFile("card.txt").existsAsFile());
    const auto written = home.findChildFiles(juce::File::findFiles, false, "*.flac");
    REQUIRE(written.size() == 3);
    const auto audio = files::readAudioFile(plugin::toPath(written[0]));
    REQUIRE(audio);
    CHECK(audio->numFrames() == 48000);
}

TEST_CASE("Every control of the list has a name for screen readers", "[plugin][listening]")
{
    Listening listening;
    listening.processor->onSetLive = [](bool) { return 0; };
    gui::AuditionEditor editor(*listening.processor);
    editor.showProgrammeList(true);
    editor.refresh();
    std::vector<juce::Component*> controls;
    test::collectControls(editor, controls);
    CHECK(controls.size() >= 28);
    for (juce::Component* const control : controls) {
        INFO(control->getName() << " at " << control->getBounds().toString());
        CHECK(control->getTitle().isNotEmpty());
    }
    // Several files dropped on the window go behind the others.
    const juce::StringArray dropped {listening.files[0].getFullPathName(),
                                     listening.files[1].getFullPathName()};
    CHECK(editor.isInterestedInFileDrag(dropped));
    editor.filesDropped(dropped, 10, 10);
    CHECK(listening.processor->programmeList().rows.size() == 4);
}

TEST_CASE("What remains on the road follows the music while it plays", "[plugin][listening]")
{
    // Four seconds of 100 Hz, then four of 4 kHz.
    Listening listening;
    dsp::AudioBuffer audio = dsp::makeSilence(sampleRate, 1, 384000);
    for (std::size_t frame = 0; frame < 384000; ++frame)
        audio.channels[0][frame] =
            static_cast<float>(0.3
                               * std::sin(2.0 * std::numbers::pi * (frame < 192000 ? 100.0 : 4000.0)
                                          * static_cast<double>(frame) / sampleRate));
    const std::filesystem::path file = listening.folder.path() / "two.wav";
    REQUIRE(files::writeAudioFile(audio, file, files::SampleFormat::float32));
    AuditionProcessor& processor = *listening.processor;
    processor.openProgramme(plugin::toFile(file));
    Listening::waitUntil([&] { return Listening::isIdle(processor); });
    CHECK(processor.snapshot().roadNow == nullptr);

    const auto leanTo = [&] { // towards 100 Hz, in dB
        processor.update();
        const auto now = processor.snapshot().roadNow;
        if (now == nullptr)
            return 0.0;
        double difference = 0.0;
        for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
            const double centreHz = hearing::thirdOctave(band).centreHz;
            if (std::abs(centreHz / 100.0 - 1.0) < 0.05)
                difference += now->programme.levelsDb[band];
            if (std::abs(centreHz / 4000.0 - 1.0) < 0.05)
                difference -= now->programme.levelsDb[band];
        }
        return difference;
    };
    processor.play();
    listening.play(0.0F, 280); // three seconds
    Listening::waitUntil([&] { return leanTo() > 30.0; });
    processor.setPositionSeconds(6.5);
    listening.play(0.0F, 50);
    Listening::waitUntil([&] { return leanTo() < -30.0; });
    processor.pause();
    Listening::waitUntil([&] { return leanTo() == 0.0; });
    CHECK(processor.snapshot().road != nullptr);
}

TEST_CASE("Sound at the ear is counted where its level is known, and only while it plays",
          "[plugin][listening]")
{
    Listening listening;
    AuditionProcessor& processor = *listening.processor;
    gui::setParameter(processor.parameters(), ids::monitor, 1.0);
    processor.setLooping(true);
    processor.setLoopRegion(0, audition::LoopRegion {0.1, 1.9});
    processor.update();
    processor.play();
    for (int part = 0; part < 50; ++part) {
        listening.play(0.0F, 4);
        processor.update();
    }
    CHECK(processor.snapshot().exposure == hearing::SessionExposure {}); // whose level is not known

    gui::setParameter(processor.parameters(), ids::headphoneSplDb, 140.0);
    gui::setParameter(processor.parameters(), ids::outputLevelDb, 0.0);
    listening.play(0.0F, 400);
    processor.update();
    const hearing::SessionExposure before = processor.snapshot().exposure;
    for (int part = 0; part < 100; ++part) {
        listening.play(0.0F, 4);
        processor.update();
    }
    const auto snapshot = processor.snapshot();
    const hearing::SessionExposure heard = snapshot.exposure.since(before);
    CHECK(heard.seconds() == Approx(100.0 * 4.0 * 512.0 / sampleRate));
    CHECK(heard.averageDba() == Approx(snapshot.earLevelDba).margin(1.5)); // noise from 2 s of it
    CHECK(heard.nioshDosePercent()
          == Approx(100.0 * heard.seconds() / 3600.0
                    / hearing::nioshRel.allowedHours(heard.averageDba()))
                 .epsilon(0.05));
    // The output has stopped, whatever the clock says.
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    for (int update = 0; update < 20; ++update)
        processor.update();
    CHECK(processor.snapshot().exposure == snapshot.exposure);
}

TEST_CASE("Everybody who looks at the level sees each peak, for a tenth of a second",
          "[plugin][listening]")
{
    Listening listening;
    AuditionProcessor& processor = *listening.processor;
    gui::setParameter(processor.parameters(), ids::monitor, 1.0);
    processor.play();
    listening.play(0.0F, 100);
    processor.pause();
    const double peak = processor.snapshot().outputPeakDbfs;
    CHECK(peak > -80.0);
    CHECK(processor.snapshot().outputPeakDbfs == peak);
    processor.update();
    CHECK(processor.snapshot().outputPeakDbfs == peak);
    listening.play(0.0F, 300); // fades, with the bike's response
    for (int update = 0; update < 4; ++update)
        processor.update();
    CHECK(processor.snapshot().outputPeakDbfs < -100.0);
}
