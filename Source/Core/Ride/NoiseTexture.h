#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Ride/RecordedNoise.h"
#include "Core/Ride/SlowLines.h"

#include <array>
#include <complex>
#include <cstdint>
#include <vector>

namespace saddletone::ride {

/** Endless road noise for two ears with the spectrum, tones, slow fluctuation and coherence of
    recordings, in the recordings' full scale; the caller scales it.

    Noise comes from half-overlapping segments of shaped noise, each from its own seed, times a slow
    gain; tones and gain are sums of lines. So nothing loops, any position can be reached at once,
    and the samples do not depend on how the stream is cut. A change of speed takes effect with the
    next segments, within 1.1 s; what is heard after it depends on when it came. The next segment is
    made ahead, one ear at a time, so that no block pays for both. */
class NoiseTexture {
public:
    struct Parameters {
        double speedKmh = 100.0;
        double gainDb = 0.0; ///< On top of the recordings' level; takes effect like a speed.

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t numEars = 2;

    // Setup (may allocate, not during process)
    /** noise: at least one recording. */
    NoiseTexture(RecordedNoise noise, std::uint64_t noiseSeed);
    void prepare(const dsp::ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept { seek(0); }
    /** Goes to a frame as if the parameters had always been the present ones. */
    void seek(std::uint64_t newPosition) noexcept;
    /** What is not a number is passed over; a speed below 0 counts as 0. */
    void setParameters(const Parameters& newParameters) noexcept;

    /** Writes the next frames; output has numEars channels. */
    void process(dsp::ChannelView<float> output) noexcept;

    /** Passes over frames without making them. */
    void skip(std::size_t numFrames) noexcept { position += numFrames; }

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

private:
    /** Gain and tones at one moment; between two of them all is linear. */
    struct Moment {
        std::array<double, numEars> gains {};
        double glideSeconds = 0.0; ///< Integral of the common glide of unit deviation.
        std::array<double, mostTones> phasesRadians {};
        /** Left ear; right ear in phase with it; right ear a quarter turn ahead of it. */
        std::array<std::array<double, 3>, mostTones> amplitudes {};
    };
    using Segment = std::array<std::vector<float>, numEars>;

    void takeState(double seconds) noexcept;
    void shapeBins() noexcept;
    [[nodiscard]] double tonePhase(std::size_t tone, double seconds,
                                   double glideSeconds) const noexcept;
    [[nodiscard]] Moment momentAt(double seconds) const noexcept;
    void makeSegment(std::uint64_t index, std::size_t ear, Segment& segment) noexcept;
    void enterHop(std::uint64_t hop) noexcept;
    void renderChunk(std::uint64_t chunk) noexcept;

    static constexpr std::uint64_t none = ~std::uint64_t {0};
    static constexpr std::size_t chunksPerHop = 64;
    static constexpr std::size_t linesPerBand = 3;
    static constexpr std::size_t numGustLines = numModulationBands * linesPerBand;

    RecordedNoise recorded;
    std::uint64_t seed;
    Parameters parameters;
    double sampleRate = 48000.0;
    std::size_t hopFrames = 0;
    std::size_t chunkFrames = 0;
    std::uint64_t position = 0;
    std::uint64_t currentHop = none;
    std::uint64_t currentChunk = none;

    NoiseState state;
    double stateSpeedKmh = -1.0;
    double stateGainDb = 0.0;
    std::array<SlowLines<numGustLines>, 1 + numEars> gusts; // common, then each ear's own
    double gustNormDb = 0.0;
    std::array<SlowLines<numMemoryLines>, mostTones> toneLevels;
    SlowLines<numMemoryLines> glide;
    std::array<double, mostTones> phaseOffsetsRadians {};
    Moment momentEnd;

    std::vector<dsp::RealFft<float>> fft; // one; a vector because it is made in prepare()
    std::vector<float> window;
    std::vector<std::size_t> bandOfBin;
    std::array<std::vector<float>, numEars> amplitudes;
    std::vector<std::complex<float>> sharedPart; // of the right ear, times the left ear's noise
    std::vector<float> ownPart;
    std::array<Segment, 3> segments; // falling, rising, next
    std::array<bool, numEars> isNextMade {};
    std::array<std::vector<float>, numEars> chunkSamples;
};

} // namespace saddletone::ride
