#include "Support/TuningRig.h"

#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/ToneControls.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Paths.h"

#include <catch2/catch.hpp>

#include <chrono>
#include <cmath>
#include <numbers>
#include <thread>

namespace saddletone::test {

void trustAllBands(measure::Response& response)
{
    std::vector<double> centresHz;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        centresHz.push_back(band.centreHz);
    const std::vector<double> levelsDb = response.magnitudeDb(centresHz, 3);
    response.bands.clear();
    for (std::size_t index = 0; index < centresHz.size(); ++index) {
        measure::BandConfidence band;
        band.frequencyHz = centresHz[index];
        band.levelDb = levelsDb[index];
        band.snrDb = 60.0;
        band.uncertaintyDb = 0.1;
        band.interval95Db = 0.2;
        band.trusted = true;
        response.bands.push_back(band);
    }
}

TuningRig::TuningRig() : job(writeMadeUpJob(folder.path() / "job", "Made-up job"))
{
    for (const job::JobState& state : job.states) {
        auto response = measure::loadResponse(job.folder / state.file);
        REQUIRE(response);
        trustAllBands(*response);
        REQUIRE(measure::saveResponse(*response, job.folder / state.file));
    }
    tuning::ToneControls tones;
    tones.name = "Made-up radio";
    tuning::ToneControl bass;
    bass.name = "Bass";
    tuning::ToneControl treble;
    treble.name = "Treble";
    treble.type = tuning::ElementType::highShelf;
    treble.frequencyHz = 6000.0;
    tones.controls = {bass, treble};
    std::filesystem::create_directories(job.folder / "toneControls");
    REQUIRE(tuning::saveToneControls(tones, job.folder / "toneControls" / "radio.json"));
    tuning::Speaker speaker;
    speaker.name = "Made-up speaker";
    speaker.invented = true;
    std::filesystem::create_directories(job.folder / "speakers");
    REQUIRE(tuning::saveSpeaker(speaker, job.folder / "speakers" / "speaker.json"));

    desk = std::make_unique<plugin::TuningDesk>(processor, juce::File());
    processor.openJob(plugin::toFile(job.folder));
    settle();
    REQUIRE(processor.snapshot().problem.isEmpty());
    REQUIRE(processor.snapshot().job != nullptr);
    processor.prepareToPlay(sampleRate, 512);
    desk->setShown(true);
    settle();
}

void TuningRig::settle()
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(120);
    do {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        desk->update();
    } while ((processor.snapshot().busy || desk->isBusy())
             && std::chrono::steady_clock::now() < giveUp);
    REQUIRE_FALSE(processor.snapshot().busy);
    REQUIRE_FALSE(desk->isBusy());
}

TuningStereo TuningRig::play(const TuningStereo& input,
                             const std::function<void(std::size_t)>& between)
{
    constexpr std::size_t blockFrames = 480;
    TuningStereo output = input;
    juce::MidiBuffer midi;
    for (std::size_t done = 0; done < input[0].size();) {
        const std::size_t count = std::min(blockFrames, input[0].size() - done);
        juce::AudioBuffer<float> buffer(2, static_cast<int>(count));
        for (std::size_t channel = 0; channel < 2; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                buffer.setSample(static_cast<int>(channel), static_cast<int>(frame),
                                 input[channel][done + frame]);
        processor.processBlock(buffer, midi);
        for (std::size_t channel = 0; channel < 2; ++channel)
            for (std::size_t frame = 0; frame < count; ++frame)
                output[channel][done + frame] =
                    buffer.getSample(static_cast<int>(channel), static_cast<int>(frame));
        done += count;
        if (between)
            between(done);
    }
    return output;
}

double TuningRig::sineLevelDb(double frequencyHz)
{
    // Long enough for the rise after a reset, for kernels to be taken over and to ring out.
    const auto numFrames = static_cast<std::size_t>(2.5 * sampleRate);
    const TuningStereo output = play(makeSine(frequencyHz, 0.05, sampleRate, numFrames));
    double sum = 0.0;
    const std::size_t half = numFrames / 2;
    for (std::size_t frame = numFrames - half; frame < numFrames; ++frame)
        sum += std::pow(static_cast<double>(output[0][frame]), 2.0);
    return dsp::powerToDb(sum / static_cast<double>(half));
}

TuningStereo makeSine(double frequencyHz, double amplitude, double sampleRate,
                      std::size_t numFrames)
{
    TuningStereo sine {std::vector<float>(numFrames), std::vector<float>(numFrames)};
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double phase =
            2.0 * std::numbers::pi * frequencyHz / sampleRate * static_cast<double>(frame);
        sine[0][frame] = sine[1][frame] = static_cast<float>(amplitude * std::sin(phase));
    }
    return sine;
}

} // namespace saddletone::test
