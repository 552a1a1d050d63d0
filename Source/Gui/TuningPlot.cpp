#include "Gui/TuningPlot.h"

#include "Core/Dsp/Units.h"
#include "Gui/ElementWords.h"
#include "Gui/LineStyles.h"
#include "Gui/Look.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace saddletone::gui {

namespace {

constexpr int handleSize = 30;
constexpr double lowestShownDb = -24.0;
constexpr double highestShownDb = 18.0;
constexpr std::array<float, 2> targetDashes {9.0F, 5.0F};
constexpr float dimmed = 0.38F;

bool hasHandle(const DraftElement& draft)
{
    return tuning::hasFrequency(draft.element.type)
           || draft.element.type == tuning::ElementType::gain;
}

juce::String keysHelp()
{
    return "Drag it, or use the arrow keys: left and right change the frequency, up and down the "
           "gain, with Shift finely. Page Up and Page Down, the wheel, or dragging with Alt change "
           "Q. Space switches it off and on, Delete removes it.";
}

/** The stretches of a curve that may be trusted, or the others. */
juce::Path stretches(const FrequencyPlot& plot, const TuningCurves& curves,
                     const std::vector<double>& levelsDb, bool trusted)
{
    juce::Path path;
    bool isDrawing = false;
    const std::size_t count = std::min(levelsDb.size(), curves.isTrusted.size());
    for (std::size_t point = 0; point + 1 < count; ++point) {
        const bool isWanted = (curves.isTrusted[point] && curves.isTrusted[point + 1]) == trusted;
        if (isWanted && !isDrawing)
            path.startNewSubPath(plot.xOf(curves.frequenciesHz[point]), plot.yOf(levelsDb[point]));
        if (isWanted)
            path.lineTo(plot.xOf(curves.frequenciesHz[point + 1]), plot.yOf(levelsDb[point + 1]));
        isDrawing = isWanted;
    }
    return path;
}

} // namespace

class TuningPlot::Handle final : public juce::Component, public juce::SettableTooltipClient {
public:
    Handle(TuningPlot& plot, std::size_t elementIndex) : owner(plot), index(elementIndex)
    {
        setWantsKeyboardFocus(true);
        setMouseClickGrabsKeyboardFocus(true);
        setExplicitFocusOrder(static_cast<int>(index) + 1);
        setDescription(keysHelp());
        setMouseCursor(juce::MouseCursor::DraggingHandCursor);
        setRepaintsOnMouseActivity(true);
    }

    void paint(juce::Graphics& g) override
    {
        const DraftElement& draft = owner.elements[index];
        const Palette palette = paletteOf(*this);
        const bool isSelected = owner.selected == index;
        const auto circle = getLocalBounds().toFloat().reduced(3.0F);
        g.setColour(isSelected ? palette.accent : palette.panel);
        g.fillEllipse(circle);
        g.setColour(isSelected ? palette.text : palette.accentLine);
        if (draft.isOn) {
            g.drawEllipse(circle, isSelected ? 2.5F : 2.0F);
        } else {
            juce::Path ring;
            ring.addEllipse(circle);
            constexpr std::array<float, 2> dashes {4.0F, 4.0F};
            juce::Path dashed;
            juce::PathStrokeType(1.8F).createDashedStroke(dashed, ring, dashes.data(), 2);
            g.fillPath(dashed);
        }
        if (hasKeyboardFocus(false)) {
            g.setColour(palette.text);
            g.drawEllipse(getLocalBounds().toFloat().reduced(1.0F), 2.0F);
        }
        g.setColour(isSelected ? palette.onAccent : palette.text);
        g.setFont(textFont(14.0F, juce::Font::bold));
        g.drawText(juce::String(index + 1), getLocalBounds(), juce::Justification::centred, false);
    }

    void mouseDown(const juce::MouseEvent& event) override
    {
        owner.onSelect(index);
        atStart = owner.elements[index];
        dragStart = event.getEventRelativeTo(&owner).position;
        owner.model.endRun();
    }

    void mouseDrag(const juce::MouseEvent& event) override
    {
        const FrequencyPlot plot = owner.axes();
        const auto moved = event.getEventRelativeTo(&owner).position - dragStart;
        DraftElement changed = atStart;
        tuning::Element& element = changed.element;
        if (event.mods.isAltDown()) {
            constexpr double pixelsPerDoubling = 60.0;
            turnQ(element, std::exp2(static_cast<double>(-moved.y) / pixelsPerDoubling));
        } else {
            const double octaves = std::log2(FrequencyPlot::highestHz / FrequencyPlot::lowestHz)
                                   * static_cast<double>(moved.x / plot.area.getWidth());
            const double dbPerPixel =
                (plot.highestDb - plot.lowestDb) / static_cast<double>(plot.area.getHeight());
            move(element, octaves, -static_cast<double>(moved.y) * dbPerPixel);
        }
        apply(changed, "drag");
    }

