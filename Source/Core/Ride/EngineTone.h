#pragma once

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/LinearRamp.h"
#include "Core/Ride/EngineModel.h"
#include "Core/Ride/Helmet.h"

#include <array>
#include <cstdint>
#include <span>
#include <vector>

namespace saddletone::ride {

/** The sound of an engine: every cylinder reads one table of a single pulse at its own firing
    angle, each pulse a little larger or smaller and earlier or later than the mean. The comb of
    half-orders follows from the angles. Both ears get the same, as the engine lies in the middle.

    The engine's angle is a whole number that grows by a whole number a frame, so a position reached
    by seek() is exact. Engine speed glides within glideSeconds; level, helmet and firing pattern
    cross over within a hop of EarNoise. */
class EngineTone {
public:
    struct Parameters {
        EngineModel model;
        double rpm = 0.0;
        double levelDbfsA = -400.0; ///< Before the helmet's loss; dsp::silenceDb is off.
        Helmet helmet = Helmet::fullFace;

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t tickFrames = 32; ///< Engine speed holds within a tick.
    static constexpr double glideSeconds = 0.25;

    // Setup (may allocate, not during process)
    explicit EngineTone(std::uint64_t jitterSeed) noexcept : seed(jitterSeed) {}
    void prepare(double newSampleRate);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Goes to a position as if the parameters had always been the present ones. */
    void seek(std::uint64_t newPosition) noexcept;
    void setParameters(const Parameters& newParameters) noexcept { parameters = newParameters; }

    /** Adds the next frames, which may not reach over the end of a tick (a multiple of tickFrames
        from position 0 on). */
    void add(std::span<float> output) noexcept;

    /** Passes over frames without making them; a glide is over after it. */
    void skip(std::size_t numFrames) noexcept;

private:
    static constexpr std::uint64_t noCycle = ~std::uint64_t {0};

    struct Cylinder {
        std::uint64_t angle = 0;
        std::uint64_t cycle = noCycle;
        std::uint64_t offset = 0;
        float gain = 1.0F;
    };

    struct Voice {
        Parameters made; ///< What the table was made for.
        std::array<Cylinder, FiringPattern::maxCylinders> cylinders;
        std::vector<float> table; ///< One pulse over a cycle, and its first sample again.
        float offset = 0.0F;      ///< Mean of all cylinders, which is taken off.
        bool isSilent = true;
    };

    void holdSpeed() noexcept;
    void makeTable(Voice& voice, double rpm) noexcept;
    [[nodiscard]] float sampleOf(Voice& voice, std::uint64_t angle) noexcept;

    std::uint64_t seed;
    Parameters parameters;
    double sampleRate = 48000.0;
    std::size_t hopFrames = 0;
    std::uint64_t position = 0;
    std::uint64_t crankAngle = 0;
    std::uint64_t anglePerFrame = 0;
    dsp::LinearRamp rpmGlide;
    std::array<Voice, 2> voices;
    std::size_t activeVoice = 0;
    bool isFading = false;
    bool angleIsUnknown = true;
    bool tableIsUnknown = true;
    std::vector<dsp::RealFft<float>> fft; // one; a vector because it is made in prepare()
};

} // namespace saddletone::ride
