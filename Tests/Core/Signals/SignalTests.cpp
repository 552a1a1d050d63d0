#include "Core/Signals/Signal.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Support/ReferenceTable.h"
#include "Support/SignalMeasures.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <functional>
#include <limits>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

using namespace saddletone;
using Catch::Contains;
using signals::Repetition;
using signals::SignalRequest;
using signals::SignalType;

namespace {

signals::Signal made(const SignalRequest& request)
{
    auto signal = signals::makeSignal(request);
    if (!signal)
        FAIL(signal.error().message);
    return *std::move(signal);
}

dsp::Error problemOf(const SignalRequest& request)
{
    const auto signal = signals::makeSignal(request);
    REQUIRE_FALSE(signal.has_value());
    return signal.error();
}

/** Largest deviation in dB of the third octaves from 25 Hz to 20 kHz from what pink noise of a
    level between 10 Hz and 22.4 kHz holds: band edges from the table of IEC 61260-1, powers by a
    plain sum over the lines of the spectrum. */
double pinkDeviationDb(std::span<const float> samples, double sampleRate, double levelDbfs)
{
    const test::ReferenceTable table("third_octave_bands.csv");
    const auto lines = test::lineSpectrum(samples);
    const double binHz = sampleRate / static_cast<double>(samples.size());
    double largest = 0.0;
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        if (table.number(row, "nominal_hz") < 25.0)
            continue;
        const double power = test::powerBetween(lines, binHz, table.number(row, "lower_edge_hz"),
                                                table.number(row, "upper_edge_hz"));
        const double expectedDb =
            levelDbfs + dsp::powerToDb(0.1 * std::numbers::ln10 / std::log(22400.0 / 10.0));
        largest = std::max(largest, std::abs(dsp::powerToDb(2.0 * power) - expectedDb));
    }
    return largest;
}

std::span<const float> evenPart(const std::vector<float>& samples)
{
    return std::span<const float>(samples).first(samples.size() / 2 * 2);
}

} // namespace

TEST_CASE("Periodic pink noise is flat within 0.1 dB in third octaves", "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates) {
        CAPTURE(sampleRate);
        const auto signal =
            made({.sampleRate = sampleRate, .seconds = 30.0, .repetition = Repetition::periodic});
        const std::size_t period = signal.description.periodFrames;
        REQUIRE(period > 0);
        const auto& samples = signal.audio.channels[0];
        CHECK(pinkDeviationDb(std::span(samples).first(period), sampleRate, -20.0) < 0.1);
    }
}

TEST_CASE("A minute of random pink noise is flat within 0.3 dB in third octaves", "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates) {
        CAPTURE(sampleRate);
        const auto signal = made({.sampleRate = sampleRate, .seconds = 60.0});
        CHECK(signal.description.periodFrames == 0);
        CHECK(pinkDeviationDb(evenPart(signal.audio.channels[0]), sampleRate, -20.0) < 0.3);
    }
}

TEST_CASE("Periodic pink noise repeats without a seam", "[core][signals]")
{
    for (const double seconds : {2.0, 25.0}) {
        const auto signal = made({.seconds = seconds, .repetition = Repetition::periodic});
        const std::size_t period = signal.description.periodFrames;
        const auto& samples = signal.audio.channels[0];
        REQUIRE(period <= samples.size());
        for (std::size_t frame = period; frame < samples.size(); frame += 17)
            REQUIRE(samples[frame] == samples[frame - period]);
        // A step at the seam would spread over all frequencies, also those above the band.
        const auto lines = test::lineSpectrum(std::span(samples).first(period));
        const double binHz = 48000.0 / static_cast<double>(period);
        CHECK(dsp::powerToDb(test::powerBetween(lines, binHz, 22410.0, 24000.0)) < -140.0);
    }
}

TEST_CASE("Noise and sine have their level to 0.01 dB", "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates)
        for (const auto type : {SignalType::pink, SignalType::white, SignalType::sine})
            for (const double level : {-60.0, -23.0, -20.0}) {
                const auto signal = made(
                    {.type = type, .sampleRate = sampleRate, .seconds = 2.0, .levelDbfs = level});
                CHECK(signal.description.levelDbfs == level);
                // AES17: a full-scale sine reads 0 dBFS.
                CHECK(test::levelDbfs(signal.audio.channels[0]) == Approx(level).margin(0.01));
            }
}

