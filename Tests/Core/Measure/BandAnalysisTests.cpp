#include "Core/Measure/BandAnalysis.h"

#include "Core/Signals/Signal.h"

#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace saddletone;

TEST_CASE("Pink noise reads flat in every fraction of an octave", "[core][measure]")
{
    signals::SignalRequest request;
    request.repetition = signals::Repetition::periodic;
    const auto pink = signals::makeSignal(request);
    REQUIRE(pink);
    for (const int bandsPerOctave : {3, 6, 12, 24}) {
        const auto analysis = measure::analyseBands(pink->audio, bandsPerOctave, dsp::Weighting::z);
        double mean = 0.0;
        for (const double level : analysis.levelsDbfs)
            mean += level / static_cast<double>(analysis.levelsDbfs.size());
        // A band that holds n lines of the periodic noise may hold one more or less at its edges.
        const double lineHz = 48000.0 / static_cast<double>(pink->description.periodFrames);
        for (std::size_t band = 0; band < analysis.bands.size(); ++band) {
            const double lines =
                (analysis.bands[band].upperHz - analysis.bands[band].lowerHz) / lineHz;
            if (analysis.bands[band].centreHz > 24.0)
                CHECK(analysis.levelsDbfs[band]
                      == Approx(mean).margin(0.03 + 10.0 * std::log10(1.0 + 1.0 / lines)));
        }
        CHECK(analysis.totalDbfs == Approx(-20.0).margin(0.01));
    }
}

TEST_CASE("A weighting takes 19.1 dB off a tone of 100 Hz", "[core][measure]")
{
    // IEC 61672-1, table of weightings.
    std::vector<float> tone(48000);
    for (std::size_t frame = 0; frame < tone.size(); ++frame)
        tone[frame] = static_cast<float>(
            0.5 * std::sin(2.0 * std::numbers::pi * 100.0 / 48000.0 * static_cast<double>(frame)));
    const dsp::AudioBuffer audio {48000.0, {tone}};
    CHECK(measure::analyseBands(audio, 3, dsp::Weighting::z).totalDbfs
          == Approx(-6.02).margin(0.01));
    CHECK(measure::analyseBands(audio, 3, dsp::Weighting::a).totalDbfs
          == Approx(-6.02 - 19.1).margin(0.06));
}
