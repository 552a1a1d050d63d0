#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Job/Job.h"
#include "Core/Measure/ResponseWindow.h"
#include "Core/Measure/Smoothing.h"
#include "Gui/FrequencyPlot.h"
#include "Plugin/MeasuredViews.h"
#include "Plugin/Paths.h"
#include "Support/BenchRig.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <numbers>

using namespace saddletone;
using Rig = test::BenchRig;

namespace {

std::string bytesOf(const std::filesystem::path& file)
{
    std::ifstream stream(file, std::ios::binary);
    REQUIRE(stream.good());
    return {std::istreambuf_iterator<char>(stream), {}};
}

/** The value of a curve at the point nearest to a frequency. */
double levelAt(const gui::MeasuredView& view, double frequencyHz)
{
    double nearestOctaves = 100.0;
    double levelDb = 0.0;
    for (std::size_t point = 0; point < view.frequenciesHz.size(); ++point) {
        const double octaves = std::abs(std::log2(view.frequenciesHz[point] / frequencyHz));
        if (octaves < nearestOctaves) {
            nearestOctaves = octaves;
            levelDb = view.levelsDb[point];
        }
    }
    return levelDb;
}

void setWords(Rig& rig, const juce::String& profile, measure::EngineState engine)
{
    gui::TakeWords words;
    words.profile = profile;
    words.engine = engine;
    rig.bench->setTakeWords(words);
}

/** A decaying echo of two pulses at 48 kHz. */
measure::Response makeEcho()
{
    measure::Response response;
    response.name = "Echo";
    response.impulse.assign(48000, 0.0F);
    response.arrivalFrame = 4800;
    response.impulse[4800] = 1.0F;
    response.impulse[4800 + 1440] = 0.5F; // 30 ms later
    for (int band = 13; band <= 43; ++band) {
        measure::BandConfidence confidence;
        confidence.frequencyHz = std::pow(10.0, band / 10.0);
        confidence.trusted = true;
        confidence.snrDb = 40.0;
        confidence.interval95Db = band == 17 ? 2.0 : 0.5;
        response.bands.push_back(confidence);
    }
    return response;
}

} // namespace

TEST_CASE("The FFT view shows the level of a sine on a bin within 0.1 dB", "[plugin][bench]")
{
    const Rig rig;
    rig.openInput();
    // On a bin of every size: 85 times 48000 / 4096 Hz. AES17: a sine of peak 0.1 is -20 dBFS.
    constexpr double toneHz = 85.0 * 48000.0 / 4096.0;
    rig.device().setRoom([frame = 0](float) mutable {
        return static_cast<float>(
            0.1 * std::sin(2.0 * std::numbers::pi * toneHz * frame++ / test::benchSampleRate));
    });
    for (const std::size_t fftSize : gui::analyserFftChoices) {
        rig.bench->setAnalyserFft(fftSize);
        rig.device().run(5.0); // longer than three of the longest transforms
        const measure::AnalyserSnapshot levels = rig.bench->benchSnapshot().analyser;
        INFO("FFT " << fftSize);
        REQUIRE(levels.settings.fftSize == fftSize);
        REQUIRE(levels.spectrumDb.size() == fftSize / 2 + 1);
        CHECK(levels.spectrumDb[85 * fftSize / 4096] == Approx(-20.0).margin(0.1));
        CHECK(levels.binHz == Approx(48000.0 / static_cast<double>(fftSize)));

        // The line that is drawn: its highest point, at the tone's place.
        gui::FrequencyPlot axes;
        axes.area = {0.0F, 0.0F, 700.0F, 1000.0F};
        axes.lowestDb = -140.0;
        const juce::Path line = axes.spectrum(levels.spectrumDb, levels.binHz);
        const double drawnDb = -140.0 * static_cast<double>(line.getBounds().getY()) / 1000.0;
        CHECK(drawnDb == Approx(-20.0).margin(0.1));
        CHECK(line.getLength() > axes.area.getWidth()); // one line and not single points
        CHECK(line.getBounds().getX() <= axes.area.getX());
        CHECK(line.getBounds().getRight() >= axes.area.getRight());
    }
    rig.bench->setAnalyserBands(12);
    CHECK(rig.bench->benchSnapshot().analyser.settings.bandsPerOctave == 12);
}

