#pragma once

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::tuning {

/** A low shelf on top of a target: half of gainDb at frequencyHz, as steep as goes without
    overshoot (q = 0.7071). */
struct BassShelf {
    static constexpr double lowestGainDb = -20.0;
    static constexpr double highestGainDb = 20.0;
    static constexpr double lowestHz = 20.0;
    static constexpr double highestHz = 1000.0;

    double gainDb = 0.0;        ///< Within the limits above.
    double frequencyHz = 100.0; ///< The same.

    bool operator==(const BassShelf&) const = default;
};

/** What a response is to become. Only its shape counts: the overall level is free in every fit. */
struct FitTarget {
    std::string name = "flat";
    files::FrequencyTable table; ///< Empty: flat. Phases are not used.
    std::optional<BassShelf> bassShelf;
    /** Where the target tells nothing, as it came from a measurement that was not trusted there. */
    std::vector<dsp::Band> unknownBands;

    [[nodiscard]] double levelDbAt(double frequencyHz) const noexcept;
    [[nodiscard]] bool isKnownAt(double frequencyHz) const noexcept;
};

/** A target from a table; beyond its ends it keeps the end values. */
[[nodiscard]] FitTarget targetFromTable(files::FrequencyTable table, std::string name);

/** A target from an earlier response, power-averaged over a third of an octave; unknown where that
    was not trusted. Fails if nothing of it was. */
[[nodiscard]] dsp::Result<FitTarget> targetFromResponse(const measure::Response& response);

/** Kind "saddletone-target"; unknown bands are not kept. */
[[nodiscard]] nlohmann::json targetToJson(const FitTarget& target);
[[nodiscard]] dsp::Result<FitTarget> targetFromJson(const nlohmann::json& json,
                                                    std::string_view source);

/** Reads a target from JSON (a saddletone-target, or a state that was measured earlier) or from a
    table of frequency and level in text or CSV. */
[[nodiscard]] dsp::Result<FitTarget> loadTarget(const std::filesystem::path& file);

} // namespace saddletone::tuning
