#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Ride/EarNoise.h"
#include "Core/Ride/EngineTone.h"
#include "Core/Ride/RideParameters.h"
#include "Core/Ride/TreadTone.h"
#include "Core/Ride/WindGusts.h"
#include "Core/Ride/WindShape.h"

#include <array>
#include <cstdint>
#include <vector>

namespace saddletone::ride {

/** Wind, tyre and engine at a rider's two ears on a true scale: 0 dBFS (AES17) stands for a stated
    sound pressure level. A helmet's loss acts on tyre and engine, plugs act on everything.

    The samples are a function of seed, position and parameters: they do not depend on how the stream
    is cut, and a position reached by seek() has the samples of one that was played to with the same
    parameters. Changes of parameters glide: noise crosses over from hop to hop (80 to 170 ms), so
    that a change is complete within a quarter of a second; engine speed glides as EngineTone states.

    Levels of the road exceed full scale unless splAtFullScaleDb is far above them. Never play them
    as loud as they are. */
class RideNoise {
public:
    struct Parameters {
        RideParameters ride;
        double splAtFullScaleDb = 140.0; ///< 0 to 200.

        bool operator==(const Parameters&) const = default;
    };

    static constexpr std::size_t numEars = EarNoise::numEars;

    // Setup (may allocate, not during process)
    explicit RideNoise(std::uint64_t noiseSeed);
    /** sampleRate 8 to 400 kHz; spec.numChannels is ignored, output is always two ears. */
    void prepare(const dsp::ProcessSpec& spec);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void reset() noexcept { seek(0); }
    /** Numbers out of range are held at its ends. */
    void setParameters(const Parameters& newParameters) noexcept;
    /** Goes to a frame as if the parameters had always been the present ones. */
    void seek(std::uint64_t newPosition) noexcept;

    /** Writes the next frames; output has numEars channels. */
    void process(dsp::ChannelView<float> output) noexcept;

    /** Passes over frames without making them. */
    void skip(std::size_t numFrames) noexcept;

    /** What the present parameters come to. */
    [[nodiscard]] const RideState& state() const noexcept { return rideNow; }

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }

private:
    /** What the wind's spectrum was last computed for. */
    struct WindKey {
        WindModel model;
        Helmet helmet = Helmet::fullFace;
        double speedKmh = -1.0;

        bool operator==(const WindKey&) const = default;
    };

    void updateTones() noexcept;
    void updateWindSpectrum() noexcept;
    void makeWindSegment(std::uint64_t index) noexcept;
    void makeTyreSegment(std::uint64_t index) noexcept;
    template <typename MakeSegment>
    static void enterHop(std::uint64_t hop, std::uint64_t& current, MakeSegment&& make) noexcept;
    void writeWind(std::size_t ear, std::span<float> output) const noexcept;

    static constexpr std::uint64_t noHop = ~std::uint64_t {0};

    Parameters parameters;
    RideState rideNow;
    double sampleRate = 48000.0;
    std::uint64_t position = 0;
    std::uint64_t windHop = noHop;
    std::uint64_t tyreHop = noHop;

    EarNoise windNoise;
    EarNoise tyreNoise;
    EngineTone engineTone;
    TreadTone treadTone;
    WindGusts gusts;
    WakeModulation wake;
    std::array<WindShape, allHelmets.size()> windShapes;

    std::vector<double> log2Hz;         // of bins from 1 on
    std::vector<double> weightingPower; // A-weighting of every bin
    WindKey windKey;
    std::vector<float> windDensitiesDb;
    std::vector<float> windAmplitudes;
    EarNoise::Coherence windCoherence;
    std::array<std::vector<float>, allHelmets.size()> tyreAmplitudes;
    EarNoise::Coherence tyreCoherence;

    // Depth of the wake's beat in the falling and in the rising segment, and the beat at both ends
    // of a tick.
    std::array<double, 2> wakeDepthsDb {};
    std::array<double, 2> wakeBeats {};
    std::uint64_t wakeTick = noHop;

    std::array<float, EngineTone::tickFrames> tones {};
};

} // namespace saddletone::ride