TEST_CASE("An imported table becomes a measured state of minimum phase", "[plugin][bench]")
{
    Rig rig;
    setWords(rig, "Touring", measure::EngineState::off);
    const auto file = rig.folder / "shelf.csv";
    // 6 dB below 200 Hz, straight in dB over log frequency to 0 dB at 400 Hz.
    test::writeBytes(file, "Hz,dB\n20,6\n200,6\n400,0\n20000,0\n");
    rig.bench->importMeasured(plugin::toFile(file), gui::ImportKind::table);
    rig.settle();
    gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
    INFO(snapshot.message);
    CHECK_FALSE(snapshot.messageIsProblem);
    REQUIRE(snapshot.measured.size() == 1);
    const gui::MeasuredView& view = *snapshot.measured.front();
    CHECK(view.origin == gui::MeasuredOrigin::imported);
    CHECK(view.name == "Touring, engine off");
    CHECK(view.source == "imported from shelf.csv");
    CHECK(view.words.contains("Phase unknown, made minimum phase"));
    CHECK(view.distortionWords.contains("not known"));
    // Away from the corners, where a twelfth of an octave averages straight lines only.
    CHECK(levelAt(view, 80.0) - levelAt(view, 2000.0) == Approx(6.0).margin(0.1));
    const auto response = rig.bench->measuredResponse(0);
    REQUIRE(response != nullptr);
    CHECK(response->state.radioProfile == "Touring");
    CHECK(response->state.microphonePlace == "rider's head");

    // The other engine state of the same profile is compared with it.
    setWords(rig, "Touring", measure::EngineState::running);
    test::writeBytes(file, "Hz,dB\n20,0\n20000,0\n100,0\n");
    rig.bench->importMeasured(plugin::toFile(file), gui::ImportKind::table);
    rig.settle();
    CHECK(rig.bench->benchSnapshot().messageIsProblem); // frequencies go down
    test::writeBytes(file, "Hz,dB\n20,0\n100,0\n20000,0\n");
    rig.bench->importMeasured(plugin::toFile(file), gui::ImportKind::table);
    rig.settle();
    snapshot = rig.bench->benchSnapshot();
    REQUIRE(snapshot.measured.size() == 2);
    CHECK(snapshot.shownMeasured == 1);
    CHECK(snapshot.comparison != nullptr);
}

TEST_CASE("A cancelled import leaves what is shown as it was", "[plugin][bench]")
{
    Rig rig;
    setWords(rig, "Touring", measure::EngineState::off);
    const auto table = rig.folder / "shelf.csv";
    test::writeBytes(table, "Hz,dB\n20,6\n200,6\n400,0\n20000,0\n");
    rig.bench->importMeasured(plugin::toFile(table), gui::ImportKind::table);
    rig.settle();
    const auto before = rig.bench->measuredResponse(0);
    REQUIRE(before != nullptr);
    dsp::AudioBuffer impulse {48000.0, {std::vector<float>(48000 * 60, 0.0F)}};
    impulse.channels[0][480] = -0.5F;
    const auto audio = rig.folder / "impulse.wav";
    REQUIRE(files::writeAudioFile(impulse, audio, files::SampleFormat::float32));
    for (const auto& [file, kind] :
         {std::pair {table, gui::ImportKind::table}, std::pair {audio, gui::ImportKind::impulse}}) {
        rig.bench->importMeasured(plugin::toFile(file), kind);
        rig.bench->cancelWork();
        rig.settle();
        const gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
        CHECK(snapshot.message.startsWith("Cancelled"));
        CHECK_FALSE(snapshot.messageIsProblem);
        CHECK(snapshot.measured.size() == 1);
        CHECK(rig.bench->measuredResponse(0) == before);
    }
    rig.bench->importMeasured(plugin::toFile(audio), gui::ImportKind::impulse);
    rig.settle();
    CHECK(rig.bench->benchSnapshot().measured.size() == 2);
}

TEST_CASE("Third octaves and impulse responses are imported as what they are", "[plugin][bench]")
{
    Rig rig;
    setWords(rig, "Touring", measure::EngineState::off);
    const auto bands = rig.folder / "bands.txt";
    test::writeBytes(bands, "125 80\n250 80\n500 80\n1000 80\n2000 80\n4000 70\n");
    rig.bench->importMeasured(plugin::toFile(bands), gui::ImportKind::thirdOctaves);
    dsp::AudioBuffer impulse {48000.0, {std::vector<float>(9600, 0.0F)}};
    impulse.channels[0][480] = -0.5F;
    const auto audio = rig.folder / "impulse.wav";
    REQUIRE(files::writeAudioFile(impulse, audio, files::SampleFormat::float32));
    rig.bench->importMeasured(plugin::toFile(audio), gui::ImportKind::impulse);
    rig.settle();
    const gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
    INFO(snapshot.message);
    REQUIRE(snapshot.measured.size() == 2);
    CHECK(snapshot.measured[0]->words.contains("minimum phase"));
    // A single pulse of 0.5 is -6.02 dB at every frequency.
    CHECK(levelAt(*snapshot.measured[1], 1000.0) == Approx(-6.02).margin(0.05));
    CHECK_FALSE(snapshot.measured[1]->words.contains("minimum phase"));
}

