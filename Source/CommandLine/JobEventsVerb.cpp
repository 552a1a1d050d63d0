#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Job/EventRecords.h"
#include "Core/Job/Job.h"
#include "Core/Report/EventWords.h"

#include <memory>
#include <string>
#include <variant>

#include <nlohmann/json.hpp>

namespace saddletone::commandline {

namespace {

std::variant<Output, Failure> runEvents(const std::string& folder)
{
    if (const auto job = job::loadJob(folder); !job)
        return inputFailure(job.error());
    const auto events = job::loadEvents(folder);
    if (!events)
        return inputFailure(events.error());
    Output output;
    output.json = {{"events", nlohmann::json::array()}, {"caution", report::eventCaution()}};
    for (const audition::EventRecord& event : *events) {
        output.text += event.startedAt + "  " + report::listenerWords(event.numListeners)
                       + "\n  liked best: " + report::likedWords(event) + "\n  "
                       + report::eventConditionWords(event) + "\n";
        output.json["events"].push_back(job::eventToJson(event));
    }
    output.text += events->empty() ? std::string("no event has been held with this job\n")
                                   : report::eventCaution() + "\n";
    return output;
}

} // namespace

void addJobEventsVerb(CLI::App& job, Shared& shared)
{
    auto folder = std::make_shared<std::string>();
    CLI::App* verb = addVerb(
        job, "events", "Show how many listened at events, and what they said they liked best");
    addOption(*verb, "folder", *folder, "Folder of the job")->required();
    verb->callback([folder, &shared] { shared.action = [folder] { return runEvents(*folder); }; });
}

} // namespace saddletone::commandline
