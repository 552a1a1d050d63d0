#pragma once

#include "Gui/TuningModel.h"
#include "Plugin/JobLoading.h"

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace saddletone::plugin {

/** A candidate while its tuning is edited. */
struct DraftCandidate {
    std::uint64_t id = 0; ///< Stays with the candidate through every change.
    std::string name;
    std::string stateId;
    std::string speedVolumeFile; ///< As in the job, with what it names.
    std::shared_ptr<const audition::SpeedDependence> atSpeed;
    std::string overdriveFile; ///< As in the job, with what it names.
    std::shared_ptr<const measure::HammersteinModel> overdrive;
    std::vector<std::string> groupStateIds; ///< As in the job, with what they are together.
    measure::GroupSum groupSum = measure::GroupSum::timed;
    std::shared_ptr<const measure::GroupedStates> groups;
    std::string tuningName;
    std::shared_ptr<const measure::Response> response; ///< Never null.
    std::vector<gui::DraftElement> elements;

    bool operator==(const DraftCandidate&) const = default;
};

/** Whether two entries of a job are the same candidate, proposed to the customer or not. */
[[nodiscard]] bool isSameCandidate(const job::JobCandidate& first, const job::JobCandidate& second);

/** A candidate whose states the job lacks now, and where it stood. */
struct AbsentCandidate {
    DraftCandidate candidate;
    std::size_t place = 0;
};

/** What undo and redo go through: the candidates of a job with their tunings. */
struct TuningDocument {
    std::vector<DraftCandidate> candidates;
    /** By place. They return with their states, and until then are nothing of the document. */
    std::vector<AbsentCandidate> absent {};

    bool operator==(const TuningDocument& other) const { return candidates == other.candidates; }
};

/** A candidate that has gone from a job with a state, as the job had it. */
struct GoneCandidate {
    job::JobCandidate entry;
    AbsentCandidate absent;
};

/** A document as it stands in a job's folder. */
struct StoredDocument {
    job::Job job; ///< As read or written last.
    TuningDocument document;
    std::map<std::uint64_t, std::string> tuningFiles; ///< By id; empty name = as measured.
    std::vector<GoneCandidate> gone;                  ///< While the job was open.
};

/** The elements that are on, neighbours of one group in one chain. */
[[nodiscard]] tuning::Tuning tuningOf(const DraftCandidate& candidate);

/** The document of a job that was read. Elements that are off stand in the tuning's file beside the
    tuning, under "setAside"; they are read from there, and left out if they cannot be. firstId: the
    ids are counted from here. */
[[nodiscard]] StoredDocument readDocument(const LoadedJob& loaded, std::uint64_t firstId);

/** What of a document a draft keeps: everything but the measurements, which are in the job. */
[[nodiscard]] nlohmann::json draftToJson(const TuningDocument& document);

/** The document of a draft, on the measurements that candidates of the stored job rest on. source:
    what error messages call the draft. Candidates of states that no stored candidate rests on are
    left out; refused, if none is left. Where one goes on from a stored candidate it has its id;
    others count from firstId. */
[[nodiscard]] dsp::Result<TuningDocument> draftFromJson(const nlohmann::json& json,
                                                        const StoredDocument& stored,
                                                        std::uint64_t firstId,
                                                        const std::string& source);

/** The job as it would be heard. reference: what levels refer to. */
[[nodiscard]] std::shared_ptr<const LoadedJob>
editedJob(const LoadedJob& opened, const TuningDocument& document,
          const audition::CandidateRequest& reference);

/** Writes what has changed since: tunings as new files, then job.json, which is read again first,
    so that what others have added to it stays. On failure the job in the folder is as it was. */
[[nodiscard]] dsp::Result<StoredDocument> writeDocument(const StoredDocument& before,
                                                        const TuningDocument& document);

} // namespace saddletone::plugin
