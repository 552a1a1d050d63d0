#include "Gui/MeasuredPlots.h"

#include "Gui/FrequencyPlot.h"
#include "Gui/LineStyles.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::gui {

namespace {

const double halfThirdOctave = std::pow(10.0, 0.05); // IEC 61260-1
constexpr double leastTrustedSnrDb = 10.0;           // as in the measurement
constexpr float gridAlpha = 0.35F;

juce::Rectangle<float> insideLabels(juce::Rectangle<int> area)
{
    return area.toFloat()
        .withTrimmedLeft(54.0F)
        .withTrimmedRight(22.0F)
        .withTrimmedTop(10.0F)
        .withTrimmedBottom(28.0F);
}

juce::Rectangle<float> bandColumn(const FrequencyPlot& axes, double frequencyHz, float topY)
{
    return juce::Rectangle<float>::leftTopRightBottom(
        axes.xOf(frequencyHz / halfThirdOctave) + 1.0F, std::min(topY, axes.area.getBottom()),
        axes.xOf(frequencyHz * halfThirdOctave) - 1.0F, axes.area.getBottom());
}

void strokeBroken(juce::Graphics& g, const juce::Path& path, float width)
{
    constexpr std::array dashes {7.0F, 6.0F};
    juce::Path broken;
    juce::PathStrokeType(width).createDashedStroke(broken, path, dashes.data(),
                                                   static_cast<int>(dashes.size()));
    g.fillPath(broken);
}

void hatchUntrusted(juce::Graphics& g, const FrequencyPlot& axes, const Palette& palette,
                    const MeasuredView& view)
{
    juce::Path untrusted;
    for (const measure::BandConfidence& band : view.bands)
        if (!band.trusted)
            untrusted.addRectangle(
                bandColumn(axes, band.frequencyHz, axes.area.getY()).expanded(1.0F, 0.0F));
    if (untrusted.isEmpty())
        return;
    g.setColour(palette.mutedText.withAlpha(0.45F));
    hatch(g, untrusted, 9.0F);
}

/** The part of a curve from a frequency on, or up to it. */
juce::Path partOf(const FrequencyPlot& axes, const MeasuredView& view, double limitHz, bool isAbove)
{
    const auto limit =
        std::ranges::lower_bound(view.frequenciesHz, limitHz) - view.frequenciesHz.begin();
    // Both parts share the point at the limit, so that no gap is seen.
    const auto end = std::min<std::ptrdiff_t>(limit + 1, std::ssize(view.frequenciesHz));
    const auto part = [&](const std::vector<double>& values) {
        return isAbove ? std::vector<double>(values.begin() + limit, values.end())
                       : std::vector<double>(values.begin(), values.begin() + end);
    };
    return axes.curve(part(view.frequenciesHz), part(view.levelsDb), -view.referenceDb);
}

void drawNoise(juce::Graphics& g, const FrequencyPlot& axes, const Palette& palette,
               const MeasuredView& view)
{
    std::vector<double> centresHz;
    std::vector<double> noiseDb;
    for (const measure::BandConfidence& band : view.bands) {
        centresHz.push_back(band.frequencyHz);
        noiseDb.push_back(band.levelDb - band.snrDb);
    }
    g.setColour(palette.wind);
    g.strokePath(axes.curve(centresHz, noiseDb, -view.referenceDb), juce::PathStrokeType(1.5F));
}

/** Low enough for the trusted levels and for the noise, if that is near enough to matter. */
double lowestCurveDb(const MeasuredView& view)
{
    const auto isBetween = [&](double levelDb) {
        return levelDb - view.referenceDb < -40.0 && levelDb - view.referenceDb > -60.0;
    };
    const bool needsMore =
        std::ranges::any_of(view.bands, [&](const measure::BandConfidence& band) {
            return band.trusted
                   && (isBetween(band.levelDb) || isBetween(band.levelDb - band.snrDb));
        });
    return needsMore ? -60.0 : -40.0;
}

/** How the line of an order is drawn; its number tells it without colour. */
struct OrderStyle {
    juce::Colour colour;
    float width = 2.0F;
};

OrderStyle styleOf(int order, const Palette& palette)
{
    switch (order) {
    case 2: return {palette.accentLine, 3.0F};
    case 3: return {palette.wind, 2.5F};
    case 4: return {palette.text, 1.8F};
    default: return {palette.mutedText, 1.4F};
    }
}

void drawOrder(juce::Graphics& g, const FrequencyPlot& axes, const Palette& palette,
               const measure::HarmonicOrder& order)
{
    const OrderStyle style = styleOf(order.order, palette);
    juce::Path clear;
    juce::Path lost;
    for (std::size_t index = 0; index + 1 < order.levels.size(); ++index) {
        const measure::HarmonicLevel& from = order.levels[index];
        const measure::HarmonicLevel& to = order.levels[index + 1];
        juce::Path& path = from.significant() && to.significant() ? clear : lost;
        const juce::Point<float> start(axes.xOf(from.frequencyHz), axes.yOf(from.levelDb));
        if (path.isEmpty() || path.getCurrentPosition() != start)
            path.startNewSubPath(start);
        path.lineTo(axes.xOf(to.frequencyHz), axes.yOf(to.levelDb));
    }
    g.setColour(style.colour);
    strokeBroken(g, lost, 1.2F);
    g.strokePath(clear, juce::PathStrokeType(style.width));
}

void drawOrderNumbers(juce::Graphics& g, const FrequencyPlot& axes, const Palette& palette,
                      const measure::HarmonicOrder& order)
{
    const OrderStyle style = styleOf(order.order, palette);
    g.setFont(textFont(14.0F, juce::Font::bold));
    // The orders' numbers stand at different bands, so that close lines stay readable.
    constexpr std::size_t distance = 6;
    const auto first = static_cast<std::size_t>(order.order - 2);
    for (std::size_t index = first; index < order.levels.size(); index += distance) {
        const measure::HarmonicLevel& level = order.levels[index];
        const juce::Point<float> at(axes.xOf(level.frequencyHz), axes.yOf(level.levelDb));
        if (!level.significant() || !axes.area.reduced(8.0F).contains(at))
            continue;
        const auto badge = juce::Rectangle<float>(18.0F, 18.0F).withCentre(at);
        g.setColour(palette.panel);
        g.fillEllipse(badge);
        g.setColour(style.colour);
        g.drawEllipse(badge, 1.5F);
        g.setColour(palette.text);
        g.drawText(juce::String(order.order), badge, juce::Justification::centred, false);
    }
    // The orders end at different frequencies: a harmonic lies above its fundamental.
    if (!order.levels.empty() && !order.levels.back().significant()) {
        const juce::Point<float> end(axes.xOf(order.levels.back().frequencyHz),
                                     axes.yOf(order.levels.back().levelDb));
        g.setColour(palette.mutedText);
        g.drawText(juce::String(order.order),
                   juce::Rectangle<float>(end.x + 3.0F, end.y - 9.0F, 14.0F, 18.0F),
                   juce::Justification::centredLeft, false);
    }
}

} // namespace

