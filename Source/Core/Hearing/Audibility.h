#pragma once

#include "Core/Dsp/ModelFigure.h"
#include "Core/Hearing/PartialLoudness.h"
#include "Core/Hearing/SpeechIntelligibility.h"
#include "Core/Hearing/ThirdOctaveSpectrum.h"
#include "Core/Ride/RideParameters.h"

#include <array>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace saddletone::hearing {

/** What is to be heard: so large a share of the programme so far above its masked threshold. */
struct AudibilityGoal {
    double share = 0.8;    ///< Of the programme's part of the ERB scale, 0 to 1.
    double marginDb = 0.0; ///< Above the masked threshold; 0 = only just heard.

    bool operator==(const AudibilityGoal&) const = default;
};

/** Programme and noise at the head, dB SPL as the ear gets them under the helmet, plugs not yet
    counted. */
struct AudibilityRequest {
    ThirdOctaveSpectrum programme;
    ThirdOctaveSpectrum noise;
    double earPlugDb = 0.0; ///< 0 = no plugs.
    AudibilityGoal goal;

    bool operator==(const AudibilityRequest&) const = default;
};

/** One third octave of the answer. */
struct BandAudibility {
    double frequencyHz = 1000.0; ///< Exact mid-band.
    double programmeDb = dsp::silenceDb;
    double noiseDb = dsp::silenceDb;
    double thresholdDb = 0.0; ///< Masked threshold.
    double aboveDb = 0.0;     ///< Programme less threshold; below 0 the band drowns.
    bool inProgramme = false; ///< The programme can be heard in this band in quiet.
    /** Gain that lifts this band to the goal's margin; 0 for bands that stand there, that are not
        in the programme, or that the goal's share can do without. */
    double gainNeededDb = 0.0;

    bool operator==(const BandAudibility&) const = default;
};

/** What remains of a programme in noise. */
struct Audibility {
    std::array<BandAudibility, numThirdOctaves> bands;
    /** Share of the programme that stands at or above the masked threshold: of the steps of 0.1 Cam
        in which it can be heard in quiet, those in which it can be heard in the noise. Each part of
        the ear's frequency scale counts alike. */
    double shareOfScale = 0.0;
    double shareAtMargin = 0.0; ///< The same, at the goal's margin above the threshold.
    PartialLoudness loudness;   ///< Its share() is the share of loudness that remains.
    /** One gain for all bands that reaches the goal; negative = to spare; empty if the programme is
        not heard in quiet either. */
    std::optional<double> overallGainDb;

    bool operator==(const Audibility&) const = default;
};

[[nodiscard]] Audibility assessAudibility(const AudibilityRequest& request);

/** Share of a programme at or above its masked threshold by marginDb, as in Audibility. */
[[nodiscard]] double audibleShare(const ThirdOctaveSpectrum& programme,
                                  const ThirdOctaveSpectrum& noise, double earPlugDb,
                                  double marginDb);

/** Intelligibility of speech at the head in noise at the head, heard by both ears inside plugs. */
[[nodiscard]] SpeechIntelligibility speechInRide(const ThirdOctaveSpectrum& speech,
                                                 const ThirdOctaveSpectrum& noise,
                                                 double earPlugDb) noexcept;

/** The noise at the head at a speed in km/h. */
using NoiseAtSpeed = std::function<ThirdOctaveSpectrum(double speedKmh)>;

/** The speed from which a goal is no longer met, to 0.1 km/h, by bisection between 5 and 300 km/h;
    the noise may not fall with speed. 0 if it is not met even at 5 km/h, empty if it still is at
    300. */
[[nodiscard]] std::optional<double> drowningSpeedKmh(const ThirdOctaveSpectrum& programme,
                                                     const NoiseAtSpeed& noise, double earPlugDb,
                                                     const AudibilityGoal& goal);

/** Noise of a modelled ride (wind, tyre, engine) at the ear as third octaves, after the helmet and
    before ear plugs, whatever plugs the parameters name. */
[[nodiscard]] ThirdOctaveSpectrum rideNoiseSpectrum(const ride::RideParameters& parameters);

/** Amplifier power that a gain needs, as a multiple of what is used now. */
[[nodiscard]] double powerRatio(double gainDb) noexcept;

/** The same for gains band by band, dB: the more a band holds of what is played (dBFS), the more
    its gain costs. As if the speaker took alike at all frequencies. */
[[nodiscard]] double powerRatio(const ThirdOctaveSpectrum& playedDbfs,
                                std::span<const double> gainsDb) noexcept;

/** Power into speakers that makes a level at a distance, as in the free field, where level falls 6
    dB a doubling of distance; several speakers add in power. */
struct SpeakerPower {
    double sensitivityDb = 88.0; ///< SPL at 1 m with 1 W.
    double distanceMetres = 0.8;
    double numSpeakers = 2.0;

    bool operator==(const SpeakerPower&) const = default;

    /** W for each of the speakers; what a peak needs is more by the programme's crest factor. */
    [[nodiscard]] double wattsEach(double levelDb) const noexcept;
};

/** Figures that these results rest on, for an app or report to show; those of the noise are
    ride::rideFigures(). */
[[nodiscard]] std::vector<dsp::ModelFigure> hearingFigures();

} // namespace saddletone::hearing
