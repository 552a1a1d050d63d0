#include "Core/Dsp/Units.h"
#include "Core/Tuning/SpeakerExcursion.h"

#include <cmath>
#include <complex>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;
using namespace saddletone::tuning;

namespace {

constexpr double pi = std::numbers::pi;

Speaker plainSpeaker()
{
    Speaker speaker;
    speaker.fsHz = 62.0;
    speaker.qts = 0.48;
    speaker.qms = 4.0;
    speaker.vasLitres = 14.0;
    speaker.reOhm = 3.4;
    return speaker;
}

Speaker inBox(EnclosureKind kind, double leakageQ = 7.0)
{
    Speaker speaker = plainSpeaker();
    speaker.enclosure = {kind, 18.0, 58.0, leakageQ};
    return speaker;
}

/** What a volt does to a speaker, worked out from masses, springs and the motor, without any
    formula of Small's but those that give the parts. */
struct Mechanics {
    std::complex<double> excursionMetres;
    std::complex<double> pressurePascal; ///< At 1 m, half space.
};

Mechanics solveMechanics(const Speaker& speaker, double frequencyHz)
{
    const double area = 1e-4 * speaker.sdSquareCentimetres;
    const double omegaS = 2.0 * pi * speaker.fsHz;
    const double airStiffness = 1.2 * 343.0 * 343.0; // rho c^2
    const double compliance = 1e-3 * speaker.vasLitres / (airStiffness * area * area);
    const double mass = 1.0 / (omegaS * omegaS * compliance);
    const double friction = omegaS * mass / *speaker.qms;
    const double force = std::sqrt(omegaS * mass * speaker.reOhm / speaker.qes()); // B l
    const std::complex<double> s(0.0, 2.0 * pi * frequencyHz);
    auto impedance = s * mass + friction + 1.0 / (s * compliance) + force * force / speaker.reOhm;
    std::complex<double> outside = 1.0; // volume that leaves over volume of the cone
    if (speaker.enclosure.kind != EnclosureKind::freeAir) {
        const double airCompliance = 1e-3 * speaker.enclosure.volumeLitres / airStiffness;
        std::complex<double> admittance = s * airCompliance;
        if (speaker.enclosure.kind == EnclosureKind::vented) {
            const double omegaB = 2.0 * pi * speaker.enclosure.tuningHz;
            const double portMass = 1.0 / (omegaB * omegaB * airCompliance);
            const double leak = speaker.enclosure.leakageQ / (omegaB * airCompliance);
            admittance += 1.0 / (s * portMass) + 1.0 / leak;
        }
        impedance += area * area / admittance;
        outside = s * airCompliance / admittance;
    }
    const auto velocity = force / speaker.reOhm / impedance;
    return {velocity / s, 1.2 * s * area * velocity * outside / (2.0 * pi)};
}

} // namespace

TEST_CASE("Volume to be moved for a level is that of a piston in half space", "[core][tuning]")
{
    // p = rho (2 pi f)^2 V / (2 pi r): 18.8, 75 and 4.7 cm^3 for 94 dB SPL, 1.41, 5.6 and 0.35 mm
    // with 133 cm^2, in the places given.
    CHECK(peakVolumeCubicCentimetres(94.0, 100.0) == Approx(18.8).margin(0.06));
    CHECK(peakVolumeCubicCentimetres(94.0, 50.0) == Approx(75.0).margin(0.5));
    CHECK(peakVolumeCubicCentimetres(94.0, 200.0) == Approx(4.7).margin(0.05));
    CHECK(10.0 * peakVolumeCubicCentimetres(94.0, 100.0) / 133.0 == Approx(1.41).margin(0.006));
    CHECK(10.0 * peakVolumeCubicCentimetres(94.0, 50.0) / 133.0 == Approx(5.6).margin(0.06));
    CHECK(10.0 * peakVolumeCubicCentimetres(94.0, 200.0) / 133.0 == Approx(0.35).margin(0.006));
}

TEST_CASE("A sealed speaker moves as much air as its level asks for", "[core][tuning]")
{
    const auto kind = GENERATE(EnclosureKind::freeAir, EnclosureKind::sealed);
    const Speaker speaker = inBox(kind);
    for (const double frequencyHz : {20.0, 50.0, 100.0, 400.0}) {
        const double splDb = speakerSplDb(speaker, frequencyHz, 2.83, 1.0);
        CHECK(0.1 * peakExcursionMm(speaker, frequencyHz, 2.83) * speaker.sdSquareCentimetres
              == Approx(peakVolumeCubicCentimetres(splDb, frequencyHz)).epsilon(1e-9));
    }
}

