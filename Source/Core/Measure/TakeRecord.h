#pragma once

#include "Core/Dsp/Result.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::measure {

/** What a take is recorded for. */
enum class TakePurpose {
    sweep,       ///< A sweep track at the rider's head.
    noiseFloor,  ///< The place, or the running engine, without a track.
    calibration, ///< A calibrator's tone.
    analysis     ///< Pink noise or anything else to be looked at.
};

[[nodiscard]] std::string_view takePurposeName(TakePurpose purpose) noexcept;
[[nodiscard]] dsp::Result<TakePurpose> parseTakePurpose(std::string_view name);

/** Why audio is missing from a take. */
enum class DropoutCause {
    bufferFull, ///< The disk was too slow for longer than the buffer lasts.
    device      ///< The audio device reported or showed a gap.
};

[[nodiscard]] std::string_view dropoutCauseName(DropoutCause cause) noexcept;

/** A place where audio is missing. */
struct Dropout {
    double timeSeconds = 0.0;     ///< From the take's start.
    std::uint64_t lostFrames = 0; ///< 0 = the device could not tell.
    DropoutCause cause = DropoutCause::bufferFull;
    /** Silence of the lost length stands in the take, so that what follows is at its right time. */
    bool filledWithSilence = false;

    bool operator==(const Dropout&) const = default;
};

/** What ended a take. */
enum class TakeEnd {
    unfinished, ///< It is still being recorded, or the program ended while it was.
    byUser,
    endMarkerHeard,
    longest,      ///< The longest take allowed was reached.
    writeFailed,  ///< Disk full or lost; what had been written was kept.
    deviceClosed, ///< The audio device was closed while recording.
};

[[nodiscard]] std::string_view takeEndName(TakeEnd end) noexcept;

/** What is known of a take beside its samples; stored as NAME.take.json beside NAME.wav. */
struct TakeRecord {
    std::string audioFile;  ///< Name of the WAV file, without folders.
    std::string recordedAt; ///< Start, UTC, ISO 8601: 2026-05-01T09:30:00Z.
    TakePurpose purpose = TakePurpose::sweep;
    std::string place;                       ///< Of the microphone: "head centre", "10 cm left".
    std::string device;                      ///< Words for the input device.
    std::vector<std::size_t> deviceChannels; ///< Chosen inputs of the device, 0 = its first.
    std::string gainNote;                    ///< Where the gain controls stood.
    double sampleRate = 48000.0;
    std::uint64_t numFrames = 0;
    double preRollSeconds = 0.0; ///< Of the take, before "record" was pressed.
    std::vector<Dropout> dropouts;
    /** Dropouts beyond those listed; the list holds the first 1000. */
    std::uint64_t numUnlistedDropouts = 0;
    std::uint64_t numClips = 0; ///< Clipped places while the take was recorded, of all channels.
    TakeEnd end = TakeEnd::unfinished;
    std::string problem; ///< Why it ended early, in plain words; empty = it did not.

    std::string verdict;  ///< What the measurement said of it; empty = not measured yet.
    bool refused = false; ///< Not to be used; kept for a second look.
    std::string refusalReason;

    bool operator==(const TakeRecord&) const = default;
};

/** NAME.take.json for NAME.wav. */
[[nodiscard]] std::filesystem::path takeRecordFile(const std::filesystem::path& audioFile);

/** Writes the record beside its take, whole or not at all. */
[[nodiscard]] dsp::Result<void> saveTakeRecord(const TakeRecord& record,
                                               const std::filesystem::path& audioFile);
[[nodiscard]] dsp::Result<TakeRecord> loadTakeRecord(const std::filesystem::path& audioFile);

/** Notes in a take's record what its measurement said. A refused take stays where it is. */
[[nodiscard]] dsp::Result<TakeRecord> noteVerdict(const std::filesystem::path& audioFile,
                                                  const std::string& verdict);
[[nodiscard]] dsp::Result<TakeRecord> refuseTake(const std::filesystem::path& audioFile,
                                                 const std::string& reason);

/** A take of a folder. */
struct ListedTake {
    std::filesystem::path audioFile;
    TakeRecord record;
};

/** The takes of a folder that have a record, by file name, refused and unfinished ones too; records
    that cannot be read are named in problems. */
struct TakeList {
    std::vector<ListedTake> takes;
    std::vector<std::string> problems;
};
[[nodiscard]] TakeList listTakes(const std::filesystem::path& folder);

} // namespace saddletone::measure
