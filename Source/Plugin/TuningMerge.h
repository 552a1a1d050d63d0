#pragma once

#include "Plugin/TuningDocument.h"

#include <cstdint>
#include <vector>

namespace saddletone::plugin {

/** What a job that has been read again means for a tuning of it that is being edited: which of its
    candidates are known from before, which have come and which have gone with their states. Every
    version of the document follows it, so that undo and redo go on through all of them. */
class TuningMerge {
public:
    /** stored: as it was known before, with what had gone by then. read: as it is now; candidates
        that were known get their ids and their tunings from before. */
    TuningMerge(const StoredDocument& stored, StoredDocument read);

    /** As it is now, by the ids of before. */
    [[nodiscard]] const StoredDocument& document() const noexcept { return now; }

    /** Whether nothing has become of the job but that states came and went with their candidates;
        what is known reads as before. */
    [[nodiscard]] bool isOfStatesAlone() const noexcept { return ofStatesAlone; }

    /** A version of the edited document as it is to go on: without what has gone, which it keeps
        for its return, with what has returned and with what is new. Never without a candidate. */
    [[nodiscard]] TuningDocument follow(TuningDocument version) const;

private:
    StoredDocument now;
    std::vector<DraftCandidate> added; ///< Not known from before.
    bool ofStatesAlone = true;
};

} // namespace saddletone::plugin
