#include "Plugin/SignalPlayer.h"
#include "Support/PluginAllocationCounter.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <vector>

using namespace saddletone;
using plugin::SignalPlayer;

namespace {

constexpr double rate = 48000.0;

std::shared_ptr<const dsp::AudioBuffer> constantSignal(std::size_t numFrames, float value,
                                                       std::size_t numChannels = 1)
{
    dsp::AudioBuffer audio = dsp::makeSilence(rate, numChannels, numFrames);
    for (std::size_t channel = 0; channel < numChannels; ++channel)
        audio.channels[channel].assign(numFrames, value * static_cast<float>(channel + 1));
    return std::make_shared<const dsp::AudioBuffer>(std::move(audio));
}

std::array<std::vector<float>, 2> render(SignalPlayer& player, std::size_t numFrames,
                                         std::size_t blockFrames = 256)
{
    std::array<std::vector<float>, 2> result {std::vector<float>(numFrames),
                                              std::vector<float>(numFrames)};
    for (std::size_t done = 0; done < numFrames;) {
        const std::size_t count = std::min(blockFrames, numFrames - done);
        const std::array<float*, 2> pointers {result[0].data() + done, result[1].data() + done};
        player.process({pointers.data(), 2, count});
        done += count;
    }
    return result;
}

float largestStep(const std::vector<float>& samples)
{
    float largest = 0.0F;
    for (std::size_t frame = 1; frame < samples.size(); ++frame)
        largest = std::max(largest, std::abs(samples[frame] - samples[frame - 1]));
    return largest;
}

} // namespace

TEST_CASE("Test signal starts from silence over half a second and then has its level",
          "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(0.5F, 0.25F);
    CHECK(render(player, 100)[0] == std::vector<float>(100));
    player.play({constantSignal(4800, 1.0F), true});
    CHECK(player.isPlaying());
    const auto audio = render(player, 48000);
    // A ramp of 24000 frames to 0.5.
    CHECK(largestStep(audio[0]) < 1.01F * 0.5F / 24000.0F);
    CHECK(audio[0][12000] == Approx(0.25).margin(1e-4));
    CHECK(audio[0].back() == 0.5F);
    CHECK(audio[1].back() == 0.25F);
}

TEST_CASE("Test signal stops with a ramp", "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(1.0F, 1.0F);
    player.play({constantSignal(4800, 1.0F), true});
    static_cast<void>(render(player, 48000));
    player.stop();
    const auto audio = render(player, 4800);
    // 50 ms are 2400 frames.
    CHECK(largestStep(audio[0]) < 1.01F / 2400.0F);
    CHECK(audio[0][2300] > 0.0F);
    CHECK(audio[0][2401] == 0.0F);
    CHECK_FALSE(player.isPlaying());
}

TEST_CASE("Changes of the test signal's level glide", "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(0.0F, 0.0F);
    player.play({constantSignal(4800, 1.0F), true, 0.01});
    static_cast<void>(render(player, 4800));
    player.setGains(1.0F, 1.0F);
    const auto audio = render(player, 48000);
    // The steepest part of the glide, of 50 ms time constant, is its start.
    CHECK(largestStep(audio[0]) < 1.01F / 2400.0F);
    CHECK(audio[0].back() == Approx(1.0).margin(1e-3));
}

TEST_CASE("Another test signal starts from its beginning after the first has been faded out",
          "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(1.0F, 1.0F);
    player.play({constantSignal(4800, 1.0F), true, 0.05});
    static_cast<void>(render(player, 9600));
    player.play({constantSignal(4800, -1.0F), true, 0.05});
    const auto audio = render(player, 9600);
    CHECK(largestStep(audio[0]) < 1.01F / 2400.0F);
    CHECK(audio[0].front() > 0.9F);
    CHECK(audio[0].back() == -1.0F);
    CHECK(player.isPlaying());
}

TEST_CASE("A test signal that does not repeat ends, faded, by itself", "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(1.0F, 1.0F);
    player.play({constantSignal(9600, 1.0F), false, 0.01});
    const auto audio = render(player, 10000);
    CHECK(audio[0][9000] == 1.0F);
    // 10 ms are 480 frames.
    CHECK(std::abs(audio[0][9599]) <= 1.01F / 480.0F);
    CHECK(audio[0][9600] == 0.0F);
    CHECK_FALSE(player.isPlaying());
}

TEST_CASE("Each channel of a test signal goes to its own output", "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(0.25F, 0.25F);
    player.play({constantSignal(4800, 1.0F, 2), true, 0.01});
    const auto audio = render(player, 4800);
    CHECK(audio[0].back() == 0.25F);
    CHECK(audio[1].back() == 0.5F);
}

TEST_CASE("Test signal does not depend on the block size", "[plugin][signal-player]")
{
    std::array<std::array<std::vector<float>, 2>, 2> outputs;
    for (std::size_t run = 0; run < 2; ++run) {
        SignalPlayer player;
        player.prepare({.sampleRate = rate});
        player.setGains(0.3F, 0.7F);
        player.play({constantSignal(1001, 0.9F), true});
        outputs[run] = render(player, 30000, run == 0 ? 512 : 37);
    }
    CHECK(outputs[0] == outputs[1]);
}

TEST_CASE("Signal player allocates nothing and frees nothing on the audio thread",
          "[plugin][signal-player]")
{
    SignalPlayer player;
    player.prepare({.sampleRate = rate});
    player.setGains(1.0F, 1.0F);
    player.play({constantSignal(4800, 1.0F), true, 0.01});
    std::array<std::vector<float>, 2> block {std::vector<float>(512), std::vector<float>(512)};
    const std::array<float*, 2> pointers {block[0].data(), block[1].data()};
    player.process({pointers.data(), 2, 512});
    player.play({constantSignal(4800, 0.5F), true, 0.01});
    const test::AllocationCounter allocations;
    for (int repeat = 0; repeat < 50; ++repeat)
        player.process({pointers.data(), 2, 512});
    CHECK(allocations.count() == 0);
}
