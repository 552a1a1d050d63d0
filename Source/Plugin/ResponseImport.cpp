#include "Plugin/ResponseImport.h"

#include "Core/Files/TextTable.h"
#include "Core/Measure/ImportedResponse.h"

namespace saddletone::plugin {

dsp::Result<measure::Response> importResponse(const std::filesystem::path& file,
                                              gui::ImportKind kind, const measure::BikeState& state,
                                              const std::string& name,
                                              const files::ReadProgress& progress)
{
    measure::ImportSettings settings;
    settings.source = file.filename().string();
    settings.name = name;
    settings.state = state;
    if (kind == gui::ImportKind::impulse) {
        const auto audio = files::readAudioFile(file, {}, progress);
        if (!audio)
            return audio.unexpected();
        return measure::importImpulse(*audio, settings);
    }
    const auto table = files::readFrequencyTable(file);
    if (!table)
        return table.unexpected();
    return kind == gui::ImportKind::thirdOctaves ? measure::importThirdOctaves(*table, settings)
                                                 : measure::importTable(*table, settings);
}

} // namespace saddletone::plugin
