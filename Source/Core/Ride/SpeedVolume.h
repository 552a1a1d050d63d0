#pragma once

#include "Core/Dsp/Result.h"

#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace saddletone::ride {

/** How a radio goes from one entry of its table to the next. */
enum class SpeedCourse {
    steps, ///< An entry holds from its speed up to the next one's. Without hysteresis.
    curve, ///< Straight between entries, over speed.
};

/** Gain of a radio at a speed, re its gain at standstill. */
struct SpeedGain {
    double speedKmh = 0.0;
    double gainDb = 0.0;

    bool operator==(const SpeedGain&) const = default;
};

/** The measured response of a radio at a speed. */
struct SpeedState {
    double speedKmh = 0.0;
    std::string stateFile; ///< STATE.json of the response, relative to this file's folder.

    bool operator==(const SpeedState&) const = default;
};

/** Which measured responses stand for a speed. */
struct StateMix {
    std::size_t lower = 0;
    std::size_t upper = 0; ///< Equal to lower where one response stands for the speed.
    double mix = 0.0;      ///< 0 = lower, 1 = upper.
    bool isHeld = false;   ///< The speed lies outside the measured ones.

    bool operator==(const StateMix&) const = default;
};

/** A radio's volume that follows speed, and its equaliser that does, as measured. Below and above
    the entries the first and the last hold. */
struct SpeedVolume {
    std::string name;
    SpeedCourse volumeCourse = SpeedCourse::curve;
    std::vector<SpeedGain> gains; ///< Ascending speed; empty: the volume does not follow speed.
    /** steps: the nearest measured response is taken; curve: between two, see mixedMagnitudeDb(). */
    SpeedCourse equaliserCourse = SpeedCourse::curve;
    std::vector<SpeedState> states; ///< Ascending speed; empty: the equaliser does not.

    /** 0 without entries. speedKmh: any finite value. */
    [[nodiscard]] double gainDbAt(double speedKmh) const noexcept;
    /** states must not be empty. */
    [[nodiscard]] StateMix stateMixAt(double speedKmh) const noexcept;
    /** Which response stands for the speed, in words. */
    [[nodiscard]] std::string stateSentence(double speedKmh) const;

    bool operator==(const SpeedVolume&) const = default;
};

/** Magnitude between two measured ones: straight in dB at each frequency, which is right as long
    as the radio moves the gain of the same filters. All of one length. */
[[nodiscard]] std::vector<double> mixedMagnitudeDb(std::span<const double> lowerDb,
                                                   std::span<const double> upperDb, double mix);

/** Writes kind "saddletone-speed-volume", whole or not at all. */
[[nodiscard]] dsp::Result<void> saveSpeedVolume(const SpeedVolume& volume,
                                                const std::filesystem::path& file);
/** Checks every type and range, and that speeds ascend. */
[[nodiscard]] dsp::Result<SpeedVolume> loadSpeedVolume(const std::filesystem::path& file);

} // namespace saddletone::ride
