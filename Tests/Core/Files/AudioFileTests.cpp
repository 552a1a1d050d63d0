#include "Core/Files/AudioFile.h"

#include "Core/Dsp/RandomSource.h"
#include "Support/RefusedWrites.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <numbers>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

using namespace saddletone;
using Catch::Contains;
using files::SampleFormat;

namespace {

dsp::AudioBuffer stereoProgramme(std::size_t numFrames = 48000)
{
    dsp::AudioBuffer audio = dsp::makeSilence(48000.0, 2, numFrames);
    dsp::RandomSource random(9);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        audio.channels[0][frame] = static_cast<float>(
            0.7 * std::sin(2.0 * std::numbers::pi * 441.0 * static_cast<double>(frame) / 48000.0));
        audio.channels[1][frame] = static_cast<float>(1.8 * random.nextUniform() - 0.9);
    }
    return audio;
}

template <typename Integer>
void appendLittleEndian(std::string& bytes, Integer value)
{
    for (std::size_t place = 0; place < sizeof(Integer); ++place)
        bytes += static_cast<char>((static_cast<std::uint64_t>(value) >> (8U * place)) & 0xFFU);
}

enum class WavCoding : std::uint16_t { pcm = 1, ieeeFloat = 3 };

struct WavHeader {
    WavCoding coding = WavCoding::pcm;
    std::uint16_t numChannels = 1;
    std::uint32_t sampleRate = 48000;
    std::uint16_t numBits = 16;
};

/** A WAV file by hand (RIFF, format chunk of 16 bytes, data chunk). */
std::string wavBytes(const WavHeader& header, const std::string& data)
{
    const auto frameBytes = static_cast<std::uint16_t>(header.numChannels * header.numBits / 8);
    std::string bytes = "RIFF";
    appendLittleEndian(bytes, static_cast<std::uint32_t>(36 + data.size()));
    bytes += "WAVEfmt ";
    appendLittleEndian(bytes, std::uint32_t {16});
    appendLittleEndian(bytes, static_cast<std::uint16_t>(header.coding));
    appendLittleEndian(bytes, header.numChannels);
    appendLittleEndian(bytes, header.sampleRate);
    appendLittleEndian(bytes, header.sampleRate * frameBytes);
    appendLittleEndian(bytes, frameBytes);
    appendLittleEndian(bytes, header.numBits);
    bytes += "data";
    appendLittleEndian(bytes, static_cast<std::uint32_t>(data.size()));
    return bytes + data;
}

std::string floatBytes(const std::vector<float>& samples)
{
    std::string bytes;
    for (const float sample : samples)
        appendLittleEndian(bytes, std::bit_cast<std::uint32_t>(sample));
    return bytes;
}

dsp::Error errorOfReading(const std::filesystem::path& file, const files::ReadLimits& limits = {})
{
    const auto result = files::readAudioFile(file, limits);
    REQUIRE_FALSE(result.has_value());
    // Whatever the reason, the message names the file.
    CHECK_THAT(result.error().message, Contains(file.filename().string()));
    return result.error();
}

} // namespace

TEST_CASE("32-bit float files give every sample back", "[core][files]")
{
    const test::TemporaryFolder folder;
    dsp::AudioBuffer audio = stereoProgramme();
    audio.channels[0][5] = 3.75F; // floats may pass full scale
    audio.channels[1][6] = 1e-30F;
    REQUIRE(files::writeAudioFile(audio, folder / "a.wav", SampleFormat::float32).has_value());
    const auto back = files::readAudioFile(folder / "a.wav");
    REQUIRE(back.has_value());
    CHECK(*back == audio);
}

