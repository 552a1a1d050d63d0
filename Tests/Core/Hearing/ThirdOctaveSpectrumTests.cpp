#include "Core/Hearing/ThirdOctaveSpectrum.h"

#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <cstddef>
#include <vector>

using namespace saddletone;
using hearing::ThirdOctaveSpectrum;

TEST_CASE("The third octaves of hearing are those of IEC 61260-1", "[core][hearing]")
{
    const auto bands = dsp::thirdOctaveBands();
    REQUIRE(bands.size() == hearing::numThirdOctaves);
    for (std::size_t band = 0; band < bands.size(); ++band) {
        CHECK(hearing::thirdOctave(band).centreHz == Approx(bands[band].centreHz).epsilon(1e-12));
        CHECK(hearing::thirdOctave(band).lowerHz == Approx(bands[band].lowerHz).epsilon(1e-12));
        CHECK(hearing::thirdOctave(band).upperHz == Approx(bands[band].upperHz).epsilon(1e-12));
    }
}

TEST_CASE("The threshold in quiet is that of ISO 226:2003", "[core][hearing]")
{
    const test::ReferenceTable table("iso226_2003.csv");
    const auto threshold = hearing::hearingThreshold();
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        CAPTURE(table.text(row, "hz"));
        CHECK(dsp::nominalLabel(hearing::thirdOctave(row).centreHz) == table.text(row, "hz"));
        CHECK(threshold.levelsDb[row] == table.number(row, "T_f_db"));
    }
    CHECK(table.numRows() == 29);
    // ISO 389-7:2019, 16 kHz.
    CHECK(threshold.levelsDb[29] == 40.2);
}

TEST_CASE("Totals of a spectrum are power sums with the weights of the band centres",
          "[core][hearing]")
{
    const test::ReferenceTable table("weighting_a_c.csv");
    ThirdOctaveSpectrum spectrum;
    CHECK(spectrum.totalDb() == dsp::silenceDb);
    CHECK(spectrum.raisedBy(20.0) == spectrum);
    CHECK(spectrum.scaledToDba(80.0) == spectrum);
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        spectrum = {};
        spectrum.levelsDb[band] = 70.0;
        CHECK(spectrum.totalDb() == Approx(70.0).margin(1e-9));
        // The weighting's table goes by band, 10 Hz first; its formula is rounded to 0.001 dB.
        CHECK(spectrum.totalDb(dsp::Weighting::a)
              == Approx(70.0 + table.number(band + 3, "A_formula_db")).margin(0.001));
    }
    // 31 bands of 60 dB: 60 + 10 lg 31.
    CHECK(hearing::pinkSpectrum().raisedBy(60.0).totalDb() == Approx(74.9136).margin(1e-3));
    CHECK(hearing::pinkSpectrum().scaledToDba(85.0).totalDb(dsp::Weighting::a)
          == Approx(85.0).margin(1e-9));
    const auto twice = powerSum(hearing::pinkSpectrum(), hearing::pinkSpectrum());
    CHECK(twice.levelsDb[17] == Approx(3.0103).margin(1e-4));
    CHECK(powerSum(ThirdOctaveSpectrum {}, hearing::pinkSpectrum()).levelsDb[3]
          == Approx(0.0).margin(1e-9));
}

TEST_CASE("A power spectrum becomes band levels by AES17", "[core][hearing]")
{
    // A full-scale sine at 1 kHz: all its power, 1/2, in one bin.
    std::vector<double> power(24001, 0.0);
    power[1000] = 0.5;
    const auto spectrum = hearing::spectrumOfPower(power, 1.0);
    CHECK(spectrum.levelsDb[17] == Approx(0.0).margin(1e-9));
    CHECK(spectrum.levelsDb[16] == dsp::silenceDb);
}

TEST_CASE("The ERB scale has its published values and undoes itself", "[core][hearing]")
{
    // Glasberg and Moore 1990: the bandwidth at 1 kHz is 132.6 Hz; 1 kHz is 15.6 Cams.
    CHECK(hearing::erbWidthHz(1000.0) == Approx(132.6).margin(0.2));
    CHECK(hearing::erbNumber(1000.0) == Approx(15.6).margin(0.05));
    for (const double frequencyHz : {20.0, 100.0, 1000.0, 15000.0})
        CHECK(hearing::erbNumberToHz(hearing::erbNumber(frequencyHz))
              == Approx(frequencyHz).epsilon(1e-10));
    // The scale counts bandwidths: a step of 0.01 Cam is a hundredth of the bandwidth.
    const double step = hearing::erbNumberToHz(20.01) - hearing::erbNumberToHz(20.0);
    CHECK(step == Approx(0.01 * hearing::erbWidthHz(hearing::erbNumberToHz(20.005))).epsilon(1e-3));
}
