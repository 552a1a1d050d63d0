#include "Plugin/ProgrammePlayer.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/Resampler.h"
#include "Core/Hearing/Loudness.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::plugin {

using audition::ProgrammeEntry;
using audition::ProgrammeList;

namespace {

/** Of the time that opening a file takes, what is over once it has been read, and once it has been
    converted where that is needed. */
constexpr double shareRead = 0.25;
constexpr double shareConverted = 0.75;

} // namespace

ProgrammePlayer::ProgrammePlayer() = default;

ProgrammePlayer::~ProgrammePlayer()
{
    ++newestOrder;
    ++newestAhead;
    worker.removeAllJobs(true, -1);
    delete current;
    delete pending.load();
    delete following.load();
    freeRetired();
}

void ProgrammePlayer::prepare(const dsp::ProcessSpec& spec)
{
    const std::lock_guard lock(ownerMutex);
    fadeFrames = std::max<std::size_t>(
        1, static_cast<std::size_t>(std::lround(fadeSeconds * spec.sampleRate)));
    fadeCount = 0;
    if (spec.sampleRate == sampleRate)
        return;

    takeBackFollowing();
    const double resumeSeconds = positionSeconds.load();
    delete std::exchange(current, nullptr);
    delete pending.exchange(nullptr);
    freeRetired();
    position = 0;
    sampleRate = spec.sampleRate;
    tracks.clear();
    if (waiting) {
        Order order = *waiting;
        order.sampleRate = sampleRate;
        placeOrder(std::move(order));
    } else if (heardId != 0) {
        placeSelected(resumeSeconds);
    }
}

void ProgrammePlayer::load(const std::filesystem::path& file)
{
    const std::lock_guard lock(ownerMutex);
    placeOrder({.file = file, .sampleRate = sampleRate});
}

void ProgrammePlayer::add(const std::vector<std::filesystem::path>& newFiles, std::size_t before)
{
    const std::lock_guard lock(ownerMutex);
    takeBackFollowing();
    const std::size_t firstNew = std::min(before, files.entries().size());
    const std::size_t numAdded = files.add(newFiles, before);
    if (numAdded < newFiles.size())
        problem = "the list takes " + std::to_string(ProgrammeList::maxEntries)
                  + " files; the others were left out";
    if (heardId == 0 && numAdded > 0 && !waiting) {
        files.setCurrent(firstNew);
        placeSelected(0.0);
    }
    lookAhead();
}

void ProgrammePlayer::remove(std::size_t index)
{
    const std::lock_guard lock(ownerMutex);
    takeBackFollowing();
    if (index >= files.entries().size())
        return;
    const bool wasHeard = index == files.current();
    files.remove(index);
    if (files.isEmpty()) {
        dropWaiting();
        playing.store(false);
        heardId = 0;
        tracks.clear();
        publish(std::make_unique<const Programme>());
    } else if (wasHeard) {
        placeSelected(0.0);
    }
    lookAhead();
}

void ProgrammePlayer::move(std::size_t from, std::size_t to)
{
    const std::lock_guard lock(ownerMutex);
    takeBackFollowing();
    files.move(from, to);
    lookAhead();
}

void ProgrammePlayer::select(std::size_t index)
{
    const std::lock_guard lock(ownerMutex);
    takeBackFollowing();
    if (index >= files.entries().size())
        return;
    files.setCurrent(index);
    placeSelected(0.0);
}

void ProgrammePlayer::setRegion(std::size_t index,
                                const std::optional<audition::LoopRegion>& region)
{
    const std::lock_guard lock(ownerMutex);
    takeBackFollowing();
    files.setRegion(index, region);
    republish();
    lookAhead();
}

void ProgrammePlayer::setAligned(bool shouldBeAligned)
{
    const std::lock_guard lock(ownerMutex);
    if (std::exchange(aligned, shouldBeAligned) == shouldBeAligned)
        return;
    takeBackFollowing();
    republish();
    lookAhead();
}

bool ProgrammePlayer::isAligned() const
{
    const std::lock_guard lock(ownerMutex);
    return aligned;
}

ProgrammeList ProgrammePlayer::list() const
{
    const std::lock_guard lock(ownerMutex);
    return files;
}

