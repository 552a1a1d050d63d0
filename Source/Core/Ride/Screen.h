#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <string_view>

namespace saddletone::ride {

/** What stands between the rider's head and the air: nothing (clean flow), a low screen whose edge
    wake hits the helmet, or a tall one with the head in its still pocket. */
enum class Screen { none, low, tall };

inline constexpr std::array allScreens {Screen::none, Screen::low, Screen::tall};

/** The word used in files and on the command line: none, low, tall. */
[[nodiscard]] std::string_view screenName(Screen screen) noexcept;

/** The words for a reader: "no screen, clean flow" and so on. */
[[nodiscard]] std::string_view screenLabel(Screen screen) noexcept;

[[nodiscard]] dsp::Result<Screen> parseScreen(std::string_view name);

} // namespace saddletone::ride
