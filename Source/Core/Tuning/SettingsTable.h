#pragma once

#include "Core/Tuning/Tuning.h"

#include <string>
#include <string_view>
#include <vector>

namespace saddletone::tuning {

/** What all chains of one group set together, as it is typed into a device. */
struct GroupSettings {
    OutputGroup group = OutputGroup::all;
    std::vector<Element> filters;
    std::vector<Element> limiters;
    double gainDb = 0.0;
    double delayMs = 0.0;
    bool isInverted = false;
};

/** One for each group that a tuning sets something for. */
[[nodiscard]] std::vector<GroupSettings> settingsByGroup(const Tuning& tuning);

/** A graphic as its bands, so that it can be entered in what has no graphic; else the element. */
[[nodiscard]] std::vector<Element> rowsOf(const Element& element);

/** Columns of a filter's row; empty where a field does not count. */
struct FilterRow {
    std::string frequencyHz;
    std::string gainDb;
    std::string q;
    std::string order;
    std::string alignment;
    std::string slope;
};

[[nodiscard]] FilterRow filterRow(const Element& element, int decimals);

/** "All speakers", "Rear left speaker". */
[[nodiscard]] std::string_view groupHeading(OutputGroup group) noexcept;
/** "Peaking (bell)", "Low shelf". */
[[nodiscard]] std::string_view typeHeading(ElementType type) noexcept;
/** "Linkwitz-Riley". */
[[nodiscard]] std::string_view alignmentHeading(Alignment alignment) noexcept;
/** Always with its sign: "+3.0". */
[[nodiscard]] std::string signedGain(double gainDb, int decimals);

} // namespace saddletone::tuning