TEST_CASE("A file that cannot be imported is refused by name and with the reason",
          "[plugin][bench]")
{
    Rig rig;
    struct Bad {
        const char* name;
        const char* text;
        gui::ImportKind kind;
        const char* reason;
    };
    for (const Bad& bad :
         {Bad {"odd.txt", "1000 80\n1150 80\n2000 80\n", gui::ImportKind::thirdOctaves,
               "1150 Hz is no mid-band"},
          Bad {"short.csv", "Hz,dB\n1000,0\n1100,0\n", gui::ImportKind::table, "three lines"},
          Bad {"words.wav", "these are words", gui::ImportKind::impulse, "words.wav"}}) {
        test::writeBytes(rig.folder / bad.name, bad.text);
        rig.bench->importMeasured(plugin::toFile(rig.folder / bad.name), bad.kind);
        rig.settle();
        const gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
        INFO(snapshot.message);
        CHECK(snapshot.messageIsProblem);
        CHECK(snapshot.message.contains(bad.name));
        CHECK(snapshot.message.contains(bad.reason));
        CHECK(snapshot.measured.empty());
    }
    rig.bench->importMeasured(plugin::toFile(rig.folder / "gone.csv"), gui::ImportKind::table);
    rig.settle();
    CHECK(rig.bench->benchSnapshot().message.contains("gone.csv"));
}

TEST_CASE("The microphone's curve is taken out of takes exactly, and put back when forgotten",
          "[plugin][bench]")
{
    const Rig rig;
    plugin::Bench& bench = *rig.bench;
    CHECK(bench.benchSnapshot().microphone.shortWords == "No microphone curve.");
    rig.openInput();
    bench.setSignalLevelDbfs(-20.0);
    rig.recordSweep({}, measure::EngineState::off, "head centre", 11);
    const auto without = bench.measuredResponse(0);
    REQUIRE(without != nullptr);

    const auto table = rig.folder / "mic-0.txt";
    test::writeBytes(table, "* made-up microphone\n20 -2\n200 0\n2000 0\n20000 6\n");
    bench.chooseMicrophoneCurve(measure::Incidence::zeroDegrees, plugin::toFile(table));
    rig.settle();
    gui::BenchSnapshot snapshot = bench.benchSnapshot();
    CHECK(snapshot.microphone.zeroDegreesFile == "mic-0.txt");
    CHECK(snapshot.microphone.shortWords.contains("mic-0.txt"));
    CHECK(snapshot.measured[0]->words.contains("curve for 0 degrees (mic-0.txt) was taken out"));
    const auto with = bench.measuredResponse(0);
    REQUIRE(with != nullptr);
    // The table's straight lines in dB over log frequency, worked out by hand: 3 dB up at the
    // middle of the decade from 2 to 20 kHz, 1 dB down at the middle of that from 20 to 200 Hz.
    // The impulse's window rounds the corners a little.
    const std::vector<double> frequenciesHz {63.2456, 500.0, 1000.0, 6324.56};
    const std::vector<double> curveDb {-1.0, 0.0, 0.0, 3.0};
    const auto before = without->magnitudeDb(frequenciesHz, 0);
    const auto after = with->magnitudeDb(frequenciesHz, 0);
    for (std::size_t point = 0; point < frequenciesHz.size(); ++point) {
        INFO(frequenciesHz[point] << " Hz");
        CHECK(after[point] - before[point] == Approx(-curveDb[point]).margin(0.02));
    }

    // Sound from the side without a table for it: the other one is used, and it is said.
    bench.setMicrophoneIncidence(measure::Incidence::ninetyDegrees);
    rig.settle();
    CHECK(bench.benchSnapshot().microphone.words.contains("Only the microphone's curve for 0"));
    const auto side = rig.folder / "mic-90.txt";
    test::writeBytes(side, "20 0\n20000 0\n");
    bench.chooseMicrophoneCurve(measure::Incidence::ninetyDegrees, plugin::toFile(side));
    rig.settle();
    CHECK(bench.benchSnapshot().microphone.shortWords.contains("mic-90.txt"));

    bench.chooseMicrophoneCurve(measure::Incidence::zeroDegrees, {});
    bench.chooseMicrophoneCurve(measure::Incidence::ninetyDegrees, {});
    rig.settle();
    CHECK(bench.microphoneChoice().zeroDegreesFile.empty());
    CHECK(bench.measuredResponse(0)->impulse == without->impulse);
}

