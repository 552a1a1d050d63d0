#include "Core/Files/AudioFile.h"
#include "Plugin/ProgrammePlayer.h"
#include "Support/PluginAllocationCounter.h"
#include "Support/PluginJob.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <memory>
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

namespace {

/** A player with three files of different length and content, of which two at another rate. */
struct PlayingList {
    test::TemporaryFolder folder;
    ProgrammePlayer player;
    std::array<std::vector<float>, 3> tracks;

    explicit PlayingList(bool areLong = false)
    {
        std::vector<std::filesystem::path> files;
        for (std::size_t track = 0; track < 3; ++track) {
            const std::size_t numFrames = (areLong ? 60000 : 7000) + 1111 * track;
            for (std::size_t frame = 0; frame < numFrames; ++frame)
                tracks[track].push_back(static_cast<float>(
                    0.05 * static_cast<double>(track + 1)
                    * std::sin(2.0 * 3.14159265358979 * 0.01 * static_cast<double>(frame + 7))));
            files.push_back(folder.path() / ("track" + std::to_string(track) + ".wav"));
            REQUIRE(files::writeAudioFile({48000.0, {tracks[track], tracks[track]}}, files.back(),
                                          files::SampleFormat::float32));
        }
        player.prepare({.sampleRate = 48000.0});
        player.add(files);
        waitUntilIdle(player);
        waitForNext();
    }

    /** The file behind the current one is read without anything to show it but that it follows. */
    void waitForNext()
    {
        for (int turn = 0; turn < 200; ++turn) {
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
            player.update();
        }
    }

    std::vector<float> concatenated() const
    {
        std::vector<float> all;
        for (const auto& track : tracks)
            all.insert(all.end(), track.begin(), track.end());
        return all;
    }
};

} // namespace

TEST_CASE("Files follow each other without a gap: together they are their concatenation",
          "[plugin][player]")
{
    PlayingList playing;
    playing.player.play();
    std::vector<float> heard;
    const auto expected = playing.concatenated();
    while (heard.size() < expected.size()) {
        const auto part = render(playing.player, 2500, 333);
        heard.insert(heard.end(), part[0].begin(), part[0].end());
        playing.waitForNext();
    }
    for (std::size_t frame = fadeFrames; frame < expected.size() - fadeFrames; ++frame)
        if (heard[frame] != expected[frame])
            FAIL("frame " << frame << ": " << heard[frame] << " is not " << expected[frame]);
    CHECK_FALSE(playing.player.state().playing);
}

TEST_CASE("A list that loops comes back to its first file without a gap", "[plugin][player]")
{
    PlayingList playing;
    playing.player.setLooping(true);
    playing.player.play();
    std::vector<float> heard;
    auto expected = playing.concatenated();
    expected.insert(expected.end(), playing.tracks[0].begin(), playing.tracks[0].end());
    while (heard.size() < expected.size()) {
        const auto part = render(playing.player, 2500, 64);
        heard.insert(heard.end(), part[0].begin(), part[0].end());
        playing.waitForNext();
    }
    for (std::size_t frame = fadeFrames; frame < expected.size(); ++frame)
        if (heard[frame] != expected[frame])
            FAIL("frame " << frame << ": " << heard[frame] << " is not " << expected[frame]);
    CHECK(playing.player.state().playing);
}

TEST_CASE("A region is heard over and over with its seam, and measured as heard",
          "[plugin][player]")
{
    PlayingList playing(true);
    const audition::LoopRegion region {0.2, 0.5};
    playing.player.setRegion(0, region);
    playing.player.restart();
    playing.player.play();
    const auto heard = render(playing.player, 60000);
    const auto seam = audition::LoopSeam::of(region, 48000.0, playing.tracks[0].size());
    REQUIRE(seam);
    std::size_t position = seam->beginFrame;
    for (std::size_t frame = 0; frame < 60000; ++frame) {
        if (frame >= fadeFrames && heard[0][frame] != seam->sampleAt(playing.tracks[0], position))
            FAIL("frame " << frame);
        position = seam->nextPosition(position, playing.tracks[0].size());
    }
    const auto part = playing.player.heardPart();
    CHECK(part.beginFrame == 9600);
    CHECK(part.endFrame == 24000);

    playing.player.setRegion(0, std::nullopt);
    CHECK(playing.player.heardPart().endFrame == playing.tracks[0].size());
}

