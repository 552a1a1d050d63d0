#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"
#include "Core/Seat/SofaFile.h"
#include "Core/Seat/SpeakerPlaces.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

namespace saddletone::seat {

/** What an audition is to do for its listener's seat. */
struct SeatSettings {
    std::filesystem::path headphoneResponseFile; ///< Table; empty: headphones are not corrected.
    std::filesystem::path headphoneTargetFile;   ///< Table; empty: flat.
    bool isBinaural = false;                     ///< Speakers are heard from where they stand.
    std::filesystem::path headSetFile;           ///< SOFA; empty: HeadModel::packagedFile().
    SpeakerPlaces places;

    bool operator==(const SeatSettings&) const = default;
};

/** The files of a seat as they were read, for filters at any sample rate. */
struct ListenerSeat {
    std::optional<files::FrequencyTable> headphone; ///< Nothing: not corrected.
    std::optional<files::FrequencyTable> target;    ///< Nothing: flat.
    std::string headphoneSource;                    ///< Names the headphone's table in messages.
    bool isHeadphoneInvented = false; ///< Its table says so: it is of no headphone that there is.
    std::string targetSource;
    std::optional<SofaContent> head; ///< Nothing: left is left, right is right.
    std::string headSource;
    SpeakerPlaces places;

    [[nodiscard]] bool isCorrected() const noexcept { return headphone.has_value(); }
    [[nodiscard]] bool isBinaural() const noexcept { return head.has_value(); }
};

/** Reads what the settings name; null if there is nothing to do. */
[[nodiscard]] dsp::Result<std::shared_ptr<const ListenerSeat>>
loadListenerSeat(const SeatSettings& settings);

/** The same seat for other headphones: not corrected. Null if nothing is left to do. */
[[nodiscard]] std::shared_ptr<const ListenerSeat>
withoutCorrection(const std::shared_ptr<const ListenerSeat>& seat);

} // namespace saddletone::seat
