#include "Gui/AuditionEditor.h"
#include "Gui/ElementWords.h"
#include "Gui/ParameterIds.h"
#include "Gui/RideWords.h"
#include "Plugin/AuditionProcessor.h"
#include "Support/EditorFixtures.h"

#include <catch2/catch.hpp>

#include <clocale>
#include <string>

using namespace saddletone;
using gui::SpeedUnit;
namespace ids = gui::parameterIds;

namespace {

/** The road's button, and anything else, by title. */
juce::Component* findTitled(juce::Component& component, const juce::String& title)
{
    for (juce::Component* const child : component.getChildren()) {
        if (child->getTitle() == title)
            return child;
        if (juce::Component* const found = findTitled(*child, title))
            return found;
    }
    return nullptr;
}

} // namespace

TEST_CASE("Speeds are shown and read in either unit", "[plugin][units]")
{
    // The international mile is 1609.344 m: yard and pound agreement of 1959, from memory.
    CHECK(gui::speedKmhFrom(SpeedUnit::mph, 1.0) == Approx(1.609344));
    CHECK(gui::speedIn(SpeedUnit::mph, 160.9344) == Approx(100.0));
    CHECK(gui::speedIn(SpeedUnit::kmh, 120.0) == 120.0);
    CHECK(gui::speedWords(0.0, SpeedUnit::mph) == "parked");
    CHECK(gui::speedWords(104.6, SpeedUnit::mph) == "65 mph");
    CHECK(gui::speedWords(104.6, SpeedUnit::kmh) == "105 km/h");
}

TEST_CASE("A typed speed may have a comma and a unit of its own", "[plugin][units]")
{
    CHECK(gui::parseSpeedKmh("104,6", SpeedUnit::kmh).value() == Approx(104.6));
    CHECK(gui::parseSpeedKmh("104.6", SpeedUnit::kmh).value() == Approx(104.6));
    CHECK(gui::parseSpeedKmh("62,5", SpeedUnit::mph).value() == Approx(62.5 * 1.609344));
    CHECK(gui::parseSpeedKmh("100 km/h", SpeedUnit::mph).value() == Approx(100.0));
    CHECK(gui::parseSpeedKmh("60 MPH", SpeedUnit::kmh).value() == Approx(60.0 * 1.609344));
    CHECK(gui::parseSpeedKmh("Parked", SpeedUnit::kmh).value() == 0.0);
    for (const char* const text : {"", "fast", "-5", "1.2.3", "30 knots"})
        CHECK_FALSE(gui::parseSpeedKmh(text, SpeedUnit::mph));
}

TEST_CASE("The unit to begin with is that of the roads where people live", "[plugin][units]")
{
    CHECK(gui::speedUnitOfLocale("de_DE.UTF-8") == SpeedUnit::kmh);
    CHECK(gui::speedUnitOfLocale("fr-CA") == SpeedUnit::kmh);
    CHECK(gui::speedUnitOfLocale("sr_RS@latin") == SpeedUnit::kmh);
    CHECK(gui::speedUnitOfLocale("en_US.UTF-8") == SpeedUnit::mph);
    CHECK(gui::speedUnitOfLocale("en_GB") == SpeedUnit::mph);
    for (const char* const name : {"", "C", "POSIX", "C.UTF-8"})
        CHECK(gui::speedUnitOfLocale(name) == SpeedUnit::mph);
}

TEST_CASE("Numbers are read and written alike where the C library has a decimal comma",
          "[plugin][units]")
{
    const std::string before = std::setlocale(LC_ALL, nullptr);
    // Where none of them is installed the rest still holds.
    for (const char* const name : {"de_DE.UTF-8", "de_DE", "fr_FR.UTF-8"})
        if (std::setlocale(LC_ALL, name) != nullptr)
            break;
    CHECK(gui::parseNumber("1,5") == 1.5);
    CHECK(gui::parseNumber("1.5") == 1.5);
    CHECK(gui::numberWords(-1.5, 1) == juce::String::fromUTF8("\xe2\x88\x92") + "1.5");
    plugin::AuditionProcessor processor;
    juce::RangedAudioParameter& level = *processor.parameters().getParameter(ids::outputLevelDb);
    CHECK(level.convertFrom0to1(level.getValueForText("-12,5")) == Approx(-12.5F));
    gui::setParameter(processor.parameters(), ids::outputLevelDb, -12.5);
    juce::MemoryBlock state;
    processor.getStateInformation(state);
    const auto xml =
        juce::AudioProcessor::getXmlFromBinary(state.getData(), static_cast<int>(state.getSize()));
    REQUIRE(xml != nullptr);
    CHECK(xml->toString().contains("\"-12.5\""));
    std::setlocale(LC_ALL, before.c_str());
}

TEST_CASE("The road is driven and described in the unit that was chosen on it",
          "[plugin][units][editor]")
{
    test::RecordingModel model;
    model.openMadeUpJob(1);
    model.current.road = std::make_shared<const audition::RoadAudibility>();
    gui::AuditionEditor editor(model);
    auto* const button = dynamic_cast<juce::Button*>(findTitled(editor, "Show km/h"));
    REQUIRE(button != nullptr);
    CHECK(button->getWantsKeyboardFocus());
    button->onClick();
    editor.refresh();
    CHECK(model.current.speedUnit == SpeedUnit::kmh);
    CHECK(findTitled(editor, "Show km/h") == nullptr);
    CHECK(findTitled(editor, "Show mph") != nullptr);
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::upKey)));
    CHECK(gui::parameterValue(model.parameters(), ids::speedKmh) == Approx(10.0).margin(1e-3));
    CHECK(editor.keyPressed(juce::KeyPress(juce::KeyPress::rightKey)));
    CHECK(gui::parameterValue(model.parameters(), ids::speedKmh) == Approx(11.0).margin(1e-3));
    juce::Component* const road = findTitled(editor, "Speed");
    REQUIRE(road != nullptr);
    CHECK(road->getDescription().contains("1 km/h"));
    CHECK_FALSE(road->getDescription().contains("mph"));
    CHECK(gui::roadFinding(model.snapshot())->headline.startsWith("At 11 km/h"));
}

TEST_CASE("A session keeps the unit of speeds, and an older one leaves it as it is",
          "[plugin][units]")
{
    plugin::AuditionProcessor processor;
    processor.setSpeedUnit(SpeedUnit::kmh);
    juce::MemoryBlock state;
    processor.getStateInformation(state);
    plugin::AuditionProcessor other;
    CHECK(other.snapshot().speedUnit == SpeedUnit::mph);
    other.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    CHECK(other.snapshot().speedUnit == SpeedUnit::kmh);
    auto xml =
        juce::AudioProcessor::getXmlFromBinary(state.getData(), static_cast<int>(state.getSize()));
    REQUIRE(xml != nullptr);
    REQUIRE(xml->hasAttribute("speedUnit"));
    xml->removeAttribute("speedUnit");
    juce::AudioProcessor::copyXmlToBinary(*xml, state);
    other.setStateInformation(state.getData(), static_cast<int>(state.getSize()));
    CHECK(other.snapshot().speedUnit == SpeedUnit::kmh);
}
