#pragma once

#include "Gui/TuningModel.h"

#include <optional>
#include <span>

namespace saddletone::gui {

/** A kind of element as people call it: "Low shelf". */
[[nodiscard]] juce::String typeWords(tuning::ElementType type);
/** All kinds, in the order in which they are offered. */
[[nodiscard]] std::span<const tuning::ElementType> offeredTypes() noexcept;
[[nodiscard]] juce::String alignmentWords(tuning::Alignment alignment);
/** "All", "Left", "Front left". */
[[nodiscard]] juce::String groupWords(tuning::OutputGroup group);

/** An element in one line: "Peaking 150 Hz, -6.0 dB, Q 1.00". */
[[nodiscard]] juce::String elementWords(const DraftElement& draft);

/** A new element of a kind, ready to be changed. */
[[nodiscard]] DraftElement newElement(tuning::ElementType type);

/** Numbers with a dot and a true minus sign, whatever the locale. */
[[nodiscard]] juce::String numberWords(double value, int decimals);
/** Three digits that count, as frequencies are written: "63.1", "1250". */
[[nodiscard]] juce::String frequencyNumber(double frequencyHz);

/** A number as typed anywhere in the world: comma or dot for the decimals, "k" for thousands, a
    unit behind it; nothing if it is not one. */
[[nodiscard]] std::optional<double> parseNumber(const juce::String& text);

} // namespace saddletone::gui
