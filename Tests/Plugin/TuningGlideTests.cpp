#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Gui/ElementWords.h"
#include "Support/TuningRig.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <numbers>
#include <thread>

using namespace saddletone;
using test::TuningRig;

namespace {

constexpr double sineHz = 1000.0;
constexpr double fromDb = -12.0;
constexpr double toDb = 12.0;
constexpr int numSteps = 48;
constexpr double stepDb = (toDb - fromDb) / numSteps;
/** As often as the program hands over what it has built: 30 times a second. */
constexpr std::size_t framesBetween = 1440;
constexpr std::size_t fadeFrames = 960; // 20 ms, as AuditionEngine::Settings has it

gui::DraftElement bell(double gainDb)
{
    gui::DraftElement draft = gui::newElement(tuning::ElementType::peaking);
    draft.element.frequencyHz = sineHz;
    draft.element.gainDb = gainDb;
    draft.element.q = 1.0;
    return draft;
}

/** What is heard of a sine while a gain is swept through numSteps steps, from the middle of a
    second before to a second behind. */
std::vector<double> sweepGain(TuningRig& rig)
{
    const auto second = static_cast<std::size_t>(TuningRig::sampleRate);
    const std::size_t index = rig.desk->addElement(bell(fromDb));
    rig.settle();
    const std::size_t begin = 2 * second;
    const std::size_t numFrames = begin + framesBetween * numSteps + second;
    int step = 0;
    const auto output = rig.play(
        test::makeSine(sineHz, 0.02, TuningRig::sampleRate, numFrames), [&](std::size_t done) {
            rig.desk->update();
            if (step < numSteps && done >= begin + framesBetween * static_cast<std::size_t>(step)) {
                ++step;
                rig.desk->changeElement(index, bell(fromDb + stepDb * step), "drag");
                // Every version is heard, as on a machine that is quick enough.
                while (rig.desk->tuningSnapshot().isBuilding) {
                    std::this_thread::sleep_for(std::chrono::milliseconds(1));
                    rig.desk->update();
                }
            }
        });
    REQUIRE(step == numSteps);
    return {output[0].begin() + static_cast<std::ptrdiff_t>(begin - second / 2), output[0].end()};
}

/** Peak of each period of the sine. */
std::vector<double> envelopeOf(const std::vector<double>& samples)
{
    const auto period = static_cast<std::size_t>(TuningRig::sampleRate / sineHz);
    std::vector<double> envelope;
    for (std::size_t begin = 0; begin + period <= samples.size(); begin += period) {
        double peak = 0.0;
        for (std::size_t frame = begin; frame < begin + period; ++frame)
            peak = std::max(peak, std::abs(samples[frame]));
        envelope.push_back(peak);
    }
    return envelope;
}

/** Energy further than awayHz from the sine, in dB re all of it; Blackman-Harris window (Harris,
    Proc. IEEE 66(1), 1978: side lobes 92 dB down). */
double energyOutsideDb(const std::vector<double>& samples, double awayHz)
{
    const std::size_t size = samples.size() / 2 * 2;
    dsp::RealFft<double> fft(size);
    const auto time = fft.time();
    for (std::size_t frame = 0; frame < size; ++frame) {
        const double phase =
            2.0 * std::numbers::pi * static_cast<double>(frame) / static_cast<double>(size);
        const double window = 0.35875 - 0.48829 * std::cos(phase) + 0.14128 * std::cos(2.0 * phase)
                              - 0.01168 * std::cos(3.0 * phase);
        time[frame] = window * samples[frame];
    }
    fft.forward();
    double all = 0.0;
    double outside = 0.0;
    const auto spectrum = fft.spectrum();
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
        const double power = std::norm(spectrum[bin]);
        const double hz =
            static_cast<double>(bin) * TuningRig::sampleRate / static_cast<double>(size);
        all += power;
        if (std::abs(hz - sineHz) > awayHz)
            outside += power;
    }
    return dsp::powerToDb(outside / all);
}

} // namespace

TEST_CASE("A swept gain glides: no step, no swelling, no clicks", "[plugin][tuning]")
{
    TuningRig rig;
    const std::vector<double> heard = sweepGain(rig);
    const std::vector<double> envelope = envelopeOf(heard);
    const double last = envelope[envelope.size() - 10];
    CHECK(dsp::amplitudeToDb(last / envelope.front()) == Approx(toDb - fromDb).margin(0.2));

    // A sine of amplitude A moves by A 2 pi f / fs at most from one sample to the next; a fade with
    // the square of a sine adds the difference of two versions times pi / (2 fade length).
    const double largestChange = last * (1.0 - dsp::dbToAmplitude(-stepDb));
    const double bound =
        last * 2.0 * std::numbers::pi * sineHz / TuningRig::sampleRate
        + largestChange * std::numbers::pi / (2.0 * static_cast<double>(fadeFrames));
    double largestStep = 0.0;
    for (std::size_t frame = 1; frame < heard.size(); ++frame)
        largestStep = std::max(largestStep, std::abs(heard[frame] - heard[frame - 1]));
    CHECK(largestStep <= 1.001 * bound);

    // Versions sound alike, so a fade of equal power would swell by up to 3 dB at each of them; the
    // peak of a period may miss the sine's own by 0.02 dB.
    double largestFallDb = 0.0;
    for (std::size_t period = 1; period < envelope.size(); ++period)
        largestFallDb = std::max(largestFallDb, dsp::amplitudeToDb(envelope[period - 1])
                                                    - dsp::amplitudeToDb(envelope[period]));
    CHECK(largestFallDb < 0.05);

    const double outsideDb = energyOutsideDb(heard, 300.0);
    INFO("energy further than 300 Hz from the sine: " << outsideDb << " dB");
    // Last seen: -101.5 dB, where a cut from one version to the next leaves -48 dB.
    CHECK(outsideDb < -95.0);
}

TEST_CASE("A swept gain without the fade would click", "[plugin][tuning]")
{
    // The measure above can tell: the same steps of gain, cut from one sample to the next.
    const std::size_t numFrames = framesBetween * (numSteps + 40);
    std::vector<double> cut(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double steps = std::clamp(
            std::floor(static_cast<double>(frame) / static_cast<double>(framesBetween)) - 20.0, 0.0,
            static_cast<double>(numSteps));
        const double phase = 2.0 * std::numbers::pi * sineHz / TuningRig::sampleRate
                             * (static_cast<double>(frame) + 11.0);
        cut[frame] = dsp::dbToAmplitude(fromDb + stepDb * steps) * std::cos(phase);
    }
    CHECK(energyOutsideDb(cut, 300.0) > -55.0);
}
