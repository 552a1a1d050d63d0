#include "CommandLine/ReportOptions.h"

#include "CommandLine/FileArguments.h"
#include "CommandLine/Options.h"

#include "Core/Dsp/Units.h"

namespace saddletone::commandline {

std::vector<double> ReportOptions::speedsKmh() const
{
    std::vector<double> speeds = kmh;
    for (const double speedMph : mph)
        speeds.push_back(dsp::mphToKmh(speedMph));
    return speeds;
}

dsp::Result<std::optional<report::SpeedUnits>> ReportOptions::speedUnits() const
{
    if (units.empty())
        return std::optional<report::SpeedUnits> {};
    const auto parsed = report::parseSpeedUnits(units);
    if (!parsed)
        return parsed.unexpected();
    return std::optional {*parsed};
}

void addReportOptions(CLI::App& verb, ReportOptions& options)
{
    addOption(verb, "--question", options.question, "What the customer wants to know");
    addOption(verb, "--units", options.units, "Speeds in mph, kmh or both");
    CLI::Option* const mph = addOption(verb, "--speeds-mph", options.mph,
                                       "Up to three rising speeds in mph, 0 is parked: 0,45,75")
                                 ->delimiter(',')
                                 ->check(withinRange(0.0, 155.0));
    addOption(verb, "--speeds-kmh", options.kmh, "The same in km/h: 0,70,120")
        ->delimiter(',')
        ->check(withinRange(0.0, 250.0))
        ->excludes(mph);
}

} // namespace saddletone::commandline
