#include "Core/Seat/SeatWords.h"

#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <string>

#include <nlohmann/json.hpp>

using namespace saddletone;

namespace {

bool contains(const std::string& text, const std::string& words)
{
    return text.find(words) != std::string::npos;
}

} // namespace

TEST_CASE("Words about a seat say what is done, and that nothing is done", "[core][seat]")
{
    const auto nothing = seat::seatSentences(nullptr, std::nullopt);
    REQUIRE(nothing.size() == 3);
    CHECK(contains(nothing[0], "not corrected"));
    CHECK(contains(nothing[1], "not known"));
    CHECK(contains(nothing[2], "at the left ear"));

    seat::ListenerSeat listener;
    listener.headphone = files::FrequencyTable {{100.0, 1000.0, 10000.0}, {0.0, 0.0, 3.0}, {}};
    listener.headphoneSource = "jobs/one/seat/phone.csv";
    listener.head.emplace();
    listener.head->description = "a made-up head";
    listener.places.front = {40.0, -20.0};
    listener.places.frontMetres = 0.8;
    const auto all = seat::seatSentences(&listener, seat::statedCalibration(112.0, "2026-05-01"));
    REQUIRE(all.size() == 4);
    CHECK(contains(all[0], "'phone.csv', to a flat response"));
    CHECK_FALSE(contains(all[0], "generic"));
    CHECK(contains(all[1], "112.0 dB SPL"));
    CHECK(contains(all[1], "stated as a number"));
    CHECK(contains(all[2], "40 degrees from straight ahead, 20 below the ears, 0.80 m away"));
    CHECK(contains(all[3], "An estimate"));
    CHECK(contains(all[3], "a made-up head"));
    CHECK(contains(all[3], "as somebody has set them"));
    listener.places = {};
    CHECK(contains(seat::seatSentences(&listener, std::nullopt)[3], "judgement"));
    listener.target = listener.headphone;
    listener.targetSource = "target.csv";
    CHECK(contains(seat::correctionWords(&listener), "the target of 'target.csv'"));
}

TEST_CASE("The generic tables are known as such, wherever they lie", "[core][seat]")
{
    const test::TemporaryFolder folder;
    for (const std::string name : {"closed", "open", "in-ear"}) {
        const std::filesystem::path preset =
            std::string(SADDLETONE_PRESETS_DIR) + "/Headphones/" + name + "-generic.csv";
        std::filesystem::copy_file(preset, folder / (name + ".csv"));
        const auto read = seat::loadListenerSeat({.headphoneResponseFile = folder / (name + ".csv"),
                                                  .headphoneTargetFile = {},
                                                  .isBinaural = false,
                                                  .headSetFile = {},
                                                  .places = {}});
        REQUIRE(read);
        CHECK((*read)->isHeadphoneInvented);
        CHECK(contains(seat::correctionWords(read->get()), "corrects nothing"));
    }
    test::writeBytes(folder / "own.csv", "# Measured\n50,-3\n1000,0\n5000,4\n15000,1\n");
    const auto own = seat::loadListenerSeat({.headphoneResponseFile = folder / "own.csv",
                                             .headphoneTargetFile = {},
                                             .isBinaural = false,
                                             .headSetFile = {},
                                             .places = {}});
    REQUIRE(own);
    CHECK_FALSE((*own)->isHeadphoneInvented);
}
