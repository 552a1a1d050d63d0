#pragma once

#include "Core/Dsp/AudioBuffer.h"

namespace saddletone::hearing {

/** Integrated loudness of a programme in LUFS by ITU-R BS.1770-4 with gating (libebur128);
    dsp::silenceDb if nothing passes the gate. One or two channels; one counts as it is played:
    alike in both ears. */
[[nodiscard]] double integratedLoudnessLufs(const dsp::AudioBuffer& audio);

} // namespace saddletone::hearing
