#include "Core/Job/BlindRuns.h"

#include "Core/Files/JsonReader.h"
#include "Core/Tuning/TuningFile.h"

#include <array>
#include <cmath>
#include <string>
#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::job {

namespace {

using audition::BlindKind;
using audition::BlindRun;

constexpr const char* runsKey = "blindRuns";

constexpr std::array<std::pair<const char*, BlindKind>, 2> kindNames {
    {{"abx", BlindKind::abx}, {"preference", BlindKind::preference}}};
constexpr std::array<std::pair<const char*, bool>, 2> outcomeNames {
    {{"complete", false}, {"abandoned", true}}};
constexpr std::array<std::pair<const char*, audition::LevelMatch>, 2> matchNames {
    {{"equal-loudness", audition::LevelMatch::equalLoudness},
     {"as-on-the-bike", audition::LevelMatch::asOnTheBike}}};
constexpr std::array<std::pair<const char*, audition::Monitor>, 2> monitorNames {
    {{"programme-and-noise", audition::Monitor::programmeAndNoise},
     {"programme-only", audition::Monitor::programmeOnly}}};

template <typename Names, typename Value>
const char* nameOf(const Names& names, Value value)
{
    for (const auto& [name, each] : names)
        if (each == value)
            return name;
    return "";
}

/** The value a word stands for; the reader keeps what is wrong with any other word. */
template <typename Value, std::size_t count>
Value readName(files::JsonReader& reader, const char* key,
               const std::array<std::pair<const char*, Value>, count>& names)
{
    const std::string word = reader.text(key);
    std::string choices;
    for (const auto& [name, value] : names) {
        if (word == name)
            return value;
        choices += (choices.empty() ? "" : " or ") + std::string(name);
    }
    if (!reader.failure())
        reader.reject(key, "is '" + word + "', but must be " + choices);
    return names.front().second;
}

nlohmann::json conditionsToJson(const audition::BlindConditions& conditions)
{
    nlohmann::json json {{"match", nameOf(matchNames, conditions.match)},
                         {"monitor", nameOf(monitorNames, conditions.monitor)},
                         {"speedKmh", conditions.speedKmh},
                         {"noiseTrimDb", conditions.noiseTrimDb},
                         {"helmet", ride::helmetName(conditions.helmet)},
                         {"screen", ride::screenName(conditions.screen)},
                         {"earPlugs", ride::earPlugsName(conditions.earPlugs)},
                         {"volumeDb", conditions.volumeDb},
                         {"programme", conditions.programme}};
    if (conditions.programmeFromSeconds && conditions.programmeToSeconds) {
        json["programmeFromSeconds"] = *conditions.programmeFromSeconds;
        json["programmeToSeconds"] = *conditions.programmeToSeconds;
    }
    return json;
}

audition::BlindConditions readConditions(files::JsonReader& reader)
{
    constexpr double longestSeconds = 1e6;
    audition::BlindConditions conditions;
    conditions.match = readName(reader, "match", matchNames);
    conditions.monitor = readName(reader, "monitor", monitorNames);
    conditions.speedKmh = reader.number("speedKmh", 0.0, 250.0);
    conditions.noiseTrimDb = reader.number("noiseTrimDb", -60.0, 60.0, 0.0);
    if (const auto helmet = ride::parseHelmet(reader.text("helmet")))
        conditions.helmet = *helmet;
    else
        reader.reject("helmet", "must be none, open or full");
    if (const auto screen = ride::parseScreen(reader.text("screen", "none")))
        conditions.screen = *screen;
    else
        reader.reject("screen", "must be none, low or tall");
    if (const auto earPlugs = ride::parseEarPlugs(reader.text("earPlugs", "none")))
        conditions.earPlugs = *earPlugs;
    else
        reader.reject("earPlugs", "must be none, nominal or cautious");
    conditions.volumeDb = reader.number("volumeDb", -60.0, 30.0, 0.0);
    conditions.programme = reader.text("programme", "");
    if (reader.has("programmeFromSeconds") || reader.has("programmeToSeconds")) {
        conditions.programmeFromSeconds =
            reader.number("programmeFromSeconds", 0.0, longestSeconds);
        conditions.programmeToSeconds = reader.number("programmeToSeconds", 0.0, longestSeconds);
    }
    return conditions;
}

} // namespace

nlohmann::json blindRunToJson(const BlindRun& run)
{
    nlohmann::json json {{"kind", nameOf(kindNames, run.kind)},
                         {"outcome", nameOf(outcomeNames, run.isAbandoned)},
                         {"startedAt", run.startedAt},
                         {"trialsPlanned", run.numPlanned},
                         {"seed", run.seed},
                         {"orderMethod", audition::blindOrderMethod},
                         {"conditions", conditionsToJson(run.conditions)},
                         {"candidates", nlohmann::json::array()},
                         {"trials", nlohmann::json::array()}};
    for (const audition::BlindCandidate& candidate : run.candidates) {
        nlohmann::json entry {{"name", candidate.name},
                              {"stateId", candidate.stateId},
                              {"matchGainDb", candidate.matchGainDb}};
        if (!candidate.tuning.chains.empty())
            entry["tuning"] = tuning::tuningToJson(candidate.tuning);
        if (candidate.isOverdriven)
            entry["isOverdriven"] = true;
        if (!candidate.groupStateIds.empty())
            entry["groupStateIds"] = candidate.groupStateIds;
        json["candidates"].push_back(std::move(entry));
    }
    for (const audition::BlindTrial& trial : run.trials)
        json["trials"].push_back({{"order", trial.order}, {"answer", trial.answer}});
    return json;
}

