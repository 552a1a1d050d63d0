#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/ResponseView.h"
#include "Gui/RoadControl.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

#include <memory>

using namespace saddletone;
using test::RecordingModel;

namespace {

juce::Image picture(juce::Component& component)
{
    return component.createComponentSnapshot(component.getLocalBounds());
}

/** The smallest rectangle that holds every pixel in which two pictures of a size differ. */
juce::Rectangle<int> difference(const juce::Image& first, const juce::Image& second)
{
    REQUIRE(first.getBounds() == second.getBounds());
    juce::Rectangle<int> found;
    for (int y = 0; y < first.getHeight(); ++y)
        for (int x = 0; x < first.getWidth(); ++x)
            if (first.getPixelAt(x, y) != second.getPixelAt(x, y))
                found = found.isEmpty() ? juce::Rectangle<int>(x, y, 1, 1)
                                        : found.getUnion(juce::Rectangle<int>(x, y, 1, 1));
    return found;
}

/** What is heard in three bands: one that is, one that drowns, one by so much. */
std::shared_ptr<const audition::RoadAudibility> roadHeard(double aboveDb)
{
    auto road = std::make_shared<audition::RoadAudibility>();
    std::size_t index = 10; // of 200 Hz on
    for (const double bandDb : {10.0, -10.0, aboveDb}) {
        hearing::BandAudibility& band = road->music.bands[index];
        band.frequencyHz = hearing::thirdOctave(index).centreHz;
        band.inProgramme = true;
        band.aboveDb = bandDb;
        ++index;
    }
    return road;
}

/** With noise to be seen, and what of the music is heard in it. */
gui::AuditionSnapshot onTheRoad(gui::AuditionSnapshot snapshot)
{
    snapshot.choice.speedKmh = 100.0;
    snapshot.levels.noise.totalDba = 90.0;
    snapshot.road = roadHeard(3.0);
    return snapshot;
}

/** The response as a window draws it that has shown nothing else before. */
juce::Image freshPicture(const gui::AuditionSnapshot& snapshot, int width, int height)
{
    gui::ResponseView view;
    view.setSize(width, height);
    view.show(snapshot);
    return picture(view);
}

} // namespace

TEST_CASE("What moves with the rider is all that changes on the road", "[plugin][editor]")
{
    RecordingModel model;
    gui::RoadControl road(model.parameters());
    road.setJoinsStops(GENERATE(false, true));
    road.setSize(GENERATE(620, 1500), 112);
    for (const auto& [fromKmh, toKmh] : {std::pair {0.0, 3.0}, std::pair {40.0, 45.0},
                                         std::pair {64.0, 144.0}, std::pair {3.0, 100.0}}) {
        road.setSpeedKmh(fromKmh);
        const juce::Image before = picture(road);
        const auto areaBefore = road.riderArea();
        road.setSpeedKmh(toKmh);
        const auto changed = difference(before, picture(road));
        CAPTURE(fromKmh, toKmh, changed.toString());
        CHECK_FALSE(changed.isEmpty());
        CHECK(areaBefore.getUnion(road.riderArea()).contains(changed));
    }
}

TEST_CASE("Curves and noise that are kept look as if they were drawn anew", "[plugin][editor]")
{
    RecordingModel model;
    model.openMadeUpJob(3);
    gui::AuditionSnapshot snapshot = onTheRoad(model.current);
    gui::ResponseView view;
    view.setSize(900, 400);
    view.show(snapshot);
    const juce::Image first = picture(view);
    CHECK(difference(first, freshPicture(snapshot, 900, 400)).isEmpty());
    const auto check = [&] {
        view.show(snapshot);
        CHECK(difference(picture(view), freshPicture(snapshot, view.getWidth(), view.getHeight()))
                  .isEmpty());
    };
    snapshot.candidate = 1;
    check();
    snapshot.levels.radioGainDb = 7.3; // all curves move
    check();
    CHECK_FALSE(difference(first, picture(view)).isEmpty());
    snapshot.noiseTrimDb = -6.0;
    check();
    snapshot.road = roadHeard(-3.0);
    check();
    view.setSize(1300, 500);
    check();
    RecordingModel other;
    other.openMadeUpJob(2);
    snapshot = onTheRoad(other.current);
    check();
}
