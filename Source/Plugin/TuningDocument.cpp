#include "Plugin/TuningDocument.h"

#include "Core/Files/FilesUntilKept.h"
#include "Core/Files/JsonReader.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <set>

#include <nlohmann/json.hpp>

namespace saddletone::plugin {

namespace {

constexpr const char* setAsideKey = "setAside";
constexpr const char* positionKey = "position";
constexpr const char* draftKind = "saddletone-tuning-draft";
constexpr int draftSchemaVersion = 1;

std::vector<gui::DraftElement> elementsOf(const tuning::Tuning& tuning, bool areOn)
{
    std::vector<gui::DraftElement> elements;
    for (const tuning::Chain& chain : tuning.chains)
        for (const tuning::Element& element : chain.elements)
            elements.push_back({element, chain.group, areOn});
    return elements;
}

/** Puts the elements of a tuning's document that are off between the others. source: what messages
    call it. */
void addSetAside(const nlohmann::json& document, const std::string& source,
                 std::vector<gui::DraftElement>& elements)
{
    if (!document.is_object() || !document.contains(setAsideKey)
        || !document[setAsideKey].is_array())
        return;
    for (const nlohmann::json& entry : document[setAsideKey]) {
        nlohmann::json alone = document;
        alone["chains"] = nlohmann::json::array({entry});
        const auto tuning = tuning::tuningFromJson(alone, source);
        if (!tuning || !entry.is_object())
            continue;
        std::size_t position = elements.size();
        if (const auto found = entry.find(positionKey);
            found != entry.end() && found->is_number_unsigned())
            position = std::min(position, found->get<std::size_t>());
        const auto off = elementsOf(*tuning, false);
        elements.insert(elements.begin() + static_cast<std::ptrdiff_t>(position), off.begin(),
                        off.end());
    }
}

/** The tuning's file: the tuning, and what is off. */
nlohmann::json fileOf(const DraftCandidate& candidate)
{
    nlohmann::json document = tuning::tuningToJson(tuningOf(candidate));
    nlohmann::json setAside = nlohmann::json::array();
    for (std::size_t index = 0; index < candidate.elements.size(); ++index) {
        const gui::DraftElement& element = candidate.elements[index];
        if (element.isOn)
            continue;
        const tuning::Tuning alone {"", {{element.group, {element.element}}}};
        nlohmann::json entry = tuning::tuningToJson(alone)["chains"][0];
        entry[positionKey] = index;
        setAside.push_back(std::move(entry));
    }
    if (!setAside.empty())
        document[setAsideKey] = std::move(setAside);
    return document;
}

const DraftCandidate* findById(const TuningDocument& document, std::uint64_t id)
{
    const auto found = std::ranges::find(document.candidates, id, &DraftCandidate::id);
    return found != document.candidates.end() ? &*found : nullptr;
}

/** The candidate as a job names it, without its tuning's file. */
job::JobCandidate entryOf(const DraftCandidate& candidate)
{
    return {candidate.name,
            candidate.stateId,
            "",
            candidate.speedVolumeFile,
            candidate.overdriveFile,
            candidate.groupStateIds,
            candidate.groupSum};
}

/** What the job's file says now of whether a candidate is proposed. */
bool isProposedIn(const job::Job& onDisk, const StoredDocument& before, std::uint64_t id)
{
    for (std::size_t index = 0; index < before.document.candidates.size(); ++index)
        if (index < before.job.candidates.size() && before.document.candidates[index].id == id)
            return std::ranges::any_of(onDisk.candidates, [&](const job::JobCandidate& each) {
                return each.isProposed && isSameCandidate(each, before.job.candidates[index]);
            });
    return false;
}

} // namespace

tuning::Tuning tuningOf(const DraftCandidate& candidate)
{
    tuning::Tuning tuning;
    tuning.name = candidate.tuningName;
    for (const gui::DraftElement& draft : candidate.elements) {
        if (!draft.isOn)
            continue;
        if (tuning.chains.empty() || tuning.chains.back().group != draft.group)
            tuning.chains.push_back({draft.group, {}});
        tuning.chains.back().elements.push_back(draft.element);
    }
    return tuning;
}

bool isSameCandidate(const job::JobCandidate& first, const job::JobCandidate& second)
{
    job::JobCandidate alike = second;
    alike.isProposed = first.isProposed;
    return first == alike;
}

StoredDocument readDocument(const LoadedJob& loaded, std::uint64_t firstId)
{
    StoredDocument stored;
    stored.job = loaded.job;
    // Candidates of one state share their measurement.
    std::map<std::vector<std::string>, std::shared_ptr<const measure::Response>> responses;
    for (std::size_t index = 0; index < loaded.request.candidates.size(); ++index) {
        const audition::CandidateRequest& request = loaded.request.candidates[index];
        const job::JobCandidate& entry = loaded.job.candidates[index];
        auto& response = responses[entry.allStateIds()];
        if (response == nullptr)
            response = std::make_shared<const measure::Response>(request.response);
        DraftCandidate candidate;
        candidate.id = firstId + index;
        candidate.name = request.name;
        candidate.stateId = entry.stateId;
        candidate.speedVolumeFile = entry.speedVolumeFile;
        candidate.atSpeed = request.atSpeed;
        candidate.overdriveFile = entry.overdriveFile;
        candidate.overdrive = request.overdrive;
        candidate.groupStateIds = entry.groupStateIds;
        candidate.groupSum = entry.groupSum;
        candidate.groups = request.groups;
        candidate.tuningName = request.tuning.name.empty() ? request.name : request.tuning.name;
        candidate.response = response;
        candidate.elements = elementsOf(request.tuning, true);
        if (!entry.tuningFile.empty())
            if (const auto file = job::resolveInside(loaded.job.folder, entry.tuningFile))
                if (const auto document = files::loadJson(*file))
                    addSetAside(*document, file->string(), candidate.elements);
        stored.tuningFiles[candidate.id] = entry.tuningFile;
        stored.document.candidates.push_back(std::move(candidate));
    }
    return stored;
}

nlohmann::json draftToJson(const TuningDocument& document)
{
    nlohmann::json candidates = nlohmann::json::array();
    for (const DraftCandidate& candidate : document.candidates)
        candidates.push_back({{"name", candidate.name},
                              {"stateId", candidate.stateId},
                              {"speedVolumeFile", candidate.speedVolumeFile},
                              {"overdriveFile", candidate.overdriveFile},
                              {"groupStateIds", candidate.groupStateIds},
                              {"tuning", fileOf(candidate)}});
    return {{"kind", draftKind},
            {"schemaVersion", draftSchemaVersion},
            {"candidates", std::move(candidates)}};
}

dsp::Result<TuningDocument> draftFromJson(const nlohmann::json& json, const StoredDocument& stored,
                                          std::uint64_t firstId, const std::string& source)
{
    files::JsonReader reader(json, source);
    reader.expectKind(draftKind, draftSchemaVersion);
    TuningDocument document;
    std::set<std::uint64_t> usedIds;
    auto entries = reader.objects("candidates");
    for (std::size_t index = 0; index < entries.size() && !reader.failure(); ++index) {
        files::JsonReader& entry = entries[index];
        const std::string name = entry.text("name");
        const std::string stateId = entry.text("stateId");
        const std::string speedVolumeFile = entry.text("speedVolumeFile", "");
        const std::string overdriveFile = entry.text("overdriveFile", "");
        const std::vector<std::string> groupStateIds = entry.texts("groupStateIds");
        const nlohmann::json tuningJson =
            json["candidates"][index].value("tuning", nlohmann::json());
        reader.absorb(entry);
        if (reader.failure())
            break;
        const auto& known = stored.document.candidates;
        // What goes on from a stored candidate; else whichever rests on the same files.
        const auto isAlike = [&](const DraftCandidate& each) {
            return each.stateId == stateId && each.speedVolumeFile == speedVolumeFile
                   && each.overdriveFile == overdriveFile && each.groupStateIds == groupStateIds;
        };
        auto base = std::ranges::find_if(known, [&](const DraftCandidate& each) {
            return isAlike(each) && each.name == name && !usedIds.contains(each.id);
        });
        const bool goesOn = base != known.end();
        if (!goesOn)
            base = std::ranges::find_if(known, isAlike);
        if (base == known.end())
            continue;
        auto tuning = tuning::tuningFromJson(tuningJson, source);
        if (!tuning)
            return tuning.unexpected();
        for (const auto side : {tuning::OutputGroup::left, tuning::OutputGroup::right})
            if (const auto applies = tuning::checkApplies(*tuning, side); !applies)
                return dsp::fail(applies.error().code, source + ": " + applies.error().message);
        DraftCandidate candidate = *base;
        candidate.id = goesOn ? base->id : firstId++;
        usedIds.insert(candidate.id);
        candidate.name = name;
        candidate.tuningName = tuning->name;
        candidate.elements = elementsOf(*tuning, true);
        addSetAside(tuningJson, source, candidate.elements);
        document.candidates.push_back(std::move(candidate));
    }
    if (const auto& failure = reader.failure())
        return dsp::fail(failure->code, failure->message);
    if (document.candidates.empty() || document.candidates.size() > audition::maxCandidates)
        return dsp::fail(dsp::ErrorCode::malformed,
                         source
                             + ": has no candidate of a state that the job still has, or more "
                               "than can be heard side by side");
    return document;
}

std::shared_ptr<const LoadedJob> editedJob(const LoadedJob& opened, const TuningDocument& document,
                                           const audition::CandidateRequest& reference)
{
    auto edited = std::make_shared<LoadedJob>();
    edited->job = opened.job;
    edited->job.candidates.clear();
    edited->headphones = opened.headphones;
    edited->request.ride = opened.request.ride;
    edited->request.assumedProgrammeSplDba = opened.request.assumedProgrammeSplDba;
    edited->request.seat = opened.request.seat;
    edited->request.reference = reference;
    for (const DraftCandidate& candidate : document.candidates) {
        edited->job.candidates.push_back(entryOf(candidate));
        edited->request.candidates.push_back({candidate.name, *candidate.response,
                                              tuningOf(candidate), candidate.atSpeed,
                                              candidate.overdrive, candidate.groups});
    }
    return edited;
}

dsp::Result<StoredDocument> writeDocument(const StoredDocument& before,
                                          const TuningDocument& document)
{
    auto job = job::loadJob(before.job.folder);
    if (!job)
        return job.unexpected();
    StoredDocument stored;
    stored.document = document;
    stored.gone = before.gone;

    std::vector<job::JobCandidate> candidates;
    files::FilesUntilKept newFiles;
    for (const DraftCandidate& candidate : document.candidates) {
        job::JobCandidate entry = entryOf(candidate);
        entry.isProposed = isProposedIn(*job, before, candidate.id);
        for (const std::string& id : entry.allStateIds())
            if (std::ranges::find(job->states, id, &job::JobState::id) == job->states.end())
                return dsp::fail(dsp::ErrorCode::notFound,
                                 "candidate '" + candidate.name + "' rests on the state '" + id
                                     + "', which job.json no longer has; open the job again");
        const DraftCandidate* const old = findById(before.document, candidate.id);
        const auto oldFile = before.tuningFiles.find(candidate.id);
        if (old != nullptr && oldFile != before.tuningFiles.end()
            && old->elements == candidate.elements && old->tuningName == candidate.tuningName) {
            entry.tuningFile = oldFile->second;
        } else if (!candidate.elements.empty()) {
            const auto written = job::storeTuning(*job, fileOf(candidate), candidate.tuningName);
            if (!written)
                return written.unexpected();
            entry.tuningFile = *written;
            newFiles.add(job->folder / *written);
        }
        stored.tuningFiles[candidate.id] = entry.tuningFile;
        candidates.push_back(std::move(entry));
    }
    const std::vector<job::JobCandidate> ours = candidates;
    for (const job::JobCandidate& onDisk : job->candidates)
        if (std::ranges::none_of(
                before.job.candidates,
                [&](const job::JobCandidate& each) { return isSameCandidate(each, onDisk); })
            && candidates.size() < audition::maxCandidates)
            candidates.push_back(onDisk);
    job->candidates = std::move(candidates);
    if (const auto saved = job::saveJob(*job); !saved)
        return saved.unexpected();
    newFiles.keep();
    stored.job = *std::move(job);
    stored.job.candidates = ours; // those of others are kept the next time as well
    return stored;
}

} // namespace saddletone::plugin
