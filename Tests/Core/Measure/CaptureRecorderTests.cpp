#include "Core/Measure/CaptureRecorder.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Measure/Measurement.h"
#include "Support/AllocationCounter.h"
#include "Support/LockCounter.h"
#include "Support/RefusedWrites.h"
#include "Support/SimulatedBike.h"
#include "Support/TemporaryFolder.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <csignal>
#include <limits>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

using namespace saddletone;
using measure::CaptureRecorder;
using measure::CaptureSpec;
using measure::CaptureState;
using measure::DropoutCause;
using measure::TakeEnd;
using measure::TakeRequest;

namespace {

/** A sample that tells its own place. */
float sampleAt(std::uint64_t frame)
{
    return static_cast<float>(static_cast<double>(frame % 100003U) / 100003.0 - 0.5);
}

std::vector<float> samplesFrom(std::uint64_t begin, std::size_t count)
{
    std::vector<float> samples(count);
    for (std::size_t index = 0; index < count; ++index)
        samples[index] = sampleAt(begin + index);
    return samples;
}

void pushMono(CaptureRecorder& recorder, std::span<const float> samples)
{
    const float* const pointers[] {samples.data()};
    recorder.push({pointers, 1, samples.size()});
}

/** Waits, for at most ten seconds, until something holds. */
template <typename Condition>
bool waitFor(Condition condition)
{
    for (int attempt = 0; attempt < 5000; ++attempt) {
        if (condition())
            return true;
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return false;
}

void waitUntilTaken(const CaptureRecorder& recorder)
{
    REQUIRE(waitFor([&] { return recorder.status().bufferFillProportion == 0.0; }));
}

/** Pushes faster than time, yet never so fast that the ring fills. */
void pushSteadily(CaptureRecorder& recorder, std::span<const float> samples)
{
    for (std::size_t begin = 0; begin < samples.size(); begin += 480) {
        REQUIRE(waitFor([&] { return recorder.status().bufferFillProportion < 0.5; }));
        pushMono(recorder,
                 samples.subspan(begin, std::min<std::size_t>(480, samples.size() - begin)));
    }
}

dsp::AudioBuffer readTake(const std::filesystem::path& file)
{
    auto audio = files::readAudioFile(file);
    REQUIRE(audio);
    return std::move(*audio);
}

TakeRequest requestIn(const test::TemporaryFolder& folder)
{
    TakeRequest request;
    request.folder = folder.path();
    return request;
}

} // namespace

TEST_CASE("A take begins with the pre-roll and goes on without a seam", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    CHECK(recorder.status().state == CaptureState::closed);
    REQUIRE(recorder.open({.preRollSeconds = 1.0, .device = "built-in input"}));
    CHECK(recorder.status().state == CaptureState::listening);
    pushSteadily(recorder, samplesFrom(0, 100000));
    auto request = requestIn(folder);
    request.name = "head";
    request.place = "head centre";
    request.gainNote = "gain 3";
    request.purpose = measure::TakePurpose::noiseFloor;
    const auto file = recorder.start(request);
    REQUIRE(file);
    CHECK(file->filename() == "head-01.wav");
    CHECK(recorder.status().state == CaptureState::recording);
    // The record is there while the take is made, so that a crash leaves both.
    const auto early = measure::loadTakeRecord(*file);
    REQUIRE(early);
    CHECK(early->end == TakeEnd::unfinished);
    pushSteadily(recorder, samplesFrom(100000, 30000));
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(recorder.status().state == CaptureState::listening);

    const auto audio = readTake(*file);
    CHECK(audio.channels.front() == samplesFrom(52000, 78000));
    const auto record = measure::loadTakeRecord(*file);
    REQUIRE(record);
    CHECK(*record == take->record);
    CHECK(record->numFrames == 78000);
    CHECK(record->preRollSeconds == 1.0);
    CHECK(record->end == TakeEnd::byUser);
    CHECK(record->place == "head centre");
    CHECK(record->device == "built-in input");
    CHECK(record->gainNote == "gain 3");
    CHECK(record->purpose == measure::TakePurpose::noiseFloor);
    CHECK(record->dropouts.empty());
    CHECK(record->problem.empty());
    CHECK(record->recordedAt.size() == 20);
    // The next take has a name of its own.
    const auto next = recorder.start(request);
    REQUIRE(next);
    CHECK(next->filename() == "head-02.wav");
}

TEST_CASE("Chosen channels are recorded, at any block length, and clips are counted",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    const auto format = GENERATE(files::SampleFormat::float32, files::SampleFormat::pcm24);
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.sampleRate = 96000.0, .deviceChannels = {2, 0, 7}}));
    auto request = requestIn(folder);
    request.format = format;
    REQUIRE(recorder.start(request));
    std::vector<std::vector<float>> input(3);
    for (std::size_t channel = 0; channel < 3; ++channel)
        input[channel] = samplesFrom(1000 * channel, 5000);
    input[0][100] = 1.0F;
    input[0][101] = 1.0F;
    input[2][7] = std::numeric_limits<float>::quiet_NaN();
    input[1][50] = 1.0F; // not recorded
    for (std::size_t begin = 0, length = 0; begin < 5000; length = (length * 3 + 1) % 700) {
        const std::size_t count = std::min(length, 5000 - begin);
        const float* const pointers[] {input[0].data() + begin, input[1].data() + begin,
                                       input[2].data() + begin};
        recorder.push({pointers, 3, count});
        begin += count;
    }
    CHECK(recorder.meter(0).numClips() == 1);
    CHECK(recorder.meter(1).numClips() == 1);
    recorder.resetClips();
    CHECK_FALSE(recorder.meter(1).isClipHeld());
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.numClips == 2);
    CHECK(take->record.deviceChannels == std::vector<std::size_t> {2, 0, 7});
    const auto audio = readTake(take->audioFile);
    REQUIRE(audio.numChannels() == 3);
    REQUIRE(audio.numFrames() == 5000);
    CHECK(audio.sampleRate == 96000.0);
    input[2][7] = 0.0F;
    for (std::size_t frame = 0; frame < 5000; ++frame) {
        REQUIRE(std::abs(audio.channels[0][frame] - input[2][frame]) < 2e-7F);
        REQUIRE(std::abs(audio.channels[1][frame] - input[0][frame]) < 2e-7F);
        REQUIRE(std::abs(audio.channels[2][frame]) < 2e-7F); // the device has no eighth input
    }
}

