#include "Plugin/RecentJobs.h"

namespace saddletone::plugin {

namespace {

constexpr const char* listTag = "recentJobs";
constexpr const char* jobTag = "job";

} // namespace

void RecentJobs::add(const juce::File& folder, const juce::String& title)
{
    std::erase_if(jobs, [&](const gui::RecentJobView& each) { return each.folder == folder; });
    jobs.insert(jobs.begin(), {folder, title, false});
    if (jobs.size() > maxEntries)
        jobs.resize(maxEntries);
}

std::unique_ptr<juce::XmlElement> RecentJobs::toXml() const
{
    auto xml = std::make_unique<juce::XmlElement>(listTag);
    for (const gui::RecentJobView& each : jobs) {
        juce::XmlElement* const child = xml->createNewChildElement(jobTag);
        child->setAttribute("folder", each.folder.getFullPathName());
        child->setAttribute("title", each.title);
    }
    return xml;
}

RecentJobs RecentJobs::fromXml(const juce::XmlElement& xml)
{
    RecentJobs recent;
    for (const juce::XmlElement* const child : xml.getChildWithTagNameIterator(jobTag)) {
        const juce::String folder = child->getStringAttribute("folder");
        if (juce::File::isAbsolutePath(folder) && recent.jobs.size() < maxEntries)
            recent.jobs.push_back({juce::File(folder), child->getStringAttribute("title"), false});
    }
    return recent;
}

} // namespace saddletone::plugin
