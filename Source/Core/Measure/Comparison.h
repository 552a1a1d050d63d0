#pragma once

#include "Core/Measure/Response.h"

#include <string>
#include <vector>

namespace saddletone::measure {

/** One band of two responses set against each other. */
struct BandDifference {
    double frequencyHz = 0.0;
    double referenceDb = 0.0;   ///< Re the reference's mean from 500 Hz to 2 kHz.
    double otherDb = 0.0;       ///< Re the other's own mean from 500 Hz to 2 kHz.
    double differenceDb = 0.0;  ///< other minus reference.
    double uncertaintyDb = 0.0; ///< One standard deviation of the difference.
    bool trusted = false;       ///< Both measurements may be relied on here.

    bool operator==(const BandDifference&) const = default;
};

/** How two bike states differ in shape; differences in level alone do not count. */
struct Comparison {
    std::vector<BandDifference> bands; ///< Third octaves.
    double levelDifferenceDb = 0.0;    ///< other minus reference, mean from 500 Hz to 2 kHz.
    double largestDifferenceDb = 0.0;  ///< Signed; over trusted bands.
    double largestAtHz = 0.0;
    bool significant = false; ///< The largest is above 1 dB and three standard deviations.
};

/** Compares two responses band by band. */
[[nodiscard]] Comparison compareResponses(const Response& reference, const Response& other);

/** How even a response is over a range, in third octaves that may be trusted. */
struct Flatness {
    double fromHz = 80.0;
    double toHz = 12000.0;
    double rmsDb = 0.0;     ///< RMS deviation from the mean of the bands.
    double largestDb = 0.0; ///< Signed largest deviation.
    double largestAtHz = 0.0;
    std::size_t numBands = 0; ///< 0: no band could be trusted.
};

/** Deviations count from the mean level, in dB, of the bands from fromHz to toHz. */
[[nodiscard]] Flatness flatnessOf(const Response& response, double fromHz, double toHz);

/** Mean level of the trusted bands in a range, in dB; 0 if there is none. */
[[nodiscard]] double meanBandLevelDb(const Response& response, double fromHz, double toHz);

} // namespace saddletone::measure
