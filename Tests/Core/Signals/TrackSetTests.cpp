#include "Core/Signals/TrackSet.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Measure/MarkerSearch.h"
#include "Support/SignalMeasures.h"
#include "Support/SmallJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <set>
#include <span>
#include <string>
#include <vector>

using namespace saddletone;
using Catch::Contains;
using files::FileType;
using signals::SignalType;

TEST_CASE("The shop's set is numbered in order and holds every kind of signal it needs",
          "[core][signals]")
{
    for (const double sampleRate : signals::signalSampleRates) {
        const auto tracks = signals::shopTracks(sampleRate);
        std::set<SignalType> types;
        for (std::size_t index = 0; index < tracks.size(); ++index) {
            const std::string number = std::to_string(index + 1);
            CHECK(tracks[index].name.substr(0, 3)
                  == (number.size() < 2 ? "0" + number : number) + "-");
            CHECK(tracks[index].request.sampleRate == sampleRate);
            CHECK_FALSE(tracks[index].purpose.empty());
            types.insert(tracks[index].request.type);
        }
        // White noise alone has no use in the shop.
        CHECK(types.size() == signals::allSignalTypes.size() - 1);
        CHECK(types.count(SignalType::white) == 0);
        CHECK(tracks[2].name == "03-sweep");
        // Full-scale tones stand last, with a caution.
        CHECK(tracks.back().request.type == SignalType::gainSet);
        CHECK_FALSE(tracks.back().caution.empty());
    }
}

TEST_CASE("The set is written with descriptions that name their files, and a printable list",
          "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const FileType type : {FileType::wav, FileType::flac, FileType::mp3}) {
        const std::string ending(files::fileTypeName(type));
        const auto set = folder / ending;
        const auto written = signals::writeTrackSet(set, 44100.0, type);
        if (!written)
            FAIL(written.error().message);
        const auto tracks = signals::shopTracks(44100.0);
        REQUIRE(written->size() == tracks.size());
        const auto list = files::readTextFile(set / "track-list.html");
        REQUIRE(list.has_value());
        for (std::size_t index = 0; index < tracks.size(); ++index) {
            const auto& file = (*written)[index];
            CHECK(file.filename().string() == tracks[index].name + "." + ending);
            const auto description = signals::loadSignalDescription(signals::descriptionPath(file));
            if (!description)
                FAIL(description.error().message);
            CHECK(description->file == file.filename().string());
            CHECK(description->checksum == *files::fileChecksum(file));
            CHECK(description->type == tracks[index].request.type);
            CHECK(description->lossyCoding.has_value() == (type == FileType::mp3));
            CHECK_THAT(*list, Contains(file.filename().string()));
            CHECK_THAT(*list, Contains(tracks[index].purpose));
            CHECK_THAT(*list, Contains(tracks[index].caution));
        }
        CHECK_THAT(*list,
                   Contains("volume at its lowest") && Contains("31.5 Hz") && Contains("-5 dBFS"));
        CHECK((list->find("nominal") != std::string::npos) == (type == FileType::mp3));
    }
}

TEST_CASE("A set is not written over the descriptions of another", "[core][signals]")
{
    const test::TemporaryFolder folder;
    signals::SignalRequest request;
    request.seconds = 0.5;
    const auto signal = signals::makeSignal(request);
    REQUIRE(signal.has_value());
    const auto save = [&](const char* name) {
        return signals::saveSignal(*signal, folder / name, files::SampleFormat::pcm16);
    };
    REQUIRE(save("01-level.wav").has_value());
    const auto refused = save("01-level.mp3");
    REQUIRE_FALSE(refused.has_value());
    CHECK_THAT(refused.error().message,
               Contains("01-level.signal.json") && Contains("01-level.wav"));
    CHECK_FALSE(std::filesystem::exists(folder / "01-level.mp3"));
    const auto set = signals::writeTrackSet(folder.path(), 44100.0, FileType::flac);
    CHECK_FALSE(set.has_value());
    // The same file again is an update, and one whose audio has gone is free.
    CHECK(save("01-level.wav").has_value());
    std::filesystem::remove(folder / "01-level.wav");
    CHECK(save("01-level.mp3").has_value());
}

TEST_CASE("Writing a set tells how far it is and ends when told to", "[core][signals]")
{
    const test::TemporaryFolder folder;
    std::vector<std::size_t> told;
    const auto written = signals::writeTrackSet(
        folder / "set", 44100.0, FileType::wav, [&](std::size_t numWritten, std::size_t numTracks) {
            CHECK(numTracks == signals::shopTracks(44100.0).size());
            told.push_back(numWritten);
            return numWritten < 2;
        });
    REQUIRE(written.has_value());
    CHECK(told == std::vector<std::size_t> {0, 1, 2});
    CHECK(written->empty());
    CHECK(folder.numEntries() == 0);

    // A set that was there stays whole.
    const auto whole = folder / "set";
    REQUIRE(signals::writeTrackSet(whole, 44100.0));
    const auto before = test::filesBelow(whole);
    test::writeBytes(whole / "own.txt", "the shop's");
    std::filesystem::remove(whole / "02-channels.wav");
    REQUIRE(
        signals::writeTrackSet(whole, 44100.0, FileType::wav,
                               [](std::size_t numWritten, std::size_t) { return numWritten < 3; }));
    auto after = test::filesBelow(whole);
    CHECK(after.erase("own.txt") == 1);
    CHECK(after.size() == before.size() - 1);
    CHECK(after.count("02-channels.wav") == 0);
}

