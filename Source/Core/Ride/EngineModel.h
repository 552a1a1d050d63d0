#pragma once

#include "Core/Ride/Drivetrain.h"
#include "Core/Ride/FiringPattern.h"

#include <span>

namespace saddletone::ride {

/** Engine noise at the rider's head, before a helmet's loss: half-orders of the engine's speed with
    the weights of its firing pattern times the spectrum of a single pulse. Level, slope, idle, pulse
    and jitter are judgement; only that vehicle noise and wind cross between 20 and 40 mph is sourced
    (Binnington, McCombe and Harris, Br. J. Audiol. 27(6):415-422, 1993). */
struct EngineModel {
    FiringPattern firing;
    double cruiseDba = 82.0;        ///< Cruising at cruiseSpeedKmh.
    double cruiseSpeedKmh = 64.4;   ///< 40 mph as the sources round it.
    double slopeDbPerDecade = 20.0; ///< Of engine speed.
    double idleRpm = 950.0;
    double idleDba = 74.0;            ///< Parked with the engine running.
    double pulseCornerOrder = 2.0;    ///< A pulse falls 6 dB an octave above this order.
    double amplitudeJitter = 0.08;    ///< Standard deviation of a pulse's size re its mean.
    double timingJitterDegrees = 1.0; ///< Standard deviation of a pulse's crank angle.

    bool operator==(const EngineModel&) const = default;

    /** A-weighted level at an engine speed, which cruiseRpm has at cruiseSpeedKmh. */
    [[nodiscard]] double levelDba(double rpm, double cruiseRpm) const noexcept;

    /** Amplitude of half-order k in a single pulse re its low orders. */
    [[nodiscard]] double pulseAmplitude(std::size_t halfOrder) const noexcept;
};

/** Half-orders that are made, order 64 the last. */
inline constexpr std::size_t numHalfOrders = 128;

/** Frequency of half-order k: k rpm / 120, as a cycle takes two revolutions. */
[[nodiscard]] constexpr double halfOrderHz(std::size_t halfOrder, double rpm) noexcept
{
    return static_cast<double>(halfOrder) * rpm / 120.0;
}

/** Amplitude of each half-order from 1 on in one cylinder's pulse, such that all cylinders together
    have an A-weighted level of 0 dBFS by AES17; half-orders from topHz on are nothing. */
void enginePulseAmplitudes(const EngineModel& model, double rpm, double topHz,
                           std::span<double> amplitudes) noexcept;

} // namespace saddletone::ride
