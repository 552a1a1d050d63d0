#include "Plugin/TuningDraft.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Plugin/Paths.h"

#include <system_error>

#include <nlohmann/json.hpp>

namespace saddletone::plugin {

TuningDraft::~TuningDraft()
{
    while (worker.getNumJobs() > 0)
        juce::Thread::sleep(1);
}

void TuningDraft::keep(const std::filesystem::path& folder, const TuningDocument& document)
{
    worker.addJob([file = folder / fileName, json = draftToJson(document)] {
        static_cast<void>(files::writeTextFile(file, files::jsonText(json)).has_value());
    });
}

void TuningDraft::forget(const std::filesystem::path& folder)
{
    worker.addJob([file = folder / fileName] {
        std::error_code ignored;
        std::filesystem::remove(file, ignored);
    });
}

void TuningDraft::setAside(const std::filesystem::path& folder)
{
    worker.addJob([folder] {
        std::error_code ignored;
        std::filesystem::rename(folder / fileName, folder / previousFileName, ignored);
    });
}

std::optional<TuningDocument> TuningDraft::find(const StoredDocument& stored, std::uint64_t firstId)
{
    const std::filesystem::path file = stored.job.folder / fileName;
    std::error_code reason;
    if (!std::filesystem::exists(file, reason))
        return std::nullopt;
    const auto json = files::loadJson(file);
    if (!json)
        return std::nullopt;
    auto document = draftFromJson(*json, stored, firstId, file.string());
    if (!document || *document == stored.document)
        return std::nullopt;
    return *std::move(document);
}

juce::Time TuningDraft::timeOf(const std::filesystem::path& folder)
{
    return toFile(folder / fileName).getLastModificationTime();
}

} // namespace saddletone::plugin
