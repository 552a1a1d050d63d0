#pragma once

#include <span>

namespace saddletone::seat {

/** Turns the response of a whole bike, both sides together, into the share that one channel of the
    programme has of it: half below some 600 Hz, where both sides' sound adds up at the ears as it
    did at the microphone, and half of the power above, where it does not any more. */
void shareOfWholeInPlace(double sampleRate, std::span<double> taps);

/** The way back: the response of one side, played by its own channel, on the scale of a whole bike's,
    so that candidates of either kind can be set beside each other. Exactly the inverse. */
void wholeOfShareInPlace(double sampleRate, std::span<double> taps);

} // namespace saddletone::seat