TEST_CASE("What does not fit into the buffer is listed with its time and filled with silence",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0, .bufferSeconds = 0.1}));
    REQUIRE(recorder.start(requestIn(folder)));
    pushSteadily(recorder, samplesFrom(0, 9600));
    waitUntilTaken(recorder);
    // Of one block of 0.2 s, half fits.
    pushMono(recorder, samplesFrom(9600, 9600));
    waitUntilTaken(recorder);
    pushSteadily(recorder, samplesFrom(19200, 4800));
    const auto take = recorder.stop();
    REQUIRE(take);
    REQUIRE(take->record.dropouts.size() == 1);
    const auto& dropout = take->record.dropouts.front();
    CHECK(dropout.cause == DropoutCause::bufferFull);
    CHECK(dropout.lostFrames == 4800);
    CHECK(dropout.timeSeconds == Approx(0.3));
    CHECK(dropout.filledWithSilence);
    auto expected = samplesFrom(0, 24000);
    std::fill(expected.begin() + 14400, expected.begin() + 19200, 0.0F);
    CHECK(readTake(take->audioFile).channels.front() == expected);
}

TEST_CASE("A loss at the very end of a take is listed too", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0, .bufferSeconds = 0.1}));
    REQUIRE(recorder.start(requestIn(folder)));
    pushMono(recorder, samplesFrom(0, 9600));
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.numFrames == 4800);
    REQUIRE(take->record.dropouts.size() == 1);
    CHECK(take->record.dropouts.front().lostFrames == 4800);
    CHECK_FALSE(take->record.dropouts.front().filledWithSilence);
}

