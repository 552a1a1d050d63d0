#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace saddletone::seat {

/** What headphones make of full scale, in dB SPL: levels are kept within these. */
inline constexpr double lowestHeadphoneSplDb = 80.0;
inline constexpr double highestHeadphoneSplDb = 140.0;

/** What the level of a headphone was worked out from. */
enum class HeadphoneLevelBasis {
    sensitivityPerVolt,      ///< dB SPL for 1 V RMS, and the output's voltage at full scale.
    sensitivityPerMilliwatt, ///< dB SPL for 1 mW, impedance, and the voltage.
    measuredLevel,           ///< An SPL that was measured while a signal of known level played.
    statedLevel,             ///< dB SPL at full scale, as somebody has stated it.
};

/** Name in files: "sensitivity-per-volt", "sensitivity-per-milliwatt", "measured-level",
    "stated-level". */
[[nodiscard]] std::string_view headphoneLevelBasisName(HeadphoneLevelBasis basis) noexcept;

/** How loud a headphone plays on the output it is plugged into, its volume as noted: the level of a
    1 kHz sine at 0 dBFS (AES17). Only the figures of its basis are used. */
struct HeadphoneCalibration {
    std::string headphone; ///< Name.
    std::string output;    ///< Socket and where its volume stood, in words.
    std::string date;      ///< Day: 2026-05-01.
    std::string source;    ///< Where the figures come from: data sheet, ear simulator, ...
    HeadphoneLevelBasis basis = HeadphoneLevelBasis::measuredLevel;
    double sensitivityDbSpl = 100.0;  ///< For 1 V or for 1 mW; 50 to 150.
    double impedanceOhms = 32.0;      ///< 1 to 10000.
    double fullScaleVolts = 1.0;      ///< RMS of a full-scale sine, no load; 0.001 to 100.
    double outputImpedanceOhms = 0.0; ///< Of the socket; 0 to 10000.
    double measuredSplDb = 94.0;      ///< 30 to 130.
    double measuredLevelDbfs = -20.0; ///< AES17, of the signal that played then; -120 to 0.
    double statedSplDb = 110.0;       ///< lowestHeadphoneSplDb to highestHeadphoneSplDb.

    bool operator==(const HeadphoneCalibration&) const = default;

    /** dB SPL of a sine at 0 dBFS (AES17): at 1 kHz, where A-weighting is 0 dB. */
    [[nodiscard]] double splAtFullScaleDb() const noexcept;
};

/** The calibration that somebody states as a number. */
[[nodiscard]] HeadphoneCalibration statedCalibration(double splAtFullScaleDb,
                                                     const std::string& date);

/** Refuses headphones of which no level can be kept: that make 80 dB SPL or less, or more than 140,
    of full scale. file: what the message calls them. */
[[nodiscard]] dsp::Result<void> checkKeepable(const HeadphoneCalibration& calibration,
                                              const std::string& file);

/** dB SPL for 1 V RMS from dB SPL for 1 mW. */
[[nodiscard]] double sensitivityPerVolt(double dbSplPerMilliwatt, double impedanceOhms) noexcept;

/** The A-weighted digital level (dBFS by AES17) that reaches a level at the ear; nothing without a
    calibration, as the listening level is unknown then. */
[[nodiscard]] std::optional<double>
digitalLevelDbfs(const std::optional<HeadphoneCalibration>& calibration, double levelDba) noexcept;

/** The level at the ear of an A-weighted digital level; nothing without a calibration. */
[[nodiscard]] std::optional<double>
levelAtEarDba(const std::optional<HeadphoneCalibration>& calibration, double levelDbfs) noexcept;

/** The ceiling of listening, unless somebody sets another: 5 dB below the criterion of NIOSH 98-126
    for eight hours (85 dB(A)); the margin is judgement. */
inline constexpr double defaultCeilingDba = 80.0;

/** The ceiling in words, for the screen; says 'unknown' where it is. */
[[nodiscard]] std::string ceilingWords(const std::optional<HeadphoneCalibration>& calibration,
                                       double ceilingDba = defaultCeilingDba);

/** Writes kind "saddletone-headphone-calibration", whole or not at all. */
[[nodiscard]] dsp::Result<void> saveHeadphoneCalibration(const HeadphoneCalibration& calibration,
                                                         const std::filesystem::path& file);
[[nodiscard]] dsp::Result<HeadphoneCalibration>
loadHeadphoneCalibration(const std::filesystem::path& file);

} // namespace saddletone::seat
