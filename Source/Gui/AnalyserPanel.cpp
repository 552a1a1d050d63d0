#include "Gui/AnalyserPanel.h"

#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr std::array<int, 4> bandChoices {3, 6, 12, 24};
constexpr std::size_t mostTraces = 5;

juce::String levelText(double levelDb)
{
    return juce::String::fromUTF8(levelDb < -0.05 ? "\xe2\x88\x92" : "")
           + juce::String(std::abs(levelDb), 1);
}

juce::String averagingWords(const measure::AnalyserSnapshot& levels)
{
    switch (levels.parameters.averaging) {
    case measure::Averaging::fast: return "fast (125 ms)";
    case measure::Averaging::slow: return "slow (1 s)";
    case measure::Averaging::leq:
        return "Leq of the last " + juce::String(std::lround(levels.averagedSeconds)) + " s";
    case measure::Averaging::infinite: break;
    }
    return "average of " + juce::String(std::lround(levels.averagedSeconds)) + " s";
}

std::vector<double> centresOf(const std::vector<dsp::Band>& bands)
{
    std::vector<double> centresHz;
    for (const dsp::Band& band : bands)
        centresHz.push_back(band.centreHz);
    return centresHz;
}

} // namespace

AnalyserPanel::AnalyserPanel(BenchModel& benchModel) : model(benchModel)
{
    setTitle("Live analyser");
    bandsBox.addItemList({"1/3 octave", "1/6 octave", "1/12 octave", "1/24 octave"}, 1);
    for (const std::size_t fftSize : analyserFftChoices)
        bandsBox.addItem("FFT " + juce::String(fftSize), bandsBox.getNumItems() + 1);
    bandsBox.setTitle("Band width");
    bandsBox.setDescription("Width of the analyser's bands, or the length of its FFT in samples: a "
                            "longer one tells closer tones apart and takes longer to follow.");
    bandsBox.onChange = [this] { applyBands(); };
    weightingBox.addItemList({"A-weighted", "C-weighted", "Z (flat)"}, 1);
    weightingBox.setTitle("Weighting");
    weightingBox.setDescription("Frequency weighting of the levels.");
    averagingBox.addItemList({"Fast", "Slow", "Leq 10 s", "Infinite"}, 1);
    averagingBox.setTitle("Averaging");
    averagingBox.setDescription("How levels are averaged over time.");
    const measure::AnalyserParameters start;
    bandsBox.setSelectedItemIndex(0, juce::dontSendNotification);
    weightingBox.setSelectedItemIndex(static_cast<int>(start.weighting),
                                      juce::dontSendNotification);
    averagingBox.setSelectedItemIndex(static_cast<int>(start.averaging),
                                      juce::dontSendNotification);
    weightingBox.onChange = averagingBox.onChange = [this] { applyParameters(); };
    for (juce::ComboBox* box : {&bandsBox, &weightingBox, &averagingBox}) {
        box->setTooltip(box->getDescription());
        box->setMouseClickGrabsKeyboardFocus(false);
        box->setHasFocusOutline(true);
        addAndMakeVisible(*box);
    }

    restartButton.setDescription("Starts Leq and infinite averages anew.");
    restartButton.onClick = [this] { model.restartAverage(); };
    clearPeaksButton.setDescription("Forgets the highest levels.");
    clearPeaksButton.onClick = [this] { model.resetPeakHold(); };
    storeButton.setDescription("Keeps the levels of this moment as a dashed line, up to five.");
    storeButton.onClick = [this] { model.storeTrace(); };
    clearButton.setDescription("Removes the stored traces.");
    clearButton.onClick = [this] { model.clearTraces(); };
    for (juce::TextButton* button :
         {&restartButton, &clearPeaksButton, &storeButton, &clearButton}) {
        button->setTitle(button->getButtonText());
        button->setTooltip(button->getDescription());
        button->setMouseClickGrabsKeyboardFocus(false);
        button->setHasFocusOutline(true);
        addAndMakeVisible(*button);
    }
}

void AnalyserPanel::applyBands()
{
    const auto chosen = static_cast<std::size_t>(std::max(0, bandsBox.getSelectedItemIndex()));
    showsSpectrum = chosen >= bandChoices.size();
    if (showsSpectrum)
        model.setAnalyserFft(analyserFftChoices[chosen - bandChoices.size()]);
    else
        model.setAnalyserBands(bandChoices[chosen]);
    show(model.benchSnapshot());
}

void AnalyserPanel::applyParameters()
{
    measure::AnalyserParameters parameters;
    parameters.weighting = static_cast<dsp::Weighting>(weightingBox.getSelectedItemIndex());
    parameters.averaging = static_cast<measure::Averaging>(averagingBox.getSelectedItemIndex());
    model.setAnalyserParameters(parameters);
}

void AnalyserPanel::show(const BenchSnapshot& snapshot)
{
    levels = snapshot.analyser;
    traces = snapshot.traces;
    isOpen = snapshot.input.open;
    const std::size_t numTraces = traces != nullptr ? traces->size() : 0;
    // Traces and peaks are of bands.
    storeButton.setEnabled(isOpen && !showsSpectrum && numTraces < mostTraces);
    clearPeaksButton.setEnabled(!showsSpectrum);
    clearButton.setEnabled(numTraces > 0);
    setDescription(isOpen ? readingWords() : juce::String());
    if (isVisible())
        repaint();
}

FrequencyPlot AnalyserPanel::plot() const
{
    FrequencyPlot axes;
    axes.area = getLocalBounds()
                    .toFloat()
                    .withTrimmedTop(static_cast<float>(readingArea.getBottom()) + 6.0F)
                    .withTrimmedLeft(54.0F)
                    .withTrimmedRight(22.0F)
                    .withTrimmedBottom(30.0F);
    if (levels.isSpl()) {
        axes.lowestDb = 20.0;
        axes.highestDb = 120.0;
    }
    // What is wide in the bands is spread over many bins.
    if (showsSpectrum)
        axes.lowestDb -= 40.0;
    return axes;
}

