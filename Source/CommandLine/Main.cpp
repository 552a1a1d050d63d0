#include "CommandLine/Options.h"
#include "CommandLine/Verbs.h"

#include "Core/Files/JsonReader.h"
#include "Core/Platform/Platform.h"

#include <cstdio>
#include <exception>
#include <variant>

namespace saddletone::commandline {

Failure inputFailure(const dsp::Error& error)
{
    return {ExitCode::notGoodEnough, error.message};
}

Failure usageFailure(const std::string& message)
{
    return {ExitCode::wrongUsage, message};
}

void showProgress(const std::string& step)
{
    if (platform::isTerminal(stderr))
        std::fprintf(stderr, "%s\n", step.c_str());
}

namespace {

int run(int argc, char** argv)
{
    CLI::App app("Saddletone: measure a motorcycle's audio, describe a tuning, and hear it before "
                 "the bike is changed.",
                 "saddletone");
    app.require_subcommand(1);
    app.set_version_flag("--version", std::string("saddletone ") + SADDLETONE_VERSION);
    app.fallthrough();
    Shared shared;
    addFlag(app, "--json", shared.json, "Print the result as JSON on standard output");
    addSignalVerbs(app, shared);
    addMeasureVerbs(app, shared);
    addTuningVerbs(app, shared);
    addFitVerbs(app, shared);
    addCostVerbs(app, shared);
    addVerdictVerbs(app, shared);
    addCalibrateVerb(app, shared);
    addImportVerb(app, shared);
    addListenVerb(app, shared);
    addOverdriveVerb(app, shared);
    addTakeHomeVerb(app, shared);
    addRideVerb(app, shared);
    addTextureVerbs(app, shared);
    addHearingVerbs(app, shared);
    addSeatVerbs(app, shared);
    addBlindVerb(app, shared);
    addPresetsVerb(app, shared);
    addJobVerbs(app, shared);

    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? static_cast<int>(ExitCode::done)
                                    : static_cast<int>(ExitCode::wrongUsage);
    }
    const auto outcome = shared.action();
    if (const auto* failure = std::get_if<Failure>(&outcome)) {
        std::fprintf(stderr, "saddletone: %s\n", failure->message.c_str());
        return static_cast<int>(failure->exitCode);
    }
    const auto& output = std::get<Output>(outcome);
    const std::string text = shared.json ? files::jsonText(output.json) : output.text;
    const bool written = std::fputs(text.c_str(), stdout) >= 0 && std::fflush(stdout) == 0;
    return static_cast<int>(written ? ExitCode::done : ExitCode::internalFault);
}

} // namespace

} // namespace saddletone::commandline

int main(int argc, char** argv)
{
    try {
        return saddletone::commandline::run(argc, argv);
    } catch (const std::exception& fault) {
        std::fprintf(stderr, "saddletone: internal fault: %s\n", fault.what());
        return static_cast<int>(saddletone::commandline::ExitCode::internalFault);
    }
}
