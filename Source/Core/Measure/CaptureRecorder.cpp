#include "Core/Measure/CaptureRecorder.h"

#include "Core/Files/TextTable.h"
#include "Core/Measure/LiveMarker.h"
#include "Core/Measure/TakeWriter.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <cassert>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <deque>
#include <limits>
#include <mutex>
#include <span>
#include <thread>

namespace saddletone::measure {

namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t mostChannels = 64;
constexpr std::size_t mostListedDropouts = 1000;
constexpr std::size_t mostWaitingLosses = 256;
/** Longer losses than this are noted but not filled: no device is away so long and comes back. */
constexpr double longestFillSeconds = 600.0;
constexpr double secondsAfterEndMarker = 0.7;
constexpr auto pollInterval = std::chrono::milliseconds(5);
constexpr auto longestUnflushed = std::chrono::milliseconds(500);
constexpr std::size_t framesAtOnce = 4096;
/** A worker that listens to more channels for markers would not keep up on a slow machine. */
constexpr std::size_t mostMarkerChannels = 8;

// Of reportBlockTime(): device and computer clocks differ by less than 500 ppm, and a late
// callback is made up for within a few blocks, a lost block never.
constexpr double largestClockRatio = 500e-6;
constexpr double leastGapBlocks = 0.75;
constexpr int blocksToBeSure = 8;

/** Frames lost in front of a place in the ring. */
struct Loss {
    std::uint64_t ringFrame = 0;    ///< Frames that went into the ring before.
    std::uint64_t bufferFrames = 0; ///< Lost because the ring was full.
    std::uint64_t deviceFrames = 0; ///< Lost by the device, as it said.
    std::uint64_t shownFrames = 0;  ///< Lost by the device, as its times show; to about a block.
    bool deviceUnknown = false;     ///< Lost by the device, it cannot tell how many.

    [[nodiscard]] bool isEmpty() const noexcept
    {
        return bufferFrames == 0 && deviceFrames == 0 && shownFrames == 0 && !deviceUnknown;
    }
};

/** A dropout with its frame in the stream since open(), silence filled in counted. */
struct LocatedDropout {
    std::uint64_t streamFrame = 0;
    std::uint64_t lostFrames = 0;
    DropoutCause cause = DropoutCause::bufferFull;
    bool filled = false;

    [[nodiscard]] std::uint64_t endFrame() const noexcept
    {
        return streamFrame + (filled ? lostFrames : 0);
    }
};

std::string utcNow()
{
    const auto now = std::chrono::floor<std::chrono::seconds>(std::chrono::system_clock::now());
    const auto midnight = std::chrono::floor<std::chrono::days>(now);
    const std::chrono::year_month_day date(midnight);
    const std::chrono::hh_mm_ss time(now - midnight);
    std::array<char, 32> text {};
    const int length = std::snprintf(
        text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02dZ", static_cast<int>(date.year()),
        static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
        static_cast<int>(time.hours().count()), static_cast<int>(time.minutes().count()),
        static_cast<int>(time.seconds().count()));
    return {text.data(), static_cast<std::size_t>(length)};
}

void appendWords(std::string& text, const std::string& words)
{
    text += (text.empty() ? "" : "; ") + words;
}

} // namespace

struct CaptureRecorder::Impl {
    /** A take under way. */
    struct Take {
        explicit Take(TakeWriter takeWriter) : writer(std::move(takeWriter)) {}

        TakeWriter writer;
        TakeRecord record;
        std::uint64_t startStreamFrame = 0;
        std::uint64_t lastFrame = 0; ///< The take ends in front of it.
        TakeEnd endAtLastFrame = TakeEnd::longest;
        std::vector<LiveMarker> markers; ///< One a channel: any of them may be the one that hears.
        std::vector<bool> lastClipped;   ///< One a channel.
        std::uint64_t numDropouts = 0;
        std::uint64_t numLostFrames = 0;
        Clock::time_point lastFlush;
        std::optional<dsp::Error> failure;
    };

