#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Job/Job.h"

#include <filesystem>
#include <optional>

namespace saddletone::job {

/** What is to become of a job's seat; what is not given stays as it is. An empty file takes away
    what was there. */
struct SeatChange {
    std::optional<std::filesystem::path>
        headphoneResponse; ///< Taken away, the target goes with it.
    std::optional<std::filesystem::path> headphoneTarget;
    std::optional<std::filesystem::path> headphoneCalibration; ///< HEADPHONE.json.
    /** A level in place of that file: 80 to 140 dB SPL at full scale. */
    std::optional<double> headphoneSplDb;
    std::optional<bool> isBinaural;
    std::optional<std::filesystem::path> headSet; ///< SOFA; taken away: the packaged set.
    std::optional<seat::SpeakerPlaces> places;
};

/** A seat that has been stored, with its files as they were read. */
struct StoredSeat {
    JobSeat seat;
    std::shared_ptr<const seat::ListenerSeat> listener; ///< Null: nothing is done.
    std::optional<seat::HeadphoneCalibration> headphones;
};

/** Changes the seat in job.json as it is on the disk now; everything else in it stays. Files from
    elsewhere are copied into the job's folder seat, under their names or, where another file has
    that, with a number behind it; files that are no longer named stay there for the job's previous
    version. Checked before anything is written: tables can be read and corrected for, levels can be
    kept, the head set can be read and reaches the speakers' places. today: 2026-05-01, the date of a
    level that is stated. */
[[nodiscard]] dsp::Result<StoredSeat>
changeSeat(const std::filesystem::path& folder, const SeatChange& change, const std::string& today);

} // namespace saddletone::job
