#pragma once

#include "ChildPrograms.h"

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Signals/SignalDescription.h"
#include "Support/TemporaryFolder.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::bench {

class Contests;

inline constexpr double sampleRate = 48000.0;

/** What all contests share: a folder for files, scipy beside this program, and the program
    itself. */
struct Workshop {
    test::TemporaryFolder folder;
    ScipyPeer scipy;
    std::string saddletone; ///< The command-line program.
};

/** A recording to be analysed, in a file, and what was played. */
struct Material {
    std::filesystem::path recordingFile;
    std::filesystem::path descriptionFile;
    signals::SignalDescription track;
    dsp::AudioBuffer audio;
};

/** A sweep of 30 s through the simulated bike, taken down by a recorder whose clock runs 40 ppm fast,
    with 8 s before it and white noise 60 dB below full scale throughout; the second channel, and
    every one after it, 4 dB lower. seconds: 45 or more. */
[[nodiscard]] Material makeMaterial(const std::filesystem::path& folder, double seconds,
                                    std::size_t numChannels = 2);

/** White noise of normal distribution, falling by decayDb over its length. */
[[nodiscard]] std::vector<float> decayingNoise(std::size_t numFrames, double decayDb, double rms,
                                               std::uint64_t seed);

/** Two channels of noise that stand for music. */
[[nodiscard]] dsp::AudioBuffer makeProgramme(double seconds);

// The contests. Each makes its material, does the work once with every contestant, holds their
// results against each other, and enters them.
void addAnalysis(Contests& contests, Workshop& workshop);
void addTransforms(Contests& contests, Workshop& workshop);
void addResampling(Contests& contests, Workshop& workshop);
void addNoise(Contests& contests, Workshop& workshop);
void addFit(Contests& contests, Workshop& workshop);
void addRendering(Contests& contests, Workshop& workshop);
void addStarting(Contests& contests, Workshop& workshop);

/** Prints what ten minutes in stereo take, of time and of memory, as programs from start to end, and
    holds ours to 1 GiB. Before anything that takes memory here: see inCopyOfThis(). */
void compareMemory(Contests& contests, Workshop& workshop);

/** Measures how time grows with taps, candidates, channels, filters and length; writes a table. */
void sweepCost(Workshop& workshop, const std::filesystem::path& file);

} // namespace saddletone::bench