TEST_CASE("The level survives being stored with 16 and 24 bits", "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const auto type : {SignalType::pink, SignalType::white, SignalType::sine})
        for (const auto format : {files::SampleFormat::pcm16, files::SampleFormat::pcm24}) {
            const auto signal = made({.type = type, .seconds = 5.0, .levelDbfs = -20.0});
            REQUIRE(signals::saveSignal(signal, folder / "a.wav", format).has_value());
            const auto back = files::readAudioFile(folder / "a.wav");
            REQUIRE(back.has_value());
            CHECK(test::levelDbfs(back->channels[0]) == Approx(-20.0).margin(0.01));
        }
}

TEST_CASE("The level signal spans the band that EBU sets listening levels in", "[core][signals]")
{
    // 500 Hz to 2 kHz.
    for (const double sampleRate : signals::signalSampleRates) {
        const auto signal =
            made({.type = SignalType::level, .sampleRate = sampleRate, .seconds = 4.0});
        CHECK(signal.description.fromHz == 500.0);
        CHECK(signal.description.toHz == 2000.0);
        const auto& samples = signal.audio.channels[0];
        CHECK(test::levelDbfs(samples) == Approx(-20.0).margin(0.01));
        const auto lines = test::lineSpectrum(samples);
        const double binHz = sampleRate / static_cast<double>(samples.size());
        const double whole = test::powerBetween(lines, binHz, 0.0, 0.5 * sampleRate);
        // The file's end does not join its start, which spreads a little.
        CHECK(test::powerBetween(lines, binHz, 495.0, 2005.0) > 0.999 * whole);
        // Pink: the octaves on both sides of 1 kHz hold the same.
        const double lower = test::powerBetween(lines, binHz, 500.0, 1000.0);
        const double upper = test::powerBetween(lines, binHz, 1000.0, 2000.0);
        CHECK(dsp::powerToDb(lower / upper) == Approx(0.0).margin(0.1));
    }
}

TEST_CASE("Drivers get bands apart from each other, the tweeter at the lowest level",
          "[core][signals]")
{
    const auto& [woofer, mid, tweeter] = signals::driverBands;
    CHECK(woofer.toHz < mid.fromHz);
    CHECK(mid.toHz < tweeter.fromHz);
    CHECK(tweeter.levelDbfs < woofer.levelDbfs);
    for (const signals::DriverBand& band : signals::driverBands)
        CHECK(signals::makeSignal({.sampleRate = 44100.0,
                                   .seconds = 1.0,
                                   .levelDbfs = band.levelDbfs,
                                   .fromHz = band.fromHz,
                                   .toHz = band.toHz})
                  .has_value());
}

TEST_CASE("Multitone and calibrated pink noise repeat without a seam at their level",
          "[core][signals]")
{
    for (const auto type : {SignalType::multitone, SignalType::calibratedPink})
        for (const double sampleRate : signals::signalSampleRates) {
            CAPTURE(signals::signalTypeName(type), sampleRate);
            const auto signal = made({.type = type, .sampleRate = sampleRate, .seconds = 12.0});
            const std::size_t period = signal.description.periodFrames;
            const auto& samples = signal.audio.channels[0];
            REQUIRE(period > 0);
            CHECK(samples.size() % period == 0);
            CHECK(static_cast<double>(samples.size()) >= 12.0 * sampleRate);
            for (std::size_t frame = period; frame < samples.size(); frame += 17)
                REQUIRE(samples[frame] == samples[frame - period]);
            CHECK(test::levelDbfs(std::span(samples).first(period))
                  == Approx(signal.description.levelDbfs).margin(0.001));
            const double statedDbfs = type == SignalType::multitone ? -20.0 : -18.5;
            CHECK(signal.description.levelDbfs == Approx(statedDbfs).margin(0.05));
            CHECK(signals::crestFactorDb(signal.description)
                  == Approx(type == SignalType::multitone ? 8.7 : 12.0).margin(0.4));
        }
}