dsp::Result<BlindRun> blindRunFromJson(const nlohmann::json& json, const std::string& source,
                                       const std::string& path)
{
    files::JsonReader reader(json, source, path);
    BlindRun run;
    run.kind = readName(reader, "kind", kindNames);
    run.isAbandoned = readName(reader, "outcome", outcomeNames);
    run.startedAt = reader.text("startedAt", "");
    run.numPlanned = static_cast<std::size_t>(
        reader.integer("trialsPlanned", static_cast<long long>(audition::fewestBlindTrials),
                       static_cast<long long>(audition::mostBlindTrials)));
    run.seed = static_cast<std::uint64_t>(
        reader.integer("seed", 0, static_cast<long long>(audition::blindSeedEnd - 1)));
    if (const std::string method = reader.text("orderMethod");
        !reader.failure() && method != audition::blindOrderMethod)
        reader.reject("orderMethod",
                      "is '" + method + "', which this version does not know; it knows "
                          + std::string(audition::blindOrderMethod),
                      dsp::ErrorCode::newerSchema);
    auto conditions = reader.object("conditions");
    run.conditions = readConditions(conditions);
    reader.absorb(conditions);
    for (auto& entry : reader.objects("candidates")) {
        audition::BlindCandidate candidate;
        candidate.name = entry.text("name");
        candidate.stateId = entry.text("stateId");
        candidate.matchGainDb = entry.number("matchGainDb", -200.0, 200.0, 0.0);
        candidate.isOverdriven = entry.boolean("isOverdriven", false);
        candidate.groupStateIds = entry.texts("groupStateIds");
        reader.absorb(entry);
        run.candidates.push_back(std::move(candidate));
    }
    for (auto& entry : reader.objects("trials")) {
        audition::BlindTrial trial;
        for (const double index :
             entry.numbers("order", 0.0, static_cast<double>(audition::maxCandidates - 1))) {
            if (index != std::floor(index))
                entry.reject("order", "holds a number that is not whole");
            trial.order.push_back(static_cast<std::size_t>(index));
        }
        trial.answer = static_cast<std::size_t>(
            entry.integer("answer", 0, static_cast<long long>(audition::maxCandidates - 1)));
        reader.absorb(entry);
        run.trials.push_back(std::move(trial));
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);

    const auto& candidates = json.at("candidates");
    for (std::size_t index = 0; index < run.candidates.size(); ++index) {
        const auto found = candidates.at(index).find("tuning");
        if (found == candidates.at(index).end())
            continue;
        auto tuning = tuning::tuningFromJson(*found, source);
        if (!tuning)
            return tuning.unexpected();
        run.candidates[index].tuning = *std::move(tuning);
    }
    const std::string place = "'" + source + "'" + (path.empty() ? "" : ": '" + path + "'");
    if (const auto checked = audition::checkBlindRun(run, place); !checked)
        return dsp::fail(checked.error().code, checked.error().message);
    return run;
}

dsp::Result<std::vector<BlindRun>> blindRunsOf(const Job& job)
{
    std::vector<BlindRun> runs;
    if (!job.document)
        return runs;
    const auto found = job.document->find(runsKey);
    if (found == job.document->end())
        return runs;
    const std::string file = (job.folder / "job.json").string();
    if (!found->is_array())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + file + "': the key 'blindRuns' must be a list");
    for (std::size_t index = 0; index < found->size(); ++index) {
        auto run =
            blindRunFromJson((*found)[index], file, "blindRuns[" + std::to_string(index) + "]");
        if (!run)
            return run.unexpected();
        runs.push_back(*std::move(run));
    }
    return runs;
}

dsp::Result<void> storeBlindRun(const std::filesystem::path& folder, const BlindRun& run)
{
    auto job = loadJob(folder);
    if (!job)
        return dsp::fail(job.error().code, job.error().message);
    nlohmann::json document = *job->document;
    auto& runs = document[runsKey];
    if (runs.is_null())
        runs = nlohmann::json::array();
    if (!runs.is_array())
        return dsp::fail(dsp::ErrorCode::malformed,
                         "'" + (folder / "job.json").string()
                             + "': the key 'blindRuns' must be a list, so the run was not added");
    runs.push_back(blindRunToJson(run));
    job->document = std::make_shared<const nlohmann::json>(std::move(document));
    return saveJob(*job);
}

} // namespace saddletone::job
