#pragma once

namespace saddletone::tuning {

/** Peak over RMS of pink noise: what it exceeds for 0.006 % of the time, 4 standard deviations of a
    normal distribution. */
inline constexpr double pinkCrestFactorDb = 12.0;
/** Of loudly mastered music; a dynamic recording reaches 16 dB and more. Judgement. */
inline constexpr double loudMusicCrestFactorDb = 10.0;

/** An amplifier channel on one speaker. */
struct Amplifier {
    double powerWatts = 20.0;  ///< Sine, both halves just unclipped, into the impedance; above 0.
    double impedanceOhm = 4.0; ///< That of the power; the voltage is the same for any other.

    /** Largest voltage before it clips. */
    [[nodiscard]] double peakVolts() const noexcept;

    bool operator==(const Amplifier&) const = default;
};

/** Power of one speaker for an SPL. sensitivityDbSpl: of one speaker at 1 m for 1 W. Distance
    counts 6 dB a doubling (no walls), several speakers add by power. */
[[nodiscard]] double wattsForSpl(double splDb, double sensitivityDbSpl, double distanceMetres,
                                 int numSpeakers) noexcept;

/** What remains until the peaks of a programme of an RMS voltage and crest factor clip; negative:
    they do. */
[[nodiscard]] double clipMarginDb(const Amplifier& amplifier, double programmeVolts,
                                  double crestFactorDb) noexcept;

} // namespace saddletone::tuning