TEST_CASE("A microphone table that cannot be read is refused, and said to be lost on a new start",
          "[plugin][bench]")
{
    const Rig rig;
    const auto table = rig.folder / "mic.txt";
    test::writeBytes(table, "no numbers here\n");
    rig.bench->chooseMicrophoneCurve(measure::Incidence::zeroDegrees, plugin::toFile(table));
    rig.settle();
    CHECK(rig.bench->benchSnapshot().messageIsProblem);
    CHECK(rig.bench->benchSnapshot().message.contains("mic.txt"));
    CHECK(rig.bench->microphoneChoice() == plugin::MicrophoneChoice {});

    plugin::MicrophoneChoice kept;
    kept.zeroDegreesFile = rig.folder / "moved.txt";
    rig.bench->restoreMicrophone(kept);
    rig.settle();
    const gui::MicrophoneView view = rig.bench->benchSnapshot().microphone;
    CHECK(view.isProblem);
    CHECK(view.zeroDegreesFile == "moved.txt");
    CHECK(view.words.contains("moved.txt"));
    CHECK(view.words.contains("without a curve"));
    CHECK(rig.bench->microphoneChoice() == kept); // it may be put back
}

TEST_CASE("Smoothing and window change what is drawn and nothing of what is saved",
          "[plugin][bench]")
{
    Rig rig;
    setWords(rig, "Touring", measure::EngineState::off);
    dsp::AudioBuffer impulse {48000.0, {std::vector<float>(24000, 0.0F)}};
    impulse.channels[0][480] = 1.0F;
    impulse.channels[0][480 + 1440] = 0.5F; // an echo after 30 ms
    const auto audio = rig.folder / "echo.wav";
    REQUIRE(files::writeAudioFile(impulse, audio, files::SampleFormat::float32));
    rig.bench->importMeasured(plugin::toFile(audio), gui::ImportKind::impulse);
    rig.settle();
    const auto response = rig.bench->measuredResponse(0);
    REQUIRE(response != nullptr);
    const auto asMeasured = rig.bench->benchSnapshot().measured[0];
    rig.bench->addToJob(plugin::toFile(rig.folder / "first"));
    rig.settle();
    rig.openJob = juce::File();

    gui::CurveDisplay display;
    display.smoothing = gui::CurveSmoothing::none;
    display.window = gui::CurveWindow::milliseconds;
    display.windowMs = 20.0;
    rig.bench->setCurveDisplay(display);
    rig.settle();
    const auto windowed = rig.bench->benchSnapshot().measured[0];
    CHECK(windowed->display == display);
    CHECK(windowed->lowestHz == Approx(50.0)); // 1 / 20 ms
    CHECK(windowed->displayWords.contains("50.0 Hz"));
    // Without the echo the pulse alone is left, flat at 0 dB, where it was up to 3.5 dB up.
    for (std::size_t point = 0; point < windowed->levelsDb.size(); ++point)
        CHECK(windowed->levelsDb[point] == Approx(0.0).margin(0.01));
    CHECK(*std::ranges::max_element(asMeasured->levelsDb) > 0.9);
    CHECK(windowed->bands == asMeasured->bands);
    CHECK(rig.bench->measuredResponse(0) == response);

    rig.bench->addToJob(plugin::toFile(rig.folder / "second"));
    rig.settle();
    const auto first = job::loadJob(rig.folder / "first");
    const auto second = job::loadJob(rig.folder / "second");
    REQUIRE(first);
    REQUIRE(second);
    REQUIRE(first->states.size() == 1);
    REQUIRE(second->states.size() == 1);
    const auto one = rig.folder / "first" / first->states[0].file;
    const auto two = rig.folder / "second" / second->states[0].file;
    CHECK(bytesOf(one) == bytesOf(two));
    CHECK(bytesOf(std::filesystem::path(one).replace_extension(".impulse.wav"))
          == bytesOf(std::filesystem::path(two).replace_extension(".impulse.wav")));
}