const ProgrammeEntry* ProgrammePlayer::heardEntry() const
{
    const auto index = files.find(heardId);
    return index ? &files.entries()[*index] : nullptr;
}

ProgrammePlayer::HeardPart ProgrammePlayer::heardPart() const
{
    const std::lock_guard lock(ownerMutex);
    HeardPart part;
    const ProgrammeEntry* const entry = heardEntry();
    if (entry == nullptr)
        return part;
    part.audio = findTrack(entry->id);
    if (part.audio == nullptr)
        return part;
    part.entryId = entry->id;
    part.endFrame = part.audio->numFrames();
    if (entry->region)
        if (const auto seam =
                audition::LoopSeam::of(*entry->region, sampleRate, part.audio->numFrames())) {
            part.beginFrame = seam->beginFrame;
            part.endFrame = seam->endFrame;
        }
    if (aligned && entry->loudnessLufs)
        part.gainDb = audition::alignmentGainDb(*entry->loudnessLufs);
    return part;
}

void ProgrammePlayer::restart()
{
    const std::lock_guard lock(ownerMutex);
    const ProgrammeEntry* const entry = heardEntry();
    if (entry != nullptr)
        requestedSeconds.store(entry->region ? entry->region->startSeconds : 0.0);
}

void ProgrammePlayer::unload()
{
    const std::lock_guard lock(ownerMutex);
    dropWaiting();
    playing.store(false);
    takeBackFollowing();
    files.clear();
    heardId = 0;
    tracks.clear();
    hasMore.store(false);
    publish(std::make_unique<const Programme>());
}

std::shared_ptr<const dsp::AudioBuffer> ProgrammePlayer::findTrack(std::uint64_t entryId) const
{
    const auto found = std::ranges::find(tracks, entryId, &Track::entryId);
    return found != tracks.end() ? found->audio : nullptr;
}

void ProgrammePlayer::keepTrack(std::uint64_t entryId,
                                std::shared_ptr<const dsp::AudioBuffer> audio)
{
    std::erase_if(tracks, [&](const Track& track) {
        return track.entryId == entryId || track.entryId != heardId;
    });
    tracks.push_back({entryId, std::move(audio)});
}

std::unique_ptr<ProgrammePlayer::Programme>
ProgrammePlayer::makeProgramme(const ProgrammeEntry& entry,
                               std::shared_ptr<const dsp::AudioBuffer> audio) const
{
    auto programme = std::make_unique<Programme>();
    programme->entryId = entry.id;
    if (entry.region)
        programme->seam =
            audition::LoopSeam::of(*entry.region, audio->sampleRate, audio->numFrames());
    if (programme->seam)
        programme->startFrame = programme->seam->beginFrame;
    if (aligned && entry.loudnessLufs)
        programme->gain =
            static_cast<float>(dsp::dbToAmplitude(audition::alignmentGainDb(*entry.loudnessLufs)));
    programme->audio = std::move(audio);
    return programme;
}

void ProgrammePlayer::dropWaiting()
{
    ++newestOrder;
    if (!waiting)
        return;
    waiting->work->cancel();
    works.end(waiting->work);
    waiting.reset();
}

void ProgrammePlayer::dropWaitingAhead()
{
    ++newestAhead;
    waitingAhead.reset();
}

void ProgrammePlayer::placeOrder(Order order)
{
    // One thing at a time: what comes behind it is read when it is there.
    dropWaitingAhead();
    const juce::String words = "Opening " + toFile(order.file).getFileName();
    if (order.isAhead) {
        order.number = newestAhead;
        order.work = std::make_shared<Work>(words);
        waitingAhead = order;
    } else {
        dropWaiting();
        order.number = newestOrder;
        order.work = works.begin(words);
        waiting = order;
        files.setCancelled(order.entryId, false);
    }
    worker.addJob([this, task = std::move(order)] { deliver(task); });
}

void ProgrammePlayer::placeSelected(double startSeconds)
{
    const ProgrammeEntry& entry = files.entries()[files.current()];
    if (auto audio = findTrack(entry.id)) {
        dropWaiting();
        heardId = entry.id;
        requestedSeconds.store(noRequest);
        publish(makeProgramme(entry, std::move(audio)));
        lookAhead();
        return;
    }
    placeOrder({.file = entry.file,
                .entryId = entry.id,
                .sampleRate = sampleRate,
                .startSeconds = startSeconds});
}

