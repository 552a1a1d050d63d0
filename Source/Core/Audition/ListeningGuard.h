#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/WeightingFilter.h"

#include <array>
#include <cstddef>

namespace saddletone::audition {

/** Keeps the A-weighted level at the ear at or below a ceiling where it is known what the
    headphones make of full scale; elsewhere it does nothing.

    The level is that of the louder ear with time weighting S (IEC 61672-1, 1 s). The gain falls
    without a step and early: sound that sets in 20 dB above the ceiling passes it by less than 1 dB
    and for less than 2 s. Then the gain holds, so that candidates switched to afterwards keep their
    differences; when 10 s have not needed it, it recovers by 1 dB a second. Below 32 kHz sample
    rate the A-weighting is left out. Works in place, without latency. */
class ListeningGuard {
public:
    struct Parameters {
        /** dB SPL at the ear of a full-scale sine, 60 to 150; anything else: not known. */
        double headphoneSplAtFullScaleDb = 0.0;
        double ceilingDba = 80.0; ///< 60 to 100.

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t maxChannels = 2;

    // Setup (may allocate, not during process)
    void prepare(const dsp::ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept;
    void setParameters(const Parameters& newParameters) noexcept;
    /** One or two channels. Samples that are not finite become silence. */
    void process(dsp::ChannelView<float> block) noexcept;

    [[nodiscard]] bool isActive() const noexcept { return active; }
    /** Gain at the end of the last block, 0..1. */
    [[nodiscard]] double currentGain() const noexcept { return gain; }
    /** Level behind the gain, louder ear, A and S weighted; silenceDb where it is not known. */
    [[nodiscard]] double levelDba() const noexcept;

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

    /** Whether a figure for the headphones counts as known. */
    [[nodiscard]] static bool isKnown(double headphoneSplAtFullScaleDb) noexcept
    {
        return headphoneSplAtFullScaleDb >= 60.0 && headphoneSplAtFullScaleDb <= 150.0;
    }

private:
    struct Ear {
        std::array<std::array<double, 2>, 3> states {};
        double fastPower = 0.0; ///< Before the gain.
        double slowPower = 0.0; ///< Behind it.
    };

    void update() noexcept;
    [[nodiscard]] double weighted(Ear& ear, double sample) const noexcept;
    void moveGain() noexcept;

    Parameters parameters;
    double sampleRate = 48000.0;
    dsp::WeightingDesign design;
    std::array<Ear, maxChannels> ears;
    bool active = false;
    double ceilingPower = 0.0;
    double fastShare = 0.0; // of a new sample in the mean
    double slowShare = 0.0;
    double recovery = 1.0; // gain factor a frame
    std::size_t holdFrames = 0;
    std::size_t framesToHold = 0;
    double gain = 1.0;
};

} // namespace saddletone::audition
