#pragma once

#include "Gui/Place.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <array>
#include <functional>
#include <memory>

namespace saddletone::gui {

/** The street in front of the highway, with a sign for each place; pressing one goes there.

    On Listen it is as long as its signs, and the road goes on beside it. Elsewhere it is all of the
    strip: the rider stands at the sign, and the words say what plays. */
class PlaceStops final : public juce::Component {
public:
    PlaceStops();
    ~PlaceStops() override;
    PlaceStops(const PlaceStops&) = delete;
    PlaceStops& operator=(const PlaceStops&) = delete;

    static constexpr int streetWidth = 448;
    static constexpr int lowHeight = 104; ///< Where there is no road to drive on.

    std::function<void(Place)> onPick;

    /** Leaves the sign of a place out, or puts it up again. */
    void setHasPlace(Place place, bool hasPlace);

    void show(Place place, const juce::String& newWords);

    void paint(juce::Graphics& g) override;
    void resized() override;

private:
    class Sign;

    [[nodiscard]] juce::Rectangle<float> roadArea() const;

    std::array<std::unique_ptr<Sign>, allPlaces.size()> signs;
    Place current = Place::listen;
    juce::String words;
};

} // namespace saddletone::gui
