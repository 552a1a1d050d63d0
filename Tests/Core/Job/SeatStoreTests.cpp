// Changing the seat that a job keeps.
#include "Core/Job/SeatStore.h"

#include "Core/Seat/HeadModel.h"
#include "Support/PluginJob.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <string>

#include <nlohmann/json.hpp>

using namespace saddletone;
using nlohmann::json;

namespace {

const std::string today = "2026-05-01";

struct Shop {
    test::TemporaryFolder folder;
    job::Job job;

    Shop() : job(test::writeMadeUpJob(folder / "job", "Made-up job"))
    {
        test::writeBytes(folder / "phone.csv", "50,-3\n200,0\n1000,0\n5000,4\n15000,1\n");
        test::writeBytes(folder / "target.csv", "20,2\n200,0\n10000,-2\n");
        std::filesystem::create_directory(folder / "other");
        test::writeBytes(folder / "other/phone.csv", "50,-5\n200,0\n1000,0\n5000,2\n15000,0\n");
    }

    [[nodiscard]] dsp::Result<job::StoredSeat> change(const job::SeatChange& change) const
    {
        return job::changeSeat(job.folder, change, today);
    }
    [[nodiscard]] json document() const
    {
        return json::parse(test::bytesOf(job.folder / "job.json"));
    }
};

bool mentions(const dsp::Error& error, const std::string& words)
{
    return error.message.find(words) != std::string::npos;
}

} // namespace

TEST_CASE("A seat that is set lies in the job with its files", "[core][job][seat]")
{
    const Shop shop;
    job::SeatChange change;
    change.headphoneResponse = shop.folder / "phone.csv";
    change.headphoneTarget = shop.folder / "target.csv";
    change.headphoneSplDb = 112.0;
    change.isBinaural = true;
    change.headSet = seat::HeadModel::packagedFile();
    change.places = seat::SpeakerPlaces {{30.0, -20.0}, {150.0, -40.0}, 0.8, std::nullopt};
    const auto stored = shop.change(change);
    REQUIRE(stored);
    CHECK(stored->seat.headphoneResponseFile == "seat/phone.csv");
    CHECK(test::bytesOf(shop.job.folder / "seat/phone.csv")
          == test::bytesOf(shop.folder / "phone.csv"));
    REQUIRE(stored->listener != nullptr);
    CHECK(stored->listener->isCorrected());
    CHECK(stored->listener->isBinaural());
    CHECK(stored->listener->places == *change.places);
    REQUIRE(stored->headphones);
    CHECK(stored->headphones->splAtFullScaleDb() == 112.0);
    CHECK(stored->headphones->date == today);

    // It moves with the folder: what it was made from is not needed any more.
    std::filesystem::remove(shop.folder / "phone.csv");
    std::filesystem::remove(shop.folder / "target.csv");
    const auto loaded = job::loadJob(shop.job.folder);
    REQUIRE(loaded);
    CHECK(loaded->seat == stored->seat);
    CHECK(job::checkJob(*loaded).empty());
    CHECK(
        shop.document()["seat"]["speakerPlaces"]
        == json {{"front",
                  {{"azimuthDegrees", 30.0}, {"elevationDegrees", -20.0}, {"distanceMetres", 0.8}}},
                 {"rear", {{"azimuthDegrees", 150.0}, {"elevationDegrees", -40.0}}}});
}