TEST_CASE("Integer files hold the samples to within dither and rounding", "[core][files]")
{
    const test::TemporaryFolder folder;
    const dsp::AudioBuffer audio = stereoProgramme();
    struct Case {
        const char* name;
        SampleFormat format;
        int numBits;
    };
    for (const Case& storage :
         {Case {"a.wav", SampleFormat::pcm16, 16}, Case {"b.wav", SampleFormat::pcm24, 24},
          Case {"a.flac", SampleFormat::pcm16, 16}, Case {"b.flac", SampleFormat::pcm24, 24}}) {
        CAPTURE(storage.name, storage.numBits);
        REQUIRE(files::writeAudioFile(audio, folder / storage.name, storage.format).has_value());
        const auto back = files::readAudioFile(folder / storage.name);
        REQUIRE(back.has_value());
        REQUIRE(back->numChannels() == 2);
        REQUIRE(back->numFrames() == audio.numFrames());
        CHECK(back->sampleRate == 48000.0);
        for (std::size_t channel = 0; channel < 2; ++channel) {
            const double steps = std::ldexp(1.0, storage.numBits - 1);
            double largest = 0.0;
            double sum = 0.0;
            double squares = 0.0;
            double withSignal = 0.0;
            for (std::size_t frame = 0; frame < audio.numFrames(); ++frame) {
                const auto sample = static_cast<double>(audio.channels[channel][frame]);
                const double error =
                    (static_cast<double>(back->channels[channel][frame]) - sample) * steps;
                largest = std::max(largest, std::abs(error));
                sum += error;
                squares += error * error;
                withSignal += error * sample;
            }
            const auto count = static_cast<double>(audio.numFrames());
            // Triangular dither of two steps peak to peak and rounding: at most 1.5 steps, mean 0,
            // mean square 1/6 + 1/12 = 1/4 of a step, and no tie to the signal (Lipshitz,
            // Wannamaker and Vanderkooy, JAES 40(5):355-375, 1992).
            CHECK(largest <= 1.5 + 1e-6);
            CHECK(std::abs(sum / count) < 5.0 * 0.5 / std::sqrt(count));
            CHECK(squares / count == Approx(0.25).epsilon(0.03));
            CHECK(std::abs(withSignal / count) < 5.0 * 0.5 * 0.6 / std::sqrt(count));
        }
    }
}

TEST_CASE("A silent channel stays exactly zero beside a loud one", "[core][files]")
{
    const test::TemporaryFolder folder;
    dsp::AudioBuffer audio = stereoProgramme(4800);
    std::ranges::fill(audio.channels[1], 0.0F);
    for (const auto format : {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32}) {
        REQUIRE(files::writeAudioFile(audio, folder / "a.wav", format).has_value());
        const auto back = files::readAudioFile(folder / "a.wav");
        REQUIRE(back.has_value());
        CHECK(back->channels[1] == audio.channels[1]);
    }
}

TEST_CASE("Full scale itself can be stored and does not wrap", "[core][files]")
{
    const test::TemporaryFolder folder;
    dsp::AudioBuffer audio = dsp::makeSilence(44100.0, 1, 2000);
    for (std::size_t frame = 0; frame < 2000; ++frame)
        audio.channels[0][frame] = frame % 2 == 0 ? 1.0F : -1.0F;
    REQUIRE(files::writeAudioFile(audio, folder / "a.wav", SampleFormat::pcm16).has_value());
    const auto back = files::readAudioFile(folder / "a.wav");
    REQUIRE(back.has_value());
    for (std::size_t frame = 0; frame < 2000; ++frame)
        CHECK(std::abs(back->channels[0][frame] - audio.channels[0][frame]) <= 2.0F / 32768.0F);
}

TEST_CASE("The same samples give the same bytes and another seed others", "[core][files]")
{
    const test::TemporaryFolder folder;
    const dsp::AudioBuffer audio = stereoProgramme(30000);
    for (const char* name : {"a.wav", "a.flac"})
        for (const auto format :
             {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32}) {
            if (std::string(name) == "a.flac" && format == SampleFormat::float32)
                continue;
            REQUIRE(files::writeAudioFile(audio, folder / name, format, 5).has_value());
            const std::string first = test::bytesOf(folder / name);
            // Over a second boundary, as some chunks carry the time of day.
            if (format == SampleFormat::float32)
                std::this_thread::sleep_for(std::chrono::milliseconds(1100));
            REQUIRE(files::writeAudioFile(audio, folder / name, format, 5).has_value());
            CHECK(test::bytesOf(folder / name) == first);
            REQUIRE(files::writeAudioFile(audio, folder / name, format, 6).has_value());
            CHECK((test::bytesOf(folder / name) == first) == (format == SampleFormat::float32));
        }
}

