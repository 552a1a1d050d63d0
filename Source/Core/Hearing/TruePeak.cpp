#include "Core/Hearing/TruePeak.h"

#include "Core/Dsp/Units.h"

#include <algorithm>
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

/** As long as the interpolation filter at the least: what follows the last sample. */
constexpr std::size_t framesAfterEnd = 64;

} // namespace

double truePeakDbtp(const dsp::AudioBuffer& audio)
{
    double largest = 0.0;
    const std::vector<float> silence(framesAfterEnd);
    for (const auto& samples : audio.channels) {
        const std::unique_ptr<ebur128_state, Destroy> meter(ebur128_init(
            1, static_cast<unsigned long>(std::lround(audio.sampleRate)), EBUR128_MODE_TRUE_PEAK));
        if (meter == nullptr)
            throw std::bad_alloc();
        double peak = 0.0;
        // After the last sample the interpolation still owes some values.
        if (ebur128_add_frames_float(meter.get(), samples.data(), samples.size()) != EBUR128_SUCCESS
            || ebur128_add_frames_float(meter.get(), silence.data(), silence.size())
                   != EBUR128_SUCCESS)
            throw std::bad_alloc();
        if (ebur128_true_peak(meter.get(), 0, &peak) == EBUR128_SUCCESS)
            largest = std::max(largest, peak);
    }
    return dsp::amplitudeToDb(largest);
}

} // namespace saddletone::hearing
