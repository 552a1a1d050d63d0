#include "Core/Measure/CutOffTakes.h"

#include "Core/Files/AudioFile.h"
#include "Core/Measure/TakeRecord.h"
#include "Core/Measure/TakeWriter.h"

#include <system_error>

namespace saddletone::measure {

namespace {

bool nothingEnded(const TakeRecord& record)
{
    return record.end == TakeEnd::unfinished && !record.refused && record.verdict.empty();
}

/** As the record has it now: a take may have ended since the records were listed. */
bool isStillUnended(const std::filesystem::path& audioFile)
{
    const auto record = loadTakeRecord(audioFile);
    return record && nothingEnded(*record);
}

} // namespace

std::vector<CutOffTake> listCutOffTakes(const std::filesystem::path& folder)
{
    std::vector<CutOffTake> cutOff;
    std::error_code reason;
    if (!std::filesystem::is_directory(folder, reason))
        return cutOff;
    for (const ListedTake& take : listTakes(folder).takes) {
        if (!nothingEnded(take.record) || TakeWriter::isBeingWritten(take.audioFile)
            || !isStillUnended(take.audioFile))
            continue;
        if (const auto length = files::readAudioLength(take.audioFile))
            cutOff.push_back({take.audioFile, length->seconds(), ""});
        else
            cutOff.push_back({take.audioFile, 0.0, length.error().message});
    }
    return cutOff;
}

} // namespace saddletone::measure
