#include "Core/Measure/TakeWriter.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Files/AudioFile.h"
#include "Support/RefusedWrites.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <csignal>
#include <limits>
#include <new>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace saddletone;
using files::SampleFormat;
using measure::TakeWriter;

namespace {

/** Samples that tell their own place and are exact in 24 bits. */
float sampleAt(std::uint64_t place)
{
    const auto step = static_cast<std::int64_t>((place * 7919U + 13U) % 16000000U) - 8000000;
    return static_cast<float>(step) / 8388608.0F;
}

std::vector<float> samplesFrom(std::uint64_t begin, std::size_t count)
{
    std::vector<float> samples(count);
    for (std::size_t index = 0; index < count; ++index)
        samples[index] = sampleAt(begin + index);
    return samples;
}

/** Number of frames of a file that hold what was written, from its start. */
std::size_t numRightFrames(const dsp::AudioBuffer& audio, double tolerance)
{
    const std::size_t numChannels = audio.numChannels();
    for (std::size_t frame = 0; frame < audio.numFrames(); ++frame)
        for (std::size_t channel = 0; channel < numChannels; ++channel)
            if (std::abs(audio.channels[channel][frame] - sampleAt(frame * numChannels + channel))
                > tolerance)
                return frame;
    return audio.numFrames();
}

/** Dither of at most one step and rounding by half of one. */
double toleranceOf(SampleFormat format)
{
    return format == SampleFormat::float32 ? 0.0 : 1.51 / 8388608.0;
}

/** Memory that a child process shares with this one. */
class SharedCounter {
public:
    SharedCounter()
        : memory(mmap(nullptr, sizeof(Counter), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS,
                      -1, 0))
    {
        REQUIRE(memory != MAP_FAILED);
        counter = new (memory) Counter(0);
    }
    ~SharedCounter() { munmap(memory, sizeof(Counter)); }
    SharedCounter(const SharedCounter&) = delete;
    SharedCounter& operator=(const SharedCounter&) = delete;

    using Counter = std::atomic<std::uint64_t>;
    [[nodiscard]] Counter& operator*() const noexcept { return *counter; }

private:
    void* memory;
    Counter* counter = nullptr;
};

} // namespace

TEST_CASE("A finished take reads back as it was written", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto format = GENERATE(SampleFormat::float32, SampleFormat::pcm24);
    const std::size_t numChannels = GENERATE(1U, 2U, 5U);
    const double sampleRate = GENERATE(44100.0, 192000.0);
    const std::size_t numFrames = 30001; // odd, so that 24-bit mono needs its padding byte
    auto writer = TakeWriter::create(folder.path(), "take", {sampleRate, numChannels, format});
    REQUIRE(writer);
    std::size_t frame = 0;
    for (std::size_t length = 1; frame < numFrames; length = length * 3 % 5000 + 1) {
        const std::size_t count = std::min(length, numFrames - frame);
        REQUIRE(writer->append(samplesFrom(frame * numChannels, count * numChannels)));
        frame += count;
    }
    CHECK(writer->numFrames() == numFrames);
    REQUIRE(writer->finish());
    const auto audio = files::readAudioFile(writer->file());
    REQUIRE(audio);
    CHECK(audio->sampleRate == sampleRate);
    CHECK(audio->numChannels() == numChannels);
    CHECK(audio->numFrames() == numFrames);
    CHECK(numRightFrames(*audio, toleranceOf(format)) == numFrames);
    CHECK(std::filesystem::file_size(writer->file()) % 2 == 0);
}

TEST_CASE("A take cut off at any byte still opens, with every whole frame it holds",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto format = GENERATE(SampleFormat::float32, SampleFormat::pcm24);
    const std::size_t numChannels = GENERATE(1U, 2U);
    auto writer = TakeWriter::create(folder.path(), "take", {48000.0, numChannels, format});
    REQUIRE(writer);
    REQUIRE(writer->append(samplesFrom(0, 60000 * numChannels)));
    const bool finished = GENERATE(true, false);
    if (finished)
        REQUIRE(writer->finish());
    else
        REQUIRE(writer->flush());
    const std::string bytes = test::bytesOf(writer->file());
    const std::size_t headerBytes = format == SampleFormat::float32 ? 56 : 44;
    const std::size_t frameBytes = numChannels * (format == SampleFormat::float32 ? 4 : 3);
    REQUIRE(bytes.size() >= headerBytes + 60000 * frameBytes);

    dsp::RandomSource random(5);
    const auto cut = folder / "cut.wav";
    for (int round = 0; round < 150; ++round) {
        const double share = round == 0 ? 0.8 : random.nextUniform();
        const std::size_t least = headerBytes + frameBytes;
        const std::size_t length =
            round == 1
                ? least
                : least
                      + static_cast<std::size_t>(share * static_cast<double>(bytes.size() - least));
        test::writeBytes(cut, std::string_view(bytes).substr(0, length));
        const auto audio = files::readAudioFile(cut);
        INFO("cut to " << length << " bytes");
        REQUIRE(audio);
        const std::size_t whole = std::min<std::size_t>((length - headerBytes) / frameBytes, 60000);
        CHECK(audio->numFrames() == whole);
        CHECK(numRightFrames(*audio, toleranceOf(format)) == whole);
        const auto told = files::readAudioLength(cut);
        REQUIRE(told);
        CHECK(told->numFrames == whole);
        CHECK(told->numChannels == numChannels);
        CHECK(told->sampleRate == 48000.0);
    }
}

