#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Seat/SphericalHead.h"

#include <array>
#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::seat {

/** One direction of a SOFA file as it stands there. */
struct SofaMeasurement {
    Direction direction;
    double distanceMetres = 1.0;
    std::array<std::vector<float>, numEars> impulses; ///< At the file's rate.
    std::array<double, numEars> delayFrames {};       ///< To be added in front of the impulses.
};

/** What the project needs of a SOFA file. */
struct SofaContent {
    double sampleRate = 44100.0;
    std::string description;
    std::vector<SofaMeasurement> measurements;
};

/** Reads a file of the convention SimpleFreeFieldHRIR (AES69) by libmysofa. Every refusal names the
    file, the reason and what to look for instead. */
[[nodiscard]] dsp::Result<SofaContent> readSofaFile(const std::filesystem::path& file);

} // namespace saddletone::seat
