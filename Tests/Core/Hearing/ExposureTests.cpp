#include "Core/Hearing/Exposure.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <string>

using namespace saddletone;
using hearing::assessExposure;
using hearing::dosePercent;
using hearing::Exposure;
using hearing::ExposureRequest;
using hearing::nioshRel;
using hearing::oshaHearingConservation;
using hearing::oshaPel;

namespace {

struct Worked {
    double levelDba;
    double hours;
    double nioshHours;
    double nioshPercent;
    double oshaHours;
    double oshaPercent;
};

} // namespace

TEST_CASE("Doses are the worked ones of NIOSH and OSHA", "[core][hearing]")
{
    // T = 8 h / 2^((L - Lc) / q) with 85 and 3 dB(A), 90 and 5 dB(A), worked apart from this
    // program and written to three digits.
    constexpr std::array<Worked, 6> table {{{85.0, 8.0, 8.0, 100.0, 16.0, 50.0},
                                            {90.0, 4.0, 2.52, 158.7, 8.0, 50.0},
                                            {95.0, 1.0, 0.794, 126.0, 4.0, 25.0},
                                            {100.0, 1.0, 0.25, 400.0, 2.0, 50.0},
                                            {103.0, 1.0, 0.125, 800.0, 1.32, 75.8},
                                            {105.0, 0.5, 4.7 / 60.0, 635.0, 1.0, 50.0}}};
    for (const Worked& worked : table) {
        CAPTURE(worked.levelDba);
        const std::array<Exposure, 1> day {{{worked.levelDba, worked.hours}}};
        CHECK(nioshRel.allowedHours(worked.levelDba) == Approx(worked.nioshHours).epsilon(0.006));
        CHECK(dosePercent(nioshRel, day) == Approx(worked.nioshPercent).epsilon(0.001));
        CHECK(oshaHearingConservation.allowedHours(worked.levelDba)
              == Approx(worked.oshaHours).epsilon(0.003));
        CHECK(dosePercent(oshaHearingConservation, day)
              == Approx(worked.oshaPercent).epsilon(0.001));
    }
}

TEST_CASE("Thresholds decide what counts, and parts of a day add up", "[core][hearing]")
{
    const std::array<Exposure, 3> day {{{85.0, 4.0}, {88.0, 2.0}, {79.0, 10.0}}};
    // NIOSH: half a day and half a day, and 10 h of 32 h.
    CHECK(dosePercent(nioshRel, day) == Approx(131.25));
    // OSHA: 85 dB(A) allow 16 h, 88 dB(A) 10.56 h; 79 dB(A) are below 80.
    CHECK(dosePercent(oshaHearingConservation, day)
          == Approx(100.0 * (4.0 / 16.0 + 2.0 / (8.0 * std::exp2(0.4)))));
    CHECK(dosePercent(oshaPel, day) == 0.0);
    CHECK(std::isinf(oshaPel.allowedHours(89.9)));
    CHECK(dosePercent(oshaPel, std::array<Exposure, 1> {{{90.0, 8.0}}}) == Approx(100.0));
    CHECK(dosePercent(nioshRel, {}) == 0.0);
}

TEST_CASE("Averages follow the published formulas", "[core][hearing]")
{
    // NIOSH: 85 + 10 lg(D / 100); OSHA: 90 + 16.61 lg(D / 100).
    CHECK(nioshRel.timeWeightedAverageDba(100.0) == Approx(85.0));
    CHECK(nioshRel.timeWeightedAverageDba(400.0) == Approx(91.02).margin(0.005));
    CHECK(oshaPel.timeWeightedAverageDba(50.0) == Approx(85.0).margin(0.005));
    CHECK(nioshRel.timeWeightedAverageDba(0.0) == dsp::silenceDb);
    CHECK(nioshRel.allowedDba(8.0) == Approx(85.0));
    CHECK(nioshRel.allowedDba(1.0) == Approx(94.0));
    CHECK(oshaPel.allowedDba(1.0) == Approx(105.0));
}

TEST_CASE("Music adds its power to the noise, and plugs take from both", "[core][hearing]")
{
    const ExposureRequest bare {
        .noiseDba = 100.0, .musicDba = 100.0, .hours = 1.0, .earPlugDb = 0.0};
    const auto report = assessExposure(bare);
    CHECK(report.noiseAlone.dosePercent == Approx(400.0));
    CHECK(report.withMusic.levelDba == Approx(103.01).margin(0.005));
    CHECK(report.withMusic.dosePercent == Approx(802.0).epsilon(0.001));
    CHECK(report.withMusic.hoursToFull == Approx(8.0 / std::exp2(18.0103 / 3.0)).epsilon(1e-4));
    CHECK(report.neededPlugDb == Approx(9.01).margin(0.005));
    CHECK(report.allowedMusicDba == dsp::silenceDb);

    ExposureRequest plugged = bare;
    plugged.earPlugDb = 15.0;
    const auto inside = assessExposure(plugged);
    CHECK(inside.withMusic.levelDba == Approx(88.01).margin(0.005));
    CHECK(inside.neededPlugDb == Approx(report.neededPlugDb));
    // 94 dB(A) less 85 dB(A) of noise leave 93.42 dB(A) for music, in powers.
    CHECK(inside.allowedMusicDba == Approx(93.42).margin(0.005));

    ExposureRequest atLimit = plugged;
    atLimit.musicDba = inside.allowedMusicDba + plugged.earPlugDb;
    CHECK(assessExposure(atLimit).withMusic.dosePercent == Approx(100.0));
}

TEST_CASE("Guidance names the remedies and what it is not", "[core][hearing]")
{
    const ExposureRequest request {
        .noiseDba = 101.0, .musicDba = 100.0, .hours = 2.0, .earPlugDb = 0.0};
    const std::string text = exposureGuidance(request, assessExposure(request));
    for (const char* words : {"ear plugs that take 13 dB", "NIOSH", "OSHA",
                              "not medical or legal advice", "Local law comes first", "licensed"}) {
        CAPTURE(words);
        CHECK(text.find(words) != std::string::npos);
    }
    // Noise that fills the day by itself leaves no music level to name.
    CHECK(text.find("alone is not enough") != std::string::npos);

    const ExposureRequest louderMusic {
        .noiseDba = 80.0, .musicDba = 95.0, .hours = 2.0, .earPlugDb = 0.0};
    CHECK(exposureGuidance(louderMusic, assessExposure(louderMusic)).find("music at no more than")
          != std::string::npos);

    const ExposureRequest quiet {.noiseDba = 70.0, .musicDba = dsp::silenceDb, .hours = 1.0};
    const std::string calm = exposureGuidance(quiet, assessExposure(quiet));
    CHECK(calm.find("What helps") == std::string::npos);
    CHECK(calm.find("noise and music") == std::string::npos);

    const ExposureRequest extreme {.noiseDba = 141.0, .musicDba = dsp::silenceDb, .hours = 0.01};
    CHECK(exposureGuidance(extreme, assessExposure(extreme)).find("140 dB(A)")
          != std::string::npos);
}
