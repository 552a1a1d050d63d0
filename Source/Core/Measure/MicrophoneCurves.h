#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace saddletone::measure {

/** From where sound reaches a microphone: its tip points at the source, or across. */
enum class Incidence { zeroDegrees, ninetyDegrees };

/** "0" or "90". */
[[nodiscard]] std::string_view incidenceName(Incidence incidence) noexcept;
[[nodiscard]] dsp::Result<Incidence> parseIncidence(std::string_view name);

/** What is known of a microphone: dB re its sensitivity, one curve for each incidence. */
struct MicrophoneCurves {
    std::optional<files::FrequencyTable> zeroDegrees;
    std::optional<files::FrequencyTable> ninetyDegrees;
};

/** A curve to be taken out of a measurement. */
struct ChosenCurve {
    files::FrequencyTable table;
    Incidence incidence = Incidence::zeroDegrees; ///< Of the table.
    std::string remark; ///< For the response, if it is not the incidence asked for; else empty.
};

/** Reads the curves from text tables; an empty path = there is none. */
[[nodiscard]] dsp::Result<MicrophoneCurves>
readMicrophoneCurves(const std::filesystem::path& zeroDegreesFile,
                     const std::filesystem::path& ninetyDegreesFile);

/** The curve for an incidence; the other one, with a remark, where only that exists. Fails if
    there is none. */
[[nodiscard]] dsp::Result<ChosenCurve> chooseCurve(const MicrophoneCurves& curves,
                                                   Incidence wanted);

} // namespace saddletone::measure
