#pragma once

#include <juce_audio_processors/juce_audio_processors.h>

namespace saddletone::gui {

/** Sets a parameter to a value in its own unit, as one gesture a host can record. */
inline void setParameter(juce::AudioProcessorValueTreeState& parameters, const char* id,
                         double value)
{
    juce::RangedAudioParameter* const parameter = parameters.getParameter(id);
    jassert(parameter != nullptr);
    parameter->beginChangeGesture();
    parameter->setValueNotifyingHost(parameter->convertTo0to1(static_cast<float>(value)));
    parameter->endChangeGesture();
}

/** Value of a parameter in its own unit. */
[[nodiscard]] inline double parameterValue(const juce::AudioProcessorValueTreeState& parameters,
                                           const char* id)
{
    return static_cast<double>(parameters.getRawParameterValue(id)->load());
}

} // namespace saddletone::gui
