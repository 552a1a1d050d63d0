#pragma once

#include <juce_core/juce_core.h>

#include <optional>

namespace saddletone::gui {

/** What speeds are shown and entered in. Inside the program they are in km/h. */
enum class SpeedUnit { mph, kmh };

/** "mph" or "km/h". */
[[nodiscard]] juce::String unitName(SpeedUnit unit);

[[nodiscard]] double speedIn(SpeedUnit unit, double speedKmh) noexcept;
[[nodiscard]] double speedKmhFrom(SpeedUnit unit, double speed) noexcept;

/** A speed as riders read it: "65 mph" or "105 km/h", "parked" at 0. */
[[nodiscard]] juce::String speedWords(double speedKmh, SpeedUnit unit);

/** A speed as typed anywhere in the world, a comma or a dot for the decimals. A unit behind it
    counts, else it is in unit. Nothing if it is no speed. */
[[nodiscard]] std::optional<double> parseSpeedKmh(const juce::String& text, SpeedUnit unit);

/** What is driven by where a locale's name says people live: "de_DE.UTF-8" is km/h. mph where the
    name tells no country. */
[[nodiscard]] SpeedUnit speedUnitOfLocale(const juce::String& localeName);

/** That of the user's locale. */
[[nodiscard]] SpeedUnit defaultSpeedUnit();

} // namespace saddletone::gui
