#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Measure/Response.h"
#include "Core/Tuning/AmplifierPower.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/Tuning.h"

#include <optional>
#include <string>
#include <vector>

namespace saddletone::tuning {

/** What a tuning is to be costed on. */
struct CostRequest {
    Tuning tuning;
    OutputGroup output = OutputGroup::all; ///< Whose chains act; the speakers are the output's.
    Speaker speaker;
    Amplifier amplifier; ///< One channel a speaker.
    /** Unweighted SPL of pink noise at the rider's head before the tuning, all bands; 40 to 130. */
    double plannedSplDb = 90.0;
    double distanceMetres = 0.8; ///< Speaker to head; 0.2 to 5. The default is judgement.
    double crestFactorDb = pinkCrestFactorDb; ///< 3 to 30.
    /** The bike as measured, if it was: see TuningCost::measuredExcessDb. */
    std::optional<measure::Response> measured;
};

/** Most that a radio is taken to boost by itself: tone controls reach 10 to 12 dB (common practice,
    no source). */
inline constexpr double mostRadioBoostDb = 12.0;

/** A third octave of pink noise before and after a tuning, volume left alone. */
struct CostBand {
    double frequencyHz = 0.0;
    double boostDb = 0.0;      ///< Of the tuning, mean power in the band.
    double radioBoostDb = 0.0; ///< Taken to be the radio's own, in both states; 0 or above.
    double wattsBefore = 0.0;  ///< Of one speaker, mean, into the nominal impedance.
    double wattsAfter = 0.0;
    double excursionBeforeMm = 0.0; ///< Peak, of this band alone: RMS times the crest factor.
    double excursionAfterMm = 0.0;
    double splBeforeDb = 0.0; ///< At the head, all speakers.
    double splAfterDb = 0.0;

    bool operator==(const CostBand&) const = default;
};

/** Speaker and amplifier at one setting of the volume; margins are negative beyond a limit. */
struct DriveState {
    double splDb = 0.0;             ///< At the head.
    double wattsPerSpeaker = 0.0;   ///< Mean.
    double peakVolts = 0.0;         ///< Programme's peaks.
    double peakExcursionMm = 0.0;   ///< All bands: RMS sum times the crest factor.
    double largestBandHz = 0.0;     ///< Where the cone moves most.
    double excursionMarginDb = 0.0; ///< How far the volume can go up until xmaxMm.
    double clipMarginDb = 0.0;      ///< Until the amplifier clips.
    double powerMarginDb = 0.0;     ///< Until powerLimitWatts.
    double splAtExcursionLimitDb = 0.0;
    double splAtClippingDb = 0.0;

    bool operator==(const DriveState&) const = default;
};

/** Share of a range of frequencies in the extra power. */
struct ExtraPower {
    double fromHz = 0.0;
    double toHz = 0.0;
    double watts = 0.0; ///< Of one speaker; below 0 where the tuning cuts.

    bool operator==(const ExtraPower&) const = default;
};

/** What a tuning asks of speaker and amplifier: estimates, as the speaker's data, the distance law
    and the flat radio are. */
struct TuningCost {
    std::vector<CostBand> bands; ///< Third octaves from 20 Hz to 20 kHz.
    DriveState before;
    DriveState after;
    double extraWatts = 0.0;            ///< Of one speaker.
    std::vector<ExtraPower> extraPower; ///< Below 100 Hz, to 1 kHz, above.
    double largestBoostDb = 0.0;
    double largestBoostHz = 0.0;
    double boostFromHz = 0.0; ///< Bands around it with at least half of it in dB.
    double boostToHz = 0.0;
    /** How far, at most, a response measured at the head stands above the speaker's own curve below
        500 Hz, both re 500 Hz to 2 kHz. The radio is taken to boost there, as the cone has to move
        for that sound; walls near the speaker look the same and need no drive, so that this errs on
        the safe side. Up to mostRadioBoostDb; what is beyond means that the data are not those of
        this bike's speakers, and widens the uncertainty to that of assumed ones. */
    double measuredExcessDb = 0.0;
    double measuredExcessHz = 0.0;
    double sensitivityDbSpl = 0.0;
    double resonanceHz = 0.0;
    double resonanceQ = 0.0;
    /** Half-width, in dB, of what margins are to be read with. Judgement: 3 for measured data, 4
        for a data sheet, 6 for assumptions. */
    double uncertaintyDb = 6.0;
    bool hasLimiter = false; ///< In the tuning; not in these figures.
};

/** The output that a cost is asked for: all speakers where the tuning treats them alike, else the
    left ones. */
[[nodiscard]] OutputGroup costedOutput(const Tuning& tuning);

/** Refuses what checkApplies() does, and numbers out of range. */
[[nodiscard]] dsp::Result<TuningCost> computeCost(const CostRequest& request);

/** What is to be said of a cost, a sentence or two each: level, amplifier, cone, highest levels,
    then what is data and what an estimate. */
[[nodiscard]] std::vector<std::string> costSentences(const CostRequest& request,
                                                     const TuningCost& cost);

} // namespace saddletone::tuning
