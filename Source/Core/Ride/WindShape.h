#pragma once

#include "Core/Ride/Helmet.h"

#include <array>
#include <span>

namespace saddletone::ride {

/** Shape of the wind noise spectrum under a helmet: straight lines in dB over log frequency whose
    octave sums follow windOctaveLevelsDb(), flat from 31.5 Hz down to 22 Hz, falling 12 dB an
    octave under it, the last slope going on above 8 kHz.

    It holds at referenceSpeedKmh. At another speed it stands at another place of the frequency
    axis, in proportion to speed: the Strouhal number of what makes the noise stays the same. */
class WindShape {
public:
    /** The speed at which the octave table is taken to hold; judgement. */
    static constexpr double referenceSpeedKmh = 100.0;
    /** The shape moves no further down than it stands at this speed, where it has left the audible
        range. */
    static constexpr double lowestSpeedKmh = 10.0;

    // Setup (may allocate, not during process)
    explicit WindShape(Helmet helmet);

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Relative density in dB at a speed and at frequencies that ascend, given as their logarithm to
        base two of Hz. The caller scales it to a level. */
    void densitiesDb(double speedKmh, std::span<const double> log2Hz,
                     std::span<float> densitiesDb) const noexcept;

    /** The same at one frequency above 0. */
    [[nodiscard]] double densityDb(double speedKmh, double frequencyHz) const noexcept;

private:
    static constexpr std::size_t numOctaves = 9;

    [[nodiscard]] double lineDb(std::size_t upperNode, double octaves) const noexcept;

    std::array<double, numOctaves> nodesDb {};
    std::array<double, numOctaves> nodesLog2Hz {};
};

} // namespace saddletone::ride