    // Set in open(), read by all.
    CaptureSpec spec;
    std::size_t numChannels = 1;
    std::atomic<std::size_t> ringFrames {0}; ///< Capacity.
    std::vector<float> ring;                 ///< Interleaved.
    std::array<LevelMeter, mostChannels> meters;
    std::atomic<bool> isOpen {false};

    // Audio thread to worker: both counters run on for ever; a place is its count modulo size.
    std::atomic<std::uint64_t> ringWritten {0};
    std::atomic<std::uint64_t> ringRead {0};
    std::array<Loss, mostWaitingLosses> losses;
    std::atomic<std::uint64_t> lossesWritten {0};
    std::atomic<std::uint64_t> lossesRead {0};
    /** Lost to a full ring since open(), before the worker learns where. */
    std::atomic<std::uint64_t> bufferFramesLost {0};
    static_assert(std::atomic<bool>::is_always_lock_free);

    // Audio thread alone.
    Loss pendingLoss;
    bool hasBlockTime = false;
    double blockTimeSeconds = 0.0;
    bool hasExpectedTime = false;
    double expectedTimeSeconds = 0.0;
    int numLateBlocks = 0;
    double leastLateFrames = 0.0;

    // Worker, and the thread of setup under the same lock.
    std::mutex work;
    std::thread thread;
    std::atomic<bool> quit {false};
    std::vector<float> scratch;
    std::vector<float> channelScratch;
    std::vector<float> preRoll; ///< Interleaved, a ring of its own.
    std::size_t preRollCapacity = 0;
    std::size_t preRollHeld = 0;
    std::size_t preRollNext = 0;
    std::deque<LocatedDropout> recentDropouts; ///< Not older than the pre-roll.
    std::uint64_t streamFrame = 0;
    std::uint64_t bufferFramesPlaced = 0; ///< Of bufferFramesLost, those whose place is known.
    std::optional<Take> take;
    std::optional<FinishedTake> finished;

    // For the screen.
    std::atomic<CaptureState> state {CaptureState::closed};
    std::atomic<TakeEnd> end {TakeEnd::unfinished};
    std::atomic<double> elapsedSeconds {0.0};
    std::atomic<double> preRollSeconds {0.0};
    std::atomic<int> numMarkersHeard {0};
    std::atomic<std::uint64_t> numDropouts {0};
    std::atomic<std::uint64_t> numLostFrames {0};

    void forgetBlockTimes() noexcept
    {
        hasExpectedTime = false;
        numLateBlocks = 0;
    }

    /** Compares the time of a block with that of the blocks before it. */
    void checkBlockTime(std::size_t numFrames) noexcept
    {
        if (!hasBlockTime) {
            forgetBlockTimes();
            return;
        }
        hasBlockTime = false;
        const auto frames = static_cast<double>(numFrames);
        if (!hasExpectedTime) {
            expectedTimeSeconds = blockTimeSeconds;
            hasExpectedTime = true;
        }
        const double lateFrames = (blockTimeSeconds - expectedTimeSeconds) * spec.sampleRate;
        // The earliest arrival is the least delayed, so it tells the device's own time best.
        if (lateFrames < 0.0)
            expectedTimeSeconds = blockTimeSeconds;
        if (lateFrames < leastGapBlocks * frames) {
            numLateBlocks = 0;
        } else {
            leastLateFrames =
                numLateBlocks == 0 ? lateFrames : std::min(leastLateFrames, lateFrames);
            if (++numLateBlocks == blocksToBeSure) {
                constexpr double mostFrames = 1e15; // whatever a clock shows, a count holds it
                pendingLoss.shownFrames +=
                    static_cast<std::uint64_t>(std::min(leastLateFrames, mostFrames));
                expectedTimeSeconds += leastLateFrames / spec.sampleRate;
                numLateBlocks = 0;
            }
        }
        expectedTimeSeconds += frames / spec.sampleRate * (1.0 + largestClockRatio);
    }

