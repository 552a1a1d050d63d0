#include "Core/Hearing/Loudness.h"

#include "Core/Hearing/LoudnessMeter.h"

#include <algorithm>
#include <array>

namespace saddletone::hearing {

double integratedLoudnessLufs(const dsp::AudioBuffer& audio)
{
    // In pieces, as the library wants its channels in turn and a whole programme is large.
    constexpr std::size_t framesAtOnce = 65536;
    LoudnessMeter meter(audio.sampleRate);
    const auto& left = audio.channels.front();
    const auto& right = audio.channels.size() > 1 ? audio.channels[1] : left;
    for (std::size_t begin = 0; begin < left.size(); begin += framesAtOnce) {
        const std::array<const float*, 2> channels {left.data() + begin, right.data() + begin};
        meter.add({channels.data(), 2, std::min(framesAtOnce, left.size() - begin)});
    }
    return meter.integratedLufs();
}

} // namespace saddletone::hearing