TEST_CASE("Aligned files are brought to one loudness as far as the limits go", "[plugin][player]")
{
    PlayingList playing(true);
    playing.player.setAligned(true);
    playing.player.play();
    for (std::size_t track = 0; track < 3; ++track) {
        CAPTURE(track);
        playing.player.select(track);
        waitUntilIdle(playing.player);
        static_cast<void>(render(playing.player, 2 * fadeFrames));
        const auto heard = render(playing.player, 10000);
        const auto largest = [](const std::vector<float>& samples) {
            return static_cast<double>(std::ranges::max(samples));
        };
        const auto entry = playing.player.list().entries()[track];
        REQUIRE(entry.loudnessLufs.has_value());
        // A sine of 480 Hz in both channels reads about its peak level.
        CHECK(*entry.loudnessLufs
              == Approx(20.0 * std::log10(0.05 * static_cast<double>(track + 1))).margin(0.7));
        const double gainDb = 20.0 * std::log10(largest(heard[0]) / largest(playing.tracks[track]));
        CHECK(gainDb == Approx(audition::alignmentGainDb(*entry.loudnessLufs)).margin(0.01));
        CHECK(playing.player.heardPart().gainDb == Approx(gainDb).margin(0.01));
    }
}

TEST_CASE("A file that cannot be read is passed over and said so", "[plugin][player]")
{
    PlayingList playing;
    playing.player.add({playing.folder.path() / "missing.wav"}, 1);
    playing.waitForNext();
    const auto problem = playing.player.takeProblem();
    REQUIRE(problem.has_value());
    CHECK(problem->find("missing.wav") != std::string::npos);
    CHECK(playing.player.list().entries()[1].isUnreadable);
    playing.player.play();
    std::vector<float> heard;
    for (int part = 0; part < 5; ++part) {
        const auto piece = render(playing.player, 2000);
        heard.insert(heard.end(), piece[0].begin(), piece[0].end());
        playing.waitForNext();
    }
    CHECK(heard[7000] == playing.tracks[1][0]);
    CHECK(playing.player.list().current() == 2);
}

TEST_CASE("Removing what is heard goes on with what comes behind it, and an empty list is silent",
          "[plugin][player]")
{
    PlayingList playing;
    playing.player.play();
    static_cast<void>(render(playing.player, 1000));
    playing.player.remove(0);
    waitUntilIdle(playing.player);
    const auto heard = render(playing.player, 3000);
    CHECK(heard[0][2000] == playing.tracks[1][2000 - fadeFrames]);
    CHECK(playing.player.state().file.filename() == "track1.wav");
    playing.player.remove(0);
    playing.player.remove(0);
    CHECK_FALSE(playing.player.state().loaded);
    static_cast<void>(render(playing.player, 1000));
    CHECK(isSilent(render(playing.player, 1000)));
}

TEST_CASE("Going from file to file takes no memory on the audio thread", "[plugin][player]")
{
    PlayingList playing;
    playing.player.setLooping(true);
    playing.player.play();
    std::array<std::vector<float>, 2> block {std::vector<float>(512), std::vector<float>(512)};
    const std::array<float*, 2> pointers {block[0].data(), block[1].data()};
    std::size_t numCalls = 0;
    for (int repeat = 0; repeat < 60; ++repeat) {
        const test::AllocationCounter allocations;
        playing.player.process({pointers.data(), 2, 512});
        numCalls += allocations.count();
        if (repeat % 10 == 9)
            playing.waitForNext();
    }
    CHECK(numCalls == 0);
}

namespace {

/** Takes seconds to open. */
constexpr double longFileSeconds = 900.0;

/** A player that plays a list of two short files, with a long file at hand. */
struct PlayerBesideLongFile {
    test::TemporaryFolder folder;
    std::filesystem::path longFile = folder.path() / "long.wav";
    std::filesystem::path shortFile = folder.path() / "short.wav";
    ProgrammePlayer player;

    PlayerBesideLongFile()
    {
        test::writeLongFile(longFile, longFileSeconds);
        test::writeRampFile(shortFile, 48000.0, 2, rampFrames);
        player.prepare({.sampleRate = 48000.0});
        player.setLooping(true);
        player.play();
    }

    void playShort()
    {
        player.load(shortFile);
        waitUntilIdle(player);
        REQUIRE(player.state().loaded);
    }

    /** Shares that are shown until one is past a bound. */
    std::vector<double> waitForShare(double bound)
    {
        std::vector<double> shares;
        const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
        while (shares.empty() || shares.back() <= bound) {
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
            player.update();
            REQUIRE(player.state().busy);
            REQUIRE(std::chrono::steady_clock::now() < giveUp);
            const gui::JobTaskView view = player.opening();
            if (view.task == gui::JobTask::none)
                continue;
            CHECK(view.task == gui::JobTask::programme);
            CHECK(view.words == "Opening long.wav");
            shares.push_back(view.doneProportion);
        }
        return shares;
    }

    bool sounds()
    {
        static_cast<void>(render(player, 2000)); // fades
        return !isSilent(render(player, 2000));
    }
};

} // namespace

