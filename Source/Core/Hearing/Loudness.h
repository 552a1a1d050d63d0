#pragma once

#include "Core/Dsp/AudioBuffer.h"

#include <functional>
#include <optional>

namespace saddletone::hearing {

/** Integrated loudness of a programme in LUFS by ITU-R BS.1770-4 with gating (libebur128);
    dsp::silenceDb if nothing passes the gate. One or two channels; one counts as it is played:
    alike in both ears. */
[[nodiscard]] double integratedLoudnessLufs(const dsp::AudioBuffer& audio);

/** The same, with word of the share that is done, 0 to 1, some times a second. Nothing: progress
    returned false, which ends it. */
[[nodiscard]] std::optional<double>
integratedLoudnessLufs(const dsp::AudioBuffer& audio, const std::function<bool(double)>& progress);

} // namespace saddletone::hearing