TEST_CASE("A take whose program is killed while writing keeps all but its last half second",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto format = GENERATE(SampleFormat::float32, SampleFormat::pcm24);
    dsp::RandomSource random(11);
    for (int round = 0; round < 4; ++round) {
        const SharedCounter appended;
        const std::string name = "killed" + std::to_string(round);
        const pid_t child = fork();
        REQUIRE(child >= 0);
        if (child == 0) {
            auto writer = TakeWriter::create(folder.path(), name, {48000.0, 1, format});
            if (!writer)
                _exit(1);
            for (std::uint64_t frame = 0;; frame += 480) {
                if (!writer->append(samplesFrom(frame, 480)))
                    _exit(2);
                *appended = frame + 480;
            }
        }
        // Long enough for some seconds of audio, however slow the disk is.
        while (*appended < 5 * 48000)
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        const auto file = folder / (name + "-01.wav");
        CHECK(TakeWriter::isBeingWritten(file));
        std::this_thread::sleep_for(
            std::chrono::microseconds(static_cast<int>(random.nextUniform() * 20000.0)));
        kill(child, SIGKILL);
        int status = 0;
        waitpid(child, &status, 0);
        REQUIRE(WIFSIGNALED(status));
        CHECK_FALSE(TakeWriter::isBeingWritten(file));

        const auto audio = files::readAudioFile(file);
        REQUIRE(audio);
        const std::size_t right = numRightFrames(*audio, toleranceOf(format));
        INFO(right << " of " << *appended << " frames");
        CHECK(right == audio->numFrames());
        CHECK(right + 24480 >= *appended); // half a second and the block being added
        CHECK(static_cast<double>(right) >= 0.8 * static_cast<double>(*appended));
    }
}

TEST_CASE("A take is stopped by a full disk with a message, and what was written is kept",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto format = GENERATE(SampleFormat::float32, SampleFormat::pcm24);
    auto writer = TakeWriter::create(folder.path(), "take", {48000.0, 1, format});
    REQUIRE(writer);
    dsp::Result<void> result;
    {
        const test::FileSizeLimit limit(500001);
        for (int second = 0; second < 10 && result; ++second)
            result = writer->append(samplesFrom(static_cast<std::uint64_t>(second) * 48000, 48000));
        REQUIRE_FALSE(result);
        CHECK(result.error().code == dsp::ErrorCode::cannotWrite);
        CHECK_THAT(result.error().message,
                   Catch::Contains("take-01.wav") && Catch::Contains("make room on the disk"));
        // It stays failed.
        CHECK_FALSE(writer->append(samplesFrom(0, 10)));
        CHECK_FALSE(writer->flush());
        CHECK_FALSE(writer->finish());
    }
    const auto audio = files::readAudioFile(writer->file());
    REQUIRE(audio);
    const std::size_t frameBytes = format == SampleFormat::float32 ? 4 : 3;
    CHECK(audio->numFrames() >= (500001 - 56) / frameBytes);
    CHECK(numRightFrames(*audio, toleranceOf(format)) == audio->numFrames());
}

TEST_CASE("A take that cannot even begin leaves no file behind", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const test::FileSizeLimit limit(20);
    const auto writer = TakeWriter::create(folder.path(), "take", {});
    REQUIRE_FALSE(writer);
    CHECK(writer.error().code == dsp::ErrorCode::cannotWrite);
    CHECK_THAT(writer.error().message, Catch::Contains("make room on the disk"));
    CHECK(folder.numEntries() == 0);
}

TEST_CASE("Takes are numbered, and none replaces another", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto make = [&](const std::string& name) {
        auto writer = TakeWriter::create(folder.path(), name, {});
        REQUIRE(writer);
        REQUIRE(writer->append(samplesFrom(0, 100)));
        REQUIRE(writer->finish());
        return writer->file().filename().string();
    };
    CHECK(make("head") == "head-01.wav");
    CHECK(make("head") == "head-02.wav");
    CHECK(make("head left") == "head left-01.wav");
    test::writeBytes(folder / "head-41.take.json", "{}");
    CHECK(make("head") == "head-42.wav");
    test::writeBytes(folder / "head-099.wav", "");
    CHECK(make("head") == "head-100.wav");

    for (const char* name : {"", "../escape", "a/b", ".hidden", "a\\b", "new\nline", " "})
        CHECK_FALSE(TakeWriter::create(folder.path(), name, {}));
    CHECK_FALSE(TakeWriter::create(
        folder.path(), "head",
        {.sampleRate = 48000.0, .numChannels = 1, .sampleFormat = SampleFormat::pcm16}));
    test::writeBytes(folder / "file", "");
    CHECK_FALSE(TakeWriter::create(folder / "file", "head", {}));
}

TEST_CASE("24-bit takes are limited to full scale, float takes keep overs, and neither NaN",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const std::vector<float> samples {2.0F, -2.0F, std::numeric_limits<float>::quiet_NaN(),
                                      std::numeric_limits<float>::infinity(), 0.25F};
    for (const auto format : {SampleFormat::pcm24, SampleFormat::float32}) {
        auto writer = TakeWriter::create(folder.path(), "take", {48000.0, 1, format});
        REQUIRE(writer);
        REQUIRE(writer->append(samples));
        REQUIRE(writer->appendSilence(50000));
        REQUIRE(writer->finish());
        const auto audio = files::readAudioFile(writer->file());
        REQUIRE(audio);
        const auto& read = audio->channels.front();
        REQUIRE(read.size() == 50005);
        const float highest = format == SampleFormat::float32 ? 2.0F : 1.0F;
        CHECK(read[0] == Approx(highest).margin(1e-6));
        CHECK(read[1] == Approx(-highest).margin(1e-6));
        CHECK(std::abs(read[2]) < 1e-6F);
        CHECK(std::abs(read[3]) < 1e-6F);
        CHECK(read[4] == Approx(0.25).margin(1e-6));
        CHECK(std::abs(read[50004]) < 1e-6F);
    }
}
