#pragma once

#include "Core/Measure/Comparison.h"
#include "Core/Measure/Response.h"
#include "Core/Report/SpeedUnits.h"
#include "Core/Tuning/Tuning.h"

#include <string>

namespace saddletone::report {

/** A number with a true minus sign and a dot; a dash for what is not finite. */
[[nodiscard]] std::string numberText(double value, int decimals);

/** The same with a plus sign where it is above 0. */
[[nodiscard]] std::string signedText(double value, int decimals);

/** A third-octave mid-band as it is called: "80 Hz", "1.25 kHz". */
[[nodiscard]] std::string frequencyWords(double thirdOctaveCentreHz);

/** "parked", "75 mph (121 km/h)", "75 mph" or "121 km/h". */
[[nodiscard]] std::string speedWords(double speedKmh, SpeedUnits units = SpeedUnits::both);

/** "parked, engine off", "parked, engine idling", "engine running, 45 mph (72 km/h)". */
[[nodiscard]] std::string conditionWords(const measure::BikeState& state,
                                         SpeedUnits units = SpeedUnits::both);

/** One standard deviation of the largest difference of a comparison, in dB. */
[[nodiscard]] double uncertaintyOfLargestDb(const measure::Comparison& comparison);

/** Says whether a bike plays another curve in the state `other` than parked with its engine off,
    with the largest difference set against what the measurement can tell. */
[[nodiscard]] std::string verdictSentence(const measure::BikeState& other,
                                          const measure::Comparison& comparison,
                                          SpeedUnits units = SpeedUnits::both);

/** "less than once in 1000 times", "about once in 40 times", "more often than not". */
[[nodiscard]] std::string chanceWords(double chance);

/** What a verdict rests on, over all bands; empty where fewer than two can be trusted. */
[[nodiscard]] std::string evidenceSentence(const measure::Comparison& comparison);

/** "-6.3 dB at 100 Hz; RMS 2.9 dB", or that no band could be trusted. */
[[nodiscard]] std::string evennessWords(const measure::Flatness& flatness);

/** One element of a tuning as a shop would dial it in. */
[[nodiscard]] std::string elementWords(const tuning::Element& element);

/** All elements of a tuning, chain by chain. */
[[nodiscard]] std::string tuningWords(const tuning::Tuning& tuning);

/** A name behind the mark that stands for it in graphs: "A Factory, parked". */
[[nodiscard]] std::string marked(const std::string& mark, const std::string& name);

/** "12.0 dB below", "3.0 dB above", "equal". */
[[nodiscard]] std::string balanceWords(double programmeOverWindDb);

} // namespace saddletone::report
