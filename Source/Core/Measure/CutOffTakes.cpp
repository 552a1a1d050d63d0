#include "Core/Measure/CutOffTakes.h"

#include "Core/Files/AudioFile.h"
#include "Core/Measure/TakeRecord.h"

#include <system_error>

namespace saddletone::measure {

std::vector<CutOffTake> listCutOffTakes(const std::filesystem::path& folder)
{
    std::vector<CutOffTake> cutOff;
    std::error_code reason;
    if (!std::filesystem::is_directory(folder, reason))
        return cutOff;
    for (const ListedTake& take : listTakes(folder).takes) {
        if (take.record.end != TakeEnd::unfinished || take.record.refused
            || !take.record.verdict.empty())
            continue;
        const auto audio = files::readAudioFile(take.audioFile);
        if (audio)
            cutOff.push_back(
                {take.audioFile, static_cast<double>(audio->numFrames()) / audio->sampleRate, ""});
        else
            cutOff.push_back({take.audioFile, 0.0, audio.error().message});
    }
    return cutOff;
}

} // namespace saddletone::measure
