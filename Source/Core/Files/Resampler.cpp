#include "Core/Files/Resampler.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <new>

#include <soxr.h>

namespace saddletone::files {

std::vector<double> resample(std::span<const double> samples, double ratio)
{
    assert(ratio >= 0.01 && ratio <= 100.0);
    const auto wanted =
        static_cast<std::size_t>(std::llround(static_cast<double>(samples.size()) * ratio));
    std::vector<double> result(wanted, 0.0);
    if (samples.empty() || wanted == 0)
        return result;

    const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    // Without its default roll-off, which takes 0.005 dB at nine tenths of Nyquist.
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, SOXR_ROLLOFF_NONE);
    std::size_t produced = 0;
    // Room for a few frames more than expected, since rounding of the length is soxr's own.
    std::vector<double> output(wanted + 64);
    const soxr_error_t error =
        soxr_oneshot(1.0, ratio, 1, samples.data(), samples.size(), nullptr, output.data(),
                     output.size(), &produced, &io, &quality, nullptr);
    // With valid arguments soxr fails only for want of memory.
    if (error != nullptr)
        throw std::bad_alloc();
    std::copy_n(output.begin(), std::min(produced, wanted), result.begin());
    return result;
}

dsp::AudioBuffer resample(const dsp::AudioBuffer& audio, double newSampleRate)
{
    if (audio.sampleRate == newSampleRate)
        return audio;
    dsp::AudioBuffer result {newSampleRate, {}};
    for (const auto& channel : audio.channels) {
        const std::vector<double> samples(channel.begin(), channel.end());
        const auto converted = resample(samples, newSampleRate / audio.sampleRate);
        result.channels.emplace_back(converted.begin(), converted.end());
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