    /** Tells the worker of a pending loss; false if its queue is full. */
    bool handOverLoss() noexcept
    {
        if (pendingLoss.isEmpty())
            return true;
        const std::uint64_t written = lossesWritten.load(std::memory_order_relaxed);
        if (written - lossesRead.load(std::memory_order_acquire) == losses.size())
            return false;
        pendingLoss.ringFrame = ringWritten.load(std::memory_order_relaxed);
        losses[written % losses.size()] = pendingLoss;
        lossesWritten.store(written + 1, std::memory_order_release);
        pendingLoss = {};
        return true;
    }

    void push(dsp::ChannelView<const float> input) noexcept
    {
        const std::size_t numFrames = input.numFrames();
        if (numFrames == 0)
            return;
        for (std::size_t channel = 0; channel < numChannels; ++channel)
            if (spec.deviceChannels[channel] < input.numChannels())
                meters[channel].process(input[spec.deviceChannels[channel]]);
        checkBlockTime(numFrames);

        const std::uint64_t written = ringWritten.load(std::memory_order_relaxed);
        const std::size_t capacity = ringFrames.load(std::memory_order_relaxed);
        std::size_t room =
            capacity - static_cast<std::size_t>(written - ringRead.load(std::memory_order_acquire));
        // A loss is placed before the frames behind it, or they are lost too.
        if (room > 0 && !handOverLoss())
            room = 0;
        const std::size_t taken = std::min(room, numFrames);
        auto place = static_cast<std::size_t>(written % capacity);
        for (std::size_t frame = 0; frame < taken; ++frame) {
            for (std::size_t channel = 0; channel < numChannels; ++channel) {
                const std::size_t source = spec.deviceChannels[channel];
                ring[place * numChannels + channel] =
                    source < input.numChannels() ? input[source][frame] : 0.0F;
            }
            if (++place == capacity)
                place = 0;
        }
        ringWritten.store(written + taken, std::memory_order_release);
        if (const std::size_t lost = numFrames - taken; lost > 0) {
            pendingLoss.bufferFrames += lost;
            bufferFramesLost.fetch_add(lost, std::memory_order_relaxed);
        }
    }

