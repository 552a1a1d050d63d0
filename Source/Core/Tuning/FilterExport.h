#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Tuning/Tuning.h"

#include <filesystem>
#include <string>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::tuning {

/** The settings as a plain table to print and type in: a block for each output group, filters by
    frequency, gain, q and order, then gain, delay and polarity. Signs and the meaning of q are said
    on top. */
[[nodiscard]] std::string filterTableText(const Tuning& tuning);

/** The same as CSV, units in the header row; fields that do not count for an element are empty. A
    graphic has a row for each band. */
[[nodiscard]] std::string filterTableCsv(const Tuning& tuning);

/** The biquads of each output group at a sample rate, with the equation they stand for. A limiter
    is listed with its settings, as it is no biquad. */
[[nodiscard]] nlohmann::json filterBiquadsJson(const Tuning& tuning, double sampleRate);

/** Writes one of the three, by the ending of the file: .txt, .csv or .json (which alone depends on
    the sample rate). */
[[nodiscard]] dsp::Result<void> exportFilters(const Tuning& tuning,
                                              const std::filesystem::path& file, double sampleRate);

} // namespace saddletone::tuning
