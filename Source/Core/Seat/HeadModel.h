#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Seat/SofaFile.h"
#include "Core/Seat/SphericalHead.h"

#include <array>
#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

namespace saddletone::seat {

/** Impulse responses from one direction to both ears. Time is common to all directions of a model,
    so that what is later at an ear stands later in its impulse. */
struct EarImpulses {
    Direction direction;
    std::array<std::vector<double>, numEars> impulses;
    std::array<double, numEars>
        arrivalFrames {}; ///< Of the sound at each ear, in parts of a frame.
};

/** Directions further than this from everything in a set are refused. */
inline constexpr double largestGapDegrees = 15.0;

/** A set of head-related impulse responses, read from a file in SOFA format (AES69, convention
    SimpleFreeFieldHRIR) by libmysofa and converted to a sample rate.

    A sound arrives when its impulse first comes within 20 dB of its highest (as ISO 3382-1 has it).
    Between directions the nearest three are moved to a common arrival,
    averaged by the inverse square of their angle and moved back, so that no comb arises. Sets of
    several distances are read at the one nearest to 1 m, which is where speakers of a bike are. */
class HeadModel {
public:
    /** Refused: files that are not SOFA, other conventions, other than two ears, distances below
        0.2 m (the ear then hears a near field that no speaker of a bike has), fewer than 16
        directions. sampleRate: whole hertz, 8 to 384 kHz. */
    [[nodiscard]] static dsp::Result<HeadModel> load(const std::filesystem::path& file,
                                                     double sampleRate);

    /** The same from what has been read already; source names it in messages. */
    [[nodiscard]] static dsp::Result<HeadModel>
    fromContent(const SofaContent& content, const std::string& source, double sampleRate);

    /** The set that comes with libmysofa (KEMAR dummy head, Gardner and Martin, JASA 97(6), 1995),
        as the build found it; empty if it found none. */
    [[nodiscard]] static std::filesystem::path packagedFile();

    [[nodiscard]] double sampleRate() const noexcept { return rate; }
    [[nodiscard]] double distanceMetres() const noexcept { return distance; }
    /** What the file says of itself: database and head. */
    [[nodiscard]] const std::string& description() const noexcept { return words; }
    /** As far as the file's own sample rate reaches, at most 20 kHz. */
    [[nodiscard]] double highestHz() const noexcept { return topHz; }
    /** When the sound passes the middle of the head, in every impulse: the mean arrival from the
        directions that are no nearer to either ear. */
    [[nodiscard]] double headCentreFrame() const noexcept { return centreFrame; }
    [[nodiscard]] const std::vector<EarImpulses>& measured() const noexcept { return directions; }
    [[nodiscard]] std::size_t impulseFrames() const noexcept;

    /** The share of the sphere that is nearest to each direction, for averages over all of them;
        what is further than largestGapDegrees from any counts for none. The sum is 1. */
    [[nodiscard]] std::vector<double> sphereShares() const;

    /** The pair of a direction; a measured direction gives its own pair back untouched. */
    [[nodiscard]] dsp::Result<EarImpulses> at(const Direction& direction) const;

private:
    HeadModel() = default;

    double rate = 48000.0;
    double distance = 1.0;
    double topHz = 20000.0;
    double centreFrame = 0.0;
    std::string words;
    std::vector<EarImpulses> directions;
};

} // namespace saddletone::seat