    void keepInPreRoll(std::span<const float> interleaved)
    {
        if (preRollCapacity == 0)
            return;
        const std::size_t numFrames = interleaved.size() / numChannels;
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            std::copy_n(interleaved.begin() + static_cast<std::ptrdiff_t>(frame * numChannels),
                        numChannels,
                        preRoll.begin() + static_cast<std::ptrdiff_t>(preRollNext * numChannels));
            preRollNext = preRollNext + 1 == preRollCapacity ? 0 : preRollNext + 1;
        }
        preRollHeld = std::min(preRollCapacity, preRollHeld + numFrames);
    }

    void listDropout(Take& running, const LocatedDropout& located) const
    {
        ++running.numDropouts;
        running.numLostFrames += located.lostFrames;
        if (running.record.dropouts.size() >= mostListedDropouts) {
            ++running.record.numUnlistedDropouts;
            return;
        }
        const double timeSeconds =
            static_cast<double>(located.streamFrame - running.startStreamFrame) / spec.sampleRate;
        running.record.dropouts.push_back(
            {timeSeconds, located.lostFrames, located.cause, located.filled});
    }

    /** Writes frames into the running take; ends it where it is to end. */
    void writeToTake(std::span<const float> interleaved)
    {
        Take& running = *take;
        const std::uint64_t room = running.lastFrame - running.writer.numFrames();
        const auto numFrames = static_cast<std::size_t>(
            std::min<std::uint64_t>(room, interleaved.size() / numChannels));
        const auto samples = interleaved.first(numFrames * numChannels);
        for (std::size_t place = 0; place < samples.size(); ++place) {
            const bool clipped = isClipped(samples[place]);
            const std::size_t channel = place % numChannels;
            if (clipped && !running.lastClipped[channel])
                ++running.record.numClips;
            running.lastClipped[channel] = clipped;
        }
        if (const auto written = running.writer.append(samples); !written) {
            running.failure = written.error();
            endTake(TakeEnd::writeFailed);
            return;
        }
        listenForMarkers(running, samples);
        if (running.writer.numFrames() >= running.lastFrame)
            endTake(running.endAtLastFrame);
    }

    void listenForMarkers(Take& running, std::span<const float> samples)
    {
        const std::size_t numFrames = samples.size() / numChannels;
        for (std::size_t channel = 0; channel < running.markers.size(); ++channel) {
            channelScratch.resize(numFrames);
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                channelScratch[frame] = std::isfinite(samples[frame * numChannels + channel])
                                            ? samples[frame * numChannels + channel]
                                            : 0.0F;
            LiveMarker& marker = running.markers[channel];
            marker.process(channelScratch);
            numMarkersHeard = std::max(numMarkersHeard.load(), marker.numMarkersHeard());
            if (const auto markerEnd = marker.secondMarkerEndFrame();
                markerEnd && running.endAtLastFrame != TakeEnd::endMarkerHeard) {
                const auto after =
                    static_cast<std::uint64_t>(secondsAfterEndMarker * spec.sampleRate);
                const std::uint64_t last = std::max(*markerEnd + after, running.writer.numFrames());
                if (last <= running.lastFrame) {
                    running.lastFrame = last;
                    running.endAtLastFrame = TakeEnd::endMarkerHeard;
                }
            }
        }
    }

    void endTake(TakeEnd why)
    {
        Take& running = *take;
        TakeRecord& record = running.record;
        if (const std::uint64_t lost = bufferFramesLost.load(std::memory_order_relaxed);
            lost > bufferFramesPlaced && why != TakeEnd::longest && why != TakeEnd::endMarkerHeard)
            listDropout(running,
                        {streamFrame, lost - bufferFramesPlaced, DropoutCause::bufferFull, false});
        if (const auto done = running.writer.finish(); !done && !running.failure)
            running.failure = done.error();
        if (running.failure) {
            why = TakeEnd::writeFailed;
            appendWords(record.problem, running.failure->message);
        } else if (why == TakeEnd::longest) {
            appendWords(
                record.problem,
                "it reached the longest length allowed, "
                    + files::fixedText(static_cast<double>(running.lastFrame) / spec.sampleRate, 0)
                    + " s");
        } else if (why == TakeEnd::deviceClosed) {
            appendWords(record.problem, "the audio device was closed while it was recorded");
        }
        record.end = why;
        record.numFrames = running.writer.numFrames();
        if (const auto saved = saveTakeRecord(record, running.writer.file()); !saved)
            appendWords(record.problem, saved.error().message);
        numDropouts = running.numDropouts;
        numLostFrames = running.numLostFrames;
        elapsedSeconds = static_cast<double>(record.numFrames) / spec.sampleRate;
        end = why;
        finished = FinishedTake {running.writer.file(), std::move(record)};
        take.reset();
        state = CaptureState::finished;
    }

    void consume(std::span<float> interleaved)
    {
        if (take)
            writeToTake(interleaved);
        keepInPreRoll(interleaved);
        streamFrame += interleaved.size() / numChannels;
    }

    void noteDropout(std::uint64_t lostFrames, DropoutCause cause, bool mayFill)
    {
        const bool fill =
            mayFill && lostFrames > 0
            && static_cast<double>(lostFrames) <= longestFillSeconds * spec.sampleRate;
        const LocatedDropout located {streamFrame, lostFrames, cause, fill};
        recentDropouts.push_back(located);
        if (take)
            listDropout(*take, located);
        else if (!finished) {
            ++numDropouts;
            numLostFrames += lostFrames;
        }
        if (!fill)
            return;
        std::vector<float> silence(framesAtOnce * numChannels);
        for (std::uint64_t left = lostFrames; left > 0;) {
            const auto count =
                static_cast<std::size_t>(std::min<std::uint64_t>(left, framesAtOnce));
            consume(std::span(silence).first(count * numChannels));
            left -= count;
        }
    }

    void place(const Loss& loss)
    {
        if (loss.deviceFrames > 0)
            noteDropout(loss.deviceFrames, DropoutCause::device, true);
        if (loss.deviceUnknown)
            noteDropout(0, DropoutCause::device, false);
        if (loss.shownFrames > 0)
            noteDropout(loss.shownFrames, DropoutCause::device, false);
        if (loss.bufferFrames > 0) {
            bufferFramesPlaced += loss.bufferFrames;
            noteDropout(loss.bufferFrames, DropoutCause::bufferFull, true);
        }
    }

    /** Takes out all that had been pushed when it was called. Under the lock. */
    void drain()
    {
        const std::uint64_t written = ringWritten.load(std::memory_order_acquire);
        std::uint64_t read = ringRead.load(std::memory_order_relaxed);
        const std::size_t capacity = ringFrames;
        while (read < written) {
            // Losses are handed over before the frames behind them, so this sees them in time.
            std::uint64_t stretchEnd = written;
            const std::uint64_t lossIndex = lossesRead.load(std::memory_order_relaxed);
            if (lossIndex != lossesWritten.load(std::memory_order_acquire)) {
                const Loss loss = losses[lossIndex % losses.size()];
                if (loss.ringFrame <= read) {
                    lossesRead.store(lossIndex + 1, std::memory_order_release);
                    place(loss);
                    continue;
                }
                stretchEnd = std::min(stretchEnd, loss.ringFrame);
            }
            const auto first = static_cast<std::size_t>(read % capacity);
            const std::size_t count = std::min(
                {static_cast<std::size_t>(stretchEnd - read), capacity - first, framesAtOnce});
            std::copy_n(ring.begin() + static_cast<std::ptrdiff_t>(first * numChannels),
                        count * numChannels, scratch.begin());
            read += count;
            ringRead.store(read, std::memory_order_release);
            consume(std::span(scratch).first(count * numChannels));
        }
        while (!recentDropouts.empty()
               && recentDropouts.front().endFrame() + preRollHeld < streamFrame)
            recentDropouts.pop_front();

        if (take) {
            // A stream that stands still is not to keep what has been heard from the disk.
            if (Clock::now() - take->lastFlush > longestUnflushed) {
                take->lastFlush = Clock::now();
                if (const auto flushed = take->writer.flush(); !flushed) {
                    take->failure = flushed.error();
                    endTake(TakeEnd::writeFailed);
                }
            }
        }
        if (take) {
            numDropouts = take->numDropouts;
            numLostFrames = take->numLostFrames;
            elapsedSeconds = static_cast<double>(take->writer.numFrames()) / spec.sampleRate;
        } else if (!finished) {
            preRollSeconds = static_cast<double>(preRollHeld) / spec.sampleRate;
        }
    }

    void run()
    {
        while (!quit) {
            {
                const std::lock_guard lock(work);
                drain();
            }
            std::this_thread::sleep_for(pollInterval);
        }
    }

    void listenAgain()
    {
        finished.reset();
        numDropouts = 0;
        numLostFrames = 0;
        elapsedSeconds = 0.0;
        numMarkersHeard = 0;
        end = TakeEnd::unfinished;
        preRollSeconds = static_cast<double>(preRollHeld) / spec.sampleRate;
        state = isOpen ? CaptureState::listening : CaptureState::closed;
    }
};

