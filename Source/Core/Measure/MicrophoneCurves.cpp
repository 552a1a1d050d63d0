#include "Core/Measure/MicrophoneCurves.h"

namespace saddletone::measure {

std::string_view incidenceName(Incidence incidence) noexcept
{
    return incidence == Incidence::ninetyDegrees ? "90" : "0";
}

dsp::Result<Incidence> parseIncidence(std::string_view name)
{
    for (const Incidence incidence : {Incidence::zeroDegrees, Incidence::ninetyDegrees})
        if (incidenceName(incidence) == name)
            return incidence;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "incidence '" + std::string(name) + "' is not known; use 0 or 90");
}

dsp::Result<MicrophoneCurves> readMicrophoneCurves(const std::filesystem::path& zeroDegreesFile,
                                                   const std::filesystem::path& ninetyDegreesFile)
{
    MicrophoneCurves curves;
    const auto read = [](const std::filesystem::path& file,
                         std::optional<files::FrequencyTable>& into) -> dsp::Result<void> {
        if (file.empty())
            return {};
        auto table = files::readFrequencyTable(file);
        if (!table)
            return table.unexpected();
        into = std::move(*table);
        return {};
    };
    if (const auto done = read(zeroDegreesFile, curves.zeroDegrees); !done)
        return done.unexpected();
    if (const auto done = read(ninetyDegreesFile, curves.ninetyDegrees); !done)
        return done.unexpected();
    return curves;
}

dsp::Result<ChosenCurve> chooseCurve(const MicrophoneCurves& curves, Incidence wanted)
{
    const bool acrossWanted = wanted == Incidence::ninetyDegrees;
    const auto& first = acrossWanted ? curves.ninetyDegrees : curves.zeroDegrees;
    const auto& second = acrossWanted ? curves.zeroDegrees : curves.ninetyDegrees;
    if (first)
        return ChosenCurve {*first, wanted, ""};
    if (!second)
        return dsp::fail(dsp::ErrorCode::notFound,
                         "the microphone has no curve, neither for 0 nor for 90 degrees");
    const Incidence other = acrossWanted ? Incidence::zeroDegrees : Incidence::ninetyDegrees;
    return ChosenCurve {*second, other,
                        "Only the microphone's curve for " + std::string(incidenceName(other))
                            + " degrees is known; it was used for sound from "
                            + std::string(incidenceName(wanted))
                            + " degrees, for which levels at the highest frequencies may be off."};
}

} // namespace saddletone::measure