    void mouseUp(const juce::MouseEvent&) override { owner.model.endRun(); }

    void mouseWheelMove(const juce::MouseEvent&, const juce::MouseWheelDetails& wheel) override
    {
        DraftElement changed = owner.elements[index];
        turnQ(changed.element, std::exp2(static_cast<double>(wheel.deltaY)));
        apply(changed, "wheel");
    }

    bool keyPressed(const juce::KeyPress& key) override
    {
        if (key.getModifiers().isCommandDown())
            return false;
        if (key.isKeyCode(juce::KeyPress::deleteKey)
            || key.isKeyCode(juce::KeyPress::backspaceKey)) {
            owner.model.removeElement(index);
            owner.onChange();
            return true;
        }
        DraftElement changed = owner.elements[index];
        if (key.isKeyCode(juce::KeyPress::spaceKey)) {
            changed.isOn = !changed.isOn;
            apply(changed, {});
            return true;
        }
        const bool isFine = key.getModifiers().isShiftDown();
        const double octaves = isFine ? 1.0 / 96.0 : 1.0 / 12.0;
        const double stepDb = isFine ? 0.1 : 0.5;
        const double octavesOfQ = isFine ? 1.0 / 24.0 : 1.0 / 4.0;
        if (key.isKeyCode(juce::KeyPress::leftKey))
            move(changed.element, -octaves, 0.0);
        else if (key.isKeyCode(juce::KeyPress::rightKey))
            move(changed.element, octaves, 0.0);
        else if (key.isKeyCode(juce::KeyPress::upKey))
            move(changed.element, 0.0, stepDb);
        else if (key.isKeyCode(juce::KeyPress::downKey))
            move(changed.element, 0.0, -stepDb);
        else if (key.isKeyCode(juce::KeyPress::pageUpKey))
            turnQ(changed.element, std::exp2(octavesOfQ));
        else if (key.isKeyCode(juce::KeyPress::pageDownKey))
            turnQ(changed.element, std::exp2(-octavesOfQ));
        else
            return false;
        apply(changed, "keys");
        return true;
    }

    void focusGained(FocusChangeType) override
    {
        owner.onSelect(index);
        repaint();
    }

    void focusLost(FocusChangeType) override
    {
        owner.model.endRun();
        repaint();
    }

    std::unique_ptr<juce::AccessibilityHandler> createAccessibilityHandler() override
    {
        return std::make_unique<juce::AccessibilityHandler>(*this, juce::AccessibilityRole::slider);
    }

private:
    static void move(tuning::Element& element, double octaves, double db)
    {
        if (tuning::hasFrequency(element.type))
            element.frequencyHz = std::clamp(element.frequencyHz * std::exp2(octaves),
                                             FrequencyPlot::lowestHz, FrequencyPlot::highestHz);
        if (tuning::hasGain(element.type) && db != 0.0) {
            // Tenths: what a list of settings can say.
            const double wantedDb = std::round((element.gainDb + db) * 10.0) / 10.0;
            element.gainDb = std::clamp(wantedDb, std::min(lowestShownDb, element.gainDb),
                                        std::max(highestShownDb, element.gainDb));
        }
    }

    static void turnQ(tuning::Element& element, double ratio)
    {
        if (tuning::isShelf(element.type) && element.slope)
            element.slope = std::clamp(*element.slope * ratio, 0.1, 1.0);
        else if (tuning::hasQ(element))
            element.q = std::clamp(element.q * ratio, 0.1, 30.0);
    }

    void apply(const DraftElement& changed, const juce::String& run)
    {
        owner.model.changeElement(index, changed, run);
        owner.onChange();
    }

    TuningPlot& owner;
    const std::size_t index;
    DraftElement atStart;
    juce::Point<float> dragStart;
};

TuningPlot::TuningPlot(TuningModel& tuningModel) : model(tuningModel)
{
    setTitle("Response");
    setDescription("Measured response, target, and what the tuning makes of it. Tab goes through "
                   "the elements; a double click adds a peaking filter.");
    setFocusContainerType(FocusContainerType::focusContainer);
}

TuningPlot::~TuningPlot() = default;

