#include "Plugin/JobFacts.h"

#include "Core/Job/BlindRuns.h"
#include "Plugin/Paths.h"

#include <algorithm>

namespace saddletone::plugin {

JobEntries entriesOf(const job::Job& job)
{
    JobEntries entries;
    entries.fields.title = toText(job.title);
    entries.fields.bike = toText(job.bike);
    entries.fields.shop = toText(job.shop);
    entries.fields.question = toText(job.question);
    const auto proposed = std::ranges::find(job.candidates, true, &job::JobCandidate::isProposed);
    if (proposed != job.candidates.end())
        entries.proposed = static_cast<std::size_t>(proposed - job.candidates.begin());
    return entries;
}

void setEntries(job::Job& job, const JobEntries& entries)
{
    job.title = entries.fields.title.toStdString();
    job.bike = entries.fields.bike.toStdString();
    job.shop = entries.fields.shop.toStdString();
    job.question = entries.fields.question.toStdString();
    for (std::size_t index = 0; index < job.candidates.size(); ++index)
        job.candidates[index].isProposed = entries.proposed == index;
}

std::shared_ptr<const gui::OpenJobView> openJobView(const job::Job& job)
{
    auto view = std::make_shared<gui::OpenJobView>();
    const JobEntries entries = entriesOf(job);
    view->folder = toFile(job.folder);
    view->fields = entries.fields;
    view->proposed = entries.proposed;
    view->invented = job.invented;
    view->numStates = job.states.size();
    for (const job::JobCandidate& candidate : job.candidates)
        view->candidates.add(toText(candidate.name));
    if (const auto runs = job::blindRunsOf(job))
        view->numBlindRuns = runs->size();
    return view;
}

} // namespace saddletone::plugin
