#pragma once

#include "Core/Measure/Response.h"

#include <cstddef>
#include <optional>
#include <span>
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
    /** How far the band stands from the difference that all bands share, in standard deviations
        with the repeatability among them; 0 where not trusted. */
    double sigmas = 0.0;

    bool operator==(const BandDifference&) const = default;
};

/** What speaks for two curves being different, over all trusted bands.

    The difference that all bands share (their mean, weighted by certainty) is a matter of level and
    is taken out first. Then three questions are asked: is the sum of squares of all bands larger
    than chance gives (chi-square), is the largest band larger than the largest of so many would be
    by chance (Sidak), and the same of the largest octave, three bands together. The answer is the
    most certain of the three, its chance tripled for having asked three times (Bonferroni). */
struct CurveEvidence {
    std::size_t numBands = 0;      ///< Trusted in both; fewer than two tell nothing.
    double repeatabilityDb = 0.25; ///< Assumed spread of a difference beside the noise: judgement.
    double rmsDb = 0.0;            ///< Of the bands' differences, the shared one taken out.
    double expectedRmsDb = 0.0;    ///< What noise and repeatability alone would give.
    double chiSquare = 0.0;
    std::size_t degreesOfFreedom = 0;
    double chanceOfAll = 1.0;     ///< That equal curves would give such a chi-square.
    double mostSigmas = 0.0;      ///< Signed; of the band that stands out most.
    double mostSigmasAtHz = 0.0;  ///< 0: no band.
    double chanceOfLargest = 1.0; ///< That any band of equal curves would stand out as much.
    double octaveSigmas = 0.0;    ///< Signed; of the octave that stands out most.
    double octaveAtHz = 0.0;      ///< Its middle band; 0: no three trusted bands in a row.
    double chanceOfOctave = 1.0;  ///< That any octave of equal curves would stand out as much.
    double chance = 1.0;          ///< That equal curves would look as different as these.
};

/** How two bike states differ in shape; differences in level alone do not count. */
struct Comparison {
    std::vector<BandDifference> bands; ///< Third octaves.
    double levelDifferenceDb = 0.0;    ///< other minus reference, mean from 500 Hz to 2 kHz.
    double largestDifferenceDb = 0.0;  ///< Signed; over trusted bands.
    double largestAtHz = 0.0;
    /** Another curve: the largest difference is above 1 dB, and the chance that equal curves would
        look as different is below 1 %. */
    bool significant = false;
    CurveEvidence evidence;
    /** Size from which a difference in the largest one's band alone makes another curve. */
    double leastCountingDb = 0.0;
};

/** Compares two responses band by band. */
[[nodiscard]] Comparison compareResponses(const Response& reference, const Response& other);

/** A rise or a dip of a curve. Read from third octaves, so what is narrower shows as a third of an
    octave wide. */
struct Bump {
    double heightDb = 0.0;     ///< Above what surrounds it; below 0 for a dip.
    double peakHz = 0.0;       ///< Mid-band of the band that stands out most.
    double centreHz = 0.0;     ///< Midway, in octaves, between the points of half its height in dB.
    double lowerHz = 0.0;      ///< Where it has half its height, below the peak.
    double upperHz = 0.0;      ///< The same above it.
    double widthOctaves = 0.0; ///< From lowerHz to upperHz.
    /** The trusted bands end before it falls to half its height: it is at least as wide as
        stated. */
    bool isOpen = false;
    double uncertaintyDb = 0.0; ///< One standard deviation of the peak band.

    bool operator==(const Bump&) const = default;
};

/** The highest rise of a response above the median of its trusted bands from fromHz to toHz; none
    where fewer than three can be trusted or nothing rises above the median. The median, as a wide
    bump would lift a mean and look smaller than it is. The peak is looked for in the range; its
    width may reach beyond. */
[[nodiscard]] std::optional<Bump> largestBump(const Response& response, double fromHz, double toHz);

/** The deepest dip, counted the same way. */
[[nodiscard]] std::optional<Bump> largestDip(const Response& response, double fromHz, double toHz);

/** Where a comparison's largest difference lies and how wide it is, counted from no difference. */
[[nodiscard]] std::optional<Bump> largestChange(const Comparison& comparison);

/** How even a response is over a range, in third octaves that may be trusted. */
struct Flatness {
    double fromHz = 80.0;
    double toHz = 12000.0;
    double rmsDb = 0.0;     ///< RMS deviation from the mean of the bands.
    double largestDb = 0.0; ///< Signed largest deviation.
    double largestAtHz = 0.0;
    std::size_t numBands = 0; ///< 0: no band could be trusted.
};

/** How two responses' direct sounds stand to each other. */
enum class RelativePolarity { unknown, same, reversed };

/** How well the right side of a bike matches its left. */
struct SideMatch {
    double fromHz = 80.0;
    double toHz = 12000.0;
    std::vector<BandDifference> bands; ///< In the range; the sides' own means there taken out.
    std::size_t numBands = 0;          ///< Trusted on both sides; 0: nothing can be said.
    double levelDifferenceDb = 0.0;    ///< Right minus left, mean of the trusted bands.
    double rmsDb = 0.0;                ///< Of the differences in shape.
    double largestDb = 0.0;            ///< Signed, right minus left.
    double largestAtHz = 0.0;
    /** From the correlation of the arrivals between 100 Hz and 1.5 kHz, or where these are too
        unlike, from the two responses' own polarities. */
    RelativePolarity polarity = RelativePolarity::unknown;
};

/** Sets the right side of a bike against its left. Level counts here, other than between states:
    both sides have to be measured with the same gains. */
[[nodiscard]] SideMatch matchSides(const Response& left, const Response& right, double fromHz,
                                   double toHz);

/** The two states are of the same profile and engine, and of the same speakers of either side. */
[[nodiscard]] bool areSidesOfOne(const BikeState& one, const BikeState& other) noexcept;

/** By how many milliseconds the direct sound of a response arrives later than that of another, if
    both know that they are of one recording of one file played through; nothing otherwise. See
    arrivalDifferenceMs(). */
[[nodiscard]] std::optional<double> arrivalInOneRecordingMs(const Response& reference,
                                                            const Response& other);

/** Deviations count from the mean level, in dB, of the bands from fromHz to toHz. */
[[nodiscard]] Flatness flatnessOf(const Response& response, double fromHz, double toHz);

/** Mean level of the trusted bands in a range, in dB; 0 if there is none. */
[[nodiscard]] double meanBandLevelDb(const Response& response, double fromHz, double toHz);

} // namespace saddletone::measure
