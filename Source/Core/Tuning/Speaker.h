#pragma once

#include "Core/Dsp/Result.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::tuning {

/** Where the figures of a speaker come from. */
enum class DataStatus { dataSheet, measured, assumed };

/** What a speaker is mounted in. */
enum class EnclosureKind {
    freeAir, ///< Front and back kept apart, nothing behind that acts as a spring.
    sealed,
    vented
};

/** Name of a status in files and messages: "data sheet". */
[[nodiscard]] std::string_view dataStatusName(DataStatus status) noexcept;
/** Name of a kind in files and messages: "free-air". */
[[nodiscard]] std::string_view enclosureKindName(EnclosureKind kind) noexcept;

struct Enclosure {
    EnclosureKind kind = EnclosureKind::freeAir;
    double volumeLitres = 10.0; ///< Sealed and vented: net, for one speaker; 0.1 to 500.
    double tuningHz = 60.0;     ///< Vented: resonance of port and volume; 10 to 300.
    /** Vented: Q of the leaks, 1 to 10000; larger is tighter. 7 is where a design may start (Small,
        JAES 21(7), 1973, "Vented-Box Loudspeaker Systems", part III). */
    double leakageQ = 7.0;

    bool operator==(const Enclosure&) const = default;
};

/** Qms where a data sheet gives Qts alone. Judgement: from 3 to 10 the sensitivity moves by less
    than 1 dB for a Qts up to 0.7. */
inline constexpr double assumedQms = 5.0;

/** Small-signal data of a speaker by Thiele and Small, its limits and its enclosure. */
struct Speaker {
    std::string name;
    bool invented = false; ///< No speaker that exists; shown as such wherever it is used.
    DataStatus status = DataStatus::assumed;
    double fsHz = 75.0;                 ///< Resonance in free air.
    double qts = 0.6;                   ///< Total Q at fsHz.
    std::optional<double> qms;          ///< Mechanical Q, above qts; missing: assumedQms.
    double vasLitres = 10.0;            ///< Volume as stiff as the suspension.
    double sdSquareCentimetres = 133.0; ///< Effective area of the cone.
    double xmaxMm = 3.5;                ///< Peak, one way.
    double reOhm = 3.5;                 ///< Of the voice coil, at direct current.
    double nominalImpedanceOhm = 4.0;
    double powerLimitWatts = 50.0; ///< Long term, re the nominal impedance.
    int numSpeakers = 2;           ///< Alike, at the same voltage, on the output that is looked at.
    Enclosure enclosure;

    /** Electrical Q at fsHz. */
    [[nodiscard]] double qes() const noexcept;

    bool operator==(const Speaker&) const = default;
};

[[nodiscard]] nlohmann::json speakerToJson(const Speaker& speaker);
/** Checks every range and that the figures fit each other. source: named in error messages. */
[[nodiscard]] dsp::Result<Speaker> speakerFromJson(const nlohmann::json& json,
                                                   std::string_view source);

[[nodiscard]] dsp::Result<void> saveSpeaker(const Speaker& speaker,
                                            const std::filesystem::path& file);
[[nodiscard]] dsp::Result<Speaker> loadSpeaker(const std::filesystem::path& file);

} // namespace saddletone::tuning
