#include "Core/Ride/Screen.h"

#include <string>

namespace saddletone::ride {

std::string_view screenName(Screen screen) noexcept
{
    switch (screen) {
    case Screen::low: return "low";
    case Screen::tall: return "tall";
    case Screen::none: break;
    }
    return "none";
}

std::string_view screenLabel(Screen screen) noexcept
{
    switch (screen) {
    case Screen::low: return "low screen, edge wake on the helmet";
    case Screen::tall: return "tall screen, head in the still pocket";
    case Screen::none: break;
    }
    return "no screen, clean flow";
}

dsp::Result<Screen> parseScreen(std::string_view name)
{
    for (const Screen screen : allScreens)
        if (screenName(screen) == name)
            return screen;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "screen '" + std::string(name) + "' is not known; use none, low or tall");
}

} // namespace saddletone::ride
