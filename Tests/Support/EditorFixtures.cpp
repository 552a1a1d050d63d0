#include "Support/EditorFixtures.h"

#include "Gui/RoadControl.h"

#include <cmath>
#include <set>

namespace saddletone::test {

namespace {

std::shared_ptr<const gui::MeasuredView> makeUpState(const juce::String& name,
                                                     measure::EngineState engine, double tiltDb)
{
    gui::MeasuredView view;
    view.name = name;
    view.engine = engine;
    view.source = "2 takes";
    view.numTakes = 2;
    view.snrDb = 28.0;
    view.words = "SNR at least 28 dB, trusted from 50 Hz to 12.5 kHz.";
    view.displayWords = "Shown smoothed over 1/12 octave, whole response; saved as measured.";
    view.distortionWords = "At 1 kHz: 2nd -40.0 dB (1.0 %), 3rd -52.0 dB (0.25 %).";
    view.confidenceWords = "SNR at least 28 dB. Its time of arrival is not known.";
    view.referenceDb = -20.0;
    for (double frequencyHz = 20.0; frequencyHz < 20000.0; frequencyHz *= 1.03) {
        view.frequenciesHz.push_back(frequencyHz);
        view.levelsDb.push_back(-20.0 + tiltDb * std::log2(frequencyHz / 1000.0)
                                + 3.0 * std::sin(3.0 * std::log(frequencyHz)));
    }
    for (int band = 13; band <= 43; ++band) {
        measure::BandConfidence confidence;
        confidence.frequencyHz = std::pow(10.0, band / 10.0);
        confidence.levelDb = -20.0 + tiltDb * std::log2(confidence.frequencyHz / 1000.0);
        confidence.snrDb = band < 17 ? 8.0 : 30.0;
        confidence.trusted = band >= 17 && band <= 41;
        confidence.interval95Db = 1.5;
        confidence.spreadDb = 0.5;
        view.bands.push_back(confidence);
    }
    for (int order = 2; order <= 5; ++order) {
        measure::HarmonicOrder harmonic;
        harmonic.order = order;
        for (int band = 15; band <= 40; ++band)
            harmonic.levels.push_back({std::pow(10.0, band / 10.0), -20.0 * order + band * 0.3,
                                       band < 20 ? -20.0 : -70.0});
        view.distortion.push_back(std::move(harmonic));
    }
    return std::make_shared<const gui::MeasuredView>(std::move(view));
}

} // namespace

RecordingBench::RecordingBench()
{
    auto signals = std::make_shared<std::vector<gui::SignalView>>();
    for (int number = 1; number <= 12; ++number)
        signals->push_back({"0" + juce::String(number) + " Made-up signal",
                            "What it is for, in a sentence that goes on for rather a long time so "
                            "that it has to be broken into lines. And then another one.",
                            number % 3 == 0 ? "it does harm where it is played loud." : "", "12 s",
                            -20.0});
    current.signals = std::move(signals);
    current.output.hasDevice = true;
    current.traces = std::make_shared<const std::vector<measure::AnalyserTrace>>();
    current.trackName = "the sweep of the shop's set";
    current.input.devices = {"Made-up interface"};
    current.input.device = 0;
    current.input.channels = {"Mic 1", "Mic 2"};
}

void RecordingBench::makeUpTakes()
{
    current.takes = {
        {"take-01", "Touring", measure::EngineState::off, "head centre", gui::TakeState::usable,
         true, "SNR at least 34 dB, trusted from 40 Hz to 16 kHz"},
        {"take-02", "Touring", measure::EngineState::off, "10 cm left", gui::TakeState::refused,
         false,
         "take-02.wav: the start marker was heard but not the end marker; record the whole track"},
        {"noise-01", "", measure::EngineState::running, "head centre", gui::TakeState::noise, true,
         "Noise of the place, for the SNR."},
        {"take-03", "Touring", measure::EngineState::running, "head centre",
         gui::TakeState::measuring, true, "Being measured."}};
    current.measured = {
        makeUpState("Touring, engine off", measure::EngineState::off, -1.0),
        makeUpState("Touring, engine running", measure::EngineState::running, -2.5)};
    auto comparison = std::make_shared<gui::ComparisonView>();
    comparison->verdict = "This radio changes its curve when the engine runs: by -4.5 dB at 8 kHz.";
    current.comparison = std::move(comparison);
}

juce::KeyPress characterKey(char character)
{
    return {character, juce::ModifierKeys::noModifiers, static_cast<juce::juce_wchar>(character)};
}

/** All components below one that a user can act on. */
void collectControls(juce::Component& component, std::vector<juce::Component*>& controls)
{
    for (juce::Component* const child : component.getChildren()) {
        // The parts inside a slider or a combo box are spoken for by it.
        if (dynamic_cast<juce::Slider*>(child) != nullptr
            || dynamic_cast<juce::ComboBox*>(child) != nullptr
            || dynamic_cast<juce::Button*>(child) != nullptr
            || dynamic_cast<gui::RoadControl*>(child) != nullptr)
            controls.push_back(child);
        else
            collectControls(*child, controls);
    }
}

std::size_t countColours(const juce::Image& image)
{
    std::set<juce::uint32> colours;
    const juce::Image::BitmapData pixels(image, juce::Image::BitmapData::readOnly);
    for (int y = 0; y < image.getHeight(); y += 3)
        for (int x = 0; x < image.getWidth(); x += 3)
            colours.insert(pixels.getPixelColour(x, y).getARGB());
    return colours.size();
}

} // namespace saddletone::test
