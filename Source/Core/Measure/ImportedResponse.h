#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Response.h"

#include <cstddef>
#include <optional>
#include <string>

namespace saddletone::measure {

/** What a table or an impulse response from elsewhere does not tell. Both are judgement: they say
    "not known" in numbers that comparisons can go on with, and a remark says so. */
inline constexpr double assumedUncertaintyDb = 1.0; ///< One standard deviation of a band's level.
inline constexpr double assumedSnrDb = 30.0;

/** How results of other instruments become a response. */
struct ImportSettings {
    std::string source; ///< What messages and remarks call it: the file's name.
    std::string name;
    BikeState state;
    double sampleRate = 48000.0;        ///< Of responses made from tables; 8 to 384 kHz.
    std::optional<std::size_t> channel; ///< Of an impulse response, 0 = first; missing: loudest.
};

/** A response from a table of frequency, level and perhaps phase.

    Between the lines the level runs straight in dB over log frequency; beyond the table it keeps
    the end values, and so does a given phase once a common delay is out of it. Without a phase
    column, or where its lines are too far apart to follow the
    phase, the response is made minimum phase. A table whose level from 500 Hz to 2 kHz lies beyond
    30 dB holds sound pressure levels and not gains; it is moved to 0 dB there. Bands are trusted
    inside the table where its lines stand no more than an octave apart. Remarks say all of this.
    Refused: fewer than three lines, less than an octave, nothing below half the sample rate. */
[[nodiscard]] dsp::Result<Response> importTable(const files::FrequencyTable& table,
                                                const ImportSettings& settings);

/** A response of minimum phase from third-octave levels of pink noise. The curve is drawn so that
    its mean power in each band is the band's level; the mean from 500 Hz to 2 kHz (of all bands if
    there is none) becomes 0 dB. A third column is not read. Refused: frequencies that are no
    third-octave mid-bands, the same band twice, fewer than three bands. */
[[nodiscard]] dsp::Result<Response> importThirdOctaves(const files::FrequencyTable& table,
                                                       const ImportSettings& settings);

/** A response from an impulse response. Its start is the first sample within 20 dB of the highest
    (ISO 3382-1), its arrival the highest sample within 1 ms from there; 0.35 s before and 2 s after
    the arrival are kept. Refused: silence, a channel that does not exist, less than 5 ms after the
    arrival. */
[[nodiscard]] dsp::Result<Response> importImpulse(const dsp::AudioBuffer& audio,
                                                  const ImportSettings& settings);

} // namespace saddletone::measure
