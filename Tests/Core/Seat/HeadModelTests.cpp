#include "Core/Seat/HeadModel.h"

#include "Core/Dsp/Units.h"
#include "Support/TemporaryFolder.h"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

#include <catch2/catch.hpp>
#include <mysofa.h>

using namespace saddletone;
using seat::Direction;
using seat::HeadModel;
using seat::leftEar;
using seat::rightEar;

namespace {

/** libmysofa's own filters, without its scaling of loudness. */
class LibraryFilters {
public:
    explicit LibraryFilters(float sampleRate)
        : easy(mysofa_open_no_norm(HeadModel::packagedFile().string().c_str(), sampleRate, &numTaps,
                                   &code))
    {
        REQUIRE(easy != nullptr);
    }
    ~LibraryFilters() { mysofa_close(easy); }
    LibraryFilters(const LibraryFilters&) = delete;
    LibraryFilters& operator=(const LibraryFilters&) = delete;

    [[nodiscard]] std::array<std::vector<float>, 2> nearest(const Direction& direction) const
    {
        std::array<float, 3> place {static_cast<float>(direction.azimuthDegrees),
                                    static_cast<float>(direction.elevationDegrees), 1.4F};
        mysofa_s2c(place.data());
        std::array<std::vector<float>, 2> taps;
        for (auto& ear : taps)
            ear.resize(static_cast<std::size_t>(numTaps));
        std::array<float, 2> delays {};
        mysofa_getfilter_float_nointerp(easy, place[0], place[1], place[2], taps[0].data(),
                                        taps[1].data(), &delays[0], &delays[1]);
        CHECK(delays[0] == 0.0F);
        CHECK(delays[1] == 0.0F);
        return taps;
    }

private:
    int numTaps = 0;
    int code = 0;
    MYSOFA_EASY* easy;
};

double energyOf(const std::vector<double>& samples)
{
    double sum = 0.0;
    for (const double sample : samples)
        sum += sample * sample;
    return sum;
}

double interauralSeconds(const seat::EarImpulses& pair, double sampleRate)
{
    return (pair.arrivalFrames[rightEar] - pair.arrivalFrames[leftEar]) / sampleRate;
}

/** A set of 26 directions whose ears are a unit impulse each, as late as Woodworth's sphere has
    it and 80 frames more. */
seat::SofaContent sphereContent()
{
    seat::SofaContent content;
    content.sampleRate = 48000.0;
    for (const double elevation : {-45.0, 0.0, 45.0})
        for (int step = 0; step < 8; ++step) {
            seat::SofaMeasurement measurement;
            measurement.direction = {45.0 * step, elevation};
            for (std::size_t ear = 0; ear < seat::numEars; ++ear) {
                measurement.impulses[ear].assign(64, 0.0F);
                measurement.impulses[ear][8] = 1.0F;
                measurement.delayFrames[ear] =
                    80.0
                    + std::round(48000.0 * seat::frontDelaysSeconds(measurement.direction)[ear]);
            }
            content.measurements.push_back(measurement);
        }
    return content;
}

} // namespace

TEST_CASE("A measured direction gives libmysofa's own filters back", "[core][seat]")
{
    const auto model = HeadModel::load(HeadModel::packagedFile(), 44100.0);
    REQUIRE(model);
    CHECK(model->measured().size() == 710);
    CHECK(model->distanceMetres() == Approx(1.4).margin(1e-6));
    CHECK(model->description().find("KEMAR") != std::string::npos);
    const LibraryFilters library(44100.0F);
    for (const Direction direction :
         {Direction {0.0, 0.0}, Direction {90.0, 0.0}, Direction {-90.0, 0.0},
          Direction {150.0, 0.0}, Direction {-30.0, 30.0}, Direction {180.0, -40.0}}) {
        CAPTURE(direction.azimuthDegrees, direction.elevationDegrees);
        const auto pair = model->at(direction);
        REQUIRE(pair);
        const auto expected = library.nearest(direction);
        // What the model cuts off in front is the same for all; here it adds some silence instead.
        for (std::size_t ear = 0; ear < 2; ++ear) {
            std::ptrdiff_t best = 0;
            double smallest = 1e9;
            for (std::ptrdiff_t lead = -100; lead <= 100; ++lead) {
                double difference = 0.0;
                for (std::size_t n = 0; n < expected[ear].size(); ++n) {
                    const auto at = static_cast<std::ptrdiff_t>(n) + lead;
                    const double ours =
                        at >= 0 && at < static_cast<std::ptrdiff_t>(pair->impulses[ear].size())
                            ? pair->impulses[ear][static_cast<std::size_t>(at)]
                            : 0.0;
                    difference += std::pow(ours - static_cast<double>(expected[ear][n]), 2);
                }
                if (difference < smallest) {
                    smallest = difference;
                    best = lead;
                }
            }
            // Single precision of the file is what is left.
            CHECK(dsp::powerToDb(smallest / energyOf(pair->impulses[ear])) < -100.0);
            static_cast<void>(best);
        }
    }
}