TEST_CASE("Samples that are no numbers or pass full scale are not written", "[core][files]")
{
    const test::TemporaryFolder folder;
    for (const float bad :
         {std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity(),
          -std::numeric_limits<float>::infinity(), 1.0001F, -1.5F}) {
        dsp::AudioBuffer audio = stereoProgramme(100);
        audio.channels[1][77] = bad;
        for (const auto format :
             {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32}) {
            if (std::isfinite(bad) && format == SampleFormat::float32)
                continue;
            const auto written = files::writeAudioFile(audio, folder / "a.wav", format);
            REQUIRE_FALSE(written.has_value());
            CHECK(written.error().code == dsp::ErrorCode::outOfRange);
            CHECK_THAT(written.error().message, Contains("a.wav"));
        }
    }
    CHECK(folder.numEntries() == 0);
}

TEST_CASE("FLAC with float samples is refused and leaves nothing behind", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto written =
        files::writeAudioFile(stereoProgramme(100), folder / "a.flac", SampleFormat::float32);
    REQUIRE_FALSE(written.has_value());
    CHECK(written.error().code == dsp::ErrorCode::unsupported);
    CHECK(folder.numEntries() == 0);
}

TEST_CASE("A missing file, a folder and a text file are told apart", "[core][files]")
{
    const test::TemporaryFolder folder;
    CHECK(errorOfReading(folder / "missing.wav").code == dsp::ErrorCode::notFound);

    std::filesystem::create_directory(folder / "folder.wav");
    const auto asFolder = errorOfReading(folder / "folder.wav");
    CHECK(asFolder.code == dsp::ErrorCode::unreadable);
    CHECK_THAT(asFolder.message, Contains("folder"));

    test::writeBytes(folder / "notes.wav", "These are notes about the ride, not a recording.\n");
    const auto asText = errorOfReading(folder / "notes.wav");
    CHECK(asText.code == dsp::ErrorCode::unreadable);
    CHECK_THAT(asText.message, Contains("Use WAV"));

    test::writeBytes(folder / "empty.wav", "");
    CHECK(errorOfReading(folder / "empty.wav").code == dsp::ErrorCode::unreadable);
}

TEST_CASE("A WAV file of no samples is refused", "[core][files]")
{
    const test::TemporaryFolder folder;
    test::writeBytes(folder / "zero.wav", wavBytes({}, ""));
    const auto error = errorOfReading(folder / "zero.wav");
    CHECK(error.code == dsp::ErrorCode::unreadable);
    CHECK_THAT(error.message, Contains("zero length"));
}

TEST_CASE("Sample rates that no recorder has are refused", "[core][files]")
{
    const test::TemporaryFolder folder;
    const std::string data(400, '\1');
    for (const std::uint32_t rate : {3U, 7999U, 384001U}) {
        test::writeBytes(folder / "odd.wav", wavBytes({.sampleRate = rate}, data));
        const auto error = errorOfReading(folder / "odd.wav");
        CHECK(error.code == dsp::ErrorCode::outOfRange);
        CHECK_THAT(error.message, Contains(std::to_string(rate) + " Hz"));
    }
    test::writeBytes(folder / "even.wav", wavBytes({.sampleRate = 8000}, data));
    CHECK(files::readAudioFile(folder / "even.wav").has_value());
}

TEST_CASE("A float file with a sample that is no number is refused with its place", "[core][files]")
{
    const test::TemporaryFolder folder;
    for (const float bad :
         {std::numeric_limits<float>::quiet_NaN(), std::numeric_limits<float>::infinity()}) {
        std::vector<float> samples(200, 0.1F);
        samples[2 * 30 + 1] = bad;
        test::writeBytes(folder / "bad.wav",
                         wavBytes({.coding = WavCoding::ieeeFloat, .numChannels = 2, .numBits = 32},
                                  floatBytes(samples)));
        const auto error = errorOfReading(folder / "bad.wav");
        CHECK(error.code == dsp::ErrorCode::outOfRange);
        CHECK_THAT(error.message, Contains("channel 2") && Contains("frame 30"));
    }
}

TEST_CASE("The length of a file is told without reading its samples", "[core][files]")
{
    const test::TemporaryFolder folder;
    // What readAudioFile() would refuse shows that nobody looked.
    const std::vector<float> samples(2 * 4000, std::numeric_limits<float>::quiet_NaN());
    test::writeBytes(
        folder / "take.wav",
        wavBytes(
            {.coding = WavCoding::ieeeFloat, .numChannels = 2, .sampleRate = 16000, .numBits = 32},
            floatBytes(samples)));
    REQUIRE_FALSE(files::readAudioFile(folder / "take.wav"));
    const auto length = files::readAudioLength(folder / "take.wav");
    REQUIRE(length);
    CHECK(length->numFrames == 4000);
    CHECK(length->numChannels == 2);
    CHECK(length->seconds() == Approx(0.25));
    test::writeBytes(folder / "none.wav", wavBytes({}, ""));
    for (const char* const name : {"none.wav", "missing.wav"}) {
        const auto refused = files::readAudioLength(folder / name);
        REQUIRE_FALSE(refused);
        CHECK(refused.error() == errorOfReading(folder / name));
    }
}

