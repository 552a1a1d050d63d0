#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"
#include "CommandLine/StateOptions.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/ImportedResponse.h"
#include "Core/Measure/StateOrigin.h"

#include <algorithm>
#include <cstddef>
#include <filesystem>
#include <memory>

namespace saddletone::commandline {

namespace {

using files::fixedText;
using Outcome = std::variant<Output, Failure>;

struct ImportOptions {
    std::string table;
    std::string thirdOctaves;
    std::string impulse;
    std::size_t channel = 0; ///< From 1; 0 = the loudest.
    double sampleRate = 48000.0;
    StateOptions made;
};

dsp::Result<measure::Response> importFrom(const ImportOptions& options,
                                          const measure::ImportSettings& settings)
{
    if (!options.impulse.empty()) {
        const auto audio = files::readAudioFile(options.impulse);
        if (!audio)
            return audio.unexpected();
        return measure::importImpulse(*audio, settings);
    }
    const auto table =
        files::readFrequencyTable(options.table.empty() ? options.thirdOctaves : options.table);
    if (!table)
        return table.unexpected();
    return options.table.empty() ? measure::importThirdOctaves(*table, settings)
                                 : measure::importTable(*table, settings);
}

Outcome runImport(const ImportOptions& options)
{
    const auto state = options.made.state();
    if (!state)
        return usageFailure(state.error().message);
    const std::string& file = !options.table.empty()          ? options.table
                              : !options.thirdOctaves.empty() ? options.thirdOctaves
                                                              : options.impulse;
    if (auto failure = checkOutputs({file}, options.made.files()))
        return *std::move(failure);
    measure::ImportSettings settings;
    settings.source = std::filesystem::path(file).filename().string();
    settings.name = options.made.stateName();
    settings.state = *state;
    settings.sampleRate = options.sampleRate;
    if (options.channel > 0)
        settings.channel = options.channel - 1;
    const auto response = importFrom(options, settings);
    if (!response)
        return inputFailure(response.error());
    if (const auto saved = measure::saveResponse(*response, options.made.out); !saved)
        return inputFailure(saved.error());
    if (const auto noted = measure::noteOrigin(
            {options.made.measuredOn, options.made.microphoneName}, options.made.out);
        !noted)
        return inputFailure(noted.error());

    Output output;
    output.text = options.made.out + ": imported, " + fixedText(response->fromHz, 0) + " Hz to "
                  + fixedText(response->toHz, 0) + " Hz\n";
    for (const std::string& remark : response->remarks)
        output.text += "note: " + remark + "\n";
    output.json = {{"state", options.made.out},
                   {"fromHz", response->fromHz},
                   {"toHz", response->toHz},
                   {"numTrustedBands",
                    std::ranges::count_if(response->bands, &measure::BandConfidence::trusted)},
                   {"remarks", response->remarks}};
    return output;
}

} // namespace

void addImportVerb(CLI::App& app, Shared& shared)
{
    auto options = std::make_shared<ImportOptions>();
    CLI::App* verb = addVerb(
        app, "import", "Make a state from a table or an impulse response of another instrument");
    auto* source = verb->add_option_group("source", "What to import; one of");
    addOption(*source, "--table", options->table,
              "Table of frequency, level and perhaps phase (text or CSV)");
    addOption(*source, "--third-octave", options->thirdOctaves,
              "Table of third-octave levels of pink noise (text or CSV)");
    auto* impulse =
        addOption(*source, "--impulse", options->impulse, "Impulse response (audio file)");
    source->require_option(1);
    addOption(*verb, "--channel", options->channel,
              "Channel of the impulse response, from 1 (default: the loudest)")
        ->check(CLI::Range(1, 64))
        ->needs(impulse);
    addOption(*verb, "--rate", options->sampleRate, "Sample rate of a response made from a table")
        ->check(withinRange(8000.0, 384000.0))
        ->capture_default_str();
    addStateOptions(*verb, options->made);
    verb->callback(
        [options, &shared] { shared.action = [options] { return runImport(*options); }; });
}

} // namespace saddletone::commandline