TEST_CASE("The usual request of every type can be made at every rate", "[core][signals]")
{
    for (const auto type : signals::allSignalTypes)
        for (const double sampleRate : {44100.0, 96000.0}) {
            auto request = signals::usualRequest(type);
            CHECK(request.type == type);
            request.sampleRate = sampleRate;
            const auto signal = made(request);
            CHECK(signal.description.numChannels == (type == SignalType::channels ? 2 : 1));
            CHECK(signal.audio.numChannels() == signal.description.numChannels);
            CHECK(signal.description.numFrames == signal.audio.numFrames());
        }
}

TEST_CASE("Parts, bands and tones that cannot be made are refused", "[core][signals]")
{
    for (const auto type : {SignalType::bands, SignalType::stepped, SignalType::gainSet})
        for (const double seconds : {0.9, 20.1})
            CHECK_THAT(problemOf({.type = type, .seconds = seconds}).message,
                       Contains("1 to 20 s")
                           && Contains(std::string(signals::signalTypeName(type))));
    for (const auto type : {SignalType::bands, SignalType::stepped, SignalType::multitone}) {
        const auto refused = [&](double fromHz, double toHz) {
            return problemOf({.type = type,
                              .sampleRate = 44100.0,
                              .seconds = 2.0,
                              .fromHz = fromHz,
                              .toHz = toHz})
                .message;
        };
        CHECK_THAT(refused(10.0, 1000.0), Contains("20 Hz"));
        CHECK_THAT(refused(1000.0, 30000.0), Contains("22050"));
        CHECK_THAT(refused(1000.0, 500.0), Contains("third octaves"));
        CHECK_THAT(refused(1100.0, 1150.0), Contains("widen"));
        // The third octave of 20 kHz ends at 22.4 kHz.
        CHECK_THAT(refused(1000.0, 20000.0), Contains("20000 Hz reaches beyond"));
        CHECK(signals::makeSignal({.type = type, .seconds = 2.0, .fromHz = 20.0, .toHz = 16000.0})
                  .has_value());
    }
    for (const int tonesPerOctave : {0, 1, 7})
        CHECK_THAT(
            problemOf({.type = SignalType::multitone, .tonesPerOctave = tonesPerOctave}).message,
            Contains("3, 6, 12 or 24"));
    CHECK_THAT(problemOf({.type = SignalType::gainSet, .seconds = 2.0, .levelDbfs = -95.0}).message,
               Contains("-90"));
    CHECK_THAT(problemOf({.type = SignalType::multitone, .levelDbfs = -3.0}).message,
               Contains("full scale"));
}

TEST_CASE("A seed decides the noise", "[core][signals]")
{
    for (const auto type : {SignalType::pink, SignalType::white})
        for (const auto repetition : {Repetition::none, Repetition::periodic}) {
            const SignalRequest request {
                .type = type, .seconds = 1.0, .seed = 3, .repetition = repetition};
            SignalRequest other = request;
            other.seed = 4;
            const auto first = made(request);
            CHECK(first.audio == made(request).audio);
            CHECK(first.audio != made(other).audio);
            CHECK(first.description.seed == 3);
        }
}

TEST_CASE("Noise is distributed normally, with the crest of noise", "[core][signals]")
{
    for (const auto type : {SignalType::pink, SignalType::white})
        for (const auto repetition : {Repetition::none, Repetition::periodic}) {
            const auto signal =
                made({.type = type, .seconds = 30.0, .levelDbfs = -20.0, .repetition = repetition});
            const auto& samples = signal.audio.channels[0];
            // Slow components leave pink noise of 30 s a distance of a few thousandths.
            CHECK(test::distanceFromNormal(samples) < 0.005);
            // The largest of a million normal samples lies about 4.9 standard deviations out
            // (13.8 dB); 4 to 6.3 leaves room for chance.
            const double crestDb =
                signal.description.peakDbfs - (signal.description.levelDbfs - 3.0103);
            CHECK(crestDb > 12.0);
            CHECK(crestDb < 16.0);
            const auto [lowest, highest] = std::ranges::minmax(samples);
            CHECK(signal.description.peakDbfs
                  == Approx(dsp::amplitudeToDb(static_cast<double>(std::max(highest, -lowest)))));
        }
}

