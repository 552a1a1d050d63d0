#include "Plugin/ProgrammePlayer.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/Resampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::plugin {

ProgrammePlayer::ProgrammePlayer() = default;

ProgrammePlayer::~ProgrammePlayer()
{
    ++newestOrder;
    worker.removeAllJobs(true, -1);
    delete current;
    delete pending.load();
    delete retired.load();
}

void ProgrammePlayer::prepare(const dsp::ProcessSpec& spec)
{
    const std::lock_guard lock(ownerMutex);
    fadeFrames = std::max<std::size_t>(
        1, static_cast<std::size_t>(std::lround(fadeSeconds * spec.sampleRate)));
    fadeCount = 0;
    if (spec.sampleRate == sampleRate)
        return;

    const double resumeSeconds = positionSeconds.load();
    delete std::exchange(current, nullptr);
    delete pending.exchange(nullptr);
    delete retired.exchange(nullptr);
    position = 0;
    sampleRate = spec.sampleRate;
    needsConversion = true;
    if (waiting) {
        Order order = *waiting;
        order.sampleRate = sampleRate;
        placeOrder(std::move(order));
    } else if (currentSource != nullptr) {
        placeOrder({0, currentFile, currentSource, sampleRate, resumeSeconds});
    }
}

void ProgrammePlayer::load(const std::filesystem::path& file)
{
    const std::lock_guard lock(ownerMutex);
    placeOrder({0, file, nullptr, sampleRate, 0.0});
}

void ProgrammePlayer::unload()
{
    const std::lock_guard lock(ownerMutex);
    ++newestOrder;
    waiting.reset();
    playing.store(false);
    currentFile.clear();
    currentSource = nullptr;
    publish(std::make_unique<const Programme>());
}

void ProgrammePlayer::placeOrder(Order order)
{
    order.number = ++newestOrder;
    waiting = order;
    worker.addJob([this, task = std::move(order)] { deliver(task); });
}

void ProgrammePlayer::deliver(Order order)
{
    if (order.number != newestOrder.load())
        return;
    Delivery made;
    try {
        if (order.source == nullptr) {
            auto read = files::readAudioFile(order.file, {.maxSeconds = 1800.0, .maxChannels = 2});
            if (read)
                order.source = std::make_shared<const dsp::AudioBuffer>(*std::move(read));
            else
                made.problem = read.error().message;
        }
        if (order.source != nullptr) {
            auto audio = order.source;
            if (audio->sampleRate != order.sampleRate)
                audio = std::make_shared<const dsp::AudioBuffer>(
                    files::resample(*audio, order.sampleRate));
            const auto startFrame = static_cast<std::size_t>(
                std::lround(std::max(0.0, order.startSeconds) * order.sampleRate));
            const std::size_t start = startFrame < audio->numFrames() ? startFrame : 0;
            made.programme = std::make_unique<const Programme>(Programme {std::move(audio), start});
        }
    } catch (const std::exception& exception) {
        made.programme = nullptr;
        made.problem =
            order.file.string() + ": " + exception.what() + "; a shorter file may fit into memory";
    }
    made.order = std::move(order);
    const std::lock_guard lock(deliveryMutex);
    if (!delivery || delivery->order.number < made.order.number)
        delivery = std::move(made);
}

void ProgrammePlayer::publish(std::unique_ptr<const Programme> programme)
{
    delete retired.exchange(nullptr, std::memory_order_acq_rel);
    delete pending.exchange(programme.release(), std::memory_order_acq_rel);
}

void ProgrammePlayer::update()
{
    const std::lock_guard lock(ownerMutex);
    delete retired.exchange(nullptr, std::memory_order_acq_rel);

    std::optional<Delivery> made;
    {
        const std::lock_guard deliveryLock(deliveryMutex);
        made = std::exchange(delivery, std::nullopt);
    }
    if (!made || made->order.number != newestOrder.load())
        return;
    waiting.reset();
    if (made->programme == nullptr) {
        problem = made->problem;
        // The failed order may have taken the place of a conversion to a new rate.
        if (needsConversion && currentSource != nullptr && made->order.source == nullptr)
            placeOrder({0, currentFile, currentSource, sampleRate, 0.0});
        return;
    }
    currentFile = made->order.file;
    currentSource = made->order.source;
    needsConversion = false;
    // A position asked for while another programme was playing means nothing for this one.
    requestedSeconds.store(noRequest);
    publish(std::move(made->programme));
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
    state.loaded = currentSource != nullptr;
    state.playing = playing.load();
    state.looping = looping.load();
    state.busy = waiting.has_value();
    state.file = currentFile;
    state.durationSeconds = state.loaded ? currentSource->durationSeconds() : 0.0;
    const double requested = requestedSeconds.load();
    state.positionSeconds = std::clamp(requested >= 0.0 ? requested : positionSeconds.load(), 0.0,
                                       state.durationSeconds);
    return state;
}

void ProgrammePlayer::takeUpChanges() noexcept
{
    if (retired.load(std::memory_order_acquire) == nullptr)
        if (const Programme* next = pending.exchange(nullptr, std::memory_order_acq_rel)) {
            retired.store(current, std::memory_order_release);
            current = next;
            position = next->startFrame;
        }
    if (current == nullptr || current->audio == nullptr)
        return;
    if (const double seconds = requestedSeconds.exchange(noRequest); seconds >= 0.0) {
        const auto last = static_cast<double>(current->audio->numFrames() - 1);
        position = static_cast<std::size_t>(
            std::lround(std::min(last, seconds * current->audio->sampleRate)));
    }
}

void ProgrammePlayer::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == 2);
    const bool isLooping = looping.load(std::memory_order_relaxed);
    const auto hasChanges = [this] {
        return requestedSeconds.load(std::memory_order_relaxed) >= 0.0
               || (pending.load(std::memory_order_relaxed) != nullptr
                   && retired.load(std::memory_order_relaxed) == nullptr);
    };
    bool isPlaying = playing.load(std::memory_order_relaxed);
    for (std::size_t frame = 0; frame < output.numFrames(); ++frame) {
        if (fadeCount == 0)
            takeUpChanges();
        const dsp::AudioBuffer* const audio = current != nullptr ? current->audio.get() : nullptr;
        const bool shouldSound = isPlaying && audio != nullptr && !hasChanges();
        if (shouldSound && fadeCount < fadeFrames)
            ++fadeCount;
        else if (!shouldSound && fadeCount > 0)
            --fadeCount;
        if (fadeCount == 0 || audio == nullptr) {
            output[0][frame] = 0.0F;
            output[1][frame] = 0.0F;
            continue;
        }

        // Without a loop the end fades as well: a file may be cut off anywhere.
        const std::size_t remaining = audio->numFrames() - position;
        const std::size_t count = isLooping ? fadeCount : std::min(fadeCount, remaining);
        const float gain = static_cast<float>(count) / static_cast<float>(fadeFrames);
        output[0][frame] = gain * audio->channels.front()[position];
        output[1][frame] = gain * audio->channels.back()[position];
        if (++position < audio->numFrames())
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
