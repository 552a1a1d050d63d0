#include "Core/Dsp/Weighting.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <string>

namespace saddletone::dsp {

namespace {

constexpr double pole1Hz = 20.598997;
constexpr double pole2Hz = 107.652649;
constexpr double pole3Hz = 737.862231;
constexpr double pole4Hz = 12194.217148;

double magnitudeC(double frequencyHz) noexcept
{
    const double f2 = frequencyHz * frequencyHz;
    return pole4Hz * pole4Hz * f2 / ((f2 + pole1Hz * pole1Hz) * (f2 + pole4Hz * pole4Hz));
}

double magnitudeA(double frequencyHz) noexcept
{
    const double f2 = frequencyHz * frequencyHz;
    return magnitudeC(frequencyHz) * f2
           / std::sqrt((f2 + pole2Hz * pole2Hz) * (f2 + pole3Hz * pole3Hz));
}

} // namespace

double weightingDb(Weighting weighting, double frequencyHz) noexcept
{
    switch (weighting) {
    case Weighting::a:
        return amplitudeToDb(magnitudeA(frequencyHz)) - amplitudeToDb(magnitudeA(1000.0));
    case Weighting::c:
        return amplitudeToDb(magnitudeC(frequencyHz)) - amplitudeToDb(magnitudeC(1000.0));
    case Weighting::z: break;
    }
    return 0.0;
}

std::string_view weightingName(Weighting weighting) noexcept
{
    switch (weighting) {
    case Weighting::a: return "A";
    case Weighting::c: return "C";
    case Weighting::z: break;
    }
    return "Z";
}

Result<Weighting> parseWeighting(std::string_view name)
{
    for (const Weighting weighting : {Weighting::a, Weighting::c, Weighting::z})
        if (weightingName(weighting) == name)
            return weighting;
    return fail(ErrorCode::malformed,
                "weighting '" + std::string(name) + "' is not known; use A, C or Z");
}

} // namespace saddletone::dsp
