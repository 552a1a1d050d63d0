#pragma once

#include "Core/Audition/BlindTest.h"
#include "Plugin/AuditionProcessor.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <array>
#include <memory>
#include <optional>
#include <vector>

namespace saddletone::test {

/** A processor in a host with a made-up job of three candidates open, ready to be tested blind. */
class BlindRig {
public:
    static constexpr double sampleRate = 48000.0;

    BlindRig();

    /** Waits until nothing is loaded or built any more. */
    void settle();
    /** Plays noise, in blocks of 480 frames, and returns what is heard. */
    std::array<std::vector<float>, 2> play(std::size_t numFrames);
    /** The blind runs in the job's folder. */
    [[nodiscard]] std::vector<audition::BlindRun> storedRuns() const;
    [[nodiscard]] plugin::BlindDesk& desk() { return processor->blindTests(); }

    TemporaryFolder folder;
    job::Job job;
    std::unique_ptr<plugin::AuditionProcessor> processor;
};

} // namespace saddletone::test
