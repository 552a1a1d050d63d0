#pragma once

#include "Core/Dsp/Units.h"
#include "Core/Ride/RecordedNoise.h"
#include "Core/Ride/RideParameters.h"

namespace saddletone::ride {

/** A-weighted levels of a modelled ride at one ear in dB SPL, after helmet and plugs;
    dsp::silenceDb where there is nothing. */
struct RideLevels {
    double windDba = dsp::silenceDb;
    double tyreDba = dsp::silenceDb;
    double engineDba = dsp::silenceDb;
    double totalDba = dsp::silenceDb;

    bool operator==(const RideLevels&) const = default;
};

/** The levels of rideSpectrum() to within 0.1 dB, bounded and without allocation: for the audio
    thread. parameters: any. */
[[nodiscard]] RideLevels rideLevels(const RideParameters& parameters) noexcept;

/** A-weighted level of recorded noise with its tones, mean power of both ears, dBFS by AES17. */
[[nodiscard]] double levelDbfsA(const NoiseState& state) noexcept;

} // namespace saddletone::ride
