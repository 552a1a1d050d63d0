#include "Core/Hearing/LoudnessMeter.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <new>

#include <ebur128.h>

namespace saddletone::hearing {

/** The library's state. */
struct LoudnessMeter::Library {
    explicit Library(double sampleRate)
        : state(
            ebur128_init(2, static_cast<unsigned long>(std::lround(sampleRate)), EBUR128_MODE_I))
    {
        if (state == nullptr)
            throw std::bad_alloc();
    }
    ~Library() { ebur128_destroy(&state); }
    Library(const Library&) = delete;
    Library& operator=(const Library&) = delete;

    ebur128_state* state;
};

LoudnessMeter::LoudnessMeter(double sampleRate) : library(std::make_unique<Library>(sampleRate)) {}
LoudnessMeter::~LoudnessMeter() = default;
LoudnessMeter::LoudnessMeter(LoudnessMeter&& other) noexcept = default;
LoudnessMeter& LoudnessMeter::operator=(LoudnessMeter&& other) noexcept = default;

void LoudnessMeter::add(dsp::ChannelView<const float> block)
{
    const auto left = block[0];
    const auto right = block.numChannels() > 1 ? block[1] : left;
    interleaved.resize(2 * block.numFrames());
    for (std::size_t frame = 0; frame < block.numFrames(); ++frame) {
        interleaved[2 * frame] = left[frame];
        interleaved[2 * frame + 1] = right[frame];
    }
    if (ebur128_add_frames_float(library->state, interleaved.data(), block.numFrames())
        != EBUR128_SUCCESS)
        throw std::bad_alloc();
}

double LoudnessMeter::integratedLufs() const
{
    double loudness = 0.0;
    if (ebur128_loudness_global(library->state, &loudness) != EBUR128_SUCCESS
        || !std::isfinite(loudness))
        return dsp::silenceDb;
    return loudness;
}

} // namespace saddletone::hearing
