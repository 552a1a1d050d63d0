#include "Core/Hearing/Loudness.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <memory>
#include <new>
#include <vector>

#include <ebur128.h>

namespace saddletone::hearing {

namespace {

struct Destroy {
    void operator()(ebur128_state* state) const noexcept { ebur128_destroy(&state); }
};

} // namespace

double integratedLoudnessLufs(const dsp::AudioBuffer& audio)
{
    const std::unique_ptr<ebur128_state, Destroy> meter(
        ebur128_init(2, static_cast<unsigned long>(std::lround(audio.sampleRate)), EBUR128_MODE_I));
    if (meter == nullptr)
        throw std::bad_alloc();
    const auto& left = audio.channels.front();
    const auto& right = audio.channels.size() > 1 ? audio.channels[1] : left;
    std::vector<float> interleaved(2 * left.size());
    for (std::size_t frame = 0; frame < left.size(); ++frame) {
        interleaved[2 * frame] = left[frame];
        interleaved[2 * frame + 1] = right[frame];
    }
    double loudness = 0.0;
    if (ebur128_add_frames_float(meter.get(), interleaved.data(), left.size()) != EBUR128_SUCCESS)
        throw std::bad_alloc();
    if (ebur128_loudness_global(meter.get(), &loudness) != EBUR128_SUCCESS
        || !std::isfinite(loudness))
        return dsp::silenceDb;
    return loudness;
}

} // namespace saddletone::hearing