TEST_CASE("Reading a file tells how far it is and ends when told to", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto file = folder / "long.wav";
    REQUIRE(files::writeAudioFile(stereoProgramme(2'000'000), file, SampleFormat::pcm16));
    std::vector<double> told;
    REQUIRE(files::readAudioFile(file, {}, [&](double share) {
        told.push_back(share);
        return true;
    }));
    REQUIRE(told.size() >= 3);
    CHECK(std::ranges::is_sorted(told));
    CHECK(told.front() > 0.0);
    CHECK(told.back() <= 1.0);
    std::size_t numAsked = 0;
    const auto ended = files::readAudioFile(file, {}, [&](double) {
        ++numAsked;
        return false;
    });
    REQUIRE_FALSE(ended);
    CHECK(numAsked == 1);
    CHECK(ended.error().message == files::readCancelledMessage);
}

TEST_CASE("Files beyond the limits are refused", "[core][files]")
{
    const test::TemporaryFolder folder;
    REQUIRE(files::writeAudioFile(stereoProgramme(48000), folder / "a.wav", SampleFormat::pcm16)
                .has_value());
    const auto tooLong = errorOfReading(folder / "a.wav", {.maxSeconds = 0.5});
    CHECK(tooLong.code == dsp::ErrorCode::outOfRange);
    CHECK_THAT(tooLong.message, Contains("longer than"));
    const auto tooMany = errorOfReading(folder / "a.wav", {.maxChannels = 1});
    CHECK(tooMany.code == dsp::ErrorCode::outOfRange);
    CHECK_THAT(tooMany.message, Contains("2 channels"));
    CHECK(files::readAudioFile(folder / "a.wav", {.maxSeconds = 1.0}).has_value());
}

TEST_CASE("A header that promises more than the file holds does no harm", "[core][files]")
{
    const test::TemporaryFolder folder;
    std::string bytes = wavBytes({}, std::string(2000, '\1'));
    bytes.resize(bytes.size() - 1000);
    test::writeBytes(folder / "cut.wav", bytes);
    const auto audio = files::readAudioFile(folder / "cut.wav");
    if (audio)
        CHECK(audio->numFrames() == 500);
    else
        CHECK(audio.error().code == dsp::ErrorCode::unreadable);
}

TEST_CASE("Long files, read in parts, are what they are read in order", "[core][files]")
{
    // FLAC is read in order, whatever its length; integers of both kinds of file are the same.
    constexpr std::size_t numFrames = 700001;
    const test::TemporaryFolder folder;
    for (const std::size_t numChannels : {std::size_t {1}, std::size_t {2}, std::size_t {3}}) {
        dsp::AudioBuffer audio = dsp::makeSilence(48000.0, numChannels, numFrames);
        dsp::RandomSource random(numChannels);
        for (auto& samples : audio.channels)
            for (float& sample : samples)
                sample = static_cast<float>(1.8 * random.nextUniform() - 0.9);
        for (const SampleFormat format : {SampleFormat::pcm16, SampleFormat::pcm24}) {
            REQUIRE(files::writeAudioFile(audio, folder / "a.wav", format));
            REQUIRE(files::writeAudioFile(audio, folder / "a.flac", format));
            const auto inParts = files::readAudioFile(folder / "a.wav");
            const auto inOrder = files::readAudioFile(folder / "a.flac");
            REQUIRE(inParts);
            REQUIRE(inOrder);
            CHECK(inParts->channels == inOrder->channels);
        }
        REQUIRE(files::writeAudioFile(audio, folder / "a.wav", SampleFormat::float32));
        CHECK(files::readAudioFile(folder / "a.wav")->channels == audio.channels);
    }
}

