#include "Core/Job/SeatStore.h"

#include "Core/Audition/ProgrammeList.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Seat/SeatFilters.h"

#include <string>
#include <system_error>

namespace saddletone::job {

namespace {

constexpr const char* seatFolder = "seat";
constexpr const char* statedLevelFile = "seat/headphone-level.json";

/** Of the filters that are made to see whether they can be. */
constexpr double checkedSampleRate = 48000.0;

/** The file that a choice or, without one, the job names; empty: none. */
dsp::Result<std::filesystem::path> fileOf(const Job& job, const std::string& kept,
                                          const std::optional<std::filesystem::path>& chosen)
{
    if (chosen || kept.empty())
        return chosen.value_or(std::filesystem::path());
    return resolveInside(job.folder, kept);
}

dsp::Result<void> copyWhole(const std::filesystem::path& from, const std::filesystem::path& to)
{
    auto copy = files::AtomicFile::open(to);
    if (!copy)
        return dsp::fail(copy.error().code, copy.error().message);
    std::error_code reason;
    std::filesystem::copy_file(from, copy->temporaryPath(),
                               std::filesystem::copy_options::overwrite_existing, reason);
    if (reason)
        return dsp::fail(dsp::ErrorCode::cannotWrite, "cannot copy '" + from.string() + "' to '"
                                                          + to.string() + "': " + reason.message());
    return copy->commit();
}

/** The path, relative to the job's folder, of a file that is in it when this is over. */
dsp::Result<std::string> bringIn(const Job& job, const std::filesystem::path& file)
{
    std::error_code reason;
    const auto folder = std::filesystem::weakly_canonical(job.folder, reason);
    const auto source = std::filesystem::weakly_canonical(file, reason);
    if (const auto inside = audition::pathInside(folder, source))
        return *inside;
    const auto checksum = files::fileChecksum(file);
    if (!checksum)
        return checksum.unexpected();
    const std::string stem = file.stem().string();
    const std::string ending = file.extension().string();
    for (int number = 1;; ++number) {
        std::string relative = std::string(seatFolder) + "/" + stem;
        if (number > 1)
            relative += "-" + std::to_string(number);
        relative += ending;
        const auto place = resolveInside(job.folder, relative);
        if (!place)
            return place.unexpected();
        if (std::filesystem::exists(*place, reason)) {
            const auto there = files::fileChecksum(*place);
            if (there && *there == *checksum)
                return relative;
            continue;
        }
        if (const auto copied = copyWhole(file, *place); !copied)
            return dsp::fail(copied.error().code, copied.error().message);
        return relative;
    }
}

/** Keeps a file that has been chosen in the job; an empty one is taken out of it. */
dsp::Result<void> keep(const Job& job, const std::optional<std::filesystem::path>& chosen,
                       std::string& kept)
{
    if (!chosen)
        return {};
    if (chosen->empty()) {
        kept.clear();
        return {};
    }
    auto inside = bringIn(job, *chosen);
    if (!inside)
        return dsp::fail(inside.error().code, inside.error().message);
    kept = *std::move(inside);
    return {};
}

} // namespace

dsp::Result<StoredSeat> changeSeat(const std::filesystem::path& folder, const SeatChange& change,
                                   const std::string& today)
{
    auto job = loadJob(folder);
    if (!job)
        return job.unexpected();
    SeatChange wanted = change;
    if (wanted.headphoneResponse && wanted.headphoneResponse->empty())
        wanted.headphoneTarget = std::filesystem::path();

    seat::SeatSettings settings;
    settings.isBinaural = wanted.isBinaural.value_or(job->seat.isBinaural);
    settings.places = wanted.places.value_or(job->seat.places);
    if (const auto placed = seat::checkPlaces(settings.places); !placed)
        return placed.unexpected();
    const auto response = fileOf(*job, job->seat.headphoneResponseFile, wanted.headphoneResponse);
    if (!response)
        return response.unexpected();
    settings.headphoneResponseFile = *response;
    const auto target = fileOf(*job, job->seat.headphoneTargetFile, wanted.headphoneTarget);
    if (!target)
        return target.unexpected();
    settings.headphoneTargetFile = *target;
    if (!target->empty() && response->empty())
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a target needs the headphone that is to be brought to it: give the table "
                         "of its response as well");
    const auto headSet = fileOf(*job, job->seat.headSetFile, wanted.headSet);
    if (!headSet)
        return headSet.unexpected();
    settings.headSetFile = *headSet;
    // A set that is chosen is looked at even while it is not heard.
    seat::SeatSettings checked = settings;
    checked.isBinaural = settings.isBinaural || !settings.headSetFile.empty();
    const auto readable = seat::loadListenerSeat(checked);
    if (!readable)
        return readable.unexpected();
    if (*readable != nullptr)
        if (const auto made = seat::SeatFilters::make(*readable, checkedSampleRate); !made)
            return made.unexpected();

    StoredSeat stored;
    std::optional<seat::HeadphoneCalibration> stated;
    if (wanted.headphoneSplDb)
        stated = seat::statedCalibration(*wanted.headphoneSplDb, today);
    else if (wanted.headphoneCalibration && !wanted.headphoneCalibration->empty()) {
        auto loaded = seat::loadHeadphoneCalibration(*wanted.headphoneCalibration);
        if (!loaded)
            return loaded.unexpected();
        stored.headphones = *std::move(loaded);
    } else if (!wanted.headphoneCalibration) {
        auto kept = loadHeadphones(*job);
        if (!kept)
            return kept.unexpected();
        stored.headphones = *std::move(kept);
    }
    if (stated)
        stored.headphones = stated;
    if (stored.headphones)
        if (const auto keepable = seat::checkKeepable(
                *stored.headphones, wanted.headphoneCalibration
                                        ? wanted.headphoneCalibration->string()
                                    : stated ? std::string(statedLevelFile)
                                             : job->seat.headphoneCalibrationFile);
            !keepable)
            return keepable.unexpected();

    JobSeat& seat = job->seat;
    for (const auto& [chosen, kept] :
         {std::pair {&wanted.headphoneResponse, &seat.headphoneResponseFile},
          std::pair {&wanted.headphoneTarget, &seat.headphoneTargetFile},
          std::pair {&wanted.headphoneCalibration, &seat.headphoneCalibrationFile},
          std::pair {&wanted.headSet, &seat.headSetFile}})
        if (const auto done = keep(*job, *chosen, *kept); !done)
            return done.unexpected();
    if (stated) {
        if (const auto saved =
                seat::saveHeadphoneCalibration(*stated, job->folder / statedLevelFile);
            !saved)
            return saved.unexpected();
        seat.headphoneCalibrationFile = statedLevelFile;
    }
    seat.isBinaural = settings.isBinaural;
    seat.places = settings.places;
    if (const auto saved = saveJob(*job); !saved)
        return saved.unexpected();
    stored.seat = seat;
    auto listener = loadListenerSeat(*job);
    if (!listener)
        return listener.unexpected();
    stored.listener = *std::move(listener);
    return stored;
}

} // namespace saddletone::job