TEST_CASE("Gaps that the device reports are listed with their time", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 1.0}));
    pushMono(recorder, samplesFrom(0, 24000));
    recorder.reportGap(480); // within the pre-roll
    pushMono(recorder, samplesFrom(24480, 24000));
    waitUntilTaken(recorder);
    CHECK(recorder.status().numDropouts == 1);
    CHECK(recorder.status().numLostFrames == 480);
    REQUIRE(recorder.start(requestIn(folder)));
    recorder.reportGap(0);
    pushMono(recorder, samplesFrom(48480, 4800));
    recorder.reportGap(std::numeric_limits<std::uint32_t>::max()); // too long to be filled
    pushMono(recorder, samplesFrom(53280, 4800));
    waitUntilTaken(recorder);
    REQUIRE(waitFor([&] { return recorder.status().numDropouts == 3; }));
    const auto take = recorder.stop();
    REQUIRE(take);
    const auto& dropouts = take->record.dropouts;
    REQUIRE(dropouts.size() == 3);
    // One second of pre-roll is held: of 24000 + 480 + 24000 frames the last 48000.
    CHECK(dropouts[0].timeSeconds == Approx(23520.0 / 48000.0));
    CHECK(dropouts[0].lostFrames == 480);
    CHECK(dropouts[0].filledWithSilence);
    CHECK(dropouts[1].timeSeconds == Approx(1.0));
    CHECK(dropouts[1].lostFrames == 0);
    CHECK_FALSE(dropouts[1].filledWithSilence);
    CHECK(dropouts[2].timeSeconds == Approx(1.1));
    CHECK_FALSE(dropouts[2].filledWithSilence);
    for (const auto& dropout : dropouts)
        CHECK(dropout.cause == DropoutCause::device);
    auto expected = samplesFrom(480, 57600);
    std::fill(expected.begin() + 23520, expected.begin() + 24000, 0.0F);
    CHECK(readTake(take->audioFile).channels.front() == expected);
}

TEST_CASE("Dropouts beyond the first thousand are counted, if not listed", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0}));
    REQUIRE(recorder.start(requestIn(folder)));
    for (int count = 0; count < 1100; ++count) {
        // No more than the queue holds at once.
        if (count % 200 == 199)
            waitUntilTaken(recorder);
        recorder.reportGap(1);
        pushMono(recorder, samplesFrom(0, 1));
    }
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.dropouts.size() == 1000);
    CHECK(take->record.numUnlistedDropouts == 100);
    CHECK(take->record.numFrames == 2200);
    CHECK(measure::loadTakeRecord(take->audioFile)->numUnlistedDropouts == 100);
}

TEST_CASE("A dropout that reaches into the pre-roll counts with the part inside", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.5}));
    pushMono(recorder, samplesFrom(0, 4800));
    recorder.reportGap(9600);
    pushMono(recorder, samplesFrom(14400, 19200));
    waitUntilTaken(recorder);
    REQUIRE(recorder.start(requestIn(folder)));
    const auto take = recorder.stop();
    REQUIRE(take);
    REQUIRE(take->record.dropouts.size() == 1);
    CHECK(take->record.dropouts.front().timeSeconds == 0.0);
    CHECK(take->record.dropouts.front().lostFrames == 4800);
}