TEST_CASE("Every choice of smoothing and window draws what the measurement says", "[plugin][bench]")
{
    const measure::Response response = makeEcho();
    gui::CurveDisplay display;
    for (const auto& [smoothing, numPerOctave] :
         {std::pair {gui::CurveSmoothing::none, 0},
          std::pair {gui::CurveSmoothing::twentyFourth, 24},
          std::pair {gui::CurveSmoothing::twelfth, 12}, std::pair {gui::CurveSmoothing::sixth, 6},
          std::pair {gui::CurveSmoothing::third, 3}}) {
        display.smoothing = smoothing;
        const gui::MeasuredView view = plugin::makeMeasuredView(response, display);
        CHECK(view.levelsDb == response.magnitudeDb(view.frequenciesHz, numPerOctave));
        CHECK(view.lowestHz == 0.0);
    }
    display.smoothing = gui::CurveSmoothing::asHeard;
    display.window = gui::CurveWindow::cycles;
    display.windowCycles = 16.0;
    const measure::WindowedResponse windowed = measure::windowCycles(response, 16.0);
    const gui::MeasuredView view = plugin::makeMeasuredView(response, display);
    CHECK(view.levelsDb == measure::psychoacousticDb(windowed.response, view.frequenciesHz));
    CHECK(view.lowestHz == windowed.lowestHz);
    CHECK(view.displayWords.contains("as the ear weighs it"));
    CHECK(view.displayWords.contains("saved as measured"));
}

TEST_CASE("Harmonics are put into decibels and per cent, and what the noise hides is not",
          "[plugin][bench]")
{
    measure::Response response = makeEcho();
    response.distortion = {{2, {{100.0, -20.0, -60.0}, {1000.0, -40.0, -60.0}}},
                           {3, {{1000.0, -57.0, -60.0}}}};
    // By definition 100 * 10^(L / 20) per cent: -20 dB is 10 %, -40 dB is 1 %. A harmonic counts
    // from 6 dB above the floor.
    const juce::String words = plugin::makeMeasuredView(response, {}).distortionWords;
    INFO(words);
    CHECK(words.contains("(10.0 %)"));
    CHECK(words.contains("(1.0 %)"));
    CHECK(words.contains("Highest: 2nd at 100 Hz"));
    CHECK(words.contains("3rd in the noise"));
    response.distortion = {{3, {{1000.0, -57.0, -60.0}}}};
    CHECK(plugin::makeMeasuredView(response, {}).distortionWords.contains("No harmonic stands"));
}

TEST_CASE("Confidence is put into words with arrival and polarity", "[plugin][bench]")
{
    measure::Response response = makeEcho();
    response.polarity = measure::Polarity::negative;
    response.polarityReason = "made up";
    response.arrivalSeconds = 3.25;
    juce::String words = plugin::makeMeasuredView(response, {}).confidenceWords;
    INFO(words);
    CHECK(words.contains("2.0 dB, at 50 Hz"));
    CHECK(words.contains("3.2500 s"));
    CHECK(words.contains("Polarity negative (made up)"));
    CHECK(words.contains("One take"));
    response.numTakes = 3;
    response.bands[20].spreadDb = 0.75;
    words = plugin::makeMeasuredView(response, {}).confidenceWords;
    CHECK(words.contains("Spread of 3 takes"));
}

TEST_CASE("Sides that were recorded one by one are told apart and matched, without their arrival",
          "[plugin][bench]")
{
    const Rig rig;
    rig.openInput();
    const test::SimulatedRoom room {.gain = 0.3};
    // The right side at twice the gain (6.02 dB), the other way round.
    test::SimulatedRoom turned = room;
    turned.gain *= -2.0;
    const auto off = measure::EngineState::off;
    rig.recordSweep(room, off, "head", 1, measure::SpeakerGroup::left);
    CHECK(rig.bench->benchSnapshot().speakers->matchWords.isEmpty());
    rig.recordSweep(turned, off, "head", 2, measure::SpeakerGroup::right);
    rig.recordSweep(turned, off, "head", 3, measure::SpeakerGroup::right);
    const gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
    REQUIRE(snapshot.measured.size() == 2); // and not one average of both
    CHECK(snapshot.measured[0]->name == "Touring, left, engine off");
    CHECK(snapshot.measured[0]->numTakes == 1);
    CHECK(snapshot.measured[1]->speakers == measure::SpeakerGroup::right);
    CHECK(snapshot.measured[1]->numTakes == 2);
    CHECK(rig.bench->measuredResponse(1)->state.speakers == measure::SpeakerGroup::right);
    for (const std::size_t shown : {1U, 0U}) {
        rig.bench->showMeasured(shown);
        const auto speakers = rig.bench->benchSnapshot().speakers;
        REQUIRE(speakers != nullptr);
        INFO(speakers->matchWords);
        CHECK(speakers->matchWords.contains("right against the left"));
        CHECK(speakers->matchWords.contains("level +6.0 dB"));
        CHECK(speakers->matchWords.contains("arrival cannot be compared"));
        CHECK(speakers->matchWords.contains("polarity reversed"));
        CHECK(speakers->warning.contains("wires"));
        CHECK(speakers->groupWords.startsWith("Polarity by speakers: "));
    }
}