CaptureRecorder::CaptureRecorder() : impl(std::make_unique<Impl>()) {}

CaptureRecorder::~CaptureRecorder()
{
    close();
}

dsp::Result<void> CaptureRecorder::open(const CaptureSpec& spec)
{
    close();
    const auto outOfRange = [](const std::string& reason) {
        return dsp::fail(dsp::ErrorCode::outOfRange, "cannot listen to the input: " + reason);
    };
    if (!(spec.sampleRate >= 8000.0 && spec.sampleRate <= 384000.0)
        || spec.sampleRate != std::floor(spec.sampleRate))
        return outOfRange("its sample rate must be 8000 to 384000 Hz, without fractions");
    if (spec.deviceChannels.empty() || spec.deviceChannels.size() > mostChannels)
        return outOfRange("choose 1 to 64 of its channels");
    if (!(spec.preRollSeconds >= 0.0 && spec.preRollSeconds <= 30.0))
        return outOfRange("the pre-roll must be 0 to 30 s");
    if (!(spec.bufferSeconds >= 0.05 && spec.bufferSeconds <= 60.0))
        return outOfRange("the buffer must be 0.05 to 60 s");

    Impl& to = *impl;
    to.spec = spec;
    to.numChannels = spec.deviceChannels.size();
    to.ringFrames = static_cast<std::size_t>(spec.bufferSeconds * spec.sampleRate);
    to.ring.assign(to.ringFrames.load() * to.numChannels, 0.0F);
    to.scratch.assign(framesAtOnce * to.numChannels, 0.0F);
    to.preRollCapacity = static_cast<std::size_t>(spec.preRollSeconds * spec.sampleRate);
    to.preRoll.assign(to.preRollCapacity * to.numChannels, 0.0F);
    to.preRollHeld = 0;
    to.preRollNext = 0;
    to.recentDropouts.clear();
    to.streamFrame = 0;
    to.bufferFramesPlaced = 0;
    to.ringWritten = 0;
    to.ringRead = 0;
    to.lossesWritten = 0;
    to.lossesRead = 0;
    to.bufferFramesLost = 0;
    to.pendingLoss = {};
    to.hasBlockTime = false;
    to.forgetBlockTimes();
    for (LevelMeter& meter : to.meters)
        meter.prepare(spec.sampleRate);
    to.quit = false;
    to.isOpen = true;
    to.listenAgain();
    to.thread = std::thread([&to] { to.run(); });
    return {};
}

