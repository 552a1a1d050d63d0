#include "Plugin/BenchInput.h"

#include <algorithm>
#include <utility>

namespace saddletone::plugin {

void BenchInput::chooseChannel(std::size_t deviceChannel, std::string deviceName)
{
    const std::lock_guard lock(setupMutex);
    channel = deviceChannel;
    device = std::move(deviceName);
}

void BenchInput::prepareInput(const dsp::ProcessSpec& spec)
{
    const std::lock_guard lock(setupMutex);
    open.store(false);
    capture.close();
    prepared = spec;
    analysersReady = false;
    if (spec.numChannels == 0)
        return;
    const dsp::ProcessSpec oneChannel {spec.sampleRate, spec.maxBlockFrames, 1};
    for (std::size_t index = 0; index < bandWidths.size(); ++index)
        analysers[index].prepare(oneChannel, {.bandsPerOctave = bandWidths[index]});
    for (std::size_t index = 0; index < gui::analyserFftChoices.size(); ++index)
        analysers[bandWidths.size() + index].prepare(oneChannel,
                                                     {.fftSize = gui::analyserFftChoices[index]});
    analysersReady = true;
    runningAnalyser = chosenAnalyser.load();

    measure::CaptureSpec wanted;
    wanted.sampleRate = spec.sampleRate;
    wanted.deviceChannels = {channel};
    wanted.device = device;
    if (const auto opened = capture.open(wanted); opened)
        open.store(true);
    else
        problem = opened.error().message;
}

void BenchInput::closeInput()
{
    const std::lock_guard lock(setupMutex);
    open.store(false);
    capture.close();
}

void BenchInput::processInput(dsp::ChannelView<const float> input, const Moment& moment) noexcept
{
    if (!open.load(std::memory_order_relaxed))
        return;
    if (moment.lostFrames)
        capture.reportGap(*moment.lostFrames);
    if (moment.timeSeconds)
        capture.reportBlockTime(*moment.timeSeconds);
    capture.push(input);

    if (channel >= input.numChannels())
        return;
    const std::size_t wanted = chosenAnalyser.load(std::memory_order_relaxed);
    if (wanted != runningAnalyser) {
        runningAnalyser = wanted;
        analysers[runningAnalyser].reset();
    }
    const float* const samples = input[channel].data();
    analysers[runningAnalyser].process({&samples, 1, input.numFrames()});
}

double BenchInput::sampleRate() const
{
    const std::lock_guard lock(setupMutex);
    return prepared.sampleRate;
}

void BenchInput::setBandsPerOctave(int bandsPerOctave) noexcept
{
    const auto* const found = std::ranges::find(bandWidths, bandsPerOctave);
    if (found != bandWidths.end())
        chosenAnalyser.store(static_cast<std::size_t>(found - bandWidths.begin()));
}

void BenchInput::setFftSize(std::size_t fftSize) noexcept
{
    const auto& sizes = gui::analyserFftChoices;
    const auto* const found = std::ranges::find(sizes, fftSize);
    if (found != sizes.end())
        chosenAnalyser.store(bandWidths.size() + static_cast<std::size_t>(found - sizes.begin()));
}

void BenchInput::setAnalyserParameters(const measure::AnalyserParameters& parameters) noexcept
{
    for (measure::StreamAnalyser& analyser : analysers)
        analyser.setParameters(parameters);
}

void BenchInput::restartAverage() noexcept
{
    for (measure::StreamAnalyser& analyser : analysers)
        analyser.restartAverage();
}

void BenchInput::resetPeakHold() noexcept
{
    for (measure::StreamAnalyser& analyser : analysers)
        analyser.resetPeakHold();
}

measure::AnalyserSnapshot BenchInput::analyserSnapshot()
{
    const std::lock_guard lock(setupMutex);
    if (!analysersReady)
        return {};
    return analysers[chosenAnalyser.load()].snapshot();
}

std::optional<std::string> BenchInput::takeProblem()
{
    const std::lock_guard lock(setupMutex);
    return std::exchange(problem, std::nullopt);
}

} // namespace saddletone::plugin
