#pragma once

#include "Core/Dsp/Result.h"

#include <array>
#include <span>
#include <string_view>

namespace saddletone::ride {

/** What the rider wears on the head. */
enum class Helmet { none, openFace, fullFace };

inline constexpr std::array allHelmets {Helmet::none, Helmet::openFace, Helmet::fullFace};

/** The word used in files and on the command line: none, open, full. */
[[nodiscard]] std::string_view helmetName(Helmet helmet) noexcept;

/** The words for a reader: "no helmet", "open-face helmet", "full-face helmet". */
[[nodiscard]] std::string_view helmetLabel(Helmet helmet) noexcept;

[[nodiscard]] dsp::Result<Helmet> parseHelmet(std::string_view name);

/** Octave centres of the helmet and wind tables, in Hz. */
[[nodiscard]] std::span<const double> octaveCentresHz() noexcept;

/** Insertion loss in dB at a frequency (negative = the helmet amplifies): what the helmet takes
    from sound that comes from outside it: loudspeakers, engine, tyres. It never applies to wind
    noise, which arises at the helmet and is modelled as heard under it.

    Full face: the slope above 500 Hz, the end point near 30 dB at 8 kHz and the gain below 250 Hz
    follow Mlynski et al., Int. J. Occup. Saf. Ergon. 15(3):287-293, 2009; Acta Acustica united
    with Acustica, doi 10.3813/aaa.918679; Kennedy et al., 161st ASA, 2011. The size of the
    low-frequency gain and the whole open-face row are judgement. Between octave centres linear in
    dB over log frequency; beyond the ends the end value holds. */
[[nodiscard]] double insertionLossDb(Helmet helmet, double frequencyHz) noexcept;

} // namespace saddletone::ride
