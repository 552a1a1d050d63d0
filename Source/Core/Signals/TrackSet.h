#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"
#include "Core/Signals/Signal.h"

#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace saddletone::signals {

/** One track of the set that a shop plays through a bike's radio. */
struct Track {
    std::string name;    ///< File name without extension, numbered: "03-sweep".
    std::string purpose; ///< What it is for and how it is used, in a few sentences.
    SignalRequest request;
    std::string caution = {}; ///< What to look out for; empty where nothing beyond the usual.
};

/** The shop's tracks at a sample rate (one of signalSampleRates), in playing order: those every job
    needs come first, and the one that can do most harm last. */
[[nodiscard]] std::vector<Track> shopTracks(double sampleRate);

/** Whether the set can be written at a sample rate as files of a type. */
[[nodiscard]] dsp::Result<void> checkTrackRate(double sampleRate, files::FileType type);

/** Asked before each track how many have been written, of how many; false ends the writing. */
using TrackProgress = std::function<bool(std::size_t numWritten, std::size_t numTracks)>;

/** Writes the tracks with descriptions and a printable list, track-list.html, into a folder;
    returns the audio files. WAV and FLAC get 16 bits, which every radio plays. Ended by progress,
    or by a failure, it takes away what it has written, but for what replaced an earlier file of the
    name; after progress it returns no files. */
[[nodiscard]] dsp::Result<std::vector<std::filesystem::path>>
writeTrackSet(const std::filesystem::path& folder, double sampleRate,
              files::FileType type = files::FileType::wav, const TrackProgress& progress = {});

} // namespace saddletone::signals
