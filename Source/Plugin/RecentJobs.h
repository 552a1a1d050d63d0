#pragma once

#include "Gui/JobModel.h"

#include <memory>
#include <vector>

namespace saddletone::plugin {

/** The jobs that were open, the last one first, without whether their folders are there now. */
class RecentJobs {
public:
    static constexpr std::size_t maxEntries = 8;

    /** Puts a job in front; one of that folder moves there. */
    void add(const juce::File& folder, const juce::String& title);
    [[nodiscard]] const std::vector<gui::RecentJobView>& entries() const noexcept { return jobs; }

    /** For the settings file, and back; what is not an absolute path is left out. */
    [[nodiscard]] std::unique_ptr<juce::XmlElement> toXml() const;
    [[nodiscard]] static RecentJobs fromXml(const juce::XmlElement& xml);

private:
    std::vector<gui::RecentJobView> jobs;
};

} // namespace saddletone::plugin
