#pragma once

#include "Core/Job/Job.h"
#include "Support/TemporaryFolder.h"

#include <filesystem>
#include <string>

namespace saddletone::test {

/** Writes a job of three made-up candidates, the first as measured: decaying noise with a strong
    direct sound at 44.1 kHz. Returns the job as saved. */
job::Job writeMadeUpJob(const std::filesystem::path& folder, const std::string& title);

/** Writes a stereo file whose channels are a ramp and its mirror, so that each sample tells its
    position: left frame n is (n + 1) / (numFrames + 1), right its negative. */
void writeRampFile(const std::filesystem::path& file, double sampleRate, std::size_t numChannels,
                   std::size_t numFrames);

/** Writes a file of digital silence, 16-bit stereo at 44.1 kHz, that takes long to open and hardly any
    room. */
void writeLongFile(const std::filesystem::path& file, double seconds);

} // namespace saddletone::test
