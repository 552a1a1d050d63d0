#include "Core/Files/AudioFile.h"
#include "Plugin/ProgrammePlayer.h"
#include "Support/PluginAllocationCounter.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <array>
#include <chrono>
#include <thread>

using namespace saddletone;
using plugin::ProgrammePlayer;

namespace {

constexpr std::size_t rampFrames = 9600;
constexpr std::size_t fadeFrames = 480; // 10 ms at 48 kHz

/** Waits for the player's thread; reading a short file takes milliseconds. */
void waitUntilIdle(ProgrammePlayer& player)
{
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(20);
    while (player.state().busy && std::chrono::steady_clock::now() < giveUp) {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        player.update();
    }
    REQUIRE_FALSE(player.state().busy);
}

/** Renders frames in blocks of blockFrames; [channel][frame]. */
std::array<std::vector<float>, 2> render(ProgrammePlayer& player, std::size_t numFrames,
                                         std::size_t blockFrames = 256)
{
    std::array<std::vector<float>, 2> result {std::vector<float>(numFrames, 9.0F),
                                              std::vector<float>(numFrames, 9.0F)};
    for (std::size_t done = 0; done < numFrames;) {
        const std::size_t count = std::min(blockFrames, numFrames - done);
        const std::array<float*, 2> pointers {result[0].data() + done, result[1].data() + done};
        player.process({pointers.data(), 2, count});
        done += count;
    }
    return result;
}

float rampValue(std::size_t frame)
{
    return static_cast<float>(static_cast<double>(frame + 1) / static_cast<double>(rampFrames + 1));
}

struct LoadedPlayer {
    test::TemporaryFolder folder;
    ProgrammePlayer player;

    explicit LoadedPlayer(double fileRate = 48000.0, std::size_t numChannels = 2)
    {
        const auto file = folder.path() / "ramp.wav";
        test::writeRampFile(file, fileRate, numChannels, rampFrames);
        player.prepare({.sampleRate = 48000.0});
        player.load(file);
        waitUntilIdle(player);
        REQUIRE_FALSE(player.takeProblem().has_value());
        REQUIRE(player.state().loaded);
    }
};

bool isSilent(const std::array<std::vector<float>, 2>& audio)
{
    for (const auto& channel : audio)
        for (const float sample : channel)
            if (sample != 0.0F)
                return false;
    return true;
}

} // namespace

TEST_CASE("Player is silent until it is told to play", "[plugin][player]")
{
    LoadedPlayer loaded;
    CHECK(isSilent(render(loaded.player, 1000)));
    CHECK(loaded.player.state().positionSeconds == 0.0);
}

TEST_CASE("Player fades in over 10 ms and then gives the file's samples", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    const auto audio = render(loaded.player, 2000);
    for (std::size_t frame = 0; frame < 2000; ++frame) {
        const float gain =
            std::min(1.0F, static_cast<float>(frame + 1) / static_cast<float>(fadeFrames));
        REQUIRE(audio[0][frame] == gain * rampValue(frame));
        REQUIRE(audio[1][frame] == -gain * rampValue(frame));
    }
    CHECK(loaded.player.state().positionSeconds == Approx(2000.0 / 48000.0));
}

TEST_CASE("Player's output does not depend on the block size", "[plugin][player]")
{
    LoadedPlayer first;
    LoadedPlayer second;
    for (ProgrammePlayer* player : {&first.player, &second.player}) {
        player->setLooping(true);
        player->play();
    }
    CHECK(render(first.player, 30000, 512) == render(second.player, 30000, 37));
}

TEST_CASE("Player loops from the last sample to the first without a gap", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.setLooping(true);
    loaded.player.play();
    const auto audio = render(loaded.player, 2 * rampFrames + 100);
    for (std::size_t frame = fadeFrames; frame < audio[0].size(); ++frame)
        REQUIRE(audio[0][frame] == rampValue(frame % rampFrames));
    CHECK(loaded.player.state().playing);
}

TEST_CASE("Player stops at the end, faded, and is ready to start again", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    const auto audio = render(loaded.player, rampFrames + 500);
    CHECK_FALSE(loaded.player.state().playing);
    CHECK(loaded.player.state().positionSeconds == 0.0);
    CHECK(std::abs(audio[0][rampFrames - 1]) <= 1.0F / static_cast<float>(fadeFrames));
    for (std::size_t frame = rampFrames; frame < audio[0].size(); ++frame)
        REQUIRE(audio[0][frame] == 0.0F);
    loaded.player.play();
    CHECK(render(loaded.player, 10)[0][0] == 1.0F / static_cast<float>(fadeFrames) * rampValue(0));
}