TEST_CASE("A box raises resonance and Q by the root of one plus Vas over Vb", "[core][tuning]")
{
    Speaker speaker = plainSpeaker();
    CHECK(systemResonance(speaker).frequencyHz == Approx(62.0));
    CHECK(systemResonance(speaker).q == Approx(0.48));
    // Vas / Vb = 3: twice both (Small, JAES 20(10), 1972).
    speaker.enclosure = {EnclosureKind::sealed, 14.0 / 3.0, 0.0, 7.0};
    CHECK(systemResonance(speaker).frequencyHz == Approx(124.0));
    CHECK(systemResonance(speaker).q == Approx(0.96));
}

TEST_CASE("Excursion in a sealed box is Qtc times that of rest at the resonance", "[core][tuning]")
{
    for (const double volumeLitres : {3.0, 10.0, 40.0}) {
        Speaker speaker = plainSpeaker();
        speaker.enclosure = {EnclosureKind::sealed, volumeLitres, 0.0, 7.0};
        const auto [resonanceHz, q] = systemResonance(speaker);
        const double atRest = std::abs(displacementResponse(speaker, 0.0));
        CHECK(atRest == Approx(1.0 / (1.0 + 14.0 / volumeLitres)));
        CHECK(std::abs(displacementResponse(speaker, resonanceHz)) == Approx(q * atRest));
        // Small: above rest only if Qtc > 0.707, by Qtc^2 / sqrt(Qtc^2 - 0.25).
        double largest = 0.0;
        for (double frequencyHz = 1.0; frequencyHz < 400.0; frequencyHz += 0.05)
            largest = std::max(largest, std::abs(displacementResponse(speaker, frequencyHz)));
        const double expected =
            q > 1.0 / std::numbers::sqrt2 ? q * q / std::sqrt(q * q - 0.25) : 1.0;
        CHECK(largest / atRest == Approx(expected).epsilon(1e-3)); // 1 Hz is not quite rest
    }
}

TEST_CASE("A closed-box example worked by hand comes out", "[core][tuning]")
{
    // Formulas: Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20(5), 1972, and
    // "Closed-Box Loudspeaker Systems", JAES 20(10), 1972, with his air, 1.18 kg/m^3 and 345 m/s:
    // eta_0 = 9.64e-10 fs^3 Vas / Qes (litres), SPL = 112 + 10 lg eta_0 for 1 W at 1 m,
    // P_AR = (4 pi^3 rho / c) fc^4 V_D^2 / |X|max^2.
    // Worked for fs 40 Hz, Qes 0.45, Qms 3.6 (Qts 0.40), Vas 60 l, Sd 220 cm^2, Xmax 5 mm, Re 8 ohm,
    // in 20 l: Vas / Vb = 3, fc = 80 Hz, Qtc = 0.80, V_D = 110 cm^3.
    // eta_0 = 9.64e-10 * 64000 * 60 / 0.45 = 0.823 %, 91.15 dB SPL.
    // |X|max = 0.64 / sqrt(0.64 - 0.25) = 1.0248; P_AR = 0.4242 * 4.096e7 * 1.21e-8 / 1.0502
    // = 0.2002 W, 112 + 10 lg 0.2002 = 105.0 dB SPL; by P_AR / eta_0 = 24.3 W, 13.9 V.
    Speaker speaker;
    speaker.fsHz = 40.0;
    speaker.qts = 0.40;
    speaker.qms = 3.6;
    speaker.vasLitres = 60.0;
    speaker.sdSquareCentimetres = 220.0;
    speaker.xmaxMm = 5.0;
    speaker.reOhm = 8.0;
    speaker.nominalImpedanceOhm = 8.0;
    speaker.enclosure = {EnclosureKind::sealed, 20.0, 0.0, 7.0};
    CHECK(systemResonance(speaker).frequencyHz == Approx(80.0));
    CHECK(systemResonance(speaker).q == Approx(0.8));
    // Air of 20 degrees instead of his: (345/343)^3 = 1.8 % of efficiency, and 0.2 dB of level.
    CHECK(referenceEfficiency(speaker) == Approx(0.00823).epsilon(0.02));
    CHECK(sensitivityDbSpl(speaker) == Approx(91.15).margin(0.25));
    // With 13.9 V the cone just reaches 5 mm, at the frequency of its largest excursion,
    // fc sqrt(1 - 1 / (2 Qtc^2)) = 37.4 Hz.
    CHECK(peakExcursionMm(speaker, 37.4, 13.9) == Approx(5.0).epsilon(0.02));
    CHECK(speakerSplDb(speaker, 4000.0, 13.9, 1.0) == Approx(105.0).margin(0.25));
    CHECK(displacementLimitedSplDb(speaker, 37.4)
          == Approx(speakerSplDb(speaker, 37.4, 13.9, 1.0)).margin(0.2));
}

