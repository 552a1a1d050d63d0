#include "Core/Hearing/SpeechIntelligibility.h"

#include "Core/Hearing/Audibility.h"
#include "Support/ReferenceTable.h"

#include <catch2/catch.hpp>

#include <cstddef>
#include <string>

using namespace saddletone;
using hearing::SpeechInNoise;
using hearing::speechIntelligibility;
using hearing::VocalEffort;

namespace {

VocalEffort effortOf(const std::string& name)
{
    if (name == "raised")
        return VocalEffort::raised;
    if (name == "loud")
        return VocalEffort::loud;
    if (name == "shout")
        return VocalEffort::shout;
    REQUIRE(name == "normal");
    return VocalEffort::normal;
}

} // namespace

TEST_CASE("Speech spectra are those of ANSI S3.5-1997", "[core][hearing]")
{
    const test::ReferenceTable table("sii_third_octave.csv");
    REQUIRE(table.numRows() == hearing::numSpeechBands);
    for (const std::string name : {"normal", "raised", "loud", "shout"}) {
        const auto spectrum = hearing::speechSpectrumDb(effortOf(name));
        for (std::size_t band = 0; band < spectrum.size(); ++band)
            CHECK(spectrum[band] == table.number(band, "speech_" + name + "_db"));
    }
    // Overall level of normal speech, 62.35 dB in the standard.
    CHECK(hearing::speechProgramme().totalDb() == Approx(62.35).margin(0.02));
}

TEST_CASE("The Speech Intelligibility Index has all worked values to four digits",
          "[core][hearing]")
{
    const test::ReferenceTable table("sii_worked_values.csv");
    REQUIRE(table.numRows() == 15);
    for (std::size_t row = 0; row < table.numRows(); ++row) {
        SpeechInNoise scene;
        scene.speechDb = hearing::speechSpectrumDb(effortOf(table.text(row, "speech")));
        const double noiseDb = table.number(row, "noise_db");
        const std::string& noise = table.text(row, "noise");
        if (noise == "flat")
            scene.noiseDb.fill(noiseDb);
        else if (noise == "relative")
            for (std::size_t band = 0; band < scene.noiseDb.size(); ++band)
                scene.noiseDb[band] = scene.speechDb[band] + noiseDb;
        else
            REQUIRE(noise == "quiet");
        CAPTURE(row, table.text(row, "speech"), noise, noiseDb);
        // Half of the last digit that the table gives.
        CHECK(speechIntelligibility(scene).index == Approx(table.number(row, "sii")).margin(5e-5));
    }
}

TEST_CASE("Importances add up and move the index towards their own bands", "[core][hearing]")
{
    // All speech far above everything: the index is the sum of the importances.
    SpeechInNoise scene;
    scene.speechDb = hearing::speechSpectrumDb(VocalEffort::normal);
    for (double& level : scene.speechDb)
        level += 9.0;
    CHECK(speechIntelligibility(scene).index == Approx(1.0).margin(1e-3));
    scene.importance = hearing::BandImportance::spinSentences;
    CHECK(speechIntelligibility(scene).index == Approx(1.0).margin(1e-3));

    // With everything above 1 kHz drowned, what remains is the importance up to there.
    const test::ReferenceTable table("sii_third_octave.csv");
    for (std::size_t band = 9; band < scene.noiseDb.size(); ++band)
        scene.noiseDb[band] = 90.0;
    double expected = 0.0;
    for (std::size_t band = 0; band < 9; ++band)
        expected += table.number(band, "importance_SPIN");
    CHECK(speechIntelligibility(scene).index == Approx(expected).margin(1e-3));
}

TEST_CASE("What is heard of speech is the index without its loss by loudness", "[core][hearing]")
{
    SpeechInNoise scene;
    scene.speechDb = hearing::speechSpectrumDb(VocalEffort::normal);
    scene.noiseDb.fill(20.0);
    const auto normal = speechIntelligibility(scene);
    CHECK(normal.audibleShare == Approx(normal.index).epsilon(1e-12));
    // 40 dB louder, speech and noise: the same share or, by more spread, less; 30 of 160 dB too
    // loud leave 1 - 30 / 160 of it.
    for (std::size_t band = 0; band < scene.speechDb.size(); ++band) {
        scene.speechDb[band] += 40.0;
        scene.noiseDb[band] += 40.0;
    }
    const auto loud = speechIntelligibility(scene);
    CHECK(loud.audibleShare <= normal.audibleShare + 1e-12);
    CHECK(loud.index == Approx((1.0 - 30.0 / 160.0) * loud.audibleShare).epsilon(1e-9));
}

TEST_CASE("Hearing loss costs and two ears help", "[core][hearing]")
{
    SpeechInNoise scene;
    scene.speechDb = hearing::speechSpectrumDb(VocalEffort::normal);
    scene.hearingLossDb.fill(40.0);
    const double oneEar = speechIntelligibility(scene).index;
    CHECK(oneEar < 0.6);
    scene.listening = hearing::Listening::bothEars;
    // 1.7 dB of 30 dB where loss sets the limit.
    CHECK(speechIntelligibility(scene).index > oneEar + 0.02);
}

TEST_CASE("Third octaves become spectrum levels and back", "[core][hearing]")
{
    const auto bands = hearing::speechBands(hearing::speechProgramme());
    const auto spectrum = hearing::speechSpectrumDb(VocalEffort::normal);
    for (std::size_t band = 0; band < bands.size(); ++band)
        CHECK(bands[band] == Approx(spectrum[band]).margin(1e-9));
}

TEST_CASE("Speech at the head loses its index as noise rises", "[core][hearing]")
{
    const auto speech = hearing::speechProgramme().scaledToDba(80.0);
    double before = 1.0;
    for (const double noiseDba : {40.0, 70.0, 80.0, 90.0, 100.0}) {
        const auto noise = hearing::pinkSpectrum().scaledToDba(noiseDba);
        const double index = hearing::speechInRide(speech, noise, 0.0).index;
        CHECK(index <= before + 1e-12);
        before = index;
    }
    CHECK(before == Approx(0.0).margin(0.05));
    // Speech of 95 dB(A) is too loud to be clear; plugs bring it into range.
    const auto loud = hearing::speechProgramme().scaledToDba(95.0);
    CHECK(hearing::speechInRide(loud, {}, 25.0).index > hearing::speechInRide(loud, {}, 0.0).index);
}
