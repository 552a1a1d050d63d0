#pragma once

#include "Core/Ride/Helmet.h"
#include "Core/Ride/Screen.h"

#include <vector>

namespace saddletone::ride {

/** Level of wind noise at a rider's ear, head in clean flow. Linear in the logarithm of speed.

    Anchor 90 dB(A) at 40 mph under a helmet: Binnington, McCombe and Harris, Br. J. Audiol.
    27(6):415-422, 1993. Slope 54 dB per decade: fit to the anchor, to 95 and 107 dB(A) at 50 and
    80 mph (McCombe, Binnington and Nash, Occup. Med. 44(5):239-242, 1994) and to 110 to 112 dB(A)
    at 100 mph. Bare head +18 dB(A): Binnington et al. 1993; Harrison, US Forest Service, 1973.
    Open face +2 dB(A): judgement. Spread from rider to rider and bike to bike: standard deviation
    4 dB, judgement.

    Screens: that the wake of an edge raises the level is sourced (Tangorra and George, Int.
    Motorcycle Conf., IfZ 7:201-228, 1991; Proc. Meetings on Acoustics 9:040005, 2010), its size, its
    modulation and the whole of the still pocket are judgement. Gusts: judgement. */
struct WindModel {
    double anchorDba = 90.0;        ///< Level at anchorSpeedKmh, full-face helmet.
    double anchorSpeedKmh = 64.4;   ///< 40 mph as the sources round it.
    double slopeDbPerDecade = 54.0; ///< 45 to 60 covers the sources.
    double openFaceOffsetDb = 2.0;  ///< 0 to 6; judgement.
    double bareHeadOffsetDb = 18.0; ///< Sourced.

    double lowScreenOffsetDb = 3.0;    ///< Edge wake on the helmet.
    double tallScreenOffsetDb = -10.0; ///< -15 to -4.
    double wakeDepthDb = 3.0;          ///< Peak to trough of the low screen's modulation.

    double gustDeviationDb = 1.5; ///< Standard deviation of the level, 0 to 6.
    double gustTimeSeconds = 1.5; ///< Integral time scale of the level, 0.5 to 60.

    /** Coherence between the ears falls as exp(-decay 2 pi f d / Uc), the form of Corcos, J. Acoust.
        Soc. Am. 35(2):192-199, 1963, which Mirabilii and Habets, arXiv:1805.09679, found in wind
        noise of microphones. That it holds at a head across the flow is judgement, and so are its
        figures. */
    double coherenceDecay = 0.7;
    double earSpacingMetres = 0.15;
    double convectionRatio = 0.7; ///< Convection speed Uc over road speed.

    bool operator==(const WindModel&) const = default;

    /** A-weighted level at the ear in dB SPL; dsp::silenceDb at 0 km/h. speedKmh: 0 to 300. */
    [[nodiscard]] double levelDba(double speedKmh, Helmet helmet) const noexcept;

    /** The same behind a screen. */
    [[nodiscard]] double levelDba(double speedKmh, Helmet helmet, Screen screen) const noexcept;

    /** Coherence of the ears' pressures (not squared), 0 to 1. */
    [[nodiscard]] double earCoherence(double frequencyHz, double speedKmh) const noexcept;
};

/** Standard deviation of wind level from rider to rider and bike to bike, in dB; judgement. */
inline constexpr double windSpreadDb = 4.0;

/** Octave-band level of wind noise in dB re its overall A-weighted level, at octaveCentresHz().
    Shape is judgement (mostly low frequencies, as McCombe 1994 and Kristiansen and Pettersen 1978
    describe); no measured octave table was found. Each row's A-weighted sum is 0 dB. */
[[nodiscard]] std::span<const double> windOctaveLevelsDb(Helmet helmet) noexcept;

} // namespace saddletone::ride
