#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

namespace saddletone::gui {

/** A level as a bar, with the range that a recording's peaks should lie in marked, its figure beneath, and a clip light with the word for it. */
class BenchMeter final : public juce::Component {
public:
    /** What is marked on the bar. */
    enum class Marks { none, recording };

    BenchMeter(const juce::String& title, Marks newMarks);

    /** Expects to be called about 30 times a second. peakDbfs: largest sample since the last
        call; it falls slowly on the screen. words: beside the figure. */
    void show(double peakDbfs, bool isClipHeld, const juce::String& newWords);

    void paint(juce::Graphics& g) override;

private:
    const Marks marks;
    double levelDbfs = -400.0;
    bool clipHeld = false;
    juce::String words;
};

} // namespace saddletone::gui
