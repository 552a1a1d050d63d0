#include "Plugin/JobFacts.h"

#include "Core/Job/BlindRuns.h"
#include "Plugin/Paths.h"

namespace saddletone::plugin {

namespace {

constexpr const char* questionKey = "question";
constexpr const char* candidatesKey = "candidates";
constexpr const char* proposedKey = "isProposed";

} // namespace

JobEntries entriesOf(const job::Job& job)
{
    JobEntries entries;
    entries.fields.title = toText(job.title);
    entries.fields.bike = toText(job.bike);
    entries.fields.shop = toText(job.shop);
    if (const auto found = job.document.find(questionKey);
        found != job.document.end() && found->is_string())
        entries.fields.question = toText(found->get<std::string>());
    if (const auto found = job.document.find(candidatesKey);
        found != job.document.end() && found->is_array())
        for (std::size_t index = 0; index < found->size(); ++index)
            if ((*found)[index].is_object()
                && (*found)[index].value(proposedKey, nlohmann::json()) == nlohmann::json(true))
                entries.proposed = index;
    return entries;
}

void setEntries(job::Job& job, const JobEntries& entries)
{
    job.title = entries.fields.title.toStdString();
    job.bike = entries.fields.bike.toStdString();
    job.shop = entries.fields.shop.toStdString();
    job.document[questionKey] = entries.fields.question.toStdString();
    if (const auto found = job.document.find(candidatesKey);
        found != job.document.end() && found->is_array())
        for (std::size_t index = 0; index < found->size(); ++index) {
            nlohmann::json& candidate = (*found)[index];
            if (!candidate.is_object())
                continue;
            candidate.erase(proposedKey);
            if (entries.proposed == index)
                candidate[proposedKey] = true;
        }
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
