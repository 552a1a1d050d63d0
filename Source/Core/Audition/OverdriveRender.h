#pragma once

#include "Core/Audition/NonlinearDesign.h"
#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"

namespace saddletone::audition {

/** A programme as overdriven speakers make it. */
struct OverdriveRendering {
    dsp::AudioBuffer audio; ///< Two channels, as the microphone of the measurement would record it.
    double branchDb = 0.0;  ///< Level of what the branch adds re the linear part, RMS.
    double heldDb = 0.0; ///< By how much, at most, the programme passed the highest measured drive.
};

/** Plays a programme of one or two channels through tuning and model, the linear part by power 1's
    kernel, in blocks of blockFrames; so many frames come out as went in. Scale and delay are those of
    buildKernelTaps(): the direct sound comes 1.5 ms late. */
[[nodiscard]] dsp::Result<OverdriveRendering> renderOverdrive(const NonlinearRequest& request,
                                                              const dsp::AudioBuffer& programme,
                                                              std::size_t blockFrames = 512);

} // namespace saddletone::audition