TEST_CASE("A long file that lacks its end or holds what is no number is known by it",
          "[core][files]")
{
    constexpr std::size_t numFrames = 600000;
    const test::TemporaryFolder folder;
    std::vector<float> samples(2 * numFrames, 0.1F);
    const WavHeader header {.coding = WavCoding::ieeeFloat, .numChannels = 2, .numBits = 32};
    std::string cut = wavBytes(header, floatBytes(samples));
    cut.resize(cut.size() - 8 * 100000);
    test::writeBytes(folder / "cut.wav", cut);
    const auto read = files::readAudioFile(folder / "cut.wav");
    REQUIRE(read);
    CHECK(read->numFrames() == numFrames - 100000);

    samples[2 * 590000] = std::numeric_limits<float>::quiet_NaN();
    test::writeBytes(folder / "bad.wav", wavBytes(header, floatBytes(samples)));
    const auto error = errorOfReading(folder / "bad.wav");
    CHECK(error.code == dsp::ErrorCode::outOfRange);
    CHECK_THAT(error.message, Contains("channel 1") && Contains("frame 590000"));
}

TEST_CASE("A disk that fills up leaves the previous file whole", "[core][files]")
{
    const test::TemporaryFolder folder;
    const dsp::AudioBuffer small = stereoProgramme(100);
    const dsp::AudioBuffer large = stereoProgramme(200000);
    for (const char* name : {"a.wav", "a.flac"}) {
        REQUIRE(files::writeAudioFile(small, folder / name, SampleFormat::pcm24).has_value());
        const std::string before = test::bytesOf(folder / name);
        const std::size_t entries = folder.numEntries();
        bool written = false;
        dsp::Error error;
        {
            const test::FileSizeLimit limit(64U * 1024U);
            const auto result = files::writeAudioFile(large, folder / name, SampleFormat::pcm24);
            written = result.has_value();
            if (!written)
                error = result.error();
        }
        CAPTURE(name);
        REQUIRE_FALSE(written);
        CHECK(error.code == dsp::ErrorCode::cannotWrite);
        CHECK(test::bytesOf(folder / name) == before);
        CHECK(folder.numEntries() == entries);
    }
}

TEST_CASE("A read-only folder refuses audio and keeps what it has", "[core][files]")
{
    const test::TemporaryFolder folder;
    const dsp::AudioBuffer audio = stereoProgramme(100);
    REQUIRE(files::writeAudioFile(audio, folder / "a.wav", SampleFormat::pcm16).has_value());
    const std::string before = test::bytesOf(folder / "a.wav");
    std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_read
                                                    | std::filesystem::perms::owner_exec
                                                    | std::filesystem::perms::others_read
                                                    | std::filesystem::perms::others_exec);
    dsp::Result<void> written;
    {
        const test::Unprivileged user;
        written = files::writeAudioFile(audio, folder / "a.wav", SampleFormat::pcm24);
    }
    REQUIRE_FALSE(written.has_value());
    CHECK(written.error().code == dsp::ErrorCode::cannotWrite);
    CHECK(test::bytesOf(folder / "a.wav") == before);
    CHECK(folder.numEntries() == 1);
}

TEST_CASE("Sample formats round trip by name and others are refused", "[core][files]")
{
    for (const auto format : {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32}) {
        const auto parsed = files::parseSampleFormat(files::sampleFormatName(format));
        REQUIRE(parsed.has_value());
        CHECK(*parsed == format);
    }
    const auto refused = files::parseSampleFormat("20");
    REQUIRE_FALSE(refused.has_value());
    CHECK_THAT(refused.error().message, Contains("'20'") && Contains("16, 24 or 32f"));
}

namespace {

/** Bit rates in kb/s of all the frames of an MPEG-1 layer III file without tags in front, from the
    frame headers by ISO/IEC 11172-3, 2.4.2.3: bit rate index and sampling frequency in the third
    byte, frame length 144 bit rate / sampling frequency, and one byte of padding where its bit is
    set. Throws where no frame follows a frame. */
std::vector<int> frameBitRatesKbps(const std::string& bytes)
{
    constexpr std::array<int, 15> bitRates {0,   32,  40,  48,  56,  64,  80, 96,
                                            112, 128, 160, 192, 224, 256, 320};
    constexpr std::array<int, 3> sampleRates {44100, 48000, 32000};
    std::vector<int> found;
    std::size_t place = 0;
    while (place + 4 <= bytes.size()) {
        const auto byte = [&](std::size_t offset) {
            return static_cast<unsigned>(static_cast<unsigned char>(bytes[place + offset]));
        };
        // Syncword, MPEG-1, layer III.
        if (byte(0) != 0xFFU || (byte(1) & 0xFEU) != 0xFAU)
            throw std::runtime_error("no frame at byte " + std::to_string(place));
        found.push_back(bitRates.at(byte(2) >> 4U));
        place += static_cast<std::size_t>(144 * found.back() * 1000
                                          / sampleRates.at((byte(2) >> 2U) & 3U))
                 + ((byte(2) >> 1U) & 1U);
    }
    return found;
}

} // namespace

