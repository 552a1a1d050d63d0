#include "Gui/ResponseView.h"

#include "Core/Dsp/Units.h"
#include "Gui/Look.h"

#include <algorithm>

namespace saddletone::gui {

namespace {

constexpr float ribbonHeight = 14.0F;

} // namespace

ResponseView::ResponseView()
{
    setTitle("Response at the rider's ear");
    setDescription(
        "Curves of all candidates in octave levels from 20 Hz to 20 kHz, and the noise of "
        "the ride. The line of words below it gives the levels.");
    setInterceptsMouseClicks(false, false);
}

void ResponseView::show(const AuditionSnapshot& snapshot)
{
    const double offsetDb = snapshot.levels.radioGainDb - snapshot.levels.plugLossDb;
    const auto& shownRoad = snapshot.roadNow != nullptr ? snapshot.roadNow : snapshot.road;
    const bool isNow = snapshot.roadNow != nullptr;
    const bool isNoisy = snapshot.levels.noise.totalDba > dsp::silenceDb;
    const bool isFrameSame =
        job == snapshot.job && heard == snapshot.candidate && match == snapshot.match
        && matchGainsDb == snapshot.fairness.matchGainsDb && ride == snapshot.ride
        && programmeOffsetDb == offsetDb && isOfMoment == isNow && hasNoise == isNoisy
        && (road == nullptr) == (shownRoad == nullptr);
    const bool isNoiseSame =
        ride == snapshot.ride && choice == snapshot.choice && noiseTrimDb == snapshot.noiseTrimDb;
    const bool isRoadSame = road == shownRoad;
    if (isFrameSame && isNoiseSame && isRoadSame)
        return;
    const hearing::ThirdOctaveSpectrum noiseBefore = noise;
    if (!isNoiseSame)
        noise = audition::noiseSpectrum(snapshot.ride, snapshot.choice)
                    .raisedBy(snapshot.noiseTrimDb
                              - audition::plugLossDb(snapshot.ride, snapshot.choice));
    if (job != snapshot.job)
        outlines.clear();
    job = snapshot.job;
    heard = snapshot.candidate;
    match = snapshot.match;
    matchGainsDb = snapshot.fairness.matchGainsDb;
    ride = snapshot.ride;
    choice = snapshot.choice;
    noiseTrimDb = snapshot.noiseTrimDb;
    programmeOffsetDb = offsetDb;
    road = shownRoad;
    isOfMoment = isNow;
    hasNoise = isNoisy;
    if (!isFrameSame) {
        repaint();
        return;
    }
    if (!isRoadSame)
        repaint(plot().area.withHeight(ribbonHeight + 4.0F).getSmallestIntegerContainer());
    if (!isNoiseSame && hasNoise)
        repaintBetween(noiseBefore, noise);
}

juce::Point<float> ResponseView::noisePoint(const FrequencyPlot& axes,
                                            const hearing::ThirdOctaveSpectrum& spectrum,
                                            std::size_t band)
{
    // Curves are in octaves: three times as wide as the bands here.
    const double toOctaveDb = dsp::powerToDb(3.0);
    return {axes.xOf(hearing::thirdOctave(band).centreHz),
            axes.yOf(std::max(0.0, spectrum.levelsDb[band] + toOctaveDb))};
}

void ResponseView::repaintBetween(const hearing::ThirdOctaveSpectrum& one,
                                  const hearing::ThirdOctaveSpectrum& other)
{
    // While the rider is dragged the edge of the noise moves by some pixels 60 times a second. Octave
    // by octave a strip around it is far less than the whole, and few strips clip quickly.
    constexpr std::size_t bandsTogether = 6;
    constexpr float lineReach = 8.0F; // of the line about its points, with its corners
    const FrequencyPlot axes = plot();
    for (std::size_t first = 0; first + 1 < hearing::numThirdOctaves; first += bandsTogether) {
        const std::size_t last = std::min(first + bandsTogether, hearing::numThirdOctaves - 1);
        float top = axes.area.getBottom();
        float bottom = axes.area.getY();
        for (std::size_t band = first; band <= last; ++band)
            for (const hearing::ThirdOctaveSpectrum* const spectrum : {&one, &other}) {
                const float y = noisePoint(axes, *spectrum, band).y;
                top = std::min(top, y);
                bottom = std::max(bottom, y);
            }
        const auto strip = juce::Rectangle<float>::leftTopRightBottom(
            noisePoint(axes, one, first).x, top, noisePoint(axes, one, last).x, bottom);
        repaint(strip.expanded(lineReach).getSmallestIntegerContainer());
    }
}

FrequencyPlot ResponseView::plot() const
{
    FrequencyPlot axes;
    axes.lowestDb = 40.0;
    axes.highestDb = 120.0;
    axes.area = getLocalBounds()
                    .toFloat()
                    .withTrimmedLeft(52.0F)
                    .withTrimmedRight(18.0F)
                    .withTrimmedTop(38.0F)
                    .withTrimmedBottom(28.0F);
    return axes;
}

double ResponseView::offsetDbOf(std::size_t index) const
{
    double offsetDb = programmeOffsetDb;
    if (match == audition::LevelMatch::equalLoudness)
        offsetDb +=
            index < matchGainsDb.size() ? matchGainsDb[index] : job->candidates[index].matchGainDb;
    return offsetDb;
}

const ResponseView::Outline& ResponseView::outlineOf(const FrequencyPlot& axes, std::size_t index)
{
    outlines.resize(job->candidates.size());
    std::optional<Outline>& kept = outlines[index];
    const bool isOfHeard = index == heard;
    if (kept && kept->isOfHeard == isOfHeard)
        return *kept;
    const juce::Path line = axes.curve(job->frequenciesHz, job->candidates[index].octaveSplDb, 0.0);
    Outline made;
    made.isOfHeard = isOfHeard;
    if (isOfHeard) {
        using Stroke = juce::PathStrokeType;
        Stroke(7.0F, Stroke::curved).createStrokedPath(made.wide, line);
        Stroke(4.0F, Stroke::curved).createStrokedPath(made.narrow, line);
    } else {
        made.wide = dashedOutline(line, index);
    }
    kept = std::move(made);
    return *kept;
}

void ResponseView::drawRibbon(juce::Graphics& g, const FrequencyPlot& axes)
{
    if (road == nullptr || !hasNoise)
        return;
    const Palette palette = paletteOf(*this);
    for (const hearing::BandAudibility& band : road->music.bands) {
        if (!band.inProgramme)
            continue;
        constexpr double halfBand = 1.122; // a sixth of an octave
        const float left = axes.xOf(std::max(FrequencyPlot::lowestHz, band.frequencyHz / halfBand));
        const float right =
            axes.xOf(std::min(FrequencyPlot::highestHz, band.frequencyHz * halfBand));
        const juce::Rectangle<float> box(left, axes.area.getY() + 2.0F, right - left - 1.0F,
                                         ribbonHeight);
        if (band.aboveDb >= 0.0) {
            g.setColour(palette.accentLine);
            g.fillRect(box);
            continue;
        }
        ribbonHatching.fillWith(
            g, axes.area.withHeight(ribbonHeight + 4.0F).getSmallestIntegerContainer(),
            {5.0F, palette.panel, palette.wind});
        g.fillRect(box);
        g.setColour(palette.wind);
        g.drawRect(box, 1.0F);
    }
}

void ResponseView::drawNoise(juce::Graphics& g, const FrequencyPlot& axes)
{
    if (!hasNoise)
        return;
    const Palette palette = paletteOf(*this);
    juce::Path line;
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        const juce::Point<float> point = noisePoint(axes, noise, band);
        if (band == 0)
            line.startNewSubPath(point);
        else
            line.lineTo(point);
    }