bool ProgrammePlayer::isOutdated(const Order& order) const noexcept
{
    return order.number != (order.isAhead ? newestAhead.load() : newestOrder.load());
}

std::optional<ProgrammePlayer::Delivery> ProgrammePlayer::carryOut(const Order& order) const
{
    const auto step = [&](double from, double to) {
        return [&, from, to](double done) {
            return (*order.work)(from + (to - from) * done) && !isOutdated(order);
        };
    };
    Delivery made;
    made.order = order;
    auto audio = files::readAudioFile(order.file, {.maxSeconds = longestSeconds, .maxChannels = 2},
                                      step(0.0, shareRead));
    if (isOutdated(order))
        return std::nullopt;
    if (!audio) {
        made.problem = audio.error().message;
        return made;
    }
    double shareDone = shareRead;
    if (audio->sampleRate != order.sampleRate) {
        auto converted = files::resample(*audio, order.sampleRate, step(shareRead, shareConverted));
        if (!converted)
            return std::nullopt;
        *audio = *std::move(converted);
        shareDone = shareConverted;
    }
    const auto loudness = hearing::integratedLoudnessLufs(*audio, step(shareDone, 1.0));
    if (!loudness)
        return std::nullopt;
    made.loudnessLufs = *loudness;
    made.audio = std::make_shared<const dsp::AudioBuffer>(*std::move(audio));
    return made;
}

void ProgrammePlayer::deliver(Order order)
{
    if (isOutdated(order))
        return;
    std::optional<Delivery> made;
    try {
        made = carryOut(order);
    } catch (const std::exception& exception) {
        made.emplace();
        made->problem =
            order.file.string() + ": " + exception.what() + "; a shorter file may fit into memory";
        made->order = std::move(order);
    }
    if (!made)
        return;
    const std::lock_guard lock(deliveryMutex);
    deliveries.push_back(*std::move(made));
}

void ProgrammePlayer::freeRetired()
{
    for (auto& place : retired)
        delete place.exchange(nullptr, std::memory_order_acq_rel);
}

void ProgrammePlayer::publish(std::unique_ptr<const Programme> programme)
{
    freeRetired();
    delete pending.exchange(programme.release(), std::memory_order_acq_rel);
}

void ProgrammePlayer::republish()
{
    const ProgrammeEntry* const entry = heardEntry();
    if (entry == nullptr)
        return;
    auto audio = findTrack(entry->id);
    if (audio == nullptr)
        return;
    auto programme = makeProgramme(*entry, std::move(audio));
    programme->keepsPosition = true;
    publish(std::move(programme));
}

void ProgrammePlayer::followAudioThread()
{
    if (followingId == 0 || following.load(std::memory_order_acquire) != nullptr)
        return;
    // The audio thread has gone on to it by itself.
    heardId = std::exchange(followingId, 0);
    if (const auto index = files.find(heardId))
        files.setCurrent(*index);
    std::erase_if(tracks, [&](const Track& track) { return track.entryId != heardId; });
}

void ProgrammePlayer::takeBackFollowing()
{
    const std::unique_ptr<const Programme> taken(
        following.exchange(nullptr, std::memory_order_acq_rel));
    if (taken != nullptr)
        followingId = 0;
    else
        followAudioThread();
}

void ProgrammePlayer::lookAhead()
{
    const ProgrammeEntry* const entry = heardEntry();
    const auto next = files.next(looping.load());
    const bool goesOn = entry != nullptr && !entry->region && next && files.entries().size() > 1;
    hasMore.store(goesOn);
    if (!goesOn || waiting || followingId != 0)
        return;
    const ProgrammeEntry& behind = files.entries()[*next];
    if (auto audio = findTrack(behind.id)) {
        followingId = behind.id;
        following.store(makeProgramme(behind, std::move(audio)).release(),
                        std::memory_order_release);
    } else if (!waitingAhead || waitingAhead->entryId != behind.id) {
        placeOrder(
            {.file = behind.file, .entryId = behind.id, .sampleRate = sampleRate, .isAhead = true});
    }
}

