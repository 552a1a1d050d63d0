#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <cstddef>
#include <string_view>

namespace saddletone::ride {

/** How road speed turns into engine speed: the bike table's row. The defaults are those of an
    invented big touring twin, about 2600 rpm at 105 km/h in top gear; judgement. */
struct Drivetrain {
    static constexpr std::size_t maxGears = 8;

    double primaryRatio = 1.5;
    std::array<double, maxGears> gearRatios {3.2, 2.3, 1.75, 1.4, 1.18, 1.0};
    std::size_t numGears = 6;
    double finalRatio = 2.0;
    double tyreRadiusMetres = 0.32;  ///< Rolling radius of the driven wheel.
    double lowestCruiseRpm = 1800.0; ///< A rider shifts up when the next gear turns this fast.

    bool operator==(const Drivetrain&) const = default;

    /** Engine speed with the clutch closed. gear: 1 to numGears. */
    [[nodiscard]] double rpmAt(double speedKmh, std::size_t gear) const noexcept;

    /** The gear a rider cruises in: the highest that turns lowestCruiseRpm or more, else the
        first. */
    [[nodiscard]] std::size_t cruiseGear(double speedKmh) const noexcept;
};

/** A row of the table of bikes: kinds of motorcycles with invented, rounded figures (judgement). */
struct DrivetrainEntry {
    std::string_view name;
    Drivetrain drivetrain;
};

inline constexpr std::array drivetrainTable {
    DrivetrainEntry {"touring-twin", {}},
    DrivetrainEntry {"touring-six",
                     {1.6, {2.6, 1.85, 1.4, 1.15, 1.0, 0.85}, 6, 1.95, 0.32, 1900.0}},
    DrivetrainEntry {"touring-four",
                     {1.65, {2.8, 2.0, 1.6, 1.35, 1.15, 1.0}, 6, 2.75, 0.31, 2600.0}},
    DrivetrainEntry {"touring-three",
                     {1.75, {2.7, 1.95, 1.55, 1.3, 1.13, 1.0}, 6, 2.7, 0.31, 2500.0}}};

/** The drivetrain of a name in the table. */
[[nodiscard]] dsp::Result<Drivetrain> parseDrivetrain(std::string_view name);

} // namespace saddletone::ride
