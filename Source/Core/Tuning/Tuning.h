#pragma once

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Result.h"

#include <complex>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

namespace saddletone::tuning {

/** Kinds of element in a chain. */
enum class ElementType { gain, peaking, lowShelf, highShelf, highPass, lowPass, delay, polarity };

/** Alignment of a high-pass or low-pass. */
enum class Alignment { butterworth, linkwitzRiley };

/** One element of a chain; which fields count depends on type. */
struct Element {
    ElementType type = ElementType::gain;
    double frequencyHz = 1000.0; ///< Filters: 10 to 24000. Shelf: frequency of half the gain in dB.
    double gainDb = 0.0;         ///< gain, peaking, shelves: -40 to 40. Positive = boost.
    double q = 0.70710678;       ///< peaking and shelves: 0.1 to 30.
    Alignment alignment = Alignment::butterworth; ///< highPass, lowPass.
    int order = 2;                                ///< Butterworth 1 to 8; Linkwitz-Riley 2, 4 or 8.
    double delayMs = 0.0; ///< delay: 0 to 100; rounded to whole samples when applied.

    bool operator==(const Element&) const = default;
};

/** Where a chain acts. */
enum class OutputGroup { all, left, right };

struct Chain {
    OutputGroup group = OutputGroup::all;
    std::vector<Element> elements;

    bool operator==(const Chain&) const = default;
};

/** What could be changed on the bike: chains of filters, gains, delays and polarity. */
struct Tuning {
    std::string name;
    std::vector<Chain> chains; ///< Every chain that covers a side acts on it, in this order.

    bool operator==(const Tuning&) const = default;
};

/** The biquads of a filter element at a sample rate; empty for gain, delay and polarity. */
[[nodiscard]] std::vector<dsp::BiquadCoefficients> designElement(const Element& element,
                                                                 double sampleRate);

/** Complex response of a tuning on one side (left or right) at a frequency, as it is applied at
    the sample rate. */
[[nodiscard]] std::complex<double> tuningResponse(const Tuning& tuning, OutputGroup side,
                                                  double frequencyHz, double sampleRate);

/** Filters an impulse response (double precision), in place. The span should have room behind the
    sound for the filters to ring out. */
void applyTuning(const Tuning& tuning, OutputGroup side, double sampleRate,
                 std::span<double> impulse);

[[nodiscard]] std::string_view elementTypeName(ElementType type) noexcept;

[[nodiscard]] nlohmann::json tuningToJson(const Tuning& tuning);
/** source: named in error messages. */
[[nodiscard]] dsp::Result<Tuning> tuningFromJson(const nlohmann::json& json,
                                                 std::string_view source);

[[nodiscard]] dsp::Result<void> saveTuning(const Tuning& tuning, const std::filesystem::path& file);
[[nodiscard]] dsp::Result<Tuning> loadTuning(const std::filesystem::path& file);

} // namespace saddletone::tuning