FrequencyPlot TuningPlot::axes() const
{
    FrequencyPlot plot;
    plot.area = getLocalBounds().toFloat().withTrimmedLeft(52.0F).withTrimmedRight(18.0F);
    plot.area = plot.area.withTrimmedTop(36.0F).withTrimmedBottom(28.0F);
    plot.lowestDb = lowestShownDb;
    plot.highestDb = highestShownDb;
    plot.lineStepDb = 6;
    plot.labelStepDb = 6;
    return plot;
}

juce::Component* TuningPlot::handleOf(std::size_t element)
{
    return element < elements.size() && handles[element]->isVisible() ? handles[element].get()
                                                                      : nullptr;
}

void TuningPlot::show(const TuningSnapshot& snapshot, std::size_t selectedElement)
{
    const bool isOther = curves != snapshot.curves || elements != snapshot.elements
                         || selected != selectedElement || isBuilding != snapshot.isBuilding;
    if (!isOther)
        return;
    curves = snapshot.curves;
    elements = snapshot.elements;
    selected = selectedElement;
    isBuilding = snapshot.isBuilding;
    while (handles.size() < elements.size()) {
        handles.push_back(std::make_unique<Handle>(*this, handles.size()));
        addChildComponent(*handles.back());
    }
    placeHandles();
    repaint();
}

void TuningPlot::placeHandles()
{
    const FrequencyPlot plot = axes();
    for (std::size_t index = 0; index < handles.size(); ++index) {
        Handle& handle = *handles[index];
        const bool isShown = index < elements.size() && hasHandle(elements[index]);
        if (!isShown) {
            handle.setVisible(false);
            continue;
        }
        const DraftElement& draft = elements[index];
        const bool hasPlace = tuning::hasFrequency(draft.element.type);
        const float x = hasPlace ? plot.xOf(draft.element.frequencyHz) : plot.area.getX() + 20.0F;
        const float y = plot.yOf(tuning::hasGain(draft.element.type) ? draft.element.gainDb : 0.0);
        const juce::Point<float> centre(
            std::clamp(x, plot.area.getX(), plot.area.getRight()),
            std::clamp(y, plot.area.getY() + 8.0F, plot.area.getBottom() - 8.0F));
        handle.setBounds(
            juce::Rectangle<int>(handleSize, handleSize).withCentre(centre.roundToInt()));
        const juce::String words = elementWords(draft) + (draft.isOn ? "" : ", off");
        handle.setTitle("Element " + juce::String(index + 1) + ": " + words);
        handle.setTooltip(juce::String(index + 1) + ": " + words);
        handle.setVisible(true);
        handle.repaint();
    }
    if (selected < elements.size() && handles[selected]->isVisible())
        handles[selected]->toFront(false);
}

void TuningPlot::resized()
{
    placeHandles();
}

void TuningPlot::mouseDoubleClick(const juce::MouseEvent& event)
{
    const FrequencyPlot plot = axes();
    if (curves == nullptr || !plot.area.contains(event.position))
        return;
    DraftElement draft = newElement(tuning::ElementType::peaking);
    const double along =
        static_cast<double>((event.position.x - plot.area.getX()) / plot.area.getWidth());
    const double up =
        static_cast<double>((plot.area.getBottom() - event.position.y) / plot.area.getHeight());
    draft.element.frequencyHz =
        FrequencyPlot::lowestHz
        * std::pow(FrequencyPlot::highestHz / FrequencyPlot::lowestHz, along);
    draft.element.gainDb =
        std::round((plot.lowestDb + up * (plot.highestDb - plot.lowestDb)) * 2.0) / 2.0;
    const std::size_t index = model.addElement(draft);
    onSelect(index);
    onChange();
    if (juce::Component* const handle = handleOf(index); handle != nullptr && handle->isShowing())
        handle->grabKeyboardFocus();
}

void TuningPlot::drawSelected(juce::Graphics& g, const FrequencyPlot& plot) const
{
    if (selected >= elements.size() || !elements[selected].isOn)
        return;
    juce::Path area;
    const float zero = plot.yOf(0.0);
    area.startNewSubPath(plot.area.getX(), zero);
    for (const double frequencyHz : curves->frequenciesHz)
        area.lineTo(plot.xOf(frequencyHz),
                    plot.yOf(dsp::amplitudeToDb(std::abs(
                        tuning::elementResponse(elements[selected].element, frequencyHz)))));
    area.lineTo(plot.area.getRight(), zero);
    area.closeSubPath();
    const Palette palette = paletteOf(*this);
    g.setColour(palette.accentLine.withAlpha(0.16F));
    g.fillPath(area);
}

