#pragma once

#include "Core/Dsp/Result.h"
#include "Core/Seat/HeadModel.h"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace saddletone::seat {

/** What of the head's colour is taken out of the ear filters. In either case both ears are divided
    by the same minimum-phase filter, so their differences in time and level stay. */
enum class PlacementNormalisation {
    /** For each direction the mean power of the two ears, smoothed to a third of an octave, is that
        at the microphone: the bike's timbre as it was measured, with the direction told by the
        difference of the ears and by what is narrower than the smoothing. */
    onAxis,
    /** The mean power of the ears over all directions is that at the microphone (diffuse field); a
        direction keeps the colour by which it differs from the rest. */
    diffuseField,
};

struct PlacementSettings {
    PlacementNormalisation normalisation = PlacementNormalisation::onAxis;
    /** Up to here the ears have 0 dB and the delay of a rigid sphere, from an octave above on the
        set's own responses: sets are measured with small speakers. 50 to 500 Hz. */
    double lowHz = 200.0;

    bool operator==(const PlacementSettings&) const = default;
};

/** The two filters of one speaker. */
struct EarFilters {
    Direction direction;
    double sampleRate = 48000.0;
    std::array<std::vector<double>, numEars> taps; ///< Left and right ear, of one length.
    /** When the sound passes the middle of the head, where the microphone stood: the delay that the
        filters add to a response. Alike for all directions of a model. */
    double headCentreFrame = 0.0;
    /** Arrival at each ear after that, in seconds: negative at the nearer ear. */
    std::array<double, numEars> delaysSeconds {};
};

/** Makes ear filters that go behind a response measured at the head's place without a head. The
    microphone has heard the speaker, the bike and the room already; what is missing is what a head
    adds, and no more of its colour than the normalisation leaves. The head stands still, and
    speakers are as far away as the set's sources. */
class BinauralPlacement {
public:
    BinauralPlacement(HeadModel model, const PlacementSettings& settings);

    [[nodiscard]] const HeadModel& headModel() const noexcept { return model; }
    /** Refused: a direction that the set does not reach. */
    [[nodiscard]] dsp::Result<EarFilters> filters(const Direction& direction) const;

    /** Taps of every filter: 30 ms. */
    [[nodiscard]] std::size_t numTaps() const noexcept { return filterTaps; }

private:
    HeadModel model;
    PlacementSettings settings;
    std::size_t designSize;
    std::size_t filterTaps;
    std::vector<double> commonGain; ///< Takes out what all directions of the set share.
};

/** A speaker's response at the middle of the head (mono taps) at both ears: each is
    taps.size() + filter taps - 1 long, and its sound comes filters.headCentreFrame later. Responses
    of several speakers are added ear by ear. taps must not be empty. */
[[nodiscard]] std::array<std::vector<float>, numEars> convolveToEars(std::span<const float> taps,
                                                                     const EarFilters& filters);

} // namespace saddletone::seat
