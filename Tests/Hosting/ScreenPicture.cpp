#include "Hosting/ScreenPicture.h"

#include <set>

#include <X11/Xlib.h>
#include <X11/Xutil.h>

namespace saddletone::test {

std::size_t countColoursOnScreen(const juce::Rectangle<int>& area)
{
    Display* const display = XOpenDisplay(nullptr);
    if (display == nullptr)
        return 0;
    std::set<unsigned long> colours;
    const int screen = DefaultScreen(display);
    const juce::Rectangle<int> seen =
        area.getIntersection({DisplayWidth(display, screen), DisplayHeight(display, screen)});
    if (!seen.isEmpty())
        if (XImage* const image =
                XGetImage(display, RootWindow(display, screen), seen.getX(), seen.getY(),
                          static_cast<unsigned>(seen.getWidth()),
                          static_cast<unsigned>(seen.getHeight()), AllPlanes, ZPixmap)) {
            for (int y = 0; y < image->height; y += 3)
                for (int x = 0; x < image->width; x += 3)
                    colours.insert(XGetPixel(image, x, y));
            XDestroyImage(image);
        }
    XCloseDisplay(display);
    return colours.size();
}

} // namespace saddletone::test
