#pragma once

#include "Plugin/AuditionProcessor.h"
#include "Plugin/TuningDesk.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <array>
#include <functional>
#include <memory>
#include <vector>

namespace saddletone::test {

using TuningStereo = std::array<std::vector<float>, 2>;

/** Gives a response the third octaves of a trusted measurement, from its impulse. */
void trustAllBands(measure::Response& response);

/** A made-up job in a folder of its own, opened in a processor, with the desk over it. Its states
    are trusted in every band, and it has two tone controls and a speaker. */
class TuningRig {
public:
    static constexpr double sampleRate = 48000.0;

    TuningRig();

    /** Waits until nothing is loaded, built or worked out any more. */
    void settle();
    /** Runs the processor over an input, in blocks of 480 frames. between: called after each block
        with the number of frames done. */
    TuningStereo play(const TuningStereo& input,
                      const std::function<void(std::size_t)>& between = {});
    /** Level change in dB of a sine through the audition, against a level in dB returned before. */
    double sineLevelDb(double frequencyHz);

    TemporaryFolder folder;
    job::Job job;
    plugin::AuditionProcessor processor;
    std::unique_ptr<plugin::TuningDesk> desk;
};

/** A sine of the same level on both channels. */
[[nodiscard]] TuningStereo makeSine(double frequencyHz, double amplitude, double sampleRate,
                                    std::size_t numFrames);

} // namespace saddletone::test
