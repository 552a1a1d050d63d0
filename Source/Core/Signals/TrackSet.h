#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Signals/Signal.h"

#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::signals {

/** One track of the set that a shop plays through a bike's radio. */
struct Track {
    std::string name;    ///< File name without extension, numbered: "03-sweep".
    std::string purpose; ///< What it is for, in a sentence.
    SignalRequest request;
};

/** The shop's tracks at a sample rate (one of signalSampleRates), in playing order. */
[[nodiscard]] std::vector<Track> shopTracks(double sampleRate);

/** Writes the tracks as 16-bit WAV files with descriptions and a printable list, track-list.html,
    into a folder; returns the audio files. */
[[nodiscard]] dsp::Result<std::vector<std::filesystem::path>>
writeTrackSet(const std::filesystem::path& folder, double sampleRate);

} // namespace saddletone::signals