void TuningPlot::drawCurves(juce::Graphics& g, const FrequencyPlot& plot) const
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.text.withAlpha(0.8F));
    g.drawHorizontalLine(static_cast<int>(plot.yOf(0.0)), plot.area.getX(), plot.area.getRight());
    drawSelected(g, plot);

    const juce::Path target = plot.curve(curves->frequenciesHz, curves->targetDb, 0.0);
    juce::Path dashed;
    juce::PathStrokeType(2.0F).createDashedStroke(dashed, target, targetDashes.data(),
                                                  static_cast<int>(targetDashes.size()));
    g.setColour(palette.wind);
    g.fillPath(dashed);

    const auto drawBoth = [&](const std::vector<double>& levelsDb, juce::Colour colour,
                              float width) {
        for (const bool trusted : {false, true}) {
            g.setColour(trusted ? colour : colour.withMultipliedAlpha(dimmed));
            g.strokePath(stretches(plot, *curves, levelsDb, trusted),
                         juce::PathStrokeType(width, juce::PathStrokeType::curved));
        }
    };
    drawBoth(curves->measuredDb, palette.mutedText, 1.6F);
    for (const TuningCurves::Beside& beside : curves->beside) {
        g.setColour(palette.text);
        strokeDashed(g, plot.curve(curves->frequenciesHz, beside.levelsDb, 0.0), beside.candidate);
    }
    drawBoth(curves->predictedDb, palette.accentLine, 3.4F);
}

void TuningPlot::drawLegend(juce::Graphics& g) const
{
    const Palette palette = paletteOf(*this);
    auto row = getLocalBounds().toFloat().reduced(14.0F, 0.0F).withHeight(34.0F);
    const juce::Font font = textFont(14.0F);
    g.setFont(font);
    const auto addSample = [&](const auto& draw, const juce::String& words) {
        constexpr float sampleWidth = 26.0F;
        const auto sample = row.removeFromLeft(sampleWidth);
        juce::Path line;
        line.startNewSubPath(sample.getX(), sample.getCentreY());
        line.lineTo(sample.getRight(), sample.getCentreY());
        draw(line);
        row.removeFromLeft(6.0F);
        g.setColour(palette.text);
        g.drawText(words, row.removeFromLeft(font.getStringWidthFloat(words) + 2.0F),
                   juce::Justification::centredLeft, false);
        row.removeFromLeft(12.0F);
    };
    const auto solid = [&](juce::Colour colour, float width) {
        return [&g, colour, width](const juce::Path& line) {
            g.setColour(colour);
            g.strokePath(line, juce::PathStrokeType(width));
        };
    };
    addSample(solid(palette.accentLine, 3.4F), "with the tuning");
    constexpr float roomForWords = 640.0F;
    constexpr std::size_t mostBesideWords = 3;
    const bool isShort =
        static_cast<float>(getWidth()) < roomForWords || curves->beside.size() > mostBesideWords;
    addSample(solid(palette.mutedText, 1.6F),
              isShort ? "measured" : "measured (faint: not trusted)");
    addSample(
        [&](const juce::Path& line) {
            juce::Path dashed;
            juce::PathStrokeType(2.0F).createDashedStroke(dashed, line, targetDashes.data(),
                                                          static_cast<int>(targetDashes.size()));
            g.setColour(palette.wind);
            g.fillPath(dashed);
        },
        "target");
    for (const TuningCurves::Beside& beside : curves->beside)
        addSample(
            [&](const juce::Path& line) {
                g.setColour(palette.text);
                strokeDashed(g, line, beside.candidate);
            },
            juce::String(beside.candidate + 1));
    g.setColour(palette.mutedText);
    const juce::String unit = isBuilding ? juce::String::fromUTF8("being built\xe2\x80\xa6") : "dB";
    g.drawText(unit, row, juce::Justification::centredRight, false);
}

void TuningPlot::paint(juce::Graphics& g)
{
    const Palette palette = paletteOf(*this);
    g.setColour(palette.panel);
    g.fillRoundedRectangle(getLocalBounds().toFloat(), 8.0F);
    if (curves == nullptr) {
        g.setColour(palette.mutedText);
        g.setFont(textFont(15.0F));
        g.drawText("Open a job: its measured response, a target and the tuning are drawn here.",
                   getLocalBounds().reduced(16, 0), juce::Justification::centred, true);
        return;
    }
    const FrequencyPlot plot = axes();
    plot.drawGrid(g, palette.outline.withAlpha(0.35F), palette.mutedText);
    {
        const juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(plot.area.toNearestInt());
        drawCurves(g, plot);
    }
    drawLegend(g);
}

} // namespace saddletone::gui
