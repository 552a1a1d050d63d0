#include "Support/PluginJob.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Files/AudioFile.h"
#include "Core/Tuning/TuningFile.h"

#include <catch2/catch.hpp>

#include <atomic>
#include <chrono>
#include <cmath>
#include <fstream>
#include <utility>

namespace saddletone::test {

namespace {

measure::Response makeResponse(const std::string& name, std::uint64_t seed, double direct)
{
    measure::Response response;
    response.name = name;
    response.state.radioProfile = name;
    response.state.microphonePlace = "head of the rider";
    response.invented = true;
    response.sampleRate = 44100.0;
    response.arrivalFrame = 100;
    response.snrDb = 60.0;
    response.impulse.assign(8192, 0.0F);
    dsp::RandomSource random(seed);
    for (std::size_t frame = response.arrivalFrame; frame < response.impulse.size(); ++frame) {
        const auto time = static_cast<double>(frame - response.arrivalFrame);
        response.impulse[frame] =
            static_cast<float>(0.02 * std::exp(-time / 900.0) * random.nextGaussian());
    }
    response.impulse[response.arrivalFrame] = static_cast<float>(direct);
    return response;
}

} // namespace

job::Job writeMadeUpJob(const std::filesystem::path& folder, const std::string& title)
{
    job::Job job;
    job.folder = folder;
    job.title = title;
    job.shop = "Made-up shop";
    job.bike = "Made-up tourer";
    job.invented = true;
    job.ride.speedKmh = 80.0;
    job.ride.helmet = ride::Helmet::openFace;
    std::filesystem::create_directories(folder);

    REQUIRE(measure::saveResponse(makeResponse("Delivered", 11, 0.5), folder / "delivered.json"));
    REQUIRE(measure::saveResponse(makeResponse("Touring", 12, 0.35), folder / "touring.json"));
    tuning::Tuning tuning;
    tuning.name = "Less boom";
    tuning::Element cut;
    cut.type = tuning::ElementType::peaking;
    cut.frequencyHz = 150.0;
    cut.gainDb = -6.0;
    cut.q = 1.0;
    tuning.chains.push_back({tuning::OutputGroup::all, {cut}});
    REQUIRE(tuning::saveTuning(tuning, folder / "less-boom.json"));

    job.states = {{"delivered", "delivered.json"}, {"touring", "touring.json"}};
    job.candidates = {{"As delivered", "delivered", ""},
                      {"Touring profile", "touring", ""},
                      {"Touring profile, less boom", "touring", "less-boom.json"}};
    REQUIRE(job::saveJob(job));
    return job;
}

void writeRampFile(const std::filesystem::path& file, double sampleRate, std::size_t numChannels,
                   std::size_t numFrames)
{
    dsp::AudioBuffer audio = dsp::makeSilence(sampleRate, numChannels, numFrames);
    for (std::size_t channel = 0; channel < numChannels; ++channel)
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            const double value =
                static_cast<double>(frame + 1) / static_cast<double>(numFrames + 1);
            audio.channels[channel][frame] = static_cast<float>(channel == 0 ? value : -value);
        }
    REQUIRE(files::writeAudioFile(audio, file, files::SampleFormat::float32));
}

void writeLongFile(const std::filesystem::path& file, double seconds)
{
    constexpr std::uintmax_t headerBytes = 44;
    const auto dataBytes =
        static_cast<std::uint32_t>(std::llround(seconds * 44100.0)) * std::uint32_t {4};
    REQUIRE(
        files::writeAudioFile(dsp::makeSilence(44100.0, 2, 1), file, files::SampleFormat::pcm16));
    REQUIRE(std::filesystem::file_size(file) == headerBytes + 4);
    {
        // Sizes of the whole and of its samples, little-endian.
        std::fstream header(file, std::ios::binary | std::ios::in | std::ios::out);
        for (const auto& [place, value] :
             {std::pair {4, dataBytes + 36}, std::pair {40, dataBytes}}) {
            header.seekp(place);
            for (unsigned int shift = 0; shift < 32; shift += 8)
                header.put(static_cast<char>((value >> shift) & 0xFFU));
        }
        REQUIRE(header.flush());
    }
    std::filesystem::resize_file(file, headerBytes + dataBytes);
}

} // namespace saddletone::test
