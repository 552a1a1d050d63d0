#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Tuning/Tuning.h"

#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace saddletone::tuning {

/** Where the figures of a tone control come from. */
enum class ToneControlStatus { assumed, measured };

/** Name of a status in files and messages. */
[[nodiscard]] std::string_view toneControlStatusName(ToneControlStatus status) noexcept;

/** One of a radio's own tone controls: a shelf or a peaking filter that is turned in steps. Step 0
    changes nothing. */
struct ToneControl {
    std::string name;                         ///< As the radio calls it: "Bass".
    ElementType type = ElementType::lowShelf; ///< lowShelf, peaking or highShelf.
    double frequencyHz = 100.0; ///< 20 to 20000. Shelf: frequency of half the gain in dB.
    double q = 0.70710678;      ///< 0.1 to 10.
    double lowestDb = -12.0;    ///< -24 to 0; a whole number of steps.
    double highestDb = 12.0;    ///< 0 to 24; a whole number of steps.
    double stepDb = 2.0;        ///< Gain of one step: 0.1 to 12.
    ToneControlStatus status = ToneControlStatus::assumed;
    std::string remark; ///< How it was measured and how well it fits; may be empty.

    [[nodiscard]] int lowestStep() const noexcept;
    [[nodiscard]] int highestStep() const noexcept;
    /** As an element of a chain, labelled by name and step: "Bass +4". */
    [[nodiscard]] Element element(int step) const;

    bool operator==(const ToneControl&) const = default;
};

inline constexpr std::size_t maxToneControls = 5;
/** Settings of all controls together that are searched completely. Judgement: a second of work. */
inline constexpr std::size_t maxToneSettings = 1'000'000;

/** A radio's own tone controls. */
struct ToneControls {
    std::string name;
    std::vector<ToneControl> controls; ///< 1 to maxToneControls, each with a name of its own.

    /** Measured only if every control is. */
    [[nodiscard]] ToneControlStatus status() const noexcept;

    bool operator==(const ToneControls&) const = default;
};

/** The controls that are turned, as elements; steps: one for each control, within its range. */
[[nodiscard]] std::vector<Element> toneElements(const ToneControls& model,
                                                std::span<const int> steps);

/** The same as a tuning on all outputs, named in words. */
[[nodiscard]] Tuning toneTuning(const ToneControls& model, std::span<const int> steps);

/** "Bass -4 and Treble +2"; "all tone controls at 0". */
[[nodiscard]] std::string toneWords(const ToneControls& model, std::span<const int> steps);

/** Adds a control, in the place of the one of that name where there is one. Fails if there would be
    too many controls or too many settings. */
[[nodiscard]] dsp::Result<void> setToneControl(ToneControls& model, ToneControl control);

[[nodiscard]] nlohmann::json toneControlsToJson(const ToneControls& model);
/** Checks every range. source: named in error messages. */
[[nodiscard]] dsp::Result<ToneControls> toneControlsFromJson(const nlohmann::json& json,
                                                             std::string_view source);

[[nodiscard]] dsp::Result<void> saveToneControls(const ToneControls& model,
                                                 const std::filesystem::path& file);
[[nodiscard]] dsp::Result<ToneControls> loadToneControls(const std::filesystem::path& file);

} // namespace saddletone::tuning
