#pragma once

#include "CommandLine/Verbs.h"

#include "Core/Dsp/Result.h"
#include "Core/Measure/GroupedStates.h"

#include <memory>
#include <string>
#include <vector>

namespace saddletone::commandline {

/** The options that put a candidate together from speaker groups, alike in every verb that can. */
struct GroupOptions {
    std::vector<std::string> states; ///< STATE.json of each group but the first.
    bool inPower = false;

    /** What reading the groups reads. */
    [[nodiscard]] std::vector<std::string> files() const;
};

/** Adds them to a verb, beside its option firstState; options must outlive it. */
void addGroupOptions(CLI::App& verb, const std::string& firstState, GroupOptions& options);

/** The groups with the first state's; null if the options name none. */
[[nodiscard]] dsp::Result<std::shared_ptr<const measure::GroupedStates>>
loadGroups(const measure::Response& first, const GroupOptions& options);

/** Says what was put together, and how sure that is; nothing for null. */
void describeGroups(const measure::GroupedStates* groups, Output& output);

} // namespace saddletone::commandline
