#pragma once

#include "Core/Dsp/AudioBuffer.h"
#include "Core/Measure/Response.h"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace saddletone::demo {

/** A radio profile of the demo's invented bike as its level at the rider's head. */
struct DemoProfile {
    std::string name;
    std::vector<double> frequenciesHz; ///< Ascending.
    std::vector<double> levelsDb;      ///< Re the middle of the range.
};

/** A state of the invented bike that the demo records. */
struct DemoState {
    std::string id;
    measure::BikeState state;
    DemoProfile profile;
};

/** The states of the invented bike. Their shapes follow what is met in the trade (common practice,
    no source): a stock profile flat from 200 Hz up with a slight bump at 160 Hz and about 9 dB more
    from 50 to 125 Hz; another curve of the same profile once the engine runs; and an alternative
    profile that is flat from 80 to 160 Hz, slightly lifted in the vocal range, and the same parked
    and running. The figures are made up. */
[[nodiscard]] std::vector<DemoState> demoStates();

/** The recorder that the demo pretends to have used. */
struct DemoRecorder {
    double sampleRate = 44100.0;
    double clockPpm = 63.0;    ///< How much faster its clock runs than the player's.
    double startSeconds = 1.7; ///< Recorded before the track starts.
    double gainDb = -4.0;
    double ambientDbfs = -72.0; ///< AES17 level of the place's noise.
    double engineDbfs = -48.0;  ///< AES17 level of the engine where it runs.
    std::uint64_t seed = 7;
};

/** Level of a profile at a frequency in dB: straight lines over log frequency. */
[[nodiscard]] double profileLevelDb(const DemoProfile& profile, double frequencyHz);

/** What the recorder takes down when a track (one channel) is played through the invented bike:
    profile, two early reflections, noise, the engine if it runs, another clock and rate. */
[[nodiscard]] dsp::AudioBuffer recordOnDemoBike(const dsp::AudioBuffer& track,
                                                const DemoState& state,
                                                const DemoRecorder& recorder);

} // namespace saddletone::demo
