#pragma once

#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include <span>
#include <string>
#include <string_view>

namespace saddletone::hearing {

/** A rule by which sound at the ear is counted over a day. */
struct ExposureCriterion {
    std::string_view name;
    double criterionDba = 85.0; ///< A day of referenceHours at it is 100 %.
    double exchangeDb = 3.0;    ///< So much more halves the time.
    double referenceHours = 8.0;
    double thresholdDba = 0.0; ///< Quieter sound does not count.
    /** Of the average by the publication's own rounded formula: 10 for 3 dB, 16.61 for 5 dB. */
    double averageDbPerDecade = 10.0;

    bool operator==(const ExposureCriterion&) const = default;

    /** Hours at a level that make 100 %; infinite below the threshold. */
    [[nodiscard]] double allowedHours(double levelDba) const noexcept;

    /** Level that makes 100 % in so many hours. */
    [[nodiscard]] double allowedDba(double hours) const noexcept;

    /** Steady level over referenceHours that makes the same dose; dsp::silenceDb for none. */
    [[nodiscard]] double timeWeightedAverageDba(double dosePercent) const noexcept;
};

/** NIOSH recommended exposure limit: NIOSH publication 98-126, 1998. Levels below 80 dB(A), which
    it leaves out (from memory), are counted here. */
inline constexpr ExposureCriterion nioshRel {"NIOSH REL", 85.0, 3.0, 8.0, 0.0, 10.0};

/** OSHA permissible exposure limit, 29 CFR 1910.95: counts from 90 dB(A). */
inline constexpr ExposureCriterion oshaPel {"OSHA PEL", 90.0, 5.0, 8.0, 90.0, 16.61};

/** OSHA hearing conservation, the same regulation: the same line, counted from 80 dB(A); 50 % is
    the action level. The two thresholds are from memory. */
inline constexpr ExposureCriterion oshaHearingConservation {
    "OSHA hearing conservation", 90.0, 5.0, 8.0, 80.0, 16.61};

/** No exposure at all above this is recommended by NIOSH, dB(A). */
inline constexpr double nioshCeilingDba = 140.0;

/** A part of a day. */
struct Exposure {
    double levelDba = 0.0;
    double hours = 0.0;

    bool operator==(const Exposure&) const = default;
};

/** Dose in per cent of what a criterion allows for a day. */
[[nodiscard]] double dosePercent(const ExposureCriterion& criterion,
                                 std::span<const Exposure> day) noexcept;

/** What a ride does, by one criterion. */
struct RideDose {
    double levelDba = dsp::silenceDb; ///< At the ear, inside plugs.
    double dosePercent = 0.0;
    double hoursToFull = 0.0; ///< To 100 %; infinite if it is never reached.
    double timeWeightedAverageDba = dsp::silenceDb;

    bool operator==(const RideDose&) const = default;
};

[[nodiscard]] RideDose rideDose(const ExposureCriterion& criterion, double levelDba,
                                double hours) noexcept;

/** A ride with or without music. */
struct ExposureRequest {
    double noiseDba = 100.0;
    double musicDba = dsp::silenceDb; ///< dsp::silenceDb = none.
    double hours = 1.0;               ///< 0 to 24.
    double earPlugDb = 0.0;           ///< What plugs take off as worn, 0 = none.

    bool operator==(const ExposureRequest&) const = default;
};

struct ExposureReport {
    RideDose noiseAlone;      ///< NIOSH.
    RideDose withMusic;       ///< NIOSH, power sum of noise and music.
    RideDose pelWithMusic;    ///< OSHA PEL, for comparison.
    RideDose actionWithMusic; ///< OSHA hearing conservation, for comparison.
    double allowedDba = 0.0;  ///< NIOSH: level at the ear that makes 100 % in the hours planned.
    /** Loudest music at the ear, inside plugs, that keeps noise plus music at 100 %; silenceDb if
        the noise alone exceeds it. */
    double allowedMusicDba = dsp::silenceDb;
    /** What plugs would have to take off in all, for 100 % in the hours planned; 0 = none needed.
        */
    double neededPlugDb = 0.0;

    bool operator==(const ExposureReport&) const = default;
};

[[nodiscard]] ExposureReport assessExposure(const ExposureRequest& request) noexcept;

/** The same in words: what it adds up to, what would help, and what it is not. */
[[nodiscard]] std::string exposureGuidance(const ExposureRequest& request,
                                           const ExposureReport& report);

} // namespace saddletone::hearing