TEST_CASE("Player pauses with a fade and goes on from there", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    static_cast<void>(render(loaded.player, 1000));
    loaded.player.pause();
    const auto audio = render(loaded.player, 1000);
    float largestStep = 0.0F;
    float before = rampValue(999);
    for (const float sample : audio[0]) {
        largestStep = std::max(largestStep, std::abs(sample - before));
        before = sample;
    }
    // The fade's own slope on a value below 0.2, and the ramp's.
    CHECK(largestStep < 0.2F / static_cast<float>(fadeFrames) + 1.0F / rampFrames);
    CHECK(audio[0].back() == 0.0F);
    const double held = loaded.player.state().positionSeconds;
    CHECK(held == Approx((1000.0 + static_cast<double>(fadeFrames) - 1.0) / 48000.0));
    CHECK(isSilent(render(loaded.player, 500)));
    CHECK(loaded.player.state().positionSeconds == held);
}

TEST_CASE("Player jumps to a position, kept inside the programme", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.setPositionSeconds(0.1);
    CHECK(loaded.player.state().positionSeconds == Approx(0.1));
    loaded.player.play();
    CHECK(render(loaded.player, 480)[0][479] == rampValue(4800 + 479));

    loaded.player.setPositionSeconds(1000.0);
    static_cast<void>(render(loaded.player, 480));
    CHECK(loaded.player.state().positionSeconds <= loaded.player.state().durationSeconds);
}

TEST_CASE("Player gives a mono file to both ears", "[plugin][player]")
{
    LoadedPlayer loaded(48000.0, 1);
    loaded.player.play();
    const auto audio = render(loaded.player, 1000);
    CHECK(audio[0] == audio[1]);
    CHECK(audio[0][999] == rampValue(999));
}

TEST_CASE("Player converts the programme to the session's rate", "[plugin][player]")
{
    LoadedPlayer loaded(24000.0);
    CHECK(loaded.player.state().durationSeconds == Approx(0.4));
    loaded.player.play();
    const auto audio = render(loaded.player, 4000);
    // Twice the rate: frame 2n lies on frame n of the file; a straight ramp is kept away from ends.
    CHECK(audio[0][3000] == Approx(rampValue(1500)).margin(1e-3));
}

TEST_CASE("Player goes on from its position when the rate changes", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    static_cast<void>(render(loaded.player, 4800));
    loaded.player.prepare({.sampleRate = 96000.0});
    CHECK(isSilent(render(loaded.player, 100)));
    waitUntilIdle(loaded.player);
    CHECK(loaded.player.state().playing);
    const auto audio = render(loaded.player, 2000);
    CHECK(audio[0][1999] == Approx(rampValue(4800 + 1000)).margin(1e-3));
}

TEST_CASE("Player keeps the programme when a file cannot be read, and says why", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    static_cast<void>(render(loaded.player, 1000));
    loaded.player.load(loaded.folder.path() / "missing.wav");
    waitUntilIdle(loaded.player);
    const auto problem = loaded.player.takeProblem();
    REQUIRE(problem.has_value());
    CHECK(problem->find("missing.wav") != std::string::npos);
    CHECK_FALSE(loaded.player.takeProblem().has_value());
    CHECK(loaded.player.state().file.filename() == "ramp.wav");
    CHECK(render(loaded.player, 1)[0][0] == rampValue(1000));
}

TEST_CASE("Player changes programmes without a step and starts the new one at its beginning",
          "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.play();
    static_cast<void>(render(loaded.player, 2000));
    const auto second = loaded.folder.path() / "second.wav";
    test::writeRampFile(second, 48000.0, 1, rampFrames);
    loaded.player.load(second);
    waitUntilIdle(loaded.player);
    const auto audio = render(loaded.player, 1500);
    CHECK(audio[0][fadeFrames - 1] == 0.0F);
    CHECK(audio[0][2 * fadeFrames - 1] == rampValue(fadeFrames - 1));
    CHECK(loaded.player.state().file == second);
}

TEST_CASE("Player allocates nothing while it plays", "[plugin][player]")
{
    LoadedPlayer loaded;
    loaded.player.setLooping(true);
    loaded.player.play();
    std::array<std::vector<float>, 2> block {std::vector<float>(512), std::vector<float>(512)};
    const std::array<float*, 2> pointers {block[0].data(), block[1].data()};
    const test::AllocationCounter allocations;
    for (int repeat = 0; repeat < 100; ++repeat) {
        if (repeat == 50)
            loaded.player.setPositionSeconds(0.05);
        loaded.player.process({pointers.data(), 2, 512});
    }
    CHECK(allocations.count() == 0);
}
