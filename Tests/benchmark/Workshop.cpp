#include "Workshop.h"

#include "Contests.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Files/AudioFile.h"
#include "Core/Signals/Signal.h"
#include "Support/SimulatedBike.h"

#include <cmath>

namespace saddletone::bench {

Material makeMaterial(const std::filesystem::path& folder, double seconds, std::size_t numChannels)
{
    signals::SignalRequest request;
    request.type = signals::SignalType::sweep;
    request.sampleRate = sampleRate;
    request.seconds = 30.0;
    request.levelDbfs = -12.0;
    const auto signal = valueOf(signals::makeSignal(request));
    Material material;
    material.track = signal.description;
    material.descriptionFile =
        valueOf(signals::saveSignal(signal, folder / "track.wav", files::SampleFormat::pcm24));

    test::RecorderModel recorder;
    recorder.sampleRate = sampleRate;
    recorder.clockPpm = 40.0;
    recorder.startSeconds = 8.0;
    recorder.gain = 0.4;
    const test::SimulatedBike bike;
    auto take =
        test::record(bike.play(signal.audio.channels.front(), sampleRate), sampleRate, recorder);
    take.resize(static_cast<std::size_t>(seconds * sampleRate));
    dsp::RandomSource random(1);
    dsp::AudioBuffer audio = dsp::makeSilence(sampleRate, numChannels, take.size());
    for (std::size_t channel = 0; channel < numChannels; ++channel)
        for (std::size_t frame = 0; frame < take.size(); ++frame)
            audio.channels[channel][frame] = (channel == 0 ? 1.0F : 0.6F) * take[frame]
                                             + static_cast<float>(0.001 * random.nextGaussian());
    material.recordingFile = folder / "recording.wav";
    if (const auto written =
            files::writeAudioFile(audio, material.recordingFile, files::SampleFormat::pcm16);
        !written)
        giveUp(written.error().message);
    material.audio = valueOf(files::readAudioFile(material.recordingFile));
    return material;
}

std::vector<float> decayingNoise(std::size_t numFrames, double decayDb, double rms,
                                 std::uint64_t seed)
{
    dsp::RandomSource random(seed);
    const double factor = std::pow(10.0, -decayDb / 20.0 / static_cast<double>(numFrames));
    std::vector<float> samples(numFrames);
    double gain = rms;
    for (float& sample : samples) {
        sample = static_cast<float>(gain * random.nextGaussian());
        gain *= factor;
    }
    return samples;
}

dsp::AudioBuffer makeProgramme(double seconds)
{
    const auto numFrames = static_cast<std::size_t>(seconds * sampleRate);
    return {sampleRate,
            {decayingNoise(numFrames, 0.0, 0.1, 11), decayingNoise(numFrames, 0.0, 0.1, 12)}};
}

} // namespace saddletone::bench
