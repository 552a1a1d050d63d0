#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"

#include <string>

namespace saddletone::commandline {

/** Reads a job; what was wrong with it and could be put right is said on stderr. */
[[nodiscard]] dsp::Result<job::Job> loadJobArgument(const std::string& folder);

} // namespace saddletone::commandline