    juce::Path area = line;
    const float floor = axes.area.getBottom() + 2.0F; // outside, so that no edge is seen
    area.lineTo(line.getCurrentPosition().x, floor);
    area.lineTo(line.getBounds().getX(), floor);
    area.closeSubPath();
    noiseHatching.fillWith(g, axes.area.getSmallestIntegerContainer(),
                           {11.0F, palette.wind.withAlpha(0.14F), palette.wind.withAlpha(0.5F)});
    g.fillPath(area);
    g.setColour(palette.wind);
    g.strokePath(line, juce::PathStrokeType(2.0F));
}

void ResponseView::drawCurves(juce::Graphics& g, const FrequencyPlot& axes)
{
    const Palette palette = paletteOf(*this);
    const auto moved = [&](std::size_t index) {
        return juce::AffineTransform::translation(
            0.0F, static_cast<float>(-offsetDbOf(index) / (axes.highestDb - axes.lowestDb))
                      * axes.area.getHeight());
    };
    for (std::size_t index = 0; index < job->candidates.size(); ++index)
        if (index != heard) {
            g.setColour(palette.text);
            g.fillPath(outlineOf(axes, index).wide, moved(index));
        }
    if (heard >= job->candidates.size())
        return;
    const Outline& outline = outlineOf(axes, heard);
    g.setColour(palette.panel);
    g.fillPath(outline.wide, moved(heard));
    g.setColour(palette.accentLine);
    g.fillPath(outline.narrow, moved(heard));
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

void ResponseView::drawNoiseLabel(juce::Graphics& g, const FrequencyPlot& axes) const
{
    if (!hasNoise)
        return;
    const Palette palette = paletteOf(*this);
    const juce::Font font = textFont(14.0F);
    const bool isRecorded = audition::isNoiseMeasured(ride);
    juce::String words = juce::String(isRecorded ? "hatched: noise as recorded"
                                                 : "hatched: noise of the ride (estimate)")
                         + (road == nullptr ? ""
                            : isOfMoment    ? ". Bar on top, now: solid is heard, hatched drowns"
                                            : ". Bar on top: solid is heard, hatched drowns");
    if (font.getStringWidthFloat(words) + 16.0F > axes.area.getWidth())
        words = juce::String(isRecorded ? "noise as recorded" : "noise: an estimate")
                + (road == nullptr ? "" : "; bar: solid heard, hatched drowned");
    // Low in the middle, where curves are rarely drawn.
    const auto box = juce::Rectangle<float>(font.getStringWidthFloat(words) + 16.0F, 22.0F)
                         .withCentre({axes.area.getCentreX(), axes.area.getBottom() - 15.0F});
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
        g.drawText("The response of each candidate, and the noise of the ride, are drawn here.",
                   getLocalBounds().reduced(16, 0), juce::Justification::centred, true);
        return;
    }
    const FrequencyPlot axes = plot();
    axes.drawGrid(g, palette.outline.withAlpha(0.35F), palette.mutedText);
    {
        const juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(axes.area.toNearestInt());
        drawNoise(g, axes);
        drawCurves(g, axes);
        drawRibbon(g, axes);
    }
    drawNoiseLabel(g, axes);
    drawLegend(g);
}

} // namespace saddletone::gui
