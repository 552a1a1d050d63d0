#pragma once

#include "Plugin/TuningDocument.h"

#include <juce_core/juce_core.h>

#include <filesystem>
#include <optional>

namespace saddletone::plugin {

/** The file beside job.json that holds a tuning while it is not saved, so that a crash or a power
    cut does not lose it. Written in the background, in the order of the calls, which are for the
    message thread. */
class TuningDraft {
public:
    static constexpr const char* fileName = "tuning.draft.json";
    /** What was not brought back. */
    static constexpr const char* previousFileName = "tuning.draft.previous.json";

    TuningDraft() = default;
    /** Waits until all is written. */
    ~TuningDraft();
    TuningDraft(const TuningDraft&) = delete;
    TuningDraft& operator=(const TuningDraft&) = delete;

    /** Failing to write is not reported: the tuning itself is still there to be saved. */
    void keep(const std::filesystem::path& folder, const TuningDocument& document);
    void forget(const std::filesystem::path& folder);
    /** Gives the file its other name. */
    void setAside(const std::filesystem::path& folder);
    [[nodiscard]] bool isBusy() const { return worker.getNumJobs() > 0; }

    /** What an earlier run of the program left behind for a job; nothing if there is nothing, if it
        cannot be used or if it is what is stored. */
    [[nodiscard]] static std::optional<TuningDocument> find(const StoredDocument& stored,
                                                            std::uint64_t firstId);
    /** When it was written. */
    [[nodiscard]] static juce::Time timeOf(const std::filesystem::path& folder);

private:
    juce::ThreadPool worker {1};
};

} // namespace saddletone::plugin
