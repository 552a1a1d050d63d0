#include "Core/Demo/DemoBike.h"

#include "Core/Dsp/Convolution.h"
#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/Resampler.h"
#include "Core/Files/TextTable.h"
#include "Core/Signals/ShapedNoise.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace saddletone::demo {

namespace {

/** Minimum-phase impulse response of a profile with two reflections, from tank and screen. */
std::vector<double> profileImpulse(const DemoProfile& profile, double sampleRate)
{
    constexpr std::size_t taps = 16384;
    std::vector<double> magnitude(taps / 2 + 1);
    for (std::size_t bin = 0; bin < magnitude.size(); ++bin) {
        const double frequencyHz =
            std::max(1.0, static_cast<double>(bin) * sampleRate / static_cast<double>(taps));
        magnitude[bin] = dsp::dbToAmplitude(profileLevelDb(profile, frequencyHz));
    }
    const auto direct = dsp::minimumPhaseImpulse(magnitude);

    struct Reflection {
        double seconds;
        double gain;
    };
    constexpr std::array<Reflection, 2> reflections {{{0.0013, 0.10}, {0.0047, 0.05}}};
    std::vector<double> impulse = direct;
    for (const Reflection& reflection : reflections) {
        const auto delay = static_cast<std::size_t>(reflection.seconds * sampleRate);
        for (std::size_t frame = delay; frame < impulse.size(); ++frame)
            impulse[frame] += reflection.gain * direct[frame - delay];
    }
    return impulse;
}

/** An idling twin with its cylinders at 45 degrees on one crankpin: half orders weighted by
    |cos(pi k 315 / 720)| for firing gaps of 315 and 405 degrees, falling 6 dB an octave above the
    second order (judgement). Of unit RMS. */
std::vector<double> idlingEngine(std::size_t numFrames, double sampleRate, std::uint64_t seed)
{
    constexpr double revolutionsPerSecond = 950.0 / 60.0;
    constexpr int numHalfOrders = 80;
    dsp::RandomSource random(seed);
    std::vector<double> samples(numFrames, 0.0);
    double power = 0.0;
    for (int k = 1; k <= numHalfOrders; ++k) {
        const double comb = std::abs(std::cos(std::numbers::pi * k * 315.0 / 720.0));
        const double amplitude = comb / std::max(1.0, k / 4.0);
        power += 0.5 * amplitude * amplitude;
        const double phase = 2.0 * std::numbers::pi * random.nextUniform();
        const double step = 2.0 * std::numbers::pi * 0.5 * k * revolutionsPerSecond / sampleRate;
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            samples[frame] += amplitude * std::sin(step * static_cast<double>(frame) + phase);
    }
    for (double& sample : samples)
        sample /= std::sqrt(power);
    return samples;
}

const std::vector<double>& profileGridHz()
{
    static const std::vector<double> grid {16,   20,   25,   31.5,  40,    50,    63,    80,   100,
                                           125,  160,  200,  250,   315,   500,   1000,  1600, 2500,
                                           4000, 6300, 8000, 10000, 12500, 16000, 20000, 24000};
    return grid;
}

} // namespace

double profileLevelDb(const DemoProfile& profile, double frequencyHz)
{
    return files::FrequencyTable {profile.frequenciesHz, profile.levelsDb, {}}.levelDbAt(
        frequencyHz);
}

std::vector<DemoState> demoStates()
{
    const std::string place = "rider's head, seat occupied";
    const DemoProfile stockParked {"Stock", profileGridHz(), {-24,  -17,  -9,   0,    6,    9, 9.4,
                                                              9.4,  9.2,  8.6,  2.4,  0.4,  0, 0,
                                                              0,    0,    0.2,  0.3,  0.2,  0, -0.2,
                                                              -0.4, -0.6, -1.0, -3.0, -12.0}};
    const DemoProfile stockRunning {
        "Stock", profileGridHz(), {-24, -17, -10, -3,   1.5,  3.8, 4.4,  4.6,  4.4,
                                   3.6, 1.0, 0.0, -0.5, -0.5, 0.5, 2.0,  3.5,  4.2,
                                   4.4, 3.2, 2.5, 2.0,  1.0,  0.0, -3.0, -12.0}};
    const DemoProfile alternative {
        "Alternative", profileGridHz(), {-26, -20, -14, -9,   -5.5, -3.0, -1.2, 0.2,  0.7,
                                         0.8, 0.5, 0.2, 0.0,  0.0,  0.2,  1.0,  1.8,  1.6,
                                         0.8, 0.2, 0.0, -0.3, -0.8, -1.5, -3.5, -12.0}};
    using measure::EngineState;
    return {
        {"stock-parked", {"Stock", EngineState::off, 0.0, place, "20"}, stockParked},
        {"stock-running", {"Stock", EngineState::idle, 0.0, place, "20"}, stockRunning},
        {"alternative-parked", {"Alternative", EngineState::off, 0.0, place, "20"}, alternative},
        {"alternative-running", {"Alternative", EngineState::idle, 0.0, place, "20"}, alternative},
    };
}

dsp::AudioBuffer recordOnDemoBike(const dsp::AudioBuffer& track, const DemoState& state,
                                  const DemoRecorder& recorder)
{
    const auto impulse = profileImpulse(state.profile, track.sampleRate);
    const std::vector<double> played(track.channels.front().begin(), track.channels.front().end());
    auto heard = dsp::convolve(played, impulse);
    const auto leadFrames = static_cast<std::size_t>(recorder.startSeconds * track.sampleRate);
    heard.insert(heard.begin(), leadFrames, 0.0);
    heard.resize(heard.size() + static_cast<std::size_t>(track.sampleRate), 0.0);

    const double ratio = recorder.sampleRate / track.sampleRate * (1.0 + recorder.clockPpm * 1e-6);
    auto recorded = files::resample(heard, ratio);

    signals::NoiseShape ambientShape;
    ambientShape.sampleRate = recorder.sampleRate;
    ambientShape.rms = dsp::dbfsToRms(recorder.ambientDbfs);
    ambientShape.seed = recorder.seed;
    const auto ambient = signals::makeShapedNoise(ambientShape, recorded.size());
    const double gain = dsp::dbToAmplitude(recorder.gainDb);
    for (std::size_t frame = 0; frame < recorded.size(); ++frame)
        recorded[frame] = gain * recorded[frame] + static_cast<double>(ambient[frame]);
    if (state.state.engine != measure::EngineState::off) {
        const auto engine = idlingEngine(recorded.size(), recorder.sampleRate, recorder.seed + 1);
        const double engineRms = dsp::dbfsToRms(recorder.engineDbfs);
        for (std::size_t frame = 0; frame < recorded.size(); ++frame)
            recorded[frame] += engineRms * engine[frame];
    }
    return {recorder.sampleRate, {std::vector<float>(recorded.begin(), recorded.end())}};
}

} // namespace saddletone::demo
