#include "Plugin/WorkList.h"

namespace saddletone::plugin {

std::shared_ptr<Work> WorkList::begin(const juce::String& words)
{
    entries.push_back({std::make_shared<Work>(words), juce::Time::getMillisecondCounter()});
    return entries.back().work;
}

void WorkList::end(const std::shared_ptr<Work>& work)
{
    std::erase_if(entries, [&](const Entry& entry) { return entry.work == work; });
}

void WorkList::cancelAll()
{
    for (const Entry& entry : entries)
        entry.work->cancel();
}

gui::JobTaskView WorkList::view(juce::uint32 nowMs) const
{
    for (const Entry& entry : entries)
        if (!entry.work->isCancelled() && nowMs - entry.beganMs >= shownAfterMs)
            return {kind, entry.work->words, entry.work->doneShare()};
    return {};
}

} // namespace saddletone::plugin