TEST_CASE("A lost block shows in the block times; jitter and clock drift do not", "[core][measure]")
{
    const test::TemporaryFolder folder;
    const double clockPpm = GENERATE(-300.0, 0.0, 300.0);
    const std::size_t lostBlocks = GENERATE(0U, 1U, 3U);
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0, .bufferSeconds = 20.0}));
    REQUIRE(recorder.start(requestIn(folder)));
    dsp::RandomSource random(4);
    const auto block = samplesFrom(0, 480);
    std::uint64_t deviceFrame = 0;
    for (int count = 0; count < 600; ++count) {
        if (count == 300)
            deviceFrame += lostBlocks * 480;
        // A callback comes up to 7 ms late, one in twenty 30 ms late.
        const double late = random.nextUniform() * (count % 20 == 7 ? 0.03 : 0.007);
        recorder.reportBlockTime(
            static_cast<double>(deviceFrame) / 48000.0 * (1.0 + clockPpm * 1e-6) + late);
        pushMono(recorder, block);
        deviceFrame += 480;
    }
    const auto take = recorder.stop();
    REQUIRE(take);
    if (lostBlocks == 0) {
        CHECK(take->record.dropouts.empty());
        return;
    }
    REQUIRE(take->record.dropouts.size() == 1);
    const auto& dropout = take->record.dropouts.front();
    CHECK(dropout.cause == DropoutCause::device);
    CHECK(static_cast<double>(dropout.lostFrames)
          == Approx(static_cast<double>(lostBlocks) * 480.0).margin(360.0));
    CHECK(dropout.timeSeconds >= 3.0);
    CHECK(dropout.timeSeconds <= 3.2);
}

TEST_CASE("A sweep's take stops by itself 0.7 s after the end marker and can be measured",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    signals::SignalRequest signal;
    signal.type = signals::SignalType::sweep;
    signal.seconds = 2.0;
    signal.levelDbfs = -12.0;
    const auto track = signals::makeSignal(signal);
    REQUIRE(track);
    const test::SimulatedBike bike;
    const auto sound = bike.play(track->audio.channels.front(), 48000.0);
    const double recorderRate = 44100.0;
    const auto recording = test::record(
        sound, 48000.0, {.sampleRate = recorderRate, .clockPpm = 200.0, .endSeconds = 4.0});
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.sampleRate = recorderRate}));
    // The track begins before "record" is pressed: its first marker stands in the pre-roll.
    const std::size_t pressed = 2 * 44100;
    pushSteadily(recorder, std::span(recording).first(pressed));
    auto request = requestIn(folder);
    request.stopAfter = track->description;
    REQUIRE(recorder.start(request));
    pushSteadily(recorder, std::span(recording).subspan(pressed));
    REQUIRE(waitFor([&] { return recorder.status().state == CaptureState::finished; }));
    CHECK(recorder.status().end == TakeEnd::endMarkerHeard);
    CHECK(recorder.status().numMarkersHeard == 2);
    CHECK_FALSE(recorder.start(request));
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.end == TakeEnd::endMarkerHeard);
    CHECK(take->record.problem.empty());
    const auto& layout = *track->description.sweepLayout;
    const double endSeconds = 1.0 + static_cast<double>(layout.secondMarkerFrame) / 48000.0
                              + layout.marker.durationSeconds + 0.7;
    CHECK(static_cast<double>(take->record.numFrames) / recorderRate
          == Approx(endSeconds).margin(0.02));

    measure::MeasurementRequest measurement;
    measurement.recordings.push_back({"take", readTake(take->audioFile)});
    measurement.track = track->description;
    const auto response = measure::measureResponse(measurement);
    REQUIRE(response);
    CHECK(response->clockPpm == Approx(200.0).margin(1.0));
}

TEST_CASE("A take ends at its longest length, and says so", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 2.0}));
    pushSteadily(recorder, samplesFrom(0, 24000));
    auto request = requestIn(folder);
    request.maxSeconds = 1.0;
    REQUIRE(recorder.start(request));
    pushSteadily(recorder, samplesFrom(24000, 96000));
    REQUIRE(waitFor([&] { return recorder.status().state == CaptureState::finished; }));
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.end == TakeEnd::longest);
    CHECK_THAT(take->record.problem, Catch::Contains("1 s"));
    CHECK(readTake(take->audioFile).channels.front() == samplesFrom(0, 48000));
}

