// Everything twice as large: the window is laid out, pressed and read as at its usual size.
#include "Core/Dsp/Units.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/RoadControl.h"
#include "Plugin/WindowScale.h"
#include "Support/Scenes.h"

#include <catch2/catch.hpp>

#include <vector>

using namespace saddletone;
using test::Stage;

namespace {

/** What the app's "Size of everything" sets, while this lives. */
class Enlarged {
public:
    explicit Enlarged(float factor) { juce::Desktop::getInstance().setGlobalScaleFactor(factor); }
    ~Enlarged() { juce::Desktop::getInstance().setGlobalScaleFactor(1.0F); }
    Enlarged(const Enlarged&) = delete;
    Enlarged& operator=(const Enlarged&) = delete;
};

struct Placed {
    juce::String title;
    juce::Rectangle<int> area; ///< In the window.

    bool operator==(const Placed&) const = default;
};

void collectPlaced(juce::Component& window, juce::Component& component, std::vector<Placed>& found)
{
    for (juce::Component* const child : component.getChildren()) {
        if (!child->isVisible())
            continue;
        found.push_back({child->getTitle(), window.getLocalArea(child, child->getLocalBounds())});
        collectPlaced(window, *child, found);
    }
}

/** The scene in a window of that size as it is laid out. */
std::vector<Placed> placedIn(Stage& stage, const test::Scene& scene)
{
    scene.set(stage);
    stage.jobs.settle();
    stage.window.resizeTo(1280, 720);
    stage.editor().refresh();
    std::vector<Placed> found;
    collectPlaced(stage.window, stage.editor(), found);
    return found;
}

} // namespace

TEST_CASE("At 200 % a window of 2560x1440 is one of 1280x720", "[plugin][editor][scale]")
{
    for (const char* const name :
         {"signals", "bike curves", "tuning", "listen at speed", "seat", "report", "unsaved"}) {
        INFO(name);
        const test::Scene& scene = test::sceneOf(name);
        std::vector<Placed> usual;
        {
            Stage stage(scene.needsJob);
            usual = placedIn(stage, scene);
        }
        REQUIRE(usual.size() > 20);
        const Enlarged enlarged(2.0F);
        Stage stage(scene.needsJob);
        const std::vector<Placed> large = placedIn(stage, scene);
        CHECK(stage.window.getPeer()->getBounds().withZeroOrigin()
              == juce::Rectangle<int>(2560, 1440));
        REQUIRE(large.size() == usual.size());
        for (std::size_t index = 0; index < usual.size(); ++index) {
            INFO(usual[index].title << " " << usual[index].area.toString());
            CHECK(large[index] == usual[index]);
        }
    }
}

TEST_CASE("At 200 % mouse and keys reach what is seen", "[plugin][editor][scale]")
{
    const Enlarged enlarged(2.0F);
    Stage stage(true);
    juce::AudioProcessorValueTreeState& parameters = stage.jobs.rig.processor.parameters();
    const auto valueOf = [&](const char* id) { return gui::parameterValue(parameters, id); };

    // By the pixels of the screen: twice those of the window.
    juce::Component& menu = *test::findTitled(stage.editor(), "Job menu");
    const auto pixels = stage.window.getPeer()->getBounds().getPosition().toFloat()
                        + stage.window.middleOf(menu).toFloat() * 2.0F;
    juce::Component* const hit =
        juce::Desktop::getInstance().findComponentAt((pixels / 2.0F).toInt());
    CHECK((hit == &menu || menu.isParentOf(hit)));

    const auto job = stage.jobs.rig.processor.snapshot().job;
    juce::Component* const plate =
        test::findTitled(stage.editor(), "Candidate 2: " + job->candidates[1].name);
    REQUIRE(plate != nullptr);
    stage.window.click(*plate);
    stage.editor().refresh();
    CHECK(valueOf(gui::parameterIds::candidate) == 2.0);

    auto* const road = dynamic_cast<gui::RoadControl*>(test::findTitled(stage.editor(), "Speed"));
    REQUIRE(road != nullptr);
    stage.window.clickAt(stage.window.middleOf(*road));
    const double middleKmh = dsp::mphToKmh(gui::RoadControl::endMph) / 2.0;
    CHECK(valueOf(gui::parameterIds::speedKmh) == Approx(middleKmh).margin(1.0));
    stage.window.pressAt(stage.window.middleOf(*road));
    stage.window.moveTo(stage.window.middleOf(*road).translated(120, 0));
    const double draggedKmh = valueOf(gui::parameterIds::speedKmh);
    stage.window.letGo();
    CHECK(draggedKmh > middleKmh + 5.0);
    CHECK(road->riderArea().contains(
        road->getLocalPoint(&stage.window, stage.window.middleOf(*road).translated(120, 0))
            .withY(road->riderArea().getCentreY())));

    stage.type('1');
    CHECK(valueOf(gui::parameterIds::candidate) == 1.0);
    stage.type('s');
    CHECK(stage.editor().seat()->isVisible());
}

TEST_CASE("Another scale leaves the window its size where the display has room",
          "[plugin][editor][scale]")
{
    using Area = juce::Rectangle<int>;
    const juce::BorderSize<int> none;
    const juce::BorderSize<int> frame(30, 4, 4, 4);
    // A display of 2560x1440 at 100 % and at 200 %.
    CHECK(plugin::placeAtScale({1280, 720}, {2560, 1440}, none) == Area(640, 360, 1280, 720));
    CHECK(plugin::placeAtScale({1280, 720}, {1280, 720}, none) == Area(1280, 720));
    // With a panel on top and a frame, less high; and never smaller than the screens are made for.
    CHECK(plugin::placeAtScale({1280, 800}, {0, 24, 1280, 776}, frame) == Area(4, 54, 1272, 742));
    CHECK(plugin::placeAtScale({1280, 720}, {1920 / 2, 1080 / 2}, none) == Area(1024, 700));
    CHECK(plugin::placeAtScale({1280, 720}, {1920, 0, 1920, 1080}, none)
          == Area(2240, 180, 1280, 720));
}