TEST_CASE("Rates that a set cannot have are refused before anything is written", "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const double sampleRate : {32000.0, 96000.0}) {
        const auto refused = signals::writeTrackSet(folder / "set", sampleRate, FileType::mp3);
        REQUIRE_FALSE(refused.has_value());
        CHECK(refused.error().code == dsp::ErrorCode::outOfRange);
        CHECK_THAT(refused.error().message, Contains("44100"));
    }
    CHECK(folder.numEntries() == 0);
    CHECK(signals::checkTrackRate(48000.0, FileType::mp3).has_value());
    CHECK(signals::checkTrackRate(96000.0, FileType::flac).has_value());
}

TEST_CASE("Signals keep their level through MP3 at 320 kb/s", "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const double sampleRate : {44100.0, 48000.0})
        for (const auto type : {SignalType::pink, SignalType::level, SignalType::calibratedPink,
                                SignalType::sine, SignalType::multitone, SignalType::sweep}) {
            CAPTURE(sampleRate, signals::signalTypeName(type));
            signals::SignalRequest request = signals::usualRequest(type);
            request.sampleRate = sampleRate;
            request.seconds = 5.0;
            const auto signal = signals::makeSignal(request);
            REQUIRE(signal.has_value());
            const auto file = folder / "a.mp3";
            REQUIRE(signals::saveSignal(*signal, file, files::SampleFormat::pcm16).has_value());
            const auto back = files::readAudioFile(file);
            REQUIRE(back.has_value());
            CHECK(back->sampleRate == sampleRate);
            CHECK(back->numFrames() == signal->audio.numFrames());
            const double before = test::levelDbfs(signal->audio.channels[0]);
            // MP3 ends near 20 kHz: what pink noise holds from there to 22.4 kHz is 0.07 dB.
            CHECK(test::levelDbfs(back->channels[0]) == Approx(before).margin(0.1));
        }
}

TEST_CASE("A sweep's markers are found where they were after an MP3 round trip", "[core][signals]")
{
    const test::TemporaryFolder folder;
    for (const double sampleRate : {44100.0, 48000.0}) {
        signals::SignalRequest request = signals::usualRequest(SignalType::sweep);
        request.sampleRate = sampleRate;
        const auto signal = signals::makeSignal(request);
        REQUIRE(signal.has_value());
        const auto file = folder / "sweep.mp3";
        REQUIRE(signals::saveSignal(*signal, file, files::SampleFormat::pcm16).has_value());
        const auto description = signals::loadSignalDescription(signals::descriptionPath(file));
        REQUIRE(description.has_value());
        REQUIRE(description->lossyCoding.has_value());
        CHECK(description->lossyCoding->bitRateKbps == 320);
        const auto back = files::readAudioFile(file);
        REQUIRE(back.has_value());
        dsp::FftStore transforms;
        const auto markers = measure::findMarkers(back->channels[0], sampleRate, *description,
                                                  "sweep.mp3", transforms);
        if (!markers)
            FAIL(markers.error().message);
        const auto& layout = *description->sweepLayout;
        CHECK(markers->firstFrame == layout.firstMarkerFrame);
        CHECK(markers->spacingFrames
              == Approx(static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame))
                     .margin(0.01));
        CHECK(markers->correlation > 0.999);
        CHECK(std::abs(markers->levelChangeDb) < 0.01);
    }
}

TEST_CASE("Polarity pulses keep their sign through MP3", "[core][signals]")
{
    const test::TemporaryFolder folder;
    auto signal = signals::makeSignal(signals::usualRequest(SignalType::polarity));
    REQUIRE(signal.has_value());
    for (const float sign : {1.0F, -1.0F}) {
        for (float& sample : signal->audio.channels[0])
            sample *= sign;
        const auto file = folder / "polarity.mp3";
        REQUIRE(signals::saveSignal(*signal, file, files::SampleFormat::pcm16).has_value());
        const auto back = files::readAudioFile(file);
        REQUIRE(back.has_value());
        const auto [lowest, highest] = std::ranges::minmax(back->channels[0]);
        CHECK(std::max(highest, -lowest) == Approx(0.25).epsilon(0.1));
        CHECK((highest > -lowest) == (sign > 0.0F));
        CHECK(std::min(highest, -lowest) < 0.05F);
    }
}

TEST_CASE("Left and right beeps stay apart in MP3", "[core][signals]")
{
    const test::TemporaryFolder folder;
    const auto signal = signals::makeSignal(signals::usualRequest(SignalType::channels));
    REQUIRE(signal.has_value());
    const auto file = folder / "channels.mp3";
    REQUIRE(signals::saveSignal(*signal, file, files::SampleFormat::pcm16).has_value());
    const auto back = files::readAudioFile(file);
    REQUIRE(back.has_value());
    REQUIRE(back->numChannels() == 2);
    for (const auto& segment : signal->description.segments) {
        const auto level = [&](std::size_t channel) {
            return test::levelDbfs(std::span(back->channels[channel])
                                       .subspan(segment.firstFrame + segment.fadeFrames,
                                                segment.numFrames - 2 * segment.fadeFrames));
        };
        CHECK(level(segment.channel) == Approx(-20.0).margin(0.05));
        CHECK(level(1 - segment.channel) < -60.0);
    }
}