TEST_CASE("A closed box's power rating is at most 0.85 f3^4 VD^2", "[core][tuning]")
{
    // Small, JAES 20(10), 1972: the best of all closed boxes, at Qtc = 1.1, in SI units.
    double best = 0.0;
    double bestQ = 0.0;
    for (double q = 0.6; q < 1.6; q += 0.02) {
        Speaker speaker = plainSpeaker();
        speaker.qts = q;
        speaker.qms = 8.0;
        double largest = 0.0; // |X|max
        for (double frequencyHz = 0.1; frequencyHz < 120.0; frequencyHz += 0.1)
            largest = std::max(largest, std::abs(displacementResponse(speaker, frequencyHz)));
        double f3Hz = 10.0;
        while (std::norm(pressureResponse(speaker, f3Hz)) < 0.5)
            f3Hz += 0.01;
        // Displacement-limited acoustic power of the pass band, half space, over f3^4 VD^2.
        const double passVolume = std::pow(62.0 / f3Hz, 2.0) / largest;
        const double rating = 4.0 * std::pow(pi, 3.0) * 1.18 / 345.0 * passVolume * passVolume;
        if (rating > best) {
            best = rating;
            bestQ = q;
        }
    }
    CHECK(best == Approx(0.85).margin(0.005));
    CHECK(bestQ == Approx(1.1).margin(0.05));
}

TEST_CASE("A speaker moves and sounds as its masses and springs make it", "[core][tuning]")
{
    const auto kind =
        GENERATE(EnclosureKind::freeAir, EnclosureKind::sealed, EnclosureKind::vented);
    const Speaker speaker = inBox(kind);
    for (double frequencyHz = 10.0; frequencyHz < 5000.0; frequencyHz *= 1.1) {
        INFO(frequencyHz);
        const auto truth = solveMechanics(speaker, frequencyHz);
        // The same physics in another form: rounding only.
        CHECK(
            std::abs(staticExcursionMmPerVolt(speaker) * displacementResponse(speaker, frequencyHz)
                     - 1e3 * truth.excursionMetres)
            < 1e-9);
        CHECK(speakerSplDb(speaker, frequencyHz, 1.0, 1.0)
              == Approx(pressureToSplDb(std::abs(truth.pressurePascal))).margin(1e-7));
    }
}

TEST_CASE("A vented speaker's cone rests at the tuning and is free below it", "[core][tuning]")
{
    const Speaker tight = inBox(EnclosureKind::vented, 10000.0);
    const Speaker leaky = inBox(EnclosureKind::vented, 7.0);
    const double around = peakExcursionMm(tight, 120.0, 2.83);
    CHECK(peakExcursionMm(tight, 58.0, 2.83) < 0.01 * around);
    CHECK(peakExcursionMm(leaky, 58.0, 2.83) > peakExcursionMm(tight, 58.0, 2.83));
    CHECK(peakExcursionMm(tight, 25.0, 2.83) > 3.0 * around);
    // Order 4: 24 dB an octave far below.
    CHECK(speakerSplDb(tight, 8.0, 1.0, 1.0) - speakerSplDb(tight, 4.0, 1.0, 1.0)
          == Approx(24.08).margin(0.4));
    // No excursion at all at the tuning of a box without leaks: the limit stays a number.
    CHECK(std::isfinite(displacementLimitedSplDb(tight, 58.0)));
}

TEST_CASE("The lower limit is the cone in the bass and power above it", "[core][tuning]")
{
    const Speaker speaker = inBox(EnclosureKind::sealed);
    CHECK(displacementLimitedSplDb(speaker, 40.0) < powerLimitedSplDb(speaker, 40.0));
    CHECK(displacementLimitedSplDb(speaker, 1000.0) > powerLimitedSplDb(speaker, 1000.0));
    // Xmax sets volume, volume sets level: 12 dB an octave whatever the box.
    CHECK(displacementLimitedSplDb(speaker, 80.0) - displacementLimitedSplDb(speaker, 40.0)
          == Approx(12.04).margin(0.01));
    CHECK(powerLimitedSplDb(speaker, 8000.0)
          == Approx(sensitivityDbSpl(speaker) + dsp::powerToDb(speaker.powerLimitWatts))
                 .margin(0.01));
}
