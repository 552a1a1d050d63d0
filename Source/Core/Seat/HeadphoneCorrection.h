#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::seat {

/** Dips narrower than this are not filled up, as a filter that does would ring audibly and sit
    wrong as soon as the headphone is put on anew. Half an octave: Gomez-Bolanos, Makivirta and
    Pulkki, JAES 64(10), 2016; what is smoothed here is the quarter octave on either side, and the
    lower of the two counts, so that slopes and the feet of peaks are no dips. */
inline constexpr double dipSmoothingOctaves = 0.5;

struct HeadphoneCorrectionSettings {
    double sampleRate = 48000.0; ///< 8 to 384 kHz.
    std::size_t numTaps = 4096;  ///< 256 to 65536.
    double maxBoostDb = 6.0;     ///< 0 to 24: judgement, as boost costs headroom.
    double maxCutDb = 12.0;      ///< 0 to 40: judgement.

    bool operator==(const HeadphoneCorrectionSettings&) const = default;
};

/** A filter that brings a headphone to a target, and what it leaves undone. */
struct HeadphoneCorrection {
    std::vector<double> taps;          ///< Minimum phase, at the sample rate of the settings.
    std::vector<double> frequenciesHz; ///< Twelfths of an octave, of the three curves below.
    std::vector<double> idealDb;       ///< The inverse without limits.
    std::vector<double> correctionDb;  ///< What the taps do.
    std::vector<double> differenceDb;  ///< Correction less ideal: what limits and dips cost.
    double fromHz = 0.0;               ///< The range of the table; the correction is held beyond.
    double toHz = 0.0;
    double highestGainDb = 0.0; ///< Of the taps: headroom to leave, never above maxBoostDb.
    std::vector<std::string> remarks;
};

/** Makes the correction of a headphone from its response and a target of the same form (nothing:
    flat). Phases are not read. Both are compared at the same mean level from 500 Hz to 2 kHz, so
    the correction leaves the level of the middle alone, and sound pressure levels do as well as
    gains.

    The inverse is regularised (Kirkeby and Nelson, JAES 47(7/8), 1999): H / (H^2 + beta), with the
    least beta at each frequency that keeps the boost within its limit and treats dips narrower than
    dipSmoothingOctaves as if they were smoothed away. Peaks are taken down as they stand, to
    maxCutDb. Refused: fewer than three lines, less than an octave. */
[[nodiscard]] dsp::Result<HeadphoneCorrection>
correctHeadphone(const files::FrequencyTable& response,
                 const std::optional<files::FrequencyTable>& target,
                 const HeadphoneCorrectionSettings& settings, const std::string& source);

/** The same from tables in files; an empty targetFile is flat. */
[[nodiscard]] dsp::Result<HeadphoneCorrection>
loadHeadphoneCorrection(const std::filesystem::path& responseFile,
                        const std::filesystem::path& targetFile,
                        const HeadphoneCorrectionSettings& settings);

} // namespace saddletone::seat