TEST_CASE("A file that takes long to open tells how far it is, and cancelled keeps what was played",
          "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    beside.playShort();
    CHECK(player.opening().task == gui::JobTask::none);

    player.load(beside.longFile);
    // What is over at once is not worth a word.
    CHECK(player.opening().task == gui::JobTask::none);
    const auto shares = beside.waitForShare(0.4);
    CHECK(std::is_sorted(shares.begin(), shares.end()));
    CHECK(shares.back() < 1.0);
    CHECK(beside.sounds());
    player.cancelOpening();
    CHECK_FALSE(player.state().busy);
    CHECK(player.opening().task == gui::JobTask::none);
    CHECK(player.state().file == beside.shortFile);
    CHECK_FALSE(player.takeProblem().has_value());
    for (int turn = 0; turn < 50; ++turn) {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        player.update();
    }
    CHECK(player.list().entries().size() == 1);
    CHECK(player.state().file == beside.shortFile);
    CHECK(beside.sounds());
    player.cancelOpening(); // there is nothing to cancel
    CHECK(player.state().loaded);
}

TEST_CASE(
    "An entry whose reading was cancelled stays in the list and is passed over until selected",
    "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    beside.playShort();
    player.add({beside.longFile});
    player.select(1);
    CHECK(player.list().current() == 1);
    static_cast<void>(beside.waitForShare(0.0));
    player.cancelOpening();
    CHECK(player.list().entries().size() == 2);
    CHECK(player.list().current() == 0);
    CHECK(player.list().entries()[1].isCancelled);
    CHECK(beside.sounds());
    for (int turn = 0; turn < 20; ++turn) {
        static_cast<void>(render(player, rampFrames));
        player.update();
    }
    CHECK(player.list().current() == 0);
    CHECK_FALSE(player.list().entries()[1].durationSeconds.has_value());

    player.select(1);
    CHECK_FALSE(player.list().entries()[1].isCancelled);
    waitUntilIdle(player);
    CHECK(player.state().file == beside.longFile);
    CHECK(player.state().durationSeconds == Approx(longFileSeconds).margin(0.01));
}

TEST_CASE(
    "With nothing else to hear, what was cancelled leaves silence, and what is added is opened",
    "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    player.add({beside.longFile});
    static_cast<void>(beside.waitForShare(0.0));
    player.cancelOpening();
    CHECK_FALSE(player.state().loaded);
    CHECK(player.list().entries()[0].isCancelled);
    CHECK_FALSE(beside.sounds());
    player.add({beside.shortFile}, 0);
    waitUntilIdle(player);
    CHECK(player.state().file == beside.shortFile);
    CHECK(player.list().current() == 0);
    CHECK(beside.sounds());
}

TEST_CASE("A conversion to another rate can be cancelled and taken up again", "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    player.prepare({.sampleRate = 44100.0});
    player.load(beside.longFile);
    waitUntilIdle(player);
    player.prepare({.sampleRate = 48000.0});
    static_cast<void>(beside.waitForShare(0.0));
    player.cancelOpening();
    CHECK_FALSE(player.state().loaded);
    CHECK(player.list().entries()[0].isCancelled);
    player.select(0);
    waitUntilIdle(player);
    CHECK(player.state().file == beside.longFile);
}

TEST_CASE("Cancelled after a change of rate, what was heard before is converted and heard",
          "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    beside.playShort();
    player.load(beside.longFile);
    player.prepare({.sampleRate = 96000.0});
    static_cast<void>(beside.waitForShare(0.0));
    player.cancelOpening();
    waitUntilIdle(player);
    CHECK(player.state().file == beside.shortFile);
    CHECK(beside.sounds());
}

TEST_CASE("Another choice ends the reading of a long file at once", "[plugin][player]")
{
    PlayerBesideLongFile beside;
    beside.player.load(beside.longFile);
    const double untilHalf = [&] {
        const auto begin = std::chrono::steady_clock::now();
        static_cast<void>(beside.waitForShare(0.5));
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    }();
    const auto begin = std::chrono::steady_clock::now();
    beside.playShort();
    // All that the long file still needed would have taken about as long again.
    CHECK(std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count()
          < 0.5 * untilHalf);
    CHECK(beside.player.state().file == beside.shortFile);
}

TEST_CASE("A player goes at once though it reads a long file", "[plugin][player]")
{
    auto beside = std::make_unique<PlayerBesideLongFile>();
    beside->player.load(beside->longFile);
    const auto began = std::chrono::steady_clock::now();
    static_cast<void>(beside->waitForShare(0.5));
    const auto half = std::chrono::steady_clock::now();
    beside.reset();
    CHECK(std::chrono::steady_clock::now() - half < 0.5 * (half - began));
}

TEST_CASE("A file that is read for later is not told of", "[plugin][player]")
{
    PlayerBesideLongFile beside;
    ProgrammePlayer& player = beside.player;
    beside.playShort();
    player.add({beside.longFile});
    const auto giveUp = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    bool isTold = false;
    while (!player.list().entries()[1].durationSeconds) {
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
        player.update();
        isTold = isTold || player.state().busy || player.opening().task != gui::JobTask::none;
        REQUIRE(std::chrono::steady_clock::now() < giveUp);
    }
    CHECK_FALSE(isTold);
}
