#include "Core/Tuning/SpeakerExcursion.h"

#include "Core/Dsp/Units.h"

#include <cmath>
#include <numbers>

namespace saddletone::tuning {

namespace {

using std::numbers::pi;

constexpr double referencePressurePascal = 20e-6;

double vasCubicMetres(const Speaker& speaker) noexcept
{
    return 1e-3 * speaker.vasLitres;
}

double coneAreaSquareMetres(const Speaker& speaker) noexcept
{
    return 1e-4 * speaker.sdSquareCentimetres;
}

/** Suspension over air behind the cone in stiffness: Vas / Vb. */
double complianceRatio(const Speaker& speaker) noexcept
{
    return speaker.enclosure.kind == EnclosureKind::freeAir
               ? 0.0
               : speaker.vasLitres / speaker.enclosure.volumeLitres;
}

/** Transfer functions of a speaker over a common denominator, s in units of 2 pi Hz. */
struct Fractions {
    std::complex<double> pressure;
    std::complex<double> displacement;
    std::complex<double> denominator;
};

Fractions fractions(const Speaker& speaker, double frequencyHz) noexcept
{
    const std::complex<double> s(0.0, frequencyHz);
    const double driver = 1.0 / speaker.fsHz;
    const double ratio = complianceRatio(speaker);
    const auto driverSquare = s * s * driver * driver;
    if (speaker.enclosure.kind != EnclosureKind::vented)
        return {driverSquare, 1.0, driverSquare + s * driver / speaker.qts + 1.0 + ratio};
    // Small 1973, part I: the box with port and leaks loads the cone with ratio times
    // s^2 T_B^2 / (s^2 T_B^2 + s T_B / Q_L + 1).
    const double port = 1.0 / speaker.enclosure.tuningHz;
    const auto portSquare = s * s * port * port;
    const auto box = portSquare + s * port / speaker.enclosure.leakageQ + 1.0;
    return {driverSquare * portSquare, box,
            (driverSquare + s * driver / speaker.qts + 1.0) * box + ratio * portSquare};
}

/** RMS pressure at 1 m for 1 V well above the resonance. */
double referencePressurePerVolt(const Speaker& speaker) noexcept
{
    const double omega = 2.0 * pi * speaker.fsHz;
    return airDensityKgPerCubicMetre * coneAreaSquareMetres(speaker) * omega * omega * 1e-3
           * staticExcursionMmPerVolt(speaker) / (2.0 * pi);
}

} // namespace

SystemResonance systemResonance(const Speaker& speaker) noexcept
{
    const double stiffer = std::sqrt(1.0 + complianceRatio(speaker));
    return {speaker.fsHz * stiffer, speaker.qts * stiffer};
}

double referenceEfficiency(const Speaker& speaker) noexcept
{
    return 4.0 * pi * pi * std::pow(speaker.fsHz / soundSpeedMetresPerSecond, 3.0)
           * vasCubicMetres(speaker) / speaker.qes();
}

double sensitivityDbSpl(const Speaker& speaker) noexcept
{
    return pressureToSplDb(referencePressurePerVolt(speaker)
                           * std::sqrt(speaker.nominalImpedanceOhm));
}

std::complex<double> pressureResponse(const Speaker& speaker, double frequencyHz) noexcept
{
    const auto parts = fractions(speaker, frequencyHz);
    return parts.pressure / parts.denominator;
}

std::complex<double> displacementResponse(const Speaker& speaker, double frequencyHz) noexcept
{
    const auto parts = fractions(speaker, frequencyHz);
    return parts.displacement / parts.denominator;
}

double staticExcursionMmPerVolt(const Speaker& speaker) noexcept
{
    // x(0) = Bl C_ms / R_e per volt, with Bl and C_ms expressed by Thiele-Small data:
    // sqrt(C_ms / (omega_s Q_es R_e)), C_ms = V_as / (rho c^2 S_d^2).
    const double omega = 2.0 * pi * speaker.fsHz;
    const double stiffnessPerVolume =
        airDensityKgPerCubicMetre * soundSpeedMetresPerSecond * soundSpeedMetresPerSecond;
    return 1e3 / coneAreaSquareMetres(speaker)
           * std::sqrt(vasCubicMetres(speaker)
                       / (stiffnessPerVolume * omega * speaker.qes() * speaker.reOhm));
}

double peakExcursionMm(const Speaker& speaker, double frequencyHz, double volts) noexcept
{
    return std::numbers::sqrt2 * volts * staticExcursionMmPerVolt(speaker)
           * std::abs(displacementResponse(speaker, frequencyHz));
}

double speakerSplDb(const Speaker& speaker, double frequencyHz, double volts,
                    double distanceMetres) noexcept
{
    return pressureToSplDb(referencePressurePerVolt(speaker) * volts / distanceMetres
                           * std::abs(pressureResponse(speaker, frequencyHz)));
}

double displacementLimitedSplDb(const Speaker& speaker, double frequencyHz) noexcept
{
    return speakerSplDb(speaker, frequencyHz, 1.0, 1.0)
           - dsp::amplitudeToDb(peakExcursionMm(speaker, frequencyHz, 1.0) / speaker.xmaxMm);
}

double powerLimitedSplDb(const Speaker& speaker, double frequencyHz) noexcept
{
    return speakerSplDb(speaker, frequencyHz,
                        std::sqrt(speaker.powerLimitWatts * speaker.nominalImpedanceOhm), 1.0);
}

double peakVolumeCubicCentimetres(double splDb, double frequencyHz) noexcept
{
    const double omega = 2.0 * pi * frequencyHz;
    return 1e6 * std::numbers::sqrt2 * splDbToPressure(splDb) * 2.0 * pi
           / (airDensityKgPerCubicMetre * omega * omega);
}

double pressureToSplDb(double pascal) noexcept
{
    return dsp::amplitudeToDb(pascal / referencePressurePascal);
}

double splDbToPressure(double splDb) noexcept
{
    return referencePressurePascal * dsp::dbToAmplitude(splDb);
}

} // namespace saddletone::tuning
