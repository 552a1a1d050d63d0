#include "Core/Hearing/Loudness.h"

#include "Core/Hearing/LoudnessMeter.h"

#include <algorithm>
#include <array>

namespace saddletone::hearing {

double integratedLoudnessLufs(const dsp::AudioBuffer& audio)
{
    return *integratedLoudnessLufs(audio, {});
}

std::optional<double> integratedLoudnessLufs(const dsp::AudioBuffer& audio,
                                             const std::function<bool(double)>& progress)
{
    // In pieces, as the library wants its channels in turn and a whole programme is large.
    constexpr std::size_t framesAtOnce = 65536;
    LoudnessMeter meter(audio.sampleRate);
    const auto& left = audio.channels.front();
    const auto& right = audio.channels.size() > 1 ? audio.channels[1] : left;
    for (std::size_t begin = 0; begin < left.size(); begin += framesAtOnce) {
        const std::array<const float*, 2> channels {left.data() + begin, right.data() + begin};
        const std::size_t count = std::min(framesAtOnce, left.size() - begin);
        meter.add({channels.data(), 2, count});
        if (progress
            && !progress(static_cast<double>(begin + count) / static_cast<double>(left.size())))
            return std::nullopt;
    }
    return meter.integratedLufs();
}

} // namespace saddletone::hearing