bool ProgrammePlayer::goBackToHeard()
{
    const auto index = files.find(heardId);
    if (!index)
        return false;
    files.setCurrent(*index);
    // A conversion to a new rate may have had to wait.
    if (findTrack(heardId) == nullptr)
        placeSelected(0.0);
    return true;
}

void ProgrammePlayer::takeUpProblem(const Delivery& made)
{
    const Order& order = made.order;
    problem = made.problem;
    files.setUnreadable(order.entryId);
    if (order.isAhead || (order.entryId != 0 && heardId == order.entryId))
        return;
    if (goBackToHeard() || order.entryId == 0)
        return;
    if (const auto next = files.next(false)) {
        files.setCurrent(*next);
        placeSelected(0.0);
    }
}

void ProgrammePlayer::cancelOpening()
{
    const std::lock_guard lock(ownerMutex);
    if (!waiting)
        return;
    const std::uint64_t entryId = waiting->entryId;
    dropWaiting();
    files.setCancelled(entryId, true);
    // At another rate it was heard before; now it cannot be.
    if (heardId == entryId)
        heardId = 0;
    static_cast<void>(goBackToHeard());
    lookAhead();
}

void ProgrammePlayer::takeUp(Delivery& made)
{
    const Order& order = made.order;
    if (order.isAhead)
        waitingAhead.reset();
    else
        dropWaiting();
    if (made.audio == nullptr) {
        takeUpProblem(made);
        return;
    }
    std::uint64_t entryId = order.entryId;
    if (!order.isAhead)
        takeBackFollowing();
    if (entryId == 0) {
        files.clear();
        static_cast<void>(files.add(std::array {order.file}));
        entryId = files.entries().front().id;
    }
    const auto index = files.find(entryId);
    if (!index)
        return;
    files.setRead(entryId, made.audio->durationSeconds(), made.loudnessLufs);
    if (order.isAhead) {
        keepTrack(entryId, std::move(made.audio));
        return;
    }
    files.setCurrent(*index);
    heardId = entryId;
    keepTrack(entryId, made.audio);
    auto programme = makeProgramme(files.entries()[*index], std::move(made.audio));
    const auto startFrame =
        static_cast<std::size_t>(std::lround(std::max(0.0, order.startSeconds) * sampleRate));
    if (startFrame > 0 && startFrame < programme->audio->numFrames())
        programme->startFrame = startFrame;
    // A position asked for while another programme was playing means nothing for this one.
    requestedSeconds.store(noRequest);
    publish(std::move(programme));
}

void ProgrammePlayer::update()
{
    const std::lock_guard lock(ownerMutex);
    freeRetired();
    followAudioThread();
    std::vector<Delivery> made;
    {
        const std::lock_guard deliveryLock(deliveryMutex);
        made.swap(deliveries);
    }
    for (Delivery& each : made)
        if (!isOutdated(each.order))
            takeUp(each);
    // The end of looping may have changed what follows.
    if (followingId != 0) {
        const auto next = files.next(looping.load());
        if (!next || files.entries()[*next].id != followingId)
            takeBackFollowing();
    }
    lookAhead();
}

std::optional<std::string> ProgrammePlayer::takeProblem()
{
    const std::lock_guard lock(ownerMutex);
    return std::exchange(problem, std::nullopt);
}

ProgrammePlayer::State ProgrammePlayer::state() const
{
    const std::lock_guard lock(ownerMutex);
    State state;
    const ProgrammeEntry* const entry = heardEntry();
    state.loaded = entry != nullptr;
    state.playing = playing.load();
    state.looping = looping.load();
    state.busy = waiting.has_value();
    if (entry != nullptr) {
        state.file = entry->file;
        state.durationSeconds = entry->durationSeconds.value_or(0.0);
    }
    const double requested = requestedSeconds.load();
    state.positionSeconds = std::clamp(requested >= 0.0 ? requested : positionSeconds.load(), 0.0,
                                       state.durationSeconds);
    return state;
}

gui::JobTaskView ProgrammePlayer::opening() const
{
    const std::lock_guard lock(ownerMutex);
    return works.view(juce::Time::getMillisecondCounter());
}

bool ProgrammePlayer::retire(const Programme* programme) noexcept
{
    if (programme == nullptr)
        return true;
    for (auto& place : retired)
        if (place.load(std::memory_order_acquire) == nullptr) {
            place.store(programme, std::memory_order_release);
            return true;
        }
    return false;
}

