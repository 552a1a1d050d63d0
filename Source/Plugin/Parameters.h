#pragma once

#include "Core/Audition/AuditionEngine.h"

#include <juce_audio_processors/juce_audio_processors.h>

#include <atomic>

namespace saddletone::plugin {

/** All host parameters, with names, units and texts. */
[[nodiscard]] juce::AudioProcessorValueTreeState::ParameterLayout makeParameterLayout();

/** The current values of the parameters, for the audio thread. */
class ParameterReader {
public:
    explicit ParameterReader(const juce::AudioProcessorValueTreeState& parameters);

    // Any thread (bounded, no lock, no allocation, no I/O)
    [[nodiscard]] audition::AuditionEngine::Parameters engineParameters() const noexcept;
    [[nodiscard]] ride::Helmet helmet() const noexcept;

private:
    using Value = const std::atomic<float>*;
    static_assert(std::atomic<float>::is_always_lock_free);

    Value candidate;
    Value speedKmh;
    Value noiseTrimDb;
    Value outputLevelDb;
    Value ceilingDbfs;
    Value headphoneSplDb;
    Value ceilingDba;
    Value monitor;
    Value levelMatch;
    Value helmetChoice;
    Value screen;
    Value earPlugs;
    Value engineNoise;
    Value radioVolumeDb;
    Value bypass;
};

} // namespace saddletone::plugin
