#pragma once

#include "Core/Measure/Response.h"
#include "Gui/BenchModel.h"

#include <memory>
#include <span>
#include <string>

namespace saddletone::plugin {

/** A response as the screens show it. Takes a while where display has a window of cycles; origin,
    source and isInJob are the caller's. */
[[nodiscard]] gui::MeasuredView makeMeasuredView(const measure::Response& response,
                                                 const gui::CurveDisplay& display);

/** "Touring, left, engine off"; all speakers need no word. */
[[nodiscard]] juce::String stateName(const juce::String& profile, measure::EngineState engine,
                                     measure::SpeakerGroup speakers);

/** Polarity and arrival of speaker groups, and right against left for a pair of sides. groups: of
    one profile and engine state, the one to be told of first; at least that one. */
[[nodiscard]] gui::SpeakersView
makeSpeakersView(std::span<const std::shared_ptr<const measure::Response>> groups);

/** "SNR 34 dB, trusted from 40 Hz to 16 kHz", or that no band can be trusted. */
[[nodiscard]] std::string trustWords(const measure::Response& response);

} // namespace saddletone::plugin
