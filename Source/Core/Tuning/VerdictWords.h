#pragma once

#include "Core/Tuning/Verdict.h"

#include <span>
#include <string>
#include <string_view>

namespace saddletone::tuning {

/** "the Touring profile". */
[[nodiscard]] std::string profileWords(std::string_view profile);

/** Third-octave mid-bands: "80 Hz, 100 Hz and 1.25 kHz". */
[[nodiscard]] std::string bandsWords(std::span<const double> bandsHz);

/** "from 80 Hz to 12 kHz". */
[[nodiscard]] std::string rangeWords(const Sufficiency& sufficiency);

/** What came of a means, as a sentence. numFilters and steps are those of the result. */
[[nodiscard]] std::string reasonOf(const MeansResult& result, const Sufficiency& sufficiency);

/** What becomes of a DSP set parked. changes: the radio plays another curve with the engine running,
    beyond what the measurements leave open. */
[[nodiscard]] std::string reasonOf(const ParkedDsp& dsp, const Sufficiency& sufficiency,
                                   bool changes);

/** The verdict as a whole, from its means and what was chosen. */
[[nodiscard]] std::string sentenceOf(const Verdict& verdict, const Sufficiency& sufficiency);

} // namespace saddletone::tuning
