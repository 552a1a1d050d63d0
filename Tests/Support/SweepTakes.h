#pragma once

#include "Core/Measure/Measurement.h"
#include "Core/Signals/Signal.h"
#include "Support/SimulatedBike.h"

#include <vector>

namespace saddletone::test {

/** A sweep track at -12 dBFS; fails the test if it cannot be made. */
[[nodiscard]] signals::Signal makeSweepTrack(double seconds, double sampleRate = 48000.0);

/** A short track at a low rate, for tests of many measurements: a sweep from 40 Hz to 1.7 kHz at 4 kHz
    between markers of 300 Hz to 1.5 kHz. */
[[nodiscard]] signals::Signal makeSmallSweepTrack(double seconds);

/** A response of the takes; fails the test if it is refused. */
[[nodiscard]] measure::Response measureTakes(const signals::Signal& track,
                                             std::vector<measure::Recording> takes);

/** A sound at its own rate as a recording without a recorder: a second of silence around it. */
[[nodiscard]] measure::Recording asRecording(const std::vector<double>& sound, double sampleRate);

/** Largest deviation in dB of a response's magnitude, over twenty-fourths of an octave, from the
    simulated bike's with a gain. */
[[nodiscard]] double largestErrorDb(const measure::Response& response, double fromHz, double toHz,
                                    double gainDb = 0.0);

/** True level of a band of the simulated bike in dB. */
[[nodiscard]] double bikeBandDb(double centreHz);

} // namespace saddletone::test