TEST_CASE("Interaural time follows Woodworth's sphere in sign and size", "[core][seat]")
{
    // Woodworth, Experimental Psychology, 1938: r/c (angle + sin(angle)). The dummy head is no
    // sphere: 45 us, or a tenth of the largest difference.
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        CAPTURE(sampleRate);
        const auto model = HeadModel::load(HeadModel::packagedFile(), sampleRate);
        REQUIRE(model);
        for (const double azimuth : {0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0, 120.0, 150.0}) {
            CAPTURE(azimuth);
            double angle = azimuth * std::numbers::pi / 180.0;
            angle = std::min(angle, std::numbers::pi - angle);
            const double expected = 0.0875 / 343.0 * (angle + std::sin(angle));
            const auto left = model->at({azimuth, 0.0});
            const auto right = model->at({-azimuth, 0.0});
            REQUIRE(left);
            REQUIRE(right);
            CHECK(interauralSeconds(*left, sampleRate) == Approx(expected).margin(45e-6));
            // The set was measured on one ear and mirrored, so the sides agree exactly.
            CHECK(interauralSeconds(*right, sampleRate)
                  == Approx(-interauralSeconds(*left, sampleRate)).margin(1e-6));
        }
    }
}

TEST_CASE("The ear towards the sound gets more of it", "[core][seat]")
{
    const auto model = HeadModel::load(HeadModel::packagedFile(), 48000.0);
    REQUIRE(model);
    const LibraryFilters library(44100.0F);
    for (const double azimuth : {90.0, -90.0}) {
        const auto pair = model->at({azimuth, 0.0});
        REQUIRE(pair);
        const double differenceDb =
            dsp::powerToDb(energyOf(pair->impulses[leftEar]) / energyOf(pair->impulses[rightEar]));
        CHECK((azimuth > 0.0 ? differenceDb : -differenceDb) > 10.0);
        const auto expected = library.nearest({azimuth, 0.0});
        std::array<double, 2> energy {};
        for (std::size_t ear = 0; ear < 2; ++ear)
            for (const float sample : expected[ear])
                energy[ear] += static_cast<double>(sample) * static_cast<double>(sample);
        // Resampling keeps energy within what lies above 20 kHz.
        CHECK(differenceDb == Approx(dsp::powerToDb(energy[0] / energy[1])).margin(0.05));
    }
}

TEST_CASE("Another sample rate keeps the frequency response of a head", "[core][seat]")
{
    const auto own = HeadModel::load(HeadModel::packagedFile(), 44100.0);
    REQUIRE(own);
    for (const double sampleRate : {48000.0, 88200.0, 96000.0, 192000.0}) {
        CAPTURE(sampleRate);
        const auto other = HeadModel::load(HeadModel::packagedFile(), sampleRate);
        REQUIRE(other);
        for (const double frequencyHz : {100.0, 1000.0, 5000.0, 12000.0, 19000.0}) {
            CAPTURE(frequencyHz);
            const auto magnitudeOf = [&](const HeadModel& model) {
                const auto pair = model.at({30.0, 0.0});
                std::complex<double> sum;
                for (std::size_t n = 0; n < pair->impulses[leftEar].size(); ++n)
                    sum += pair->impulses[leftEar][n]
                           * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz
                                                 * static_cast<double>(n) / model.sampleRate());
                return dsp::amplitudeToDb(std::abs(sum));
            };
            // The set's responses do not end in silence; what its frame cuts off rings otherwise.
            CHECK(magnitudeOf(*other) == Approx(magnitudeOf(*own)).margin(0.05));
        }
    }
}

TEST_CASE("Between directions sounds arrive in between and no comb arises", "[core][seat]")
{
    const auto model = HeadModel::fromContent(sphereContent(), "sphere", 48000.0);
    REQUIRE(model);
    const auto one = model->at({45.0, 0.0});
    const auto other = model->at({90.0, 0.0});
    const auto between = model->at({52.0, 2.0});
    REQUIRE(one);
    REQUIRE(other);
    REQUIRE(between);
    for (std::size_t ear = 0; ear < seat::numEars; ++ear) {
        const auto [lowest, highest] =
            std::minmax(one->arrivalFrames[ear], other->arrivalFrames[ear]);
        CHECK(between->arrivalFrames[ear] > lowest);
        CHECK(between->arrivalFrames[ear] < highest);
        // Unit impulses are averaged to a unit impulse: all of the energy, in one place.
        CHECK(energyOf(between->impulses[ear]) == Approx(1.0).margin(0.01));
    }
}