TEST_CASE("A full disk ends the take with a clear message and keeps what was written",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0}));
    const test::FileSizeLimit limit(500000);
    REQUIRE(recorder.start(requestIn(folder)));
    pushSteadily(recorder, samplesFrom(0, 240000));
    REQUIRE(waitFor([&] { return recorder.status().state == CaptureState::finished; }));
    CHECK(recorder.status().end == TakeEnd::writeFailed);
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK_THAT(take->record.problem,
               Catch::Contains("take-01.wav") && Catch::Contains("make room on the disk"));
    const auto audio = readTake(take->audioFile);
    CHECK(audio.numFrames() == (500000 - 56) / 4);
    CHECK(audio.channels.front() == samplesFrom(0, audio.numFrames()));
    CHECK(measure::loadTakeRecord(take->audioFile)->end == TakeEnd::writeFailed);
}

TEST_CASE("Closing the device ends the take, which is kept and can be fetched", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.0}));
    REQUIRE(recorder.start(requestIn(folder)));
    pushMono(recorder, samplesFrom(0, 4800));
    recorder.close();
    CHECK(recorder.status().state == CaptureState::finished);
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK(take->record.end == TakeEnd::deviceClosed);
    CHECK_FALSE(take->record.problem.empty());
    CHECK(readTake(take->audioFile).channels.front() == samplesFrom(0, 4800));
    CHECK(recorder.status().state == CaptureState::closed);
    pushMono(recorder, samplesFrom(0, 480)); // without effect
    CHECK_FALSE(recorder.stop());
    CHECK_FALSE(recorder.start(requestIn(folder)));
}

TEST_CASE("Settings out of range and folders that cannot be written are refused", "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    CHECK_FALSE(recorder.open({.sampleRate = 4000.0}));
    CHECK_FALSE(recorder.open({.deviceChannels = {}}));
    CHECK_FALSE(recorder.open({.preRollSeconds = -1.0}));
    CHECK_FALSE(recorder.open({.bufferSeconds = 0.0}));
    REQUIRE(recorder.open({}));
    auto request = requestIn(folder);
    request.maxSeconds = 0.0;
    CHECK_FALSE(recorder.start(request));
    request = requestIn(folder);
    test::writeBytes(folder / "file", "");
    request.folder = folder / "file";
    CHECK_FALSE(recorder.start(request));
    request = requestIn(folder);
    request.name = "../out";
    CHECK_FALSE(recorder.start(request));
    CHECK(recorder.status().state == CaptureState::listening);
    CHECK_FALSE(recorder.stop());
}

TEST_CASE("Pushing takes no memory and no lock, while recording and when the buffer is full",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    const bool small = GENERATE(true, false);
    REQUIRE(recorder.open(
        {.sampleRate = 48000.0, .deviceChannels = {0, 1}, .bufferSeconds = small ? 0.05 : 8.0}));
    auto request = requestIn(folder);
    REQUIRE(recorder.start(request));
    const auto samples = samplesFrom(0, 1024);
    const float* const pointers[] {samples.data(), samples.data()};
    std::size_t heapCalls = 0;
    std::size_t numLocks = 0;
    std::uint64_t lost = 0;
    {
        const test::AllocationCounter allocations;
        const test::LockCounter locks;
        for (int block = 0; block < 300; ++block) {
            if (block % 50 == 20) {
                recorder.reportGap(100);
                lost += 100;
            }
            recorder.reportBlockTime(0.02 * block);
            recorder.push({pointers, 2, 1024U >> static_cast<unsigned>(block % 4)});
        }
        heapCalls = allocations.numHeapCalls();
        numLocks = locks.numLocks();
    }
    CHECK(heapCalls == 0);
    if (test::LockCounter::isAvailable())
        CHECK(numLocks == 0);
    const auto take = recorder.stop();
    REQUIRE(take);
    CHECK_FALSE(take->record.dropouts.empty());
    // Every frame pushed is in the take or listed as lost.
    std::uint64_t unfilled = 0;
    std::uint64_t listed = 0;
    for (const auto& dropout : take->record.dropouts) {
        listed += dropout.lostFrames;
        unfilled += dropout.filledWithSilence ? 0 : dropout.lostFrames;
    }
    const std::uint64_t pushed = 75U * (1024 + 512 + 256 + 128);
    if (!small)
        CHECK(take->record.numFrames == pushed + lost);
    else
        CHECK(take->record.numFrames + unfilled >= pushed);
    CHECK(listed >= lost);
}