TEST_CASE("Noise keeps to the band limits asked for", "[core][signals]")
{
    const auto signal = made({.seconds = 4.0, .fromHz = 100.0, .toHz = 2000.0});
    CHECK(signal.description.fromHz == 100.0);
    CHECK(signal.description.toHz == 2000.0);
    const auto& samples = signal.audio.channels[0];
    const auto lines = test::lineSpectrum(samples);
    const double inside = test::powerBetween(lines, 0.25, 99.0, 2001.0);
    CHECK(dsp::powerToDb(2.0 * inside) == Approx(-20.0).margin(0.01));
    CHECK(dsp::powerToDb(test::powerBetween(lines, 0.25, 0.0, 98.0) / inside) < -60.0);
    CHECK(dsp::powerToDb(test::powerBetween(lines, 0.25, 2050.0, 24000.0) / inside) < -60.0);
}

TEST_CASE("A level whose peaks pass full scale is refused with the usable one", "[core][signals]")
{
    for (const auto type : {SignalType::pink, SignalType::white}) {
        SignalRequest request {.type = type, .seconds = 3.0, .levelDbfs = -3.0};
        const auto problem = problemOf(request);
        CHECK(problem.code == dsp::ErrorCode::outOfRange);
        CHECK_THAT(problem.message,
                   Contains("-3.0 dBFS") && Contains(std::string(signals::signalTypeName(type))));
        const std::string before = "at most ";
        const auto place = problem.message.find(before);
        REQUIRE(place != std::string::npos);
        const double usable = std::strtod(problem.message.c_str() + place + before.size(), nullptr);
        CHECK(usable < -3.0);
        request.levelDbfs = usable;
        const auto signal = made(request);
        CHECK(signal.description.peakDbfs <= -0.5 + 1e-6);
        // It is also the highest that works, to its tenth.
        request.levelDbfs = usable + 0.2;
        CHECK_FALSE(signals::makeSignal(request).has_value());
    }
}

TEST_CASE("Sines and sweeps may reach full scale", "[core][signals]")
{
    const auto sine = made({.type = SignalType::sine, .seconds = 1.0, .levelDbfs = 0.0});
    CHECK(test::levelDbfs(sine.audio.channels[0]) == Approx(0.0).margin(1e-4));
    const auto sweep = made({.type = SignalType::sweep, .seconds = 1.0, .levelDbfs = 0.0});
    CHECK(sweep.description.peakDbfs == Approx(0.0).margin(0.01));
}

TEST_CASE("Rates, lengths, levels and bands that cannot be made are refused", "[core][signals]")
{
    CHECK_THAT(problemOf({.sampleRate = 32000.0}).message,
               Contains("32000") && Contains("44100, 48000, 88200 or 96000"));
    const double notANumber = std::numeric_limits<double>::quiet_NaN();
    CHECK_FALSE(signals::makeSignal({.sampleRate = notANumber}).has_value());
    for (const double seconds : {0.0, 0.49, -1.0, 601.0, notANumber})
        CHECK_THAT(problemOf({.seconds = seconds}).message, Contains("0.5 to 600 s"));
    for (const double level : {0.1, -100.1, notANumber})
        CHECK_THAT(problemOf({.levelDbfs = level}).message, Contains("-100 and 0 dBFS"));
    for (const auto type : {SignalType::pink, SignalType::white, SignalType::sweep}) {
        const auto refused = [&](double fromHz, double toHz) {
            return problemOf({.type = type, .fromHz = fromHz, .toHz = toHz}).message;
        };
        CHECK_THAT(refused(4.0, 1000.0), Contains("band"));
        CHECK_THAT(refused(100.0, 24001.0), Contains("24000"));
        CHECK_THAT(refused(1000.0, 100.0), Contains("band"));
        CHECK_THAT(refused(1000.0, 1001.0), Contains("band"));
        CHECK_THAT(refused(notANumber, 1000.0), Contains("band"));
    }
    for (const double frequencyHz : {0.0, 4.0, 24000.0, notANumber})
        CHECK_THAT(problemOf({.type = SignalType::sine, .frequencyHz = frequencyHz}).message,
                   Contains("sine"));
    for (const auto& problem : {problemOf({.sampleRate = 1.0}), problemOf({.seconds = 0.0})})
        CHECK(problem.code == dsp::ErrorCode::outOfRange);
}

