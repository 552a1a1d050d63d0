#pragma once

#include "Core/Measure/MicrophoneCurves.h"
#include "Gui/BenchModel.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::plugin {

/** The tables of the microphone that takes are made with, and how it stands. */
struct MicrophoneChoice {
    std::filesystem::path zeroDegreesFile; ///< Empty: there is none.
    std::filesystem::path ninetyDegreesFile;
    measure::Incidence incidence = measure::Incidence::zeroDegrees;

    bool operator==(const MicrophoneChoice&) const = default;
};

/** What is taken out of a take, and what a response says of it. */
struct MicrophoneCorrection {
    files::FrequencyTable table;
    std::vector<std::string> remarks;
};

/** A choice with what its files hold. */
struct LoadedMicrophone {
    MicrophoneChoice choice;
    std::optional<MicrophoneCorrection> correction; ///< Missing: no table could be read.
    gui::MicrophoneView view;
    std::string problem; ///< Why a file could not be read; empty = all could.
};

/** Reads the tables. One that cannot be read is as if it were not there, and the view says so. */
[[nodiscard]] LoadedMicrophone loadMicrophone(const MicrophoneChoice& choice);

} // namespace saddletone::plugin
