#pragma once

#include "Core/Dsp/AnalogueSection.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/HarmonicDistortion.h"

#include <array>
#include <complex>
#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::measure {

/** A section of minimum phase with a gain of 1 far above its frequencies. */
struct DriveSection {
    double zeroHz = 1000.0; ///< 1 to 100000.
    double zeroQ = 0.7;     ///< 0.1 to 20.
    double poleHz = 1000.0;
    double poleQ = 0.7;

    bool operator==(const DriveSection&) const = default;

    [[nodiscard]] dsp::AnalogueSection analogue() const noexcept;
};

/** A measurement that a model was made from. */
struct DrivenTake {
    std::string name;
    double driveDbfs = -12.0;   ///< Of its sweep at the model's volume, AES17.
    bool driveIsStated = false; ///< By the user; else from the level of the linear part.

    bool operator==(const DrivenTake&) const = default;
};

/** Fundamentals between two frequencies. */
struct FundamentalRange {
    double fromHz = 0.0;
    double toHz = 0.0;

    bool operator==(const FundamentalRange&) const = default;
};

/** Where a model speaks of a harmonic, and why not elsewhere. */
struct OrderSupport {
    int order = 2;
    std::vector<FundamentalRange> ranges; ///< Ascending; none: the order is left out.
    double largestErrorDb = 0.0;          ///< Of the model against any take, inside the ranges.
    std::string words;

    bool operator==(const OrderSupport&) const = default;
};

/** How a speaker distorts, as a generalised Hammerstein model (Novak, Simon, Kadlec and Lotton, IEEE
    TIM 59(8):2257-2266, 2010): what is played goes through a drive filter, of that the powers 1 to 5
    each through a kernel of their own, and the sum is what the microphone heard. The drive filter
    is flat unless harmonics at several levels ask for one; power 1 does not pass it.

    Amplitudes are those of the track: 1 = digital full scale at the volume of the first take.
    It says nothing of sounds that the harmonics of a sweep do not tell: below twice the lowest
    fundamental of a power, above the kernels' band, of limiters that act by time. */
struct HammersteinModel {
    std::string name;
    double sampleRate = 48000.0;
    std::size_t arrivalFrame = 0; ///< In every kernel; below their length.
    std::vector<DriveSection> driveFilter;
    double driveGainLinear = 1.0; ///< Brings the drive filter's highest gain to 1.
    /** Of powers 1 to 5, all of one length. Powers that are left out are silent. */
    std::array<std::vector<float>, highestHarmonic> kernels;
    std::vector<DrivenTake> takes;    ///< The first is the one whose volume counts.
    std::vector<OrderSupport> orders; ///< 2 to 5.
    std::vector<std::string> remarks;

    [[nodiscard]] double lowestDriveDbfs() const noexcept;
    [[nodiscard]] double highestDriveDbfs() const noexcept;
    /** The model speaks of one order at least. */
    [[nodiscard]] bool speaks() const noexcept;

    /** Complex gain of the drive filter. */
    [[nodiscard]] std::complex<double> driveResponse(double frequencyHz) const noexcept;

    /** Harmonics 1 to 5 of a sine at a level (AES17): complex amplitudes at n times the frequency re
        the sine's, which is of phase 0 as a sine, so that order n has the phase of sin(n w t). */
    [[nodiscard]] std::array<std::complex<double>, highestHarmonic>
    harmonics(double fundamentalHz, double driveDbfs) const;
};

/** What the power of a sine holds of a harmonic: sin^power contains the sine of the order's multiple
    times this; 0 unless both are odd or both even and the order is not above the power. */
[[nodiscard]] std::complex<double> harmonicOfPower(int order, int power) noexcept;

/** MODEL.kernels.wav of MODEL.json. */
[[nodiscard]] std::filesystem::path kernelsPath(const std::filesystem::path& modelFile);

/** Writes MODEL.json and, beside it, MODEL.kernels.wav (32-bit float, powers 1 to 5 as channels). */
[[nodiscard]] dsp::Result<void> saveHammersteinModel(const HammersteinModel& model,
                                                     const std::filesystem::path& modelFile);

/** Reads what saveHammersteinModel() wrote; checks every type and range and the checksum. */
[[nodiscard]] dsp::Result<HammersteinModel>
loadHammersteinModel(const std::filesystem::path& modelFile);

} // namespace saddletone::measure