TEST_CASE("What is not changed of a seat stays, and what is cleared is gone", "[core][job][seat]")
{
    const Shop shop;
    job::SeatChange change;
    change.headphoneResponse = shop.folder / "phone.csv";
    change.headphoneTarget = shop.folder / "target.csv";
    change.headphoneSplDb = 100.0;
    REQUIRE(shop.change(change));
    job::SeatChange binaural;
    binaural.isBinaural = true;
    const auto both = shop.change(binaural);
    REQUIRE(both);
    CHECK(both->seat.headphoneResponseFile == "seat/phone.csv");
    CHECK(both->seat.isBinaural);
    CHECK(both->headphones->splAtFullScaleDb() == 100.0);

    job::SeatChange clear;
    clear.headphoneResponse = std::filesystem::path();
    const auto uncorrected = shop.change(clear);
    REQUIRE(uncorrected);
    CHECK(uncorrected->seat.headphoneResponseFile.empty());
    CHECK(uncorrected->seat.headphoneTargetFile.empty());
    CHECK(uncorrected->seat.isBinaural);
    clear.headphoneCalibration = std::filesystem::path();
    clear.isBinaural = false;
    const auto none = shop.change(clear);
    REQUIRE(none);
    CHECK(none->seat == job::JobSeat {});
    CHECK(none->listener == nullptr);
    CHECK_FALSE(none->headphones);
    CHECK_FALSE(shop.document().contains("seat"));
}

TEST_CASE("Files of one name get different ones in the job, the same file is kept once",
          "[core][job][seat]")
{
    const Shop shop;
    job::SeatChange change;
    change.headphoneResponse = shop.folder / "phone.csv";
    REQUIRE(shop.change(change));
    REQUIRE(shop.change(change));
    job::SeatChange other;
    other.headphoneResponse = shop.folder / "other/phone.csv";
    const auto stored = shop.change(other);
    REQUIRE(stored);
    CHECK(stored->seat.headphoneResponseFile == "seat/phone-2.csv");
    CHECK_FALSE(std::filesystem::exists(shop.job.folder / "seat/phone-3.csv"));
    // What lies in the job already stays where it is.
    job::SeatChange inside;
    inside.headphoneResponse = shop.job.folder / "seat/phone.csv";
    CHECK(shop.change(inside)->seat.headphoneResponseFile == "seat/phone.csv");
}

TEST_CASE("A seat that cannot be heard is refused and leaves the job as it was",
          "[core][job][seat]")
{
    const Shop shop;
    test::writeBytes(shop.folder / "words.csv", "no numbers here\n");
    test::writeBytes(shop.folder / "short.csv", "100,0\n1000,0\n");
    const std::string before = test::bytesOf(shop.job.folder / "job.json");
    const std::size_t numEntries = shop.folder.numEntries();
    const auto refusal = [&](const job::SeatChange& change) {
        const auto refused = shop.change(change);
        REQUIRE_FALSE(refused);
        CHECK(test::bytesOf(shop.job.folder / "job.json") == before);
        CHECK(shop.folder.numEntries() == numEntries);
        return refused.error();
    };
    job::SeatChange change;
    for (const std::string name : {"gone.csv", "words.csv", "short.csv"}) {
        change.headphoneResponse = shop.folder / name;
        CHECK(mentions(refusal(change), name));
    }
    change = {};
    change.headphoneTarget = shop.folder / "target.csv";
    CHECK(mentions(refusal(change), "needs the headphone"));
    change = {};
    change.headphoneCalibration = shop.folder / "phone.csv";
    CHECK(mentions(refusal(change), "phone.csv"));
    change = {};
    change.headphoneSplDb = 80.0;
    CHECK(mentions(refusal(change), "80.0 dB SPL"));
    change = {};
    change.headSet = shop.folder / "phone.csv"; // looked at even while it is not heard
    CHECK(mentions(refusal(change), "phone.csv"));
    change = {};
    change.places = seat::SpeakerPlaces {};
    change.places->front.azimuthDegrees = -25.0;
    CHECK(mentions(refusal(change), "front speakers"));
    change.places = seat::SpeakerPlaces {};
    change.places->rearMetres = 0.1;
    CHECK(mentions(refusal(change), "0.25 to 3 m"));
    // A place that the set does not reach.
    change.places = seat::SpeakerPlaces {};
    change.places->rear.elevationDegrees = -89.0;
    change.isBinaural = true;
    refusal(change);
    CHECK_FALSE(job::changeSeat(shop.folder / "nowhere", {}, today));
}
