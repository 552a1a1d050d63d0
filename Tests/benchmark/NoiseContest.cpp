// The noise of a ride for both ears, 60 s at 48 kHz, beside a stationary noise of the same third
// octaves that scipy makes in one inverse transform. Gusts, wake, engine orders and coherence
// between the ears are in ours alone.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Measure/BandAnalysis.h"
#include "Core/Ride/RideNoise.h"
#include "Core/Ride/RideSpectrum.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr double seconds = 60.0;
constexpr double splAtFullScaleDb = 140.0;
// Root of the mean square of third octaves from 40 Hz to 16 kHz; gusts move the levels of a minute.
constexpr double mostSpectrumErrorDb = 1.0;

ride::RideNoise::Parameters fullRide()
{
    ride::RideNoise::Parameters parameters;
    parameters.ride.speedKmh = 110.0;
    parameters.ride.screen = ride::Screen::low;
    parameters.ride.tyre.treadToneIsOn = true;
    parameters.ride.engine.firing = ride::firingPatternOf(ride::EnginePreset::flatSix);
    parameters.splAtFullScaleDb = splAtFullScaleDb;
    return parameters;
}

dsp::AudioBuffer makeNoise()
{
    constexpr std::size_t blockFrames = 512;
    auto audio = dsp::makeSilence(sampleRate, ride::RideNoise::numEars,
                                  static_cast<std::size_t>(seconds * sampleRate));
    ride::RideNoise noise(1);
    noise.setParameters(fullRide());
    noise.prepare({sampleRate, blockFrames, ride::RideNoise::numEars});
    const dsp::ScopedFlushDenormals flushDenormals;
    for (std::size_t begin = 0; begin < audio.numFrames(); begin += blockFrames) {
        const std::array<float*, 2> ears {audio.channels[0].data() + begin,
                                          audio.channels[1].data() + begin};
        noise.process({ears.data(), 2, std::min(blockFrames, audio.numFrames() - begin)});
    }
    return audio;
}

double spectrumErrorDb(const dsp::AudioBuffer& audio, const ride::RideSpectrum& spectrum)
{
    const auto bands = measure::analyseBands(audio, 3, dsp::Weighting::z);
    double sum = 0.0;
    double count = 0.0;
    for (std::size_t band = 0; band < bands.bands.size(); ++band)
        if (bands.bands[band].centreHz > 39.0 && bands.bands[band].centreHz < 16100.0) {
            sum +=
                std::pow(bands.levelsDbfs[band] + splAtFullScaleDb - spectrum.totalDb[band], 2.0);
            count += 1.0;
        }
    return std::sqrt(sum / count);
}

} // namespace

void addNoise(Contests& contests, Workshop& workshop)
{
    const auto spectrum = ride::rideSpectrum(fullRide().ride);
    const std::string outcome = workshop.folder / "noise";
    nlohmann::json question {{"do", "noise"},
                             {"levelsDbfs", nlohmann::json::array()},
                             {"seconds", seconds},
                             {"rate", sampleRate}};
    for (const double levelDb : spectrum.totalDb)
        question["levelsDbfs"].push_back(levelDb - splAtFullScaleDb);
    nlohmann::json kept = question;
    kept["write"] = outcome;
    ScipyPeer& scipy = workshop.scipy;
    (void)scipy.ask(kept);
    const auto theirs = readNumbers(outcome);
    const auto half = static_cast<std::ptrdiff_t>(theirs.size() / 2);
    const dsp::AudioBuffer theirAudio {
        sampleRate,
        {{theirs.begin(), theirs.begin() + half}, {theirs.begin() + half, theirs.end()}}};
    contests.hold("third octaves of the ride, Saddletone", spectrumErrorDb(makeNoise(), spectrum),
                  mostSpectrumErrorDb, "dB");
    contests.hold("third octaves of the ride, scipy", spectrumErrorDb(theirAudio, spectrum),
                  mostSpectrumErrorDb, "dB");

    const std::string work = "noise of a ride, 60 s";
    contests.add(work, "Saddletone",
                 [] { return secondsOf([] { ::benchmark::DoNotOptimize(makeNoise()); }); });
    contests.add(work, "SciPy", [&scipy, question] { return scipy.timed(question); });
}

} // namespace saddletone::bench