void drawMeasuredCurves(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                        std::span<const std::shared_ptr<const MeasuredView>> measured,
                        std::size_t shownIndex)
{
    FrequencyPlot axes;
    axes.lowestDb = shownIndex < measured.size() ? lowestCurveDb(*measured[shownIndex]) : -40.0;
    axes.highestDb = 20.0;
    axes.area = insideLabels(area);
    axes.drawGrid(g, palette.outline.withAlpha(gridAlpha), palette.mutedText);
    if (shownIndex >= measured.size())
        return;
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(axes.area.toNearestInt());
    const MeasuredView& view = *measured[shownIndex];
    hatchUntrusted(g, axes, palette, view);
    drawNoise(g, axes, palette, view);
    for (std::size_t index = 0; index < std::min(measured.size(), mostOtherCurves + 1); ++index)
        if (index != shownIndex) {
            const MeasuredView& other = *measured[index];
            g.setColour(palette.text);
            strokeDashed(g, axes.curve(other.frequenciesHz, other.levelsDb, -other.referenceDb),
                         index);
        }
    const juce::Path told = partOf(axes, view, view.lowestHz, true);
    g.setColour(palette.panel);
    g.strokePath(told, juce::PathStrokeType(6.0F, juce::PathStrokeType::curved));
    g.setColour(palette.accentLine);
    g.strokePath(told, juce::PathStrokeType(3.0F, juce::PathStrokeType::curved));
    if (!view.frequenciesHz.empty() && view.lowestHz > view.frequenciesHz.front())
        strokeBroken(g, partOf(axes, view, view.lowestHz, false), 3.0F);
}

