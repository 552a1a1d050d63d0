#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"
#include "Core/Measure/Response.h"
#include "Core/Report/ReportContent.h"

#include <vector>

namespace saddletone::job {

/** Says what the bike takes at least: the verdict on the measured states, with candidate 1's radio
    profile as the one in use and the first file of the job's folder "toneControls", if there is one.
    Where no verdict can be given, the reason stands in its place. */
[[nodiscard]] dsp::Result<void> addNeed(const Job& job,
                                        const std::vector<measure::Response>& states,
                                        report::ReportContent& content);

/** Works out what the proposal costs with the first file of the job's folder "speakers"; nothing is
    added where there is none, no proposal, or one that sets nothing. measured: the state the
    proposal rests on. */
[[nodiscard]] dsp::Result<void> addCost(const Job& job, const measure::Response& measured,
                                        report::ReportContent& content);

} // namespace saddletone::job