TEST_CASE("Groups of one recording are told apart by arrival, and mirror images are matched",
          "[plugin][bench]")
{
    std::vector<std::shared_ptr<const measure::Response>> groups;
    const auto add = [&](measure::SpeakerGroup speakers, double laterSeconds) {
        auto response = makeEcho();
        response.state.speakers = speakers;
        response.arrivalSeconds = 3.0 + laterSeconds;
        response.recordingChecksum = "one";
        response.trackStartSeconds = 0.0;
        groups.push_back(std::make_shared<const measure::Response>(std::move(response)));
    };
    add(measure::SpeakerGroup::rearRight, 0.0021);
    add(measure::SpeakerGroup::frontLeft, 0.0);
    add(measure::SpeakerGroup::rearLeft, 0.0016);
    const auto view = plugin::makeSpeakersView(groups);
    INFO(view.groupWords << " " << view.matchWords);
    CHECK(view.groupWords.contains("front left unclear, 2.10 ms earlier"));
    CHECK(view.groupWords.contains("rear left unclear, 0.50 ms earlier"));
    CHECK(view.matchWords.contains("rear right against the rear left"));
    CHECK(view.matchWords.contains("same polarity; the right arrives 0.50 ms later"));
    CHECK(view.warning.isEmpty());
    CHECK(plugin::makeSpeakersView(std::span(groups).first(1)).groupWords.isEmpty());
    CHECK(plugin::makeSpeakersView(std::span(groups).first(2)).matchWords.isEmpty());
}

TEST_CASE("The measured states of the open job stand beside the takes, each once",
          "[plugin][bench]")
{
    Rig rig;
    const job::Job job = test::writeMadeUpJob(rig.folder / "job", "Made up");
    rig.openJob = plugin::toFile(rig.folder / "job");
    rig.settle();
    gui::BenchSnapshot snapshot = rig.bench->benchSnapshot();
    REQUIRE(snapshot.measured.size() == job.states.size());
    for (const auto& view : snapshot.measured) {
        CHECK(view->origin == gui::MeasuredOrigin::job);
        CHECK(view->isInJob);
        CHECK_FALSE(view->frequenciesHz.empty());
    }

    setWords(rig, "Touring", measure::EngineState::off);
    const auto file = rig.folder / "flat.csv";
    test::writeBytes(file, "Hz,dB\n20,0\n1000,0\n20000,0\n");
    rig.bench->importMeasured(plugin::toFile(file), gui::ImportKind::table);
    rig.settle();
    CHECK(rig.bench->benchSnapshot().shownMeasured == 0); // in front of the job's
    rig.bench->addToJob({});
    rig.settle();
    snapshot = rig.bench->benchSnapshot();
    CHECK(snapshot.measured.size() == job.states.size() + 1);
    CHECK(snapshot.measured[0]->isInJob);
    CHECK(snapshot.measured[0]->source.contains("in the job"));

    // Imported anew it is another one than the job has, which comes to stand beside it.
    rig.bench->importMeasured(plugin::toFile(file), gui::ImportKind::table);
    rig.settle();
    snapshot = rig.bench->benchSnapshot();
    CHECK(snapshot.measured.size() == job.states.size() + 2);
    CHECK_FALSE(snapshot.measured[0]->isInJob);

    rig.openJob = juce::File();
    rig.settle();
    snapshot = rig.bench->benchSnapshot();
    REQUIRE(snapshot.measured.size() == 1);
    CHECK_FALSE(snapshot.measured[0]->isInJob);
}
