// A programme of 60 s through a response of 0.68 s with the noise of a ride, off line, beside scipy's
// overlap-add. scipy is given the noise in one of its ways and has to make it in the other.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Dsp/Units.h"

#include <cmath>
#include <memory>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr double seconds = 60.0;
constexpr std::size_t numTaps = 32640;
constexpr double mostErrorDb = -90.0;

/** Everything that an audition is rendered from. */
struct Audition {
    audition::SceneRequest scene;
    dsp::AudioBuffer programme;
    audition::AuditionEngine::Settings settings;
    audition::AuditionEngine::Parameters parameters;

    [[nodiscard]] audition::Rendering render(audition::Monitor monitor) const
    {
        auto chosen = parameters;
        chosen.monitor = monitor;
        return valueOf(audition::renderAudition(scene, programme, settings, chosen));
    }
};

std::shared_ptr<const Audition> makeAudition()
{
    auto made = std::make_shared<Audition>();
    measure::Response response;
    response.impulse = decayingNoise(numTaps, 60.0, 0.05, 1);
    made->scene.candidates.push_back({"response", response, {}});
    made->programme = makeProgramme(seconds);
    // Nothing that acts on the level: no start ramp, and far below the ceiling.
    made->settings.startRampSeconds = 0.0;
    made->parameters.ride.speedKmh = 110.0;
    made->parameters.outputLevelDb = -30.0;
    made->parameters.ceilingDbfs = 0.0;
    return made;
}

std::vector<double> joined(const std::vector<std::vector<float>>& channels)
{
    std::vector<double> samples;
    for (const auto& channel : channels)
        samples.insert(samples.end(), channel.begin(), channel.end());
    return samples;
}

} // namespace

void addRendering(Contests& contests, Workshop& workshop)
{
    const auto audition = makeAudition();
    const auto both = audition->render(audition::Monitor::programmeAndNoise);
    const auto noise = audition->render(audition::Monitor::noiseOnly);
    const auto taps = valueOf(
        audition::buildKernelTaps(audition->scene.candidates.front(), tuning::OutputGroup::left,
                                  audition->scene.ride.parameters.helmet, sampleRate, numTaps));

    ScipyPeer& scipy = workshop.scipy;
    const auto load = [&](const std::string& name, const auto& numbers, const std::string& type) {
        const std::string file = workshop.folder / name;
        writeNumbers(file, std::span(numbers));
        (void)scipy.ask({{"do", "load"}, {"file", file}, {"name", name}, {"type", type}});
    };
    load("programme", joined(audition->programme.channels), "float64");
    load("taps", taps, "float32");
    load("ride", joined(noise.audio.channels), "float64");
    const std::string outcome = workshop.folder / "rendered";
    nlohmann::json given {{"do", "render"},
                          {"gain", dsp::dbToAmplitude(both.levels.programmeGainDb)},
                          {"noise", "given"},
                          {"write", outcome}};
    (void)scipy.ask(given);
    given.erase("write");
    nlohmann::json madeToo = given;
    madeToo["noise"] = "made";
    contests.hold("an audition's samples, scipy",
                  relativeErrorDb(joined(both.audio.channels), readNumbers(outcome)), mostErrorDb,
                  "dB");

    const std::string work = "audition of 60 s, off line";
    contests.add(work, "Saddletone", [audition] {
        return secondsOf([&] {
            ::benchmark::DoNotOptimize(audition->render(audition::Monitor::programmeAndNoise));
        });
    });
    contests.add(work, "SciPy, noise made too", [&scipy, madeToo] { return scipy.timed(madeToo); });
    contests.add(work, "SciPy, noise given", [&scipy, given] { return scipy.timed(given); });

    const std::string alone = work + ", programme alone";
    nlohmann::json withoutNoise = given;
    withoutNoise["noise"] = "none";
    contests.add(alone, "Saddletone", [audition] {
        return secondsOf([&] {
            ::benchmark::DoNotOptimize(audition->render(audition::Monitor::programmeOnly));
        });
    });
    contests.add(alone, "SciPy", [&scipy, withoutNoise] { return scipy.timed(withoutNoise); });
}

} // namespace saddletone::bench
