#pragma once

#include "Core/Job/Job.h"
#include "Gui/JobModel.h"

namespace saddletone::plugin {

/** What is typed and chosen of a job outside its tunings. */
struct JobEntries {
    gui::JobFields fields;
    std::optional<std::size_t> proposed; ///< Of its candidates.

    bool operator==(const JobEntries&) const = default;
};

[[nodiscard]] JobEntries entriesOf(const job::Job& job);
void setEntries(job::Job& job, const JobEntries& entries);

/** The job as the screens show it. */
[[nodiscard]] std::shared_ptr<const gui::OpenJobView> openJobView(const job::Job& job);

} // namespace saddletone::plugin