void drawDistortion(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                    const MeasuredView& view)
{
    FrequencyPlot axes;
    axes.lowestDb = -80.0;
    axes.highestDb = 0.0;
    for (const measure::HarmonicOrder& order : view.distortion)
        for (const measure::HarmonicLevel& level : order.levels) {
            if (level.significant() && level.levelDb > axes.highestDb)
                axes.highestDb = std::min(20.0, 10.0 * std::ceil(level.levelDb / 10.0));
            if (level.levelDb < axes.lowestDb)
                axes.lowestDb = -100.0;
        }
    axes.area = insideLabels(area);
    axes.drawGrid(g, palette.outline.withAlpha(gridAlpha), palette.mutedText);
    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(axes.area.toNearestInt());
    bool hasLost = false;
    for (const measure::HarmonicOrder& order : view.distortion) {
        drawOrder(g, axes, palette, order);
        hasLost =
            hasLost || !std::ranges::all_of(order.levels, &measure::HarmonicLevel::significant);
    }
    for (const measure::HarmonicOrder& order : view.distortion)
        drawOrderNumbers(g, axes, palette, order);
    if (hasLost) {
        // Harmonics are highest in the bass: there is room on the right.
        const juce::String words = "thin and broken: lost in the noise, no more than this";
        const juce::Font font = textFont(14.0F);
        const auto box =
            juce::Rectangle<float>(font.getStringWidthFloat(words) + 12.0F, 21.0F)
                .withPosition(axes.area.getRight() - font.getStringWidthFloat(words) - 16.0F,
                              axes.area.getY() + 3.0F);
        g.setColour(palette.panel);
        g.fillRoundedRectangle(box, 4.0F);
        g.setColour(palette.text);
        g.setFont(font);
        g.drawText(words, box, juce::Justification::centred, false);
    }
}

void drawConfidence(juce::Graphics& g, juce::Rectangle<int> area, const Palette& palette,
                    const MeasuredView& view)
{
    const juce::Rectangle<float> inside = insideLabels(area);
    constexpr float gap = 28.0F; // for the words between them
    FrequencyPlot snr;
    snr.lowestDb = 0.0;
    snr.highestDb = 80.0;
    snr.labelsFrequencies = false;
    snr.area = inside.withHeight(0.5F * (inside.getHeight() - gap));
    FrequencyPlot error;
    error.lowestDb = 0.0;
    error.area = inside.withTop(snr.area.getBottom() + gap);
    double widestDb = 0.0;
    for (const measure::BandConfidence& band : view.bands)
        if (band.trusted)
            widestDb = std::max(widestDb, band.interval95Db);
    error.highestDb = std::clamp(std::ceil(widestDb), 1.0, 12.0);
    error.lineStepDb = 1;
    error.labelStepDb = 1;
    for (const FrequencyPlot* axes : {&snr, &error})
        axes->drawGrid(g, palette.outline.withAlpha(gridAlpha), palette.mutedText);

    g.setFont(textFont(14.0F));
    g.setColour(palette.mutedText);
    g.drawText(
        juce::String::fromUTF8("95 % interval of each third octave, \xc2\xb1 dB")
            + (view.numTakes > 1 ? "; narrow bars: spread of takes" : ""),
        area.toFloat().withTrimmedLeft(8.0F).withTop(snr.area.getBottom() + 4.0F).withHeight(20.0F),
        juce::Justification::centredLeft, true);

    const juce::Graphics::ScopedSaveState saved(g);
    g.reduceClipRegion(inside.toNearestInt());
    for (const measure::BandConfidence& band : view.bands) {
        const auto signal =
            bandColumn(snr, band.frequencyHz, std::max(snr.area.getY(), snr.yOf(band.snrDb)));
        const auto interval = bandColumn(error, band.frequencyHz,
                                         std::max(error.area.getY(), error.yOf(band.interval95Db)));
        if (!band.trusted) {
            juce::Path bars;
            bars.addRectangle(signal);
            bars.addRectangle(interval);
            g.setColour(palette.mutedText.withAlpha(0.7F));
            hatch(g, bars, 6.0F);
            g.strokePath(bars, juce::PathStrokeType(1.0F));
            continue;
        }
        g.setColour(palette.accentLine);
        g.fillRect(signal);
        g.setColour(palette.wind.withAlpha(0.45F));
        g.fillRect(interval);
        g.setColour(palette.wind);
        g.drawRect(interval, 1.0F);
        if (band.spreadDb > 0.0) {
            const float top = std::max(error.area.getY(), error.yOf(band.spreadDb));
            g.setColour(palette.text);
            g.fillRect(interval.withTop(top).reduced(0.3F * interval.getWidth(), 0.0F));
        }
    }
    g.setColour(palette.text);
    const auto least = static_cast<int>(snr.yOf(leastTrustedSnrDb));
    g.drawHorizontalLine(least, snr.area.getX(), snr.area.getRight());
}

} // namespace saddletone::gui
