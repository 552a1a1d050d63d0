#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace saddletone::audition {

/** What a customer takes home: every candidate as it was heard, and a card. */
struct TakeHomeRequest {
    SceneRequest scene;
    dsp::AudioBuffer programme; ///< One or two channels; the part that is to be heard, and no more.
    std::string programmeName;
    std::string title; ///< Of the job.
    std::string shop;
    std::string bike;
    std::string date;      ///< As it is to be printed; may be empty.
    bool invented = false; ///< Demo data, and the card says so.
    /** As heard; candidate is not used, and a monitor of Monitor::untouched is refused. */
    AuditionEngine::Parameters parameters;
    AuditionEngine::Settings settings;
    /** The files are for the very headphones that the scene's seat corrects; otherwise they are
        written without the correction, as other headphones will play them. */
    bool keepsCorrection = false;
    files::FileType fileType = files::FileType::flac; ///< WAV or FLAC.
    files::SampleFormat format = files::SampleFormat::pcm24;
    std::filesystem::path folder; ///< Is made if it is not there.
};

/** One file as written. */
struct TakeHomeFile {
    std::filesystem::path file;
    std::string candidate;
    bool isAsItIsNow = false; ///< The measured bike without a tuning.
    bool hasLimiterLeftOut = false;
    std::vector<std::string> notes; ///< See candidateNotes().
    AuditionLevels levels;
    LevelSource levelSource = LevelSource::assumed;
    double matchGainDb = 0.0;
    /** Loudness of the music alone re the first file, at the same volume step. */
    double differenceDb = 0.0;
    double loudnessLufs = 0.0; ///< Of the file, with all that is in it.
    double truePeakDbtp = 0.0;
};

struct TakeHomeResult {
    std::vector<TakeHomeFile> files;
    std::filesystem::path card;
};

/** Renders and writes all of it: all or, on failure or when progress returns false, nothing (error
    code: see cancelledMessage). progress is told the share that is done, 0 to 1. Where no candidate
    is the bike as measured, one such is added in front. */
[[nodiscard]] dsp::Result<TakeHomeResult>
writeTakeHome(const TakeHomeRequest& request, const std::function<bool(double)>& progress);

/** What the error says when progress returned false. */
inline constexpr const char* cancelledMessage = "cancelled; nothing was written";

/** The card: what each file is, levels, ride, cautions; plain text, to be printed. */
[[nodiscard]] std::string takeHomeCard(const TakeHomeRequest& request,
                                       const std::vector<TakeHomeFile>& files);

} // namespace saddletone::audition
