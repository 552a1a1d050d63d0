#include "CommandLine/JobArgument.h"

#include <cstdio>

namespace saddletone::commandline {

dsp::Result<job::Job> loadJobArgument(const std::string& folder)
{
    auto job = job::loadJob(folder);
    if (job)
        for (const std::string& warning : job->warnings)
            std::fprintf(stderr, "saddletone: warning: %s\n", warning.c_str());
    return job;
}

} // namespace saddletone::commandline
