#pragma once

#include "Core/Dsp/ChannelView.h"

#include <memory>
#include <vector>

namespace saddletone::hearing {

/** Integrated loudness of two channels that come in pieces, by ITU-R BS.1770-4 with gating
    (libebur128). For any thread but the audio thread: it takes memory as it goes. */
class LoudnessMeter {
public:
    explicit LoudnessMeter(double sampleRate);
    ~LoudnessMeter();
    LoudnessMeter(LoudnessMeter&& other) noexcept;
    LoudnessMeter& operator=(LoudnessMeter&& other) noexcept;

    /** One or two channels; one counts as it is played: alike in both ears. */
    void add(dsp::ChannelView<const float> block);

    /** Of everything so far, in LUFS; dsp::silenceDb if nothing passes the gate. */
    [[nodiscard]] double integratedLufs() const;

private:
    struct Library;

    std::unique_ptr<Library> library;
    std::vector<float> interleaved;
};

} // namespace saddletone::hearing
