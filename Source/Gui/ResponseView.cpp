#include "Gui/ResponseView.h"

#include "Core/Dsp/Units.h"
#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace saddletone::gui {

namespace {

constexpr double lowestHz = 20.0;
constexpr double highestHz = 20000.0;
constexpr double lowestDb = 40.0;
constexpr double highestDb = 120.0;

} // namespace

ResponseView::ResponseView()
{
    setTitle("Response at the rider's ear");
    setDescription(
        "Curves of all candidates in octave levels from 20 Hz to 20 kHz, and the wind at "
        "the current speed. The line of words below it gives the levels.");
    setInterceptsMouseClicks(false, false);
}

void ResponseView::show(const AuditionSnapshot& snapshot)
{
    if (job == snapshot.job && heard == snapshot.candidate && helmet == snapshot.helmet
        && match == snapshot.match && windSplDba == snapshot.levels.windSplDba)
        return;
    job = snapshot.job;
    heard = snapshot.candidate;
    helmet = snapshot.helmet;
    match = snapshot.match;
    windSplDba = snapshot.levels.windSplDba;
    repaint();
}

juce::Rectangle<float> ResponseView::plotArea() const
{
    return getLocalBounds()
        .toFloat()
        .withTrimmedLeft(52.0F)
        .withTrimmedRight(18.0F)
        .withTrimmedTop(38.0F)
        .withTrimmedBottom(28.0F);
}

float ResponseView::xOf(double frequencyHz) const
{
    const auto plot = plotArea();
    const double proportion = std::log(frequencyHz / lowestHz) / std::log(highestHz / lowestHz);
    return plot.getX() + plot.getWidth() * static_cast<float>(proportion);
}

float ResponseView::yOf(double levelDb) const
{
    const auto plot = plotArea();
    // Kept near the plot: a path with far-away points is slow to draw.
    const double proportion = std::clamp((levelDb - lowestDb) / (highestDb - lowestDb), -0.5, 1.5);
    return plot.getBottom() - plot.getHeight() * static_cast<float>(proportion);
}

juce::Path ResponseView::curvePath(const CandidateView& candidate) const
{
    const double offsetDb =
        match == audition::LevelMatch::equalLoudness ? candidate.matchGainDb : 0.0;
    juce::Path path;
    for (std::size_t point = 0; point < candidate.octaveSplDb.size(); ++point) {
        const juce::Point<float> position(xOf(job->frequenciesHz[point]),
                                          yOf(candidate.octaveSplDb[point] + offsetDb));
        if (point == 0)
            path.startNewSubPath(position);
        else
            path.lineTo(position);
    }
    return path;
}

void ResponseView::drawGrid(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    const auto plot = plotArea();
    const int labelStepDb = plot.getHeight() < 130.0F ? 40 : 20;
    g.setFont(textFont(14.0F));
    for (int levelDb = static_cast<int>(lowestDb); levelDb <= static_cast<int>(highestDb);
         levelDb += 10) {
        const float y = yOf(levelDb);
        g.setColour(palette.outline.withAlpha(0.35F));
        g.drawHorizontalLine(static_cast<int>(y), plot.getX(), plot.getRight());
        if ((levelDb - static_cast<int>(lowestDb)) % labelStepDb != 0)
            continue;
        g.setColour(palette.mutedText);
        g.drawText(juce::String(levelDb), juce::Rectangle<float>(4.0F, y - 9.0F, 40.0F, 18.0F),
                   juce::Justification::centredRight, false);
    }
    struct Mark {
        double frequencyHz;
        const char* label;
    };
    for (const Mark& mark :
         {Mark {20.0, "20 Hz"}, Mark {50.0, "50"}, Mark {100.0, "100"}, Mark {200.0, "200"},
          Mark {500.0, "500"}, Mark {1000.0, "1k"}, Mark {2000.0, "2k"}, Mark {5000.0, "5k"},
          Mark {10000.0, "10k"}, Mark {20000.0, "20k"}}) {
        const float x = xOf(mark.frequencyHz);
        g.setColour(palette.outline.withAlpha(0.35F));
        g.drawVerticalLine(static_cast<int>(x), plot.getY(), plot.getBottom());
        g.setColour(palette.mutedText);
        g.drawText(mark.label,
                   juce::Rectangle<float>(x - 30.0F, plot.getBottom() + 5.0F, 60.0F, 18.0F),
                   juce::Justification::centred, false);
    }
}

