// 60 s from 44.1 to 48 kHz: in memory beside scipy, from file to file beside SoX. What comes out is
// held to the formula of the tones that go in.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Files/AudioFile.h"
#include "Core/Files/Resampler.h"

#include <cmath>
#include <memory>
#include <numbers>

#include <benchmark/benchmark.h>
#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr double fromRate = 44100.0;
constexpr double seconds = 60.0;
// At either end there is nothing beyond the signal to be interpolated from.
constexpr double endSeconds = 0.1;
constexpr double mostErrorDb = -120.0;
// A transform of the whole takes the signal to go on in a circle, and SoX rolls off by some thousandths
// of a decibel below 20 kHz.
constexpr double mostErrorInCircleDb = -100.0;
constexpr double mostErrorOfSoxDb = -80.0;

/** Tones from 60 Hz to 19.5 kHz, a third of an octave apart. */
std::vector<double> tones(double rate)
{
    std::vector<double> samples(static_cast<std::size_t>(std::lround(seconds * rate)));
    for (double frequencyHz = 60.0; frequencyHz < 19600.0; frequencyHz *= std::cbrt(2.0))
        for (std::size_t frame = 0; frame < samples.size(); ++frame)
            samples[frame] += 0.02
                              * std::sin(2.0 * std::numbers::pi * frequencyHz
                                         * static_cast<double>(frame) / rate);
    return samples;
}

double errorDb(const std::vector<double>& samples, const std::vector<double>& truth)
{
    const auto end = static_cast<std::size_t>(endSeconds * sampleRate);
    return relativeErrorDb(samples, truth, end, truth.size() - end);
}

std::vector<double> firstChannel(const std::filesystem::path& file)
{
    const auto audio = valueOf(files::readAudioFile(file));
    return {audio.channels[0].begin(), audio.channels[0].end()};
}

/** Reads a file, converts it and writes another. */
void convert(const std::filesystem::path& from, const std::filesystem::path& to)
{
    const auto audio = files::resample(valueOf(files::readAudioFile(from)), sampleRate);
    if (const auto written = files::writeAudioFile(audio, to, files::SampleFormat::float32);
        !written)
        giveUp(written.error().message);
}

void addInMemory(Contests& contests, Workshop& workshop,
                 const std::shared_ptr<const std::vector<double>>& input,
                 const std::vector<double>& truth)
{
    const std::string work = "resampling 60 s, in memory";
    const auto run = [input] { return files::resample(*input, sampleRate / fromRate); };
    contests.hold("error of resampling, Saddletone", errorDb(run(), truth), mostErrorDb, "dB");
    contests.add(work, "Saddletone",
                 [run] { return secondsOf([&] { ::benchmark::DoNotOptimize(run()); }); });

    const std::string file = workshop.folder / "tones";
    writeNumbers(file, *input);
    ScipyPeer& scipy = workshop.scipy;
    (void)scipy.ask({{"do", "load"}, {"file", file}, {"name", "tones"}, {"type", "float64"}});
    for (const std::string way : {"resample_poly", "resample"}) {
        const std::string outcome = file + "." + way;
        (void)scipy.ask({{"do", way}, {"name", "tones"}, {"write", outcome}});
        contests.hold("error of resampling, scipy.signal." + way,
                      errorDb(readNumbers(outcome), truth),
                      way == "resample" ? mostErrorInCircleDb : mostErrorDb, "dB");
        contests.add(work, "SciPy " + way, [&scipy, way] {
            return scipy.timed({{"do", way}, {"name", "tones"}});
        });
    }
}

void addFromFileToFile(Contests& contests, Workshop& workshop, const std::vector<double>& input,
                       const std::vector<double>& truth)
{
    const std::string work = "resampling 60 s, file to file";
    const auto from = workshop.folder / "tones.wav";
    const auto ours = workshop.folder / "ours.wav";
    const auto theirs = workshop.folder / "theirs.wav";
    const dsp::AudioBuffer audio {fromRate, {std::vector<float>(input.begin(), input.end())}};
    if (const auto written = files::writeAudioFile(audio, from, files::SampleFormat::float32);
        !written)
        giveUp(written.error().message);
    const std::vector<std::string> command {
        "sox", "-V1", from, "-b", "32", "-e", "floating-point", theirs, "rate", "-v", "48000"};
    // Ours returns when the file is on the disk.
    const std::vector<std::string> flushing {"sync", theirs};
    convert(from, ours);
    (void)runProgram(command);
    contests.hold("error of resampling, Saddletone, file to file",
                  errorDb(firstChannel(ours), truth), mostErrorDb, "dB");
    contests.hold("error of resampling, SoX rate -v", errorDb(firstChannel(theirs), truth),
                  mostErrorOfSoxDb, "dB");
    contests.add(work, "Saddletone", [=] { return secondsOf([&] { convert(from, ours); }); });
    contests.add(work, "SoX rate -v, then sync",
                 [=] { return runProgram(command).seconds + runProgram(flushing).seconds; });
    contests.add(work, "SoX rate -v", [=] { return runProgram(command).seconds; });
}

} // namespace

void addResampling(Contests& contests, Workshop& workshop)
{
    const auto input = std::make_shared<const std::vector<double>>(tones(fromRate));
    const auto truth = tones(sampleRate);
    addInMemory(contests, workshop, input, truth);
    addFromFileToFile(contests, workshop, *input, truth);
}

} // namespace saddletone::bench
