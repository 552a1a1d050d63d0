#include "Support/BenchRig.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Plugin/Paths.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <complex>
#include <numbers>
#include <thread>

namespace saddletone::test {

double SimulatedRoom::pole() const
{
    return std::exp(-2.0 * std::numbers::pi * cornerHz / benchSampleRate);
}

double SimulatedRoom::levelDb(double frequencyHz) const
{
    const std::complex<double> delay =
        std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / benchSampleRate);
    return dsp::amplitudeToDb(std::abs(gain * (1.0 - pole()) / (1.0 - pole() * delay)));
}

Room SimulatedRoom::make(std::uint64_t seed) const
{
    return [settings = *this, state = 0.0, random = dsp::RandomSource(seed)](float sample) mutable {
        state += (1.0 - settings.pole()) * (static_cast<double>(sample) - state);
        return static_cast<float>(settings.gain * state
                                  + settings.noiseRms * random.nextGaussian());
    };
}

BenchRig::BenchRig()
{
    devices.addAudioDeviceType(std::make_unique<SimulatedDeviceType>(benchSampleRate));
    REQUIRE(devices.initialise(0, 2, nullptr, true).isEmpty());
    plugin::Bench::Surroundings surroundings;
    surroundings.openJobFolder = [this] { return openJob; };
    surroundings.openJob = [this](const juce::File& job) { openJob = job; };
    surroundings.stateAdded = [this](const juce::File&, const std::string& stateId) {
        addedStates.push_back(stateId);
    };
    surroundings.pauseAudition = [this] { ++numPauses; };
    surroundings.takesFolder = plugin::toFile(folder / "takes");
    bench = std::make_unique<plugin::Bench>(devices, nullptr, std::move(surroundings));
    devices.addAudioCallback(&bench->device());
}

BenchRig::~BenchRig()
{
    devices.removeAudioCallback(&bench->device());
}

SimulatedDevice& BenchRig::device() const
{
    auto* const current = dynamic_cast<SimulatedDevice*>(devices.getCurrentAudioDevice());
    REQUIRE(current != nullptr);
    return *current;
}

void BenchRig::settle() const
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    do {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        bench->update();
    } while (bench->isBusy() && std::chrono::steady_clock::now() < giveUp);
    REQUIRE_FALSE(bench->isBusy());
}

void BenchRig::openInput() const
{
    bench->enterPlace(gui::Place::bike);
    bench->chooseInput(0, SimulatedDevice::roomInput);
    bench->openInput();
    REQUIRE(bench->benchSnapshot().input.open);
}

void BenchRig::recordSweep(const SimulatedRoom& room, measure::EngineState engine,
                           const juce::String& place, std::uint64_t seed,
                           measure::SpeakerGroup speakers) const
{
    recordUnmeasured(room, engine, place, seed, speakers);
    settle();
}

void BenchRig::recordUnmeasured(const SimulatedRoom& room, measure::EngineState engine,
                                const juce::String& place, std::uint64_t seed,
                                measure::SpeakerGroup speakers) const
{
    device().setRoom(room.make(seed));
    gui::TakeWords words;
    words.profile = "Touring";
    words.engine = engine;
    words.speakers = speakers;
    words.place = place;
    words.playsHere = true;
    bench->setTakeWords(words);
    device().run(2.5); // fills the pre-roll
    const std::size_t numBefore = bench->benchSnapshot().takes.size();
    bench->recordTake();
    for (int wait = 0;
         wait < 2000 && bench->benchSnapshot().capture.state != measure::CaptureState::recording;
         ++wait) {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        bench->update();
    }
    // No faster than the recorder's thread takes the audio out.
    for (double done = 0.0; done < 40.0 && bench->benchSnapshot().takes.size() == numBefore;
         done += 0.25) {
        device().run(0.25);
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
        bench->update();
    }
    REQUIRE(bench->benchSnapshot().takes.size() == numBefore + 1);
}

} // namespace saddletone::test
