#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <string_view>

namespace saddletone::ride {

/** Ear plugs: none, as well fitted as their label says, or as loosely as they often sit. */
enum class EarPlugs { none, nominal, cautious };

inline constexpr std::array allEarPlugs {EarPlugs::none, EarPlugs::nominal, EarPlugs::cautious};

/** The word used in files and on the command line: none, nominal, cautious. */
[[nodiscard]] std::string_view earPlugsName(EarPlugs plugs) noexcept;

[[nodiscard]] dsp::Result<EarPlugs> parseEarPlugs(std::string_view name);

/** What plugs take from everything that is heard, wind included, alike at all frequencies. Both
    figures are judgement. */
struct EarPlugModel {
    double nominalLossDb = 25.0;
    double cautiousLossDb = 15.0;

    bool operator==(const EarPlugModel&) const = default;

    [[nodiscard]] double lossDb(EarPlugs plugs) const noexcept;
};

} // namespace saddletone::ride