void CaptureRecorder::close()
{
    Impl& of = *impl;
    if (!of.isOpen)
        return;
    of.quit = true;
    of.thread.join();
    of.isOpen = false;
    of.drain();
    if (of.take)
        of.endTake(TakeEnd::deviceClosed);
    if (!of.finished)
        of.state = CaptureState::closed;
}

const CaptureSpec& CaptureRecorder::spec() const noexcept
{
    return impl->spec;
}

dsp::Result<std::filesystem::path> CaptureRecorder::start(const TakeRequest& request)
{
    Impl& in = *impl;
    const CaptureState state = in.state;
    if (state != CaptureState::listening)
        return dsp::fail(dsp::ErrorCode::unsupported,
                         state == CaptureState::closed
                             ? "cannot record: no input is open; choose an input device first"
                             : "cannot record: the take before has not been ended");
    if (!(request.maxSeconds >= 1.0 && request.maxSeconds <= 1800.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the longest length of a take must be 1 to 1800 s");
    auto writer = TakeWriter::create(request.folder, request.name,
                                     {in.spec.sampleRate, in.numChannels, request.format});
    if (!writer)
        return writer.unexpected();

    Impl::Take take(std::move(*writer));
    TakeRecord& record = take.record;
    record.audioFile = take.writer.file().filename().string();
    record.recordedAt = utcNow();
    record.purpose = request.purpose;
    record.place = request.place;
    record.device = in.spec.device;
    record.deviceChannels = in.spec.deviceChannels;
    record.gainNote = request.gainNote;
    record.sampleRate = in.spec.sampleRate;
    take.lastFrame = std::min(take.writer.maxFrames(),
                              static_cast<std::uint64_t>(request.maxSeconds * in.spec.sampleRate));
    take.lastClipped.assign(in.numChannels, false);
    take.lastFlush = Clock::now();
    if (request.stopAfter && request.stopAfter->sweepLayout)
        for (std::size_t channel = 0; channel < std::min(in.numChannels, mostMarkerChannels);
             ++channel)
            take.markers.emplace_back(*request.stopAfter, in.spec.sampleRate);
    const auto file = take.writer.file();
    // Kept even if the program dies now: the take and what it is of.
    if (const auto saved = saveTakeRecord(record, file); !saved) {
        const auto failed = saved.unexpected();
        {
            const TakeWriter unused = std::move(take.writer);
        }
        std::error_code ignored;
        std::filesystem::remove(file, ignored);
        return failed;
    }

    const std::lock_guard lock(in.work);
    in.drain();
    take.startStreamFrame = in.streamFrame - in.preRollHeld;
    take.record.preRollSeconds = static_cast<double>(in.preRollHeld) / in.spec.sampleRate;
    for (LocatedDropout dropout : in.recentDropouts) {
        if (dropout.streamFrame < take.startStreamFrame) {
            // Only what reaches into the pre-roll counts.
            if (dropout.endFrame() <= take.startStreamFrame)
                continue;
            dropout.lostFrames = dropout.endFrame() - take.startStreamFrame;
            dropout.streamFrame = take.startStreamFrame;
        }
        in.listDropout(take, dropout);
    }
    in.preRollSeconds = take.record.preRollSeconds;
    in.numMarkersHeard = 0;
    in.state = CaptureState::recording;
    in.take.emplace(std::move(take));
    const std::size_t oldest = (in.preRollNext + in.preRollCapacity - in.preRollHeld)
                               % std::max<std::size_t>(in.preRollCapacity, 1);
    const std::size_t untilEnd = std::min(in.preRollHeld, in.preRollCapacity - oldest);
    const std::span<const float> held(in.preRoll);
    in.writeToTake(held.subspan(oldest * in.numChannels, untilEnd * in.numChannels));
    if (in.take)
        in.writeToTake(held.first((in.preRollHeld - untilEnd) * in.numChannels));
    return file;
}

dsp::Result<FinishedTake> CaptureRecorder::stop()
{
    Impl& in = *impl;
    const std::lock_guard lock(in.work);
    if (in.take)
        in.drain();
    if (in.take)
        in.endTake(TakeEnd::byUser);
    if (!in.finished)
        return dsp::fail(dsp::ErrorCode::notFound, "there is no take to end");
    FinishedTake result = std::move(*in.finished);
    in.listenAgain();
    return result;
}

void CaptureRecorder::push(dsp::ChannelView<const float> input) noexcept
{
    if (impl->isOpen)
        impl->push(input);
}

void CaptureRecorder::reportGap(std::uint64_t lostFrames) noexcept
{
    if (!impl->isOpen)
        return;
    impl->pendingLoss.deviceFrames += lostFrames;
    impl->pendingLoss.deviceUnknown = impl->pendingLoss.deviceUnknown || lostFrames == 0;
    // The block times show the same gap; it is not to be noted twice.
    impl->forgetBlockTimes();
}

void CaptureRecorder::reportBlockTime(double timeSeconds) noexcept
{
    impl->hasBlockTime = std::isfinite(timeSeconds);
    impl->blockTimeSeconds = timeSeconds;
}

CaptureStatus CaptureRecorder::status() const noexcept
{
    const Impl& of = *impl;
    CaptureStatus status;
    status.state = of.state;
    status.end = of.end;
    status.elapsedSeconds = of.elapsedSeconds;
    status.preRollSeconds = of.preRollSeconds;
    status.numMarkersHeard = of.numMarkersHeard;
    status.numDropouts = of.numDropouts;
    status.numLostFrames = of.numLostFrames;
    const std::uint64_t read = of.ringRead;
    const std::uint64_t written = of.ringWritten;
    if (const std::size_t capacity = of.ringFrames; capacity > 0 && written > read)
        status.bufferFillProportion =
            std::min(1.0, static_cast<double>(written - read) / static_cast<double>(capacity));
    return status;
}

const LevelMeter& CaptureRecorder::meter(std::size_t channel) const noexcept
{
    assert(channel < mostChannels);
    return impl->meters[channel];
}

void CaptureRecorder::resetClips() noexcept
{
    for (LevelMeter& meter : impl->meters)
        meter.resetClip();
}

} // namespace saddletone::measure
