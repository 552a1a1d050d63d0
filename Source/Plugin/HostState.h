#pragma once

#include "Core/Dsp/Result.h"

#include <juce_audio_processors/juce_audio_processors.h>

#include <memory>

namespace saddletone::plugin {

// What a host keeps of the plug-in: XML with attributes for what is open, and one child for each
// parameter and each file of the list. Additions keep the schema version, so that older versions
// read what they know and hand on the rest.

/** An empty state of this version. */
[[nodiscard]] juce::XmlElement makeHostState();

/** Refused: what is damaged, is of something else or has a newer schema version. */
[[nodiscard]] dsp::Result<std::unique_ptr<juce::XmlElement>> readHostState(const void* data,
                                                                           int numBytes);

/** A number of a state; fallback where there is none. Earlier versions wrote a comma where the host's
    locale has one. */
[[nodiscard]] double readNumber(const juce::XmlElement& element, const char* key, double fallback);

void saveParameters(juce::XmlElement& hostState,
                    const juce::AudioProcessorValueTreeState& parameters);

/** Out of range is brought into it; what is no number is left as it is. A parameter that an older
    version did not have takes its default; those of the listener's own headphones and ears are left
    alone, as are all of them by a state without any. */
void restoreParameters(const juce::XmlElement& hostState,
                       juce::AudioProcessorValueTreeState& parameters);

/** What this version does not know of a state. */
[[nodiscard]] std::unique_ptr<juce::XmlElement>
unknownPart(const juce::XmlElement& hostState,
            const juce::AudioProcessorValueTreeState& parameters);
/** unknown: null or as unknownPart() gave it. */
void addUnknownPart(juce::XmlElement& hostState, const juce::XmlElement* unknown);

/** Attributes and children of a state. */
namespace stateKeys {
inline constexpr const char* jobFolder = "jobFolder";
inline constexpr const char* programmeFile = "programmeFile";
inline constexpr const char* loop = "loop";
inline constexpr const char* lightLook = "lightLook";
inline constexpr const char* speedUnit = "speedUnit";
inline constexpr const char* windowWidth = "windowWidth"; ///< Logical pixels, at any scale.
inline constexpr const char* windowHeight = "windowHeight";
inline constexpr const char* program = "program"; ///< Index into ridePrograms.
inline constexpr const char* currentProgramme = "currentProgramme";
inline constexpr const char* alignedLoudness = "alignedLoudness";
inline constexpr const char* restartsOnSwitch = "restartsOnSwitch";
inline constexpr const char* programmeTag = "programme"; ///< A file of the list.
} // namespace stateKeys

} // namespace saddletone::plugin