TEST_CASE("A sine runs whole cycles, near the frequency asked for", "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates) {
        const auto signal = made({.type = SignalType::sine,
                                  .sampleRate = sampleRate,
                                  .seconds = 1.5,
                                  .frequencyHz = 997.3});
        const auto& description = signal.description;
        const auto& samples = signal.audio.channels[0];
        const double cycles =
            description.frequencyHz * static_cast<double>(samples.size()) / sampleRate;
        CHECK(cycles == Approx(std::round(cycles)).margin(1e-9));
        CHECK(description.frequencyHz == Approx(997.3).margin(0.5 / 1.5));
        CHECK(description.periodFrames == samples.size());
        const auto lines = test::lineSpectrum(samples);
        const auto bin = static_cast<std::size_t>(std::lround(cycles));
        CHECK(dsp::powerToDb(2.0 * lines[bin]) == Approx(-20.0).margin(1e-4));
        double others = -lines[bin];
        for (const double line : lines)
            others += line;
        // Purer than 24 bits can store.
        CHECK(dsp::powerToDb(others / lines[bin]) < -140.0);
    }
}

TEST_CASE("Silence is silence of the length asked for", "[core][signals]")
{
    const auto signal = made({.type = SignalType::silence, .seconds = 1.0});
    CHECK(signal.audio.channels[0] == std::vector<float>(48000, 0.0F));
    CHECK(signal.description.levelDbfs == dsp::silenceDb);
    CHECK(signal.description.peakDbfs == dsp::silenceDb);
}

TEST_CASE("A sweep track holds marker, sweep and marker at the frames it states", "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates) {
        const auto signal = made({.type = SignalType::sweep,
                                  .sampleRate = sampleRate,
                                  .seconds = 3.0,
                                  .levelDbfs = -12.0});
        REQUIRE(signal.description.sweepLayout.has_value());
        const auto& layout = *signal.description.sweepLayout;
        const auto& samples = signal.audio.channels[0];
        CHECK(signal.description.numFrames == samples.size());
        CHECK(layout.sweep.numFrames == static_cast<std::size_t>(std::lround(3.0 * sampleRate)));
        CHECK(layout.sweep.toHz <= 0.4583 * sampleRate);
        CHECK(layout.sweep.amplitude == Approx(dsp::dbToAmplitude(-12.0)));

        std::vector<double> expected(samples.size(), 0.0);
        const auto place = [&](const std::vector<double>& part, std::size_t frame) {
            REQUIRE(frame + part.size() <= expected.size());
            std::ranges::copy(part, expected.begin() + static_cast<std::ptrdiff_t>(frame));
        };
        const auto marker = signals::makeMarker(layout.marker, sampleRate);
        place(marker, layout.firstMarkerFrame);
        place(signals::makeSweep(layout.sweep, sampleRate), layout.sweepFrame);
        place(marker, layout.secondMarkerFrame);
        double largest = 0.0;
        for (std::size_t frame = 0; frame < samples.size(); ++frame)
            largest =
                std::max(largest, std::abs(static_cast<double>(samples[frame]) - expected[frame]));
        CHECK(largest < 1e-7);

        // The order, and room for the place to ring out before the next part starts.
        const double second = sampleRate;
        CHECK(static_cast<double>(layout.firstMarkerFrame) >= 0.5 * second);
        CHECK(static_cast<double>(layout.sweepFrame - layout.firstMarkerFrame - marker.size())
              >= 0.5 * second);
        CHECK(static_cast<double>(layout.secondMarkerFrame - layout.sweepFrame
                                  - layout.sweep.numFrames)
              >= second);
    }
}