TEST_CASE("Delays that a set keeps apart from its impulses count", "[core][seat]")
{
    const auto model = HeadModel::fromContent(sphereContent(), "sphere", 48000.0);
    REQUIRE(model);
    const auto pair = model->at({90.0, 0.0});
    REQUIRE(pair);
    // Rounded to whole frames in the set: half a frame at each ear.
    CHECK(interauralSeconds(*pair, 48000.0)
          == Approx(0.0875 / 343.0 * (0.5 * std::numbers::pi + 1.0)).margin(1.0 / 48000.0));
    // The way that all directions share is gone.
    CHECK(model->headCentreFrame() < 0.0025 * 48000.0);
}

TEST_CASE("The shares of the sphere are even for even directions and sum to one", "[core][seat]")
{
    const auto model = HeadModel::load(HeadModel::packagedFile(), 44100.0);
    REQUIRE(model);
    const auto shares = model->sphereShares();
    double sum = 0.0;
    double above = 0.0;
    for (std::size_t index = 0; index < shares.size(); ++index) {
        sum += shares[index];
        above += model->measured()[index].direction.elevationDegrees > 0.1 ? shares[index] : 0.0;
    }
    CHECK(sum == Approx(1.0).margin(1e-12));
    // The set's layers stand 10 degrees apart from -40 to 90; what is within 15 degrees of the
    // lowest counts, so the sphere ends at -55 degrees, and the part above 5 degrees is its share.
    const double expected = (1.0 - std::sin(5.0 * std::numbers::pi / 180.0))
                            / (1.0 + std::sin(55.0 * std::numbers::pi / 180.0));
    CHECK(above == Approx(expected).margin(0.01));
}

TEST_CASE("Files that hold no set of head-related responses are refused with the reason",
          "[core][seat]")
{
    const test::TemporaryFolder folder;
    const auto messageOf = [](const std::filesystem::path& file) {
        const auto model = HeadModel::load(file, 48000.0);
        REQUIRE_FALSE(model);
        CHECK(model.error().message.find(file.filename().string()) != std::string::npos);
        return model.error().message;
    };
    CHECK(messageOf(folder / "missing.sofa").find("does not exist") != std::string::npos);
    test::writeBytes(folder / "words.sofa", "this is no SOFA file\n");
    CHECK(messageOf(folder / "words.sofa").find("no SOFA file") != std::string::npos);
    test::writeBytes(folder / "empty.sofa", "");
    CHECK(messageOf(folder / "empty.sofa").find("no SOFA file") != std::string::npos);

    const std::string set = test::bytesOf(HeadModel::packagedFile());
    for (const std::size_t length : {std::size_t {9}, set.size() / 3, set.size() - 1000}) {
        test::writeBytes(folder / "short.sofa", std::string_view(set).substr(0, length));
        static_cast<void>(messageOf(folder / "short.sofa"));
    }
    std::string other = set;
    const std::string convention = "SimpleFreeFieldHRIR";
    other.replace(other.find(convention), convention.size(), "SimpleFreeFieldHRTF");
    test::writeBytes(folder / "other.sofa", other);
    const std::string refusal = messageOf(folder / "other.sofa");
    CHECK(refusal.find("'SimpleFreeFieldHRTF'") != std::string::npos);
    CHECK(refusal.find("'SimpleFreeFieldHRIR'") != std::string::npos);
}

TEST_CASE("Sets that cannot stand for a head on a bike are refused with the reason", "[core][seat]")
{
    const auto messageOf = [](const seat::SofaContent& content, double sampleRate = 48000.0) {
        const auto model = HeadModel::fromContent(content, "set.sofa", sampleRate);
        REQUIRE_FALSE(model);
        return model.error().message;
    };
    auto content = sphereContent();
    content.measurements[3].distanceMetres = 0.1;
    CHECK(messageOf(content).find("0.10 m from the head") != std::string::npos);
    content = sphereContent();
    content.measurements.resize(15);
    CHECK(messageOf(content).find("15 directions") != std::string::npos);
    content = sphereContent();
    for (std::size_t index = 0; index < 12; ++index)
        content.measurements[index].distanceMetres = 2.0;
    CHECK(messageOf(content).find("12 directions") != std::string::npos);
    content = sphereContent();
    content.measurements[5].impulses[rightEar].pop_back();
    CHECK(messageOf(content).find("differ in length") != std::string::npos);
    CHECK(messageOf(sphereContent(), 44100.5).find("whole hertz") != std::string::npos);
    CHECK(messageOf(seat::SofaContent {}).find("0 directions") != std::string::npos);
}

TEST_CASE("A direction that the set does not reach is refused", "[core][seat]")
{
    const auto model = HeadModel::load(HeadModel::packagedFile(), 48000.0);
    REQUIRE(model);
    CHECK(model->at({20.0, -50.0}));
    const auto below = model->at({20.0, -70.0});
    REQUIRE_FALSE(below);
    CHECK(below.error().message.find("elevation -70") != std::string::npos);
    CHECK_FALSE(model->at({0.0, 91.0}));
    CHECK_FALSE(model->at({std::nan(""), 0.0}));
    CHECK(model->at({380.0, 0.0}));
}