TEST_CASE("A recorder in use by an audio thread and a screen at once loses nothing",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    CaptureRecorder recorder;
    REQUIRE(recorder.open({.preRollSeconds = 0.1}));
    std::atomic<bool> done {false};
    std::thread audio([&] {
        std::uint64_t frame = 0;
        while (!done) {
            pushMono(recorder, samplesFrom(frame, 256));
            frame += 256;
            std::this_thread::sleep_for(std::chrono::microseconds(500));
        }
    });
    std::thread screen([&] {
        while (!done) {
            const auto status = recorder.status();
            [[maybe_unused]] const double shown =
                status.elapsedSeconds + recorder.meter(0).peakDbfs();
            recorder.resetClips();
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        }
    });
    std::vector<measure::FinishedTake> takes;
    for (int count = 0; count < 4; ++count) {
        const auto started = recorder.start(requestIn(folder));
        std::this_thread::sleep_for(std::chrono::milliseconds(150));
        auto take = recorder.stop();
        if (started && take)
            takes.push_back(std::move(*take));
    }
    done = true;
    audio.join();
    screen.join();
    REQUIRE(takes.size() == 4);
    for (const auto& take : takes) {
        CHECK(take.record.dropouts.empty());
        const auto samples = readTake(take.audioFile).channels.front();
        REQUIRE(samples.size() > 4800);
        // One unbroken run of the stream, wherever it begins.
        const auto first = static_cast<std::uint64_t>(
            std::lround((static_cast<double>(samples.front()) + 0.5) * 100003.0));
        CHECK(samples == samplesFrom(first, samples.size()));
    }
}

TEST_CASE("A take recorded in real time by a program that is killed loses at most its last second",
          "[core][measure]")
{
    const test::TemporaryFolder folder;
    using Counter = std::atomic<std::uint64_t>;
    void* const memory =
        mmap(nullptr, sizeof(Counter), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    REQUIRE(memory != MAP_FAILED);
    auto* const pushed = new (memory) Counter(0);
    const pid_t child = fork();
    REQUIRE(child >= 0);
    if (child == 0) {
        CaptureRecorder recorder;
        if (!recorder.open({.preRollSeconds = 0.0}) || !recorder.start(requestIn(folder)))
            _exit(1);
        for (auto next = std::chrono::steady_clock::now();; next += std::chrono::milliseconds(10)) {
            std::this_thread::sleep_until(next);
            pushMono(recorder, samplesFrom(*pushed, 480));
            *pushed += 480;
        }
    }
    // Five seconds and a bit: at most a fifth of them may be lost.
    REQUIRE(waitFor([&] { return *pushed >= 250800; }));
    kill(child, SIGKILL);
    int status = 0;
    waitpid(child, &status, 0);
    REQUIRE(WIFSIGNALED(status));
    const std::uint64_t total = *pushed;
    munmap(memory, sizeof(Counter));
    const auto file = folder / "take-01.wav";
    const auto samples = readTake(file).channels.front();
    INFO(samples.size() << " of " << total << " frames");
    CHECK(samples.size() + 48000 >= total);
    CHECK(static_cast<double>(samples.size()) >= 0.8 * static_cast<double>(total));
    CHECK(samples == samplesFrom(0, samples.size()));
    const auto record = measure::loadTakeRecord(file);
    REQUIRE(record);
    CHECK(record->end == TakeEnd::unfinished);
}