TEST_CASE("A signal's description comes back as it was saved", "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const auto type : signals::allSignalTypes)
        for (const auto repetition : {Repetition::none, Repetition::periodic}) {
            const auto signal = made({.type = type,
                                      .sampleRate = 44100.0,
                                      .seconds = 1.0,
                                      .levelDbfs = -21.5,
                                      .seed = 77,
                                      .repetition = repetition});
            const auto audioFile =
                folder / (std::string(signals::signalTypeName(type)) + " track.wav");
            const auto descriptionFile =
                signals::saveSignal(signal, audioFile, files::SampleFormat::pcm24);
            REQUIRE(descriptionFile.has_value());
            CHECK(descriptionFile->filename().string()
                  == std::string(signals::signalTypeName(type)) + " track.signal.json");
            const auto loaded = signals::loadSignalDescription(*descriptionFile);
            if (!loaded)
                FAIL(loaded.error().message);
            signals::SignalDescription expected = signal.description;
            expected.file = audioFile.filename().string();
            expected.checksum = *files::fileChecksum(audioFile);
            CHECK(*loaded == expected);
        }
}

TEST_CASE("A description that was tampered with is refused by key", "[core][signals]")
{
    const test::TemporaryFolder folder;
    const auto signal = made({.type = SignalType::sweep, .seconds = 1.0});
    const auto file = signals::saveSignal(signal, folder / "sweep.wav", files::SampleFormat::pcm16);
    REQUIRE(file.has_value());
    const auto good = files::loadJson(*file);
    REQUIRE(good.has_value());
    const auto problemWith = [&](const std::function<void(nlohmann::json&)>& change) {
        nlohmann::json changed = *good;
        change(changed);
        REQUIRE(files::writeTextFile(*file, files::jsonText(changed)).has_value());
        const auto loaded = signals::loadSignalDescription(*file);
        REQUIRE_FALSE(loaded.has_value());
        CHECK_THAT(loaded.error().message, Contains("sweep.signal.json"));
        return loaded.error();
    };
    CHECK(problemWith([](auto& json) { json["schemaVersion"] = 2; }).code
          == dsp::ErrorCode::newerSchema);
    CHECK_THAT(problemWith([](auto& json) { json["kind"] = "other"; }).message, Contains("kind"));
    CHECK_THAT(problemWith([](auto& json) { json["type"] = "hum"; }).message, Contains("'type'"));
    CHECK_THAT(problemWith([](auto& json) { json["type"] = 4; }).message, Contains("'type'"));
    CHECK_THAT(problemWith([](auto& json) { json["sampleRate"] = "48000"; }).message,
               Contains("'sampleRate'") && Contains("number"));
    CHECK_THAT(problemWith([](auto& json) { json["sampleRate"] = 3; }).message,
               Contains("'sampleRate'"));
    CHECK_THAT(problemWith([](auto& json) { json["numFrames"] = 1.5; }).message,
               Contains("'numFrames'"));
    CHECK_THAT(problemWith([](auto& json) { json["numFrames"] = -4; }).message,
               Contains("'numFrames'"));
    CHECK_THAT(problemWith([](auto& json) { json.erase("levelDbfs"); }).message,
               Contains("'levelDbfs'") && Contains("missing"));
    CHECK_THAT(problemWith([](auto& json) { json.erase("layout"); }).message, Contains("'layout'"));
    CHECK_THAT(problemWith([](auto& json) { json["layout"] = "none"; }).message,
               Contains("layout"));
    CHECK_THAT(problemWith([](auto& json) { json["layout"]["sweep"]["toHz"] = "high"; }).message,
               Contains("'layout.sweep.toHz'"));
    CHECK_THAT(problemWith([](auto& json) { json["layout"]["sweep"]["toHz"] = 30000; }).message,
               Contains("'layout.sweep.toHz'"));
    CHECK_THAT(
        problemWith([](auto& json) { json["layout"]["marker"].erase("durationSeconds"); }).message,
        Contains("'layout.marker.durationSeconds'"));
    // Right types that make no sense together.
    CHECK_THAT(problemWith([](auto& json) { json["layout"]["sweepFrame"] = 0; }).message,
               Contains("marker, sweep, marker"));
    CHECK_THAT(problemWith([](auto& json) { json["layout"]["sweep"]["fromHz"] = 23000; }).message,
               Contains("layout"));
}

