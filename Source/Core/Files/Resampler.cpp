#include "Core/Files/Resampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <memory>
#include <new>

#include <soxr.h>

namespace saddletone::files {

namespace {

/** Little enough to be converted in some hundredths of a second. */
constexpr std::size_t framesAtOnce = 65536;

struct CloseConverter {
    void operator()(soxr_t converter) const noexcept { soxr_delete(converter); }
};
using ConverterHandle = std::unique_ptr<soxr, CloseConverter>;

ConverterHandle openConverter(double ratio)
{
    const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    // Without its default roll-off, which takes 0.005 dB at nine tenths of Nyquist.
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, SOXR_ROLLOFF_NONE);
    soxr_error_t error = nullptr;
    ConverterHandle converter(soxr_create(1.0, ratio, 1, &error, &io, &quality, nullptr));
    // With valid arguments soxr fails only for want of memory.
    if (error != nullptr || converter == nullptr)
        throw std::bad_alloc();
    return converter;
}

/** Converts one channel part by part, which gives what it gives at once. Nothing: progress, which
    may be empty, ended it. */
template <typename Sample>
std::optional<std::vector<Sample>> convert(std::span<const Sample> samples, double ratio,
                                           const std::function<bool(double)>& progress)
{
    assert(ratio >= 0.01 && ratio <= 100.0);
    const auto wanted =
        static_cast<std::size_t>(std::llround(static_cast<double>(samples.size()) * ratio));
    std::vector<Sample> result(wanted);
    if (samples.empty() || wanted == 0)
        return result;
    const ConverterHandle converter = openConverter(ratio);
    std::vector<double> input(std::min(framesAtOnce, samples.size()));
    // Room for a few frames more than expected, since rounding of the length is soxr's own.
    std::vector<double> output(std::min(framesAtOnce, wanted + 64));
    std::size_t taken = 0;
    std::size_t given = 0;
    while (given < wanted) {
        const auto part = samples.subspan(taken, std::min(input.size(), samples.size() - taken));
        std::ranges::copy(part, input.begin());
        std::size_t used = 0;
        std::size_t produced = 0;
        // Without input soxr gives what it still holds.
        if (soxr_process(converter.get(), part.empty() ? nullptr : input.data(), part.size(), &used,
                         output.data(), output.size(), &produced)
            != nullptr)
            throw std::bad_alloc();
        if (part.empty() && produced == 0)
            break; // shorter by its own rounding: silence at the end
        taken += used;
        const std::size_t count = std::min(produced, wanted - given);
        for (std::size_t frame = 0; frame < count; ++frame)
            result[given + frame] = static_cast<Sample>(output[frame]);
        given += count;
        if (progress && !progress(static_cast<double>(taken) / static_cast<double>(samples.size())))
            return std::nullopt;
    }
    return result;
}

} // namespace

std::vector<double> resample(std::span<const double> samples, double ratio)
{
    return *convert(samples, ratio, {});
}

dsp::AudioBuffer resample(const dsp::AudioBuffer& audio, double newSampleRate)
{
    return *resample(audio, newSampleRate, {});
}

std::optional<dsp::AudioBuffer> resample(const dsp::AudioBuffer& audio, double newSampleRate,
                                         const std::function<bool(double)>& progress)
{
    if (audio.sampleRate == newSampleRate)
        return audio;
    dsp::AudioBuffer result {newSampleRate, {}};
    const double shareOfChannel = 1.0 / static_cast<double>(audio.numChannels());
    std::function<bool(double)> channelProgress;
    if (progress)
        channelProgress = [&](double done) {
            return progress(shareOfChannel * (static_cast<double>(result.numChannels()) + done));
        };
    for (const auto& channel : audio.channels) {
        auto converted = convert(std::span<const float>(channel), newSampleRate / audio.sampleRate,
                                 channelProgress);
        if (!converted)
            return std::nullopt;
        result.channels.push_back(*std::move(converted));
    }
    return result;
}

std::vector<double> resampleImpulse(std::span<const double> impulse, double sampleRate,
                                    double newSampleRate)
{
    if (sampleRate == newSampleRate)
        return {impulse.begin(), impulse.end()};
    auto result = resample(impulse, newSampleRate / sampleRate);
    // An impulse keeps its area over time, not its height.
    for (double& tap : result)
        tap *= sampleRate / newSampleRate;
    return result;
}

} // namespace saddletone::files