void ResponseView::drawWind(juce::Graphics& g) const
{
    if (windSplDba <= dsp::silenceDb)
        return;
    const Palette palette = paletteOf(*this);
    const auto plot = plotArea();
    const auto centres = ride::octaveCentresHz();
    const auto levels = ride::windOctaveLevelsDb(helmet);

    // Each octave level holds from the lower to the upper edge of the outermost octaves.
    juce::Path line;
    const auto levelAt = [&](std::size_t band) { return yOf(windSplDba + levels[band]); };
    line.startNewSubPath(xOf(std::max(lowestHz, centres.front() / std::numbers::sqrt2)),
                         levelAt(0));
    for (std::size_t band = 0; band < centres.size(); ++band)
        line.lineTo(xOf(centres[band]), levelAt(band));
    line.lineTo(xOf(std::min(highestHz, centres.back() * std::numbers::sqrt2)),
                levelAt(centres.size() - 1));

    juce::Path area = line;
    const float floor = plot.getBottom() + plot.getHeight();
    area.lineTo(line.getCurrentPosition().x, floor);
    area.lineTo(line.getBounds().getX(), floor);
    area.closeSubPath();
    g.setColour(palette.wind.withAlpha(0.14F));
    g.fillPath(area);
    g.setColour(palette.wind.withAlpha(0.5F));
    hatch(g, area, 11.0F);
    g.setColour(palette.wind);
    g.strokePath(line, juce::PathStrokeType(2.0F));
}

void ResponseView::drawCurves(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    for (std::size_t index = 0; index < job->candidates.size(); ++index)
        if (index != heard) {
            g.setColour(palette.text);
            strokeDashed(g, curvePath(job->candidates[index]), index);
        }
    if (heard >= job->candidates.size())
        return;
    const juce::Path path = curvePath(job->candidates[heard]);
    g.setColour(palette.panel);
    g.strokePath(path, juce::PathStrokeType(7.0F, juce::PathStrokeType::curved));
    g.setColour(palette.accentLine);
    g.strokePath(path, juce::PathStrokeType(4.0F, juce::PathStrokeType::curved));
}

void ResponseView::drawLegend(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    auto row = getLocalBounds().toFloat().reduced(14.0F, 0.0F).withHeight(34.0F);

    constexpr float sampleWidth = 26.0F;
    for (std::size_t offset = job->candidates.size(); offset > 0; --offset) {
        const std::size_t index = offset - 1;
        const bool isHeard = index == heard;
        g.setFont(textFont(14.0F, isHeard ? juce::Font::bold : juce::Font::plain));
        g.setColour(palette.text);
        g.drawText(juce::String(index + 1), row.removeFromRight(13.0F),
                   juce::Justification::centredRight, false);
        row.removeFromRight(2.0F);
        auto sample = row.removeFromRight(sampleWidth);
        row.removeFromRight(8.0F);
        juce::Path line;
        line.startNewSubPath(sample.getX(), sample.getCentreY());
        line.lineTo(sample.getRight(), sample.getCentreY());
        if (isHeard) {
            g.setColour(palette.accentLine);
            g.strokePath(line, juce::PathStrokeType(4.0F));
        } else {
            strokeDashed(g, line, index);
        }
    }
    const juce::Font font = textFont(14.0F);
    const juce::String caption = "Loud music at the rider's ear, dB SPL per octave";
    g.setColour(palette.mutedText);
    g.setFont(font);
    g.drawText(font.getStringWidthFloat(caption) < row.getWidth()
                   ? caption
                   : juce::String("dB SPL per octave at the ear"),
               row, juce::Justification::centredLeft, true);
}

void ResponseView::drawWindLabel(juce::Graphics& g) const
{
    if (windSplDba <= dsp::silenceDb)
        return;
    const Palette palette = paletteOf(*this);
    const juce::Font font = textFont(14.0F);
    const juce::String words = "hatched: wind at this speed (estimate)";
    const auto plot = plotArea();
    // Low in the middle, where curves are rarely drawn.
    const auto box = juce::Rectangle<float>(font.getStringWidthFloat(words) + 16.0F, 22.0F)
                         .withCentre({plot.getCentreX(), plot.getBottom() - 15.0F});
    g.setColour(palette.panel);
    g.fillRoundedRectangle(box, 4.0F);
    g.setColour(palette.wind);
    g.drawRoundedRectangle(box, 4.0F, 1.0F);
    g.setColour(palette.text);
    g.setFont(font);
    g.drawText(words, box, juce::Justification::centred, false);
}

void ResponseView::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    if (job == nullptr) {
        g.setColour(palette.mutedText);
        g.setFont(textFont(15.0F));
        g.drawText(
            "The response of each candidate, and the wind at the speed below, are drawn here.",
            getLocalBounds().reduced(16, 0), juce::Justification::centred, true);
        return;
    }
    drawGrid(g);
    {
        const juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(plotArea().toNearestInt());
        drawWind(g);
        drawCurves(g);
    }
    drawWindLabel(g);
    drawLegend(g);
}

} // namespace saddletone::gui
