#pragma once

#include "Core/Dsp/AudioBuffer.h"

namespace saddletone::hearing {

/** Largest true peak of all channels in dBTP by ITU-R BS.1770-4 Annex 2 (libebur128: interpolated
    four times below 96 kHz, twice below 192 kHz); dsp::silenceDb for silence. */
[[nodiscard]] double truePeakDbtp(const dsp::AudioBuffer& audio);

} // namespace saddletone::hearing