TEST_CASE("Parts and tones that were tampered with are refused by key", "[core][signals]")
{
    const test::TemporaryFolder folder;
    const auto problemWith = [&](SignalType type,
                                 const std::function<void(nlohmann::json&)>& change) {
        const auto signal = made({.type = type, .seconds = 1.0});
        const auto file = signals::saveSignal(signal, folder / "a.wav", files::SampleFormat::pcm16);
        REQUIRE(file.has_value());
        auto json = files::loadJson(*file);
        REQUIRE(json.has_value());
        change(*json);
        REQUIRE(files::writeTextFile(*file, files::jsonText(*json)).has_value());
        const auto loaded = signals::loadSignalDescription(*file);
        REQUIRE_FALSE(loaded.has_value());
        return loaded.error().message;
    };
    const auto inSegments = [&](const std::function<void(nlohmann::json&)>& change) {
        return problemWith(SignalType::bands, change);
    };
    CHECK_THAT(inSegments([](auto& json) { json.erase("segments"); }), Contains("'segments'"));
    CHECK_THAT(inSegments([](auto& json) { json["segments"][3]["levelDbfs"] = "low"; }),
               Contains("levelDbfs"));
    CHECK_THAT(inSegments([](auto& json) { json["segments"][3]["channel"] = 1; }),
               Contains("channel"));
    CHECK_THAT(
        inSegments([](auto& json) { json["segments"][3]["firstFrame"] = json["numFrames"]; }),
        Contains("part of the track"));
    const auto inTones = [&](const std::function<void(nlohmann::json&)>& change) {
        return problemWith(SignalType::multitone, change);
    };
    CHECK_THAT(inTones([](auto& json) { json.erase("tones"); }), Contains("'tones'"));
    CHECK_THAT(inTones([](auto& json) { json["tones"]["levelsDbfs"].erase(0); }),
               Contains("cyclesPerPeriod"));
    CHECK_THAT(inTones([](auto& json) { json["tones"]["cyclesPerPeriod"][0] = 1.5; }),
               Contains("cyclesPerPeriod"));
    CHECK_THAT(inTones([](auto& json) { json["tones"]["cyclesPerPeriod"][0] = 1000000; }),
               Contains("cyclesPerPeriod"));
}

TEST_CASE("A description from before channels, parts and codings were stored is still read",
          "[core][signals]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "old.signal.json", R"({"kind": "saddletone-signal",
        "schemaVersion": 1, "type": "pink", "file": "old.wav", "checksum": "00000000",
        "sampleFormat": "24", "sampleRate": 48000.0, "numFrames": 480000, "levelDbfs": -20.0,
        "peakDbfs": -8.0, "seed": 1, "fromHz": 10.0, "toHz": 22400.0})");
    const auto loaded = signals::loadSignalDescription(folder / "old.signal.json");
    if (!loaded)
        FAIL(loaded.error().message);
    CHECK(loaded->numChannels == 1);
    CHECK(loaded->segments.empty());
    CHECK_FALSE(loaded->lossyCoding.has_value());
    CHECK(loaded->file == "old.wav");
}

TEST_CASE("Signal names round trip and others are refused", "[core][signals]")
{
    for (const auto type : signals::allSignalTypes) {
        const auto parsed = signals::parseSignalType(signals::signalTypeName(type));
        REQUIRE(parsed.has_value());
        CHECK(*parsed == type);
    }
    const auto refused = signals::parseSignalType("hum");
    REQUIRE_FALSE(refused.has_value());
    CHECK_THAT(refused.error().message, Contains("'hum'") && Contains("pink"));
}

TEST_CASE("A signal that cannot be stored leaves no description", "[core][signals]")
{
    const test::TemporaryFolder folder;
    const auto signal = made({.seconds = 1.0});
    const auto saved = signals::saveSignal(signal, folder / "a.flac", files::SampleFormat::float32);
    REQUIRE_FALSE(saved.has_value());
    CHECK(folder.numEntries() == 0);
}