void ProgrammePlayer::takeUpChanges() noexcept
{
    if (pending.load(std::memory_order_relaxed) != nullptr && retire(current)) {
        const std::uint64_t before = current != nullptr ? current->entryId : 0;
        current = pending.exchange(nullptr, std::memory_order_acq_rel);
        if (current != nullptr) {
            if (!current->keepsPosition || before != current->entryId
                || position >= current->audio->numFrames())
                position = current->startFrame;
        }
    }
    if (current == nullptr || current->audio == nullptr)
        return;
    if (const double seconds = requestedSeconds.exchange(noRequest); seconds >= 0.0) {
        const auto last = static_cast<double>(current->audio->numFrames() - 1);
        position = static_cast<std::size_t>(
            std::lround(std::min(last, seconds * current->audio->sampleRate)));
    }
}

bool ProgrammePlayer::goOnToFollowing() noexcept
{
    if (following.load(std::memory_order_acquire) == nullptr
        || std::ranges::none_of(retired, [](const auto& place) {
               return place.load(std::memory_order_acquire) == nullptr;
           }))
        return false;
    // The owner may have taken it back in between.
    const Programme* const next = following.exchange(nullptr, std::memory_order_acq_rel);
    if (next == nullptr)
        return false;
    static_cast<void>(retire(current));
    current = next;
    position = next->startFrame;
    return true;
}

void ProgrammePlayer::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == 2);
    const bool isLooping = looping.load(std::memory_order_relaxed);
    const auto hasChanges = [this] {
        return requestedSeconds.load(std::memory_order_relaxed) >= 0.0
               || (pending.load(std::memory_order_relaxed) != nullptr
                   && std::ranges::any_of(retired, [](const auto& place) {
                          return place.load(std::memory_order_relaxed) == nullptr;
                      }));
    };
    bool isPlaying = playing.load(std::memory_order_relaxed);
    for (std::size_t frame = 0; frame < output.numFrames(); ++frame) {
        if (fadeCount == 0)
            takeUpChanges();
        const dsp::AudioBuffer* audio = current != nullptr ? current->audio.get() : nullptr;
        const bool shouldSound = isPlaying && audio != nullptr && !hasChanges();
        // Where the next file was not ready in time, silence is heard until it is.
        if (audio != nullptr && position >= audio->numFrames()) {
            if (shouldSound && goOnToFollowing()) {
                audio = current->audio.get();
            } else {
                fadeCount = 0;
                output[0][frame] = 0.0F;
                output[1][frame] = 0.0F;
                if (!hasMore.load(std::memory_order_relaxed)) {
                    position = current->startFrame;
                    isPlaying = isPlaying && isLooping;
                    playing.store(isPlaying);
                }
                continue;
            }
        }
        if (shouldSound && fadeCount < fadeFrames)
            ++fadeCount;
        else if (!shouldSound && fadeCount > 0)
            --fadeCount;
        if (fadeCount == 0 || audio == nullptr) {
            output[0][frame] = 0.0F;
            output[1][frame] = 0.0F;
            continue;
        }

        // Where nothing follows, the end fades as well: a file may be cut off anywhere.
        const bool goesOn = current->seam || hasMore.load(std::memory_order_relaxed);
        const std::size_t remaining = audio->numFrames() - position;
        const std::size_t count = isLooping || goesOn ? fadeCount : std::min(fadeCount, remaining);
        const float gain = static_cast<float>(count) / static_cast<float>(fadeFrames);
        output[0][frame] = gain * current->sampleAt(0, position);
        output[1][frame] = gain * current->sampleAt(1, position);
        if (current->seam) {
            position = current->seam->nextPosition(position, audio->numFrames());
            continue;
        }
        if (++position < audio->numFrames() || goOnToFollowing()
            || hasMore.load(std::memory_order_relaxed))
            continue;
        position = 0;
        if (!isLooping) {
            isPlaying = false;
            playing.store(false);
            fadeCount = 0;
        }
    }
    if (current != nullptr && current->audio != nullptr)
        positionSeconds.store(static_cast<double>(position) / current->audio->sampleRate);
    else
        positionSeconds.store(0.0);
}

} // namespace saddletone::plugin