void AnalyserPanel::drawLevels(juce::Graphics& g, const FrequencyPlot& axes) const
{
    const Palette palette = paletteOf(*this);
    if (showsSpectrum) {
        g.setColour(palette.accentLine);
        g.strokePath(axes.spectrum(levels.spectrumDb, levels.binHz), juce::PathStrokeType(1.5F));
        return;
    }
    if (levels.settings.bandsPerOctave == 3) {
        for (std::size_t band = 0; band < levels.bands.size(); ++band) {
            const float left = axes.xOf(levels.bands[band].lowerHz) + 1.0F;
            const float right = axes.xOf(levels.bands[band].upperHz) - 1.0F;
            const float top = axes.yOf(levels.levelsDb[band]);
            g.setColour(palette.accentLine);
            g.fillRect(juce::Rectangle<float>::leftTopRightBottom(
                left, std::min(top, axes.area.getBottom()), right, axes.area.getBottom()));
            g.setColour(palette.text);
            g.fillRect(left, axes.yOf(levels.peakHoldDb[band]) - 1.0F, right - left, 2.0F);
        }
        return;
    }
    const std::vector<double> centresHz = centresOf(levels.bands);
    g.setColour(palette.text);
    g.strokePath(axes.curve(centresHz, levels.peakHoldDb, 0.0), juce::PathStrokeType(1.0F));
    g.setColour(palette.accentLine);
    g.strokePath(axes.curve(centresHz, levels.levelsDb, 0.0), juce::PathStrokeType(2.5F));
}

void AnalyserPanel::drawTraces(juce::Graphics& g, const FrequencyPlot& axes) const
{
    const Palette palette = paletteOf(*this);
    if (traces == nullptr)
        return;
    for (std::size_t index = 0; index < traces->size(); ++index) {
        const measure::AnalyserTrace& trace = (*traces)[index];
        const juce::Path path = axes.curve(centresOf(trace.bands), trace.levelsDb, 0.0);
        g.setColour(palette.panel);
        g.strokePath(path, juce::PathStrokeType(4.0F));
        g.setColour(palette.wind);
        strokeDashed(g, path, index);
    }
}

juce::String AnalyserPanel::readingWords() const
{
    juce::String words = weightingBox.getText() + ", " + averagingWords(levels)
                         + (levels.isSpl() ? juce::String() : ", relative: not calibrated");
    const juce::String dot = juce::String::fromUTF8(" \xc2\xb7 ");
    if (showsSpectrum) {
        // A Hann window's greatest scalloping loss is 1.42 dB (Harris, Proc. IEEE 66(1), 1978).
        words << dot << "a value every " << juce::String(levels.binHz, 2) << " Hz, each "
              << juce::String(levels.noiseBandwidthHz, 2)
              << " Hz wide (Hann): a tone reads its level, up to 1.4 dB less between two values"
              << dot << "traces, peaks: bands only";
        return words;
    }
    if (traces != nullptr && !traces->empty())
        words << dot << "dashed: " << static_cast<int>(traces->size())
              << (traces->size() == 1 ? " stored trace" : " stored traces");
    words << dot << (levels.settings.bandsPerOctave == 3 ? "strokes: peaks" : "thin line: peaks");
    return words;
}

void AnalyserPanel::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    auto reading = readingArea;
    g.setFont(textFont(14.0F));
    g.setColour(palette.mutedText);
    if (!isOpen || levels.bands.empty()) {
        g.drawText("The analyser runs while the input is on.", reading,
                   juce::Justification::centredLeft, true);
    } else {
        const juce::String unit = levels.isSpl() ? " dB SPL" : " dBFS";
        g.setColour(palette.text);
        g.setFont(textFont(20.0F, juce::Font::bold));
        g.drawText(levelText(levels.totalDb()) + unit, reading.removeFromLeft(150),
                   juce::Justification::centredLeft, false);
        drawWords(g, readingWords(), textFont(14.0F), palette.mutedText, reading,
                  juce::Justification::centredLeft);
    }

    const FrequencyPlot axes = plot();
    axes.drawGrid(g, palette.outline.withAlpha(0.35F), palette.mutedText);
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(axes.area.toNearestInt());
    if (isOpen)
        drawLevels(g, axes);
    if (!showsSpectrum)
        drawTraces(g, axes);
}

void AnalyserPanel::resized()
{
    auto area = getLocalBounds();
    const std::array<juce::Component*, 7> controls {
        &bandsBox,         &weightingBox, &averagingBox, &restartButton,
        &clearPeaksButton, &storeButton,  &clearButton};
    constexpr std::size_t numBoxes = 3;
    const auto placeRow = [&](std::size_t from, std::size_t to) {
        auto row = area.removeFromTop(32);
        const auto count = static_cast<int>(to - from);
        const int width = (row.getWidth() - 6 * (count - 1)) / count;
        for (std::size_t index = from; index < to; ++index) {
            controls[index]->setBounds(row.removeFromLeft(width));
            row.removeFromLeft(6);
        }
    };
    if (getWidth() < 960) {
        placeRow(0, numBoxes);
        area.removeFromTop(6);
        placeRow(numBoxes, controls.size());
    } else {
        placeRow(0, controls.size());
    }
    area.removeFromTop(6);
    readingArea = area.removeFromTop(getWidth() < 700 ? 53 : 36).withTrimmedLeft(8);
}

} // namespace saddletone::gui
