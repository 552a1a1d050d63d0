#pragma once

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Biquad.h"

#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::tuning {

/** Kinds of element in a chain. */
enum class ElementType {
    gain,
    peaking,
    lowShelf,
    highShelf,
    highPass,
    lowPass,
    allPass,
    notch,
    graphic,
    delay,
    polarity,
    limiter
};

/** Alignment of a high-pass or low-pass. Butterworth and Bessel are 3 dB down at the frequency,
    Linkwitz-Riley 6 dB. */
enum class Alignment { butterworth, linkwitzRiley, bessel };

/** Bands of the graphic equaliser: third octaves from 20 Hz to 20 kHz. */
inline constexpr std::size_t numGraphicBands = 31;
/** q of each graphic band: a third octave wide between the points of half its gain in dB,
    1 / (2 sinh(ln 2 / 6)). */
inline constexpr double graphicBandQ = 4.318473046963146;

/** One element of a chain; which fields count depends on type. */
struct Element {
    ElementType type = ElementType::gain;
    double frequencyHz = 1000.0; ///< Filters: 10 to 24000. Shelf: frequency of half the gain in dB.
    double gainDb = 0.0;         ///< gain, peaking, shelves: -40 to 40. Positive = boost.
    double q = 0.70710678;       ///< peaking, shelves, notch, all-pass of order 2: 0.1 to 30.
    std::optional<double> slope {}; ///< Shelves, instead of q: 0.1 to 1 (the cookbook's S).
    Alignment alignment = Alignment::butterworth; ///< highPass, lowPass.
    int order = 2;        ///< Passes: 1 to 8; Linkwitz-Riley 2, 4 or 8; all-pass: 1 or 2.
    double delayMs = 0.0; ///< delay: 0 to 100; parts of a sample count.
    std::array<double, numGraphicBands> bandGainsDb {}; ///< graphic: -40 to 40 each.
    double thresholdDbfs = 0.0;                         ///< limiter: -60 to 0.
    double attackMs = 5.0;                              ///< limiter: 0.01 to 1000.
    double releaseMs = 100.0;                           ///< limiter: 1 to 10000.
    std::string label {};                               ///< For people: "Bass +3"; may be empty.

    bool operator==(const Element&) const = default;
};

/** q of a peaking element or shelf, worked out from the slope where that is given. */
[[nodiscard]] double elementQ(const Element& element) noexcept;

/** Exact mid-band frequencies of the graphic equaliser (IEC 61260-1, base ten). */
[[nodiscard]] std::array<double, numGraphicBands> graphicFrequenciesHz() noexcept;

/** The analogue filters of an element; empty for gain, delay, polarity and limiter. Bands of a
    graphic that stand at 0 dB are left out. */
[[nodiscard]] std::vector<dsp::AnalogueSection> analogueSections(const Element& element);

/** Complex response that is meant: the analogue prototypes of the cookbook of R. Bristow-Johnson.
    A limiter acts by level and counts as 1. */
[[nodiscard]] std::complex<double> elementResponse(const Element& element, double frequencyHz);

/** The biquads of a filter element at a sample rate, as heard and exported; empty for gain, delay,
    polarity and limiter. */
[[nodiscard]] std::vector<dsp::BiquadCoefficients> designElement(const Element& element,
                                                                 double sampleRate);

/** Name of a type in files and messages. */
[[nodiscard]] std::string_view elementTypeName(ElementType type) noexcept;
/** Name of an alignment in files and messages. */
[[nodiscard]] std::string_view alignmentName(Alignment alignment) noexcept;

/** Which fields of an element count. */
[[nodiscard]] bool isShelf(ElementType type) noexcept;
[[nodiscard]] bool isPass(ElementType type) noexcept;
[[nodiscard]] bool hasGain(ElementType type) noexcept;
[[nodiscard]] bool hasFrequency(ElementType type) noexcept;
/** q counts; for an all-pass this depends on the order, for a shelf on the slope. */
[[nodiscard]] bool hasQ(const Element& element) noexcept;

} // namespace saddletone::tuning
