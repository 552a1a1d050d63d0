#include "Core/Hearing/Loudness.h"

#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

struct Passage {
    double peakDbfs;
    double seconds;
};

/** A 1 kHz sine alike in both channels, with the peak levels given one after the other. */
dsp::AudioBuffer stereoSine(const std::vector<Passage>& passages, double sampleRate = 48000.0)
{
    dsp::AudioBuffer audio {sampleRate, {{}, {}}};
    std::size_t frame = 0;
    for (const Passage& passage : passages) {
        const double amplitude = dsp::dbToAmplitude(passage.peakDbfs);
        const auto end = frame + static_cast<std::size_t>(passage.seconds * sampleRate);
        for (; frame < end; ++frame) {
            const auto sample =
                static_cast<float>(amplitude
                                   * std::sin(2.0 * std::numbers::pi * 1000.0
                                              * static_cast<double>(frame) / sampleRate));
            audio.channels[0].push_back(sample);
            audio.channels[1].push_back(sample);
        }
    }
    return audio;
}

} // namespace

TEST_CASE("Loudness passes the minimum requirements of EBU Tech 3341", "[core][hearing]")
{
    // Cases 1, 2, 3, 4 and 5; their tolerance is 0.1 LU.
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-23.0, 20.0}}))
          == Approx(-23.0).margin(0.1));
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-33.0, 20.0}}))
          == Approx(-33.0).margin(0.1));
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-36.0, 10.0}, {-23.0, 60.0}, {-36.0, 10.0}}))
          == Approx(-23.0).margin(0.1));
    CHECK(hearing::integratedLoudnessLufs(stereoSine(
              {{-72.0, 10.0}, {-36.0, 10.0}, {-23.0, 60.0}, {-36.0, 10.0}, {-72.0, 10.0}}))
          == Approx(-23.0).margin(0.1));
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-26.0, 20.0}, {-20.0, 20.1}, {-26.0, 20.0}}))
          == Approx(-23.0).margin(0.1));
}

TEST_CASE("Loudness passes the programme cases of EBU Tech 3341 where their files are there",
          "[core][hearing]")
{
    // Cases 7 and 8, -23 LUFS within 0.1 LU (from memory, not confirmed), are recordings of the EBU's own test set, which is not
    // ours to pass on: the variable names the folder it was unpacked in.
    const char* const folder = std::getenv("SADDLETONE_EBU_LOUDNESS_SET");
    if (folder == nullptr)
        return;
    int numFound = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        const std::string name = entry.path().filename().string();
        if (!name.starts_with("seq-3341-7") && !name.starts_with("seq-3341-8"))
            continue;
        CAPTURE(name);
        ++numFound;
        const auto audio = files::readAudioFile(entry.path());
        REQUIRE(audio);
        CHECK(hearing::integratedLoudnessLufs(*audio) == Approx(-23.0).margin(0.1));
    }
    CHECK(numFound >= 2);
}

TEST_CASE("Loudness does not depend on the sample rate", "[core][hearing]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0})
        CHECK(hearing::integratedLoudnessLufs(stereoSine({{-23.0, 5.0}}, sampleRate))
              == Approx(-23.0).margin(0.1));
}

TEST_CASE("A sine in one front channel of two reads 3.01 LU less", "[core][hearing]")
{
    // ITU-R BS.1770-4: a 0 dBFS 997 Hz sine in one front channel reads -3.01 LKFS; the 1 kHz sine
    // of EBU Tech 3341 reads its peak level when both channels hold it.
    auto audio = stereoSine({{0.0, 5.0}});
    std::ranges::fill(audio.channels[1], 0.0F);
    CHECK(hearing::integratedLoudnessLufs(audio) == Approx(-3.01).margin(0.05));
}

TEST_CASE("One channel counts as it is played, alike in both ears", "[core][hearing]")
{
    auto audio = stereoSine({{-23.0, 5.0}});
    const double both = hearing::integratedLoudnessLufs(audio);
    audio.channels.pop_back();
    CHECK(hearing::integratedLoudnessLufs(audio) == both);
}

TEST_CASE("What the gate lets nothing through of has no loudness", "[core][hearing]")
{
    CHECK(hearing::integratedLoudnessLufs(dsp::makeSilence(48000.0, 2, 96000)) == dsp::silenceDb);
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-80.0, 5.0}})) == dsp::silenceDb);
    // Shorter than one gating block of 400 ms.
    CHECK(hearing::integratedLoudnessLufs(stereoSine({{-20.0, 0.2}})) == dsp::silenceDb);
}

TEST_CASE("The measure of loudness tells how far it is and can be ended", "[core][hearing]")
{
    const dsp::AudioBuffer audio = stereoSine({{-23.0, 20.0}});
    std::vector<double> shares;
    const auto told = hearing::integratedLoudnessLufs(audio, [&](double share) {
        shares.push_back(share);
        return true;
    });
    CHECK(told == hearing::integratedLoudnessLufs(audio));
    REQUIRE(shares.size() >= 4);
    CHECK(std::is_sorted(shares.begin(), shares.end()));
    CHECK(shares.back() == 1.0);
    std::size_t numCalls = 0;
    CHECK_FALSE(hearing::integratedLoudnessLufs(audio, [&](double) { return ++numCalls < 2; }));
    CHECK(numCalls == 2);
}
