#include "Support/UnmappedWindow.h"

#if defined(__linux__)
// Its names are those of half of JUCE, so it is included by nothing else.
#include <X11/Xlib.h>

#include <cstdint>

namespace saddletone::test {

UnmappedWindow::UnmappedWindow()
{
    Display* const opened = XOpenDisplay(nullptr);
    if (opened == nullptr)
        return;
    display = opened;
    const Window made = XCreateSimpleWindow(opened, DefaultRootWindow(opened), 0, 0, 1, 1, 0, 0, 0);
    XSync(opened, False);
    window = reinterpret_cast<void*>(static_cast<std::uintptr_t>(made));
}

UnmappedWindow::~UnmappedWindow()
{
    // The server takes the window with the connection.
    if (display != nullptr)
        XCloseDisplay(static_cast<Display*>(display));
}

} // namespace saddletone::test

#else

namespace saddletone::test {

UnmappedWindow::UnmappedWindow() = default;
UnmappedWindow::~UnmappedWindow() = default;

} // namespace saddletone::test

#endif
