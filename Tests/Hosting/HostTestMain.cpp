#define CATCH_CONFIG_RUNNER
#include <catch2/catch.hpp>

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <iostream>

#include <X11/Xlib.h>
#include <X11/Xproto.h>

namespace {

/** Without a handler Xlib ends the program at the first error. JUCE sets one in applications only,
    which this is not, and without a window manager its windows make errors all the time: they ask
    for properties by names that only a window manager brings to the server. Those are left out. */
int tellOfError(Display* display, XErrorEvent* error)
{
    if (error->error_code == BadAtom && error->request_code == X_GetProperty)
        return 0;
    std::array<char, 160> words {};
    XGetErrorText(display, error->error_code, words.data(), static_cast<int>(words.size()));
    std::cerr << "X error: " << words.data() << ", request "
              << static_cast<int>(error->request_code) << "." << static_cast<int>(error->minor_code)
              << '\n';
    return 0;
}

} // namespace

int main(int argc, char* argv[])
{
    // The host and each plug-in have a connection of their own, from threads of their own.
    XInitThreads();
    XSetErrorHandler(tellOfError);
    const juce::ScopedJuceInitialiser_GUI juceIsUp;
    return Catch::Session().run(argc, argv);
}