TEST_CASE("Every frame of an MP3 file has 320 kb/s", "[core][files]")
{
    const test::TemporaryFolder folder;
    for (const double sampleRate : files::mp3SampleRates)
        for (const std::size_t numChannels : {std::size_t {1}, std::size_t {2}}) {
            dsp::AudioBuffer audio = stereoProgramme();
            audio.sampleRate = sampleRate;
            audio.channels.resize(numChannels);
            const auto file = folder / "a.mp3";
            const auto written = files::writeAudioFile(audio, file, SampleFormat::pcm16);
            if (!written)
                FAIL(written.error().message);
            const auto rates = frameBitRatesKbps(test::bytesOf(file));
            // Frames of 1152 samples.
            CHECK(rates.size() >= 48000 / 1152);
            CHECK(std::ranges::all_of(rates, [](int rate) { return rate == 320; }));
            CHECK(folder.numEntries() == 1);

            const auto back = files::readAudioFile(file);
            REQUIRE(back.has_value());
            CHECK(back->sampleRate == sampleRate);
            CHECK(back->numChannels() == numChannels);
            // The encoder's delay is trimmed by the tag in the file: the samples stand in place.
            REQUIRE(back->numFrames() == 48000);
            double error = 0.0;
            for (std::size_t frame = 4800; frame < 43200; ++frame) {
                const double difference = static_cast<double>(back->channels[0][frame])
                                          - static_cast<double>(audio.channels[0][frame]);
                error += difference * difference;
            }
            // A tone of amplitude 0.7 comes back with an error 40 dB below it.
            CHECK(std::sqrt(2.0 * error / 38400.0) < 0.007);
        }
}

TEST_CASE("MP3 files are the same in every run", "[core][files]")
{
    const test::TemporaryFolder folder;
    for (const char* name : {"a.mp3", "b.mp3"})
        REQUIRE(files::writeAudioFile(stereoProgramme(), folder / name, SampleFormat::pcm16)
                    .has_value());
    CHECK(test::bytesOf(folder / "a.mp3") == test::bytesOf(folder / "b.mp3"));
}

TEST_CASE("What MP3 cannot hold is refused and leaves nothing", "[core][files]")
{
    const test::TemporaryFolder folder;
    const auto refused = [&](const dsp::AudioBuffer& audio) {
        const auto written = files::writeAudioFile(audio, folder / "a.mp3", SampleFormat::float32);
        REQUIRE_FALSE(written.has_value());
        CHECK_THAT(written.error().message, Contains("a.mp3"));
        CHECK(folder.numEntries() == 0);
        return written.error().message;
    };
    CHECK_THAT(refused(dsp::makeSilence(96000.0, 1, 4800)), Contains("96000"));
    CHECK_THAT(refused(dsp::makeSilence(22050.0, 1, 4800)), Contains("22050"));
    CHECK_THAT(refused(dsp::makeSilence(48000.0, 3, 4800)), Contains("3"));
    dsp::AudioBuffer loud = dsp::makeSilence(48000.0, 1, 4800);
    loud.channels[0][7] = 1.5F;
    CHECK_THAT(refused(loud), Contains("full scale"));
}

TEST_CASE("File types go by the name's ending and round trip by name", "[core][files]")
{
    using files::FileType;
    CHECK(files::fileTypeOf("a/b.wav") == FileType::wav);
    CHECK(files::fileTypeOf("a/b.flac") == FileType::flac);
    CHECK(files::fileTypeOf("a/b.mp3") == FileType::mp3);
    CHECK(files::fileTypeOf("a/b") == FileType::wav);
    for (const FileType type : {FileType::wav, FileType::flac, FileType::mp3}) {
        const auto parsed = files::parseFileType(files::fileTypeName(type));
        REQUIRE(parsed.has_value());
        CHECK(*parsed == type);
    }
    CHECK_FALSE(files::parseFileType("ogg").has_value());
}
