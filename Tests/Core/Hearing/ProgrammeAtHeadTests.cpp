#include "Core/Hearing/ProgrammeAtHead.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Hearing/Audibility.h"
#include "Support/AuditionFixtures.h"
#include "Support/SignalMeasures.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

using namespace saddletone;
using hearing::headGainDb;
using hearing::ThirdOctaveSpectrum;
using ride::Helmet;

namespace {

measure::Response calibratedResponse()
{
    measure::Response response;
    response.name = "plate";
    response.impulse = test::decayingNoise(12000, 3);
    response.hasCalibration = true;
    response.calibration = {94.0, -16.0}; // 110 dB at full scale
    return response;
}

tuning::Tuning presence()
{
    tuning::Tuning tuning;
    tuning.name = "presence";
    tuning::Element peak;
    peak.type = tuning::ElementType::peaking;
    peak.frequencyHz = 3000.0;
    peak.gainDb = 6.0;
    peak.q = 1.0;
    tuning.chains.push_back({tuning::OutputGroup::all, {peak}});
    return tuning;
}

/** Third octaves of a long signal, from one transform of all of it under a Hann window, without
    which the low frequencies of wind would leak into the high ones; mean of its channels. */
ThirdOctaveSpectrum thirdOctavesOf(const dsp::AudioBuffer& audio)
{
    constexpr double hannPower = 0.375; // mean square of the window
    const std::size_t numFrames = audio.numFrames() / 2 * 2;
    const double binHz = audio.sampleRate / static_cast<double>(numFrames);
    std::array<double, hearing::numThirdOctaves> power {};
    for (const auto& channel : audio.channels) {
        std::vector<float> windowed(numFrames);
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            windowed[frame] =
                channel[frame]
                * static_cast<float>(
                    0.5
                    - 0.5
                          * std::cos(2.0 * std::numbers::pi * static_cast<double>(frame)
                                     / static_cast<double>(numFrames)));
        const auto lines = test::lineSpectrum(windowed);
        for (std::size_t band = 0; band < power.size(); ++band) {
            const auto limits = hearing::thirdOctave(band);
            power[band] += test::powerBetween(lines, binHz, limits.lowerHz, limits.upperHz)
                           / (hannPower * static_cast<double>(audio.numChannels()));
        }
    }
    ThirdOctaveSpectrum spectrum;
    for (std::size_t band = 0; band < power.size(); ++band)
        spectrum.levelsDb[band] = dsp::powerToDb(2.0 * power[band]);
    return spectrum;
}

} // namespace

TEST_CASE("A response that changes nothing has no gain, and a tuning adds its own",
          "[core][hearing]")
{
    measure::Response response;
    response.impulse.assign(4800, 0.0F);
    response.impulse[0] = 1.0F;
    const auto flat = headGainDb(response, {}, Helmet::none);
    for (const double gain : flat.levelsDb)
        CHECK(gain == Approx(0.0).margin(1e-6));

    tuning::Tuning quieter;
    tuning::Element gain;
    gain.gainDb = -6.0;
    quieter.chains.push_back({tuning::OutputGroup::left, {gain}});
    // One side 6 dB down: 10 lg of the mean of 1 and 0.2512.
    const auto oneSide = headGainDb(response, quieter, Helmet::none);
    CHECK(oneSide.levelsDb[17] == Approx(-2.0375).margin(0.001));

    const auto under = headGainDb(response, {}, Helmet::fullFace);
    CHECK(under.levelsDb[17] == Approx(-7.0).margin(0.3)); // 7 dB at 1 kHz in the table
    CHECK(under.levelsDb[29] == Approx(-30.0).margin(0.01));
}

TEST_CASE("The level at the head follows calibration, programme and volume", "[core][hearing]")
{
    // Played and measured by hand: a sine of -20 dBFS in a band, a gain of -6 dB, 110 dB at full
    // scale and the volume 3 dB up make 87 dB.
    hearing::ProgrammeAtHead head;
    head.programmeDbfs.levelsDb[17] = -20.0;
    head.gainDb = hearing::pinkSpectrum().raisedBy(-6.0);
    head.splAtFullScaleDb = 110.0;
    head.volumeChangeDb = 3.0;
    CHECK(head.splDb().levelsDb[17] == Approx(87.0));
    CHECK(head.splDb().levelsDb[16] == dsp::silenceDb);
}

TEST_CASE("A programme's own third octaves are those of its samples", "[core][hearing]")
{
    dsp::AudioBuffer programme {48000.0, {std::vector<float>(48000), std::vector<float>(48000)}};
    for (std::size_t frame = 0; frame < 48000; ++frame)
        programme.channels[0][frame] = static_cast<float>(
            0.5 * std::sin(2.0 * std::numbers::pi * 1000.0 * static_cast<double>(frame) / 48000.0));
    // -6.02 dBFS in one of two channels: the mean power is 3.01 dB less.
    const auto spectrum = hearing::programmeSpectrumDbfs(programme);
    CHECK(spectrum.levelsDb[17] == Approx(-9.031).margin(0.001));
}

TEST_CASE("Pink noise and an assumed level agree with what an audition takes", "[core][hearing]")
{
    auto response = calibratedResponse();
    response.hasCalibration = false;
    audition::SceneRequest scene;
    scene.candidates.push_back({"plate", response, presence()});
    scene.assumedProgrammeSplDba = 92.0;
    const auto rendering =
        audition::renderAudition(scene, dsp::makeSilence(48000.0, 2, 512), {}, {});
    REQUIRE(rendering);

    hearing::ProgrammeAtHead head;
    head.programmeDbfs = hearing::pinkProgrammeDbfs(hearing::assumedProgrammeDbfs);
    CHECK(head.programmeDbfs.totalDb() == Approx(-18.0).margin(0.001));
    head.splAtFullScaleDb =
        hearing::assumedSplAtFullScaleDb(headGainDb(response, presence(), Helmet::none), 92.0);
    head.gainDb = headGainDb(response, presence(), Helmet::fullFace);
    // The audition cuts the impulse before its arrival and weights every frequency by itself.
    CHECK(head.splDb().totalDb(dsp::Weighting::a)
          == Approx(rendering->levels.programmeSplDba).margin(0.3));
}

TEST_CASE("Music stands above the noise in the audition as on the road, band by band",
          "[core][hearing]")
{
    audition::RideChoice choice;
    choice.speedKmh = GENERATE(0.0, 60.0, 130.0);
    choice.engine = audition::EngineNoise::alsoParked;
    if (choice.speedKmh > 100.0) {
        choice.screen = ride::Screen::low;
        choice.earPlugs = ride::EarPlugs::cautious;
    }
    constexpr double volumeDb = 4.0;
    CAPTURE(choice.speedKmh);
    audition::SceneRequest scene;
    scene.candidates.push_back({"plate", calibratedResponse(), presence()});
    scene.ride.parameters.helmet = Helmet::fullFace;
    // Gusts move the level of 40 s by half a decibel and more.
    scene.ride.parameters.wind.gustDeviationDb = 0.0;
    const ThirdOctaveSpectrum noiseOnTheRoad = audition::noiseSpectrum(scene.ride, choice);
    constexpr std::size_t numFrames = std::size_t {48000} * 40;
    dsp::AudioBuffer programme {48000.0, {}};
    for (const std::uint64_t seed : {7U, 8U})
        programme.channels.push_back(test::gaussianNoise(numFrames, 0.05, seed));

    audition::AuditionEngine::Settings settings = test::promptSettings();
    audition::AuditionEngine::Parameters parameters;
    parameters.ride = choice;
    parameters.volumeDb = volumeDb;
    parameters.outputLevelDb = 0.0;
    parameters.ceilingDbfs = 0.0;
    parameters.monitor = audition::Monitor::programmeOnly;
    const auto music = audition::renderAudition(scene, programme, settings, parameters);
    parameters.monitor = audition::Monitor::noiseOnly;
    const auto noise = audition::renderAudition(scene, programme, settings, parameters);
    REQUIRE(music);
    REQUIRE(noise);
    const auto heard =
        hearing::musicToNoiseDb(thirdOctavesOf(music->audio), thirdOctavesOf(noise->audio));

    hearing::ProgrammeAtHead head;
    head.programmeDbfs = hearing::programmeSpectrumDbfs(programme);
    head.gainDb = headGainDb(calibratedResponse(), presence(), Helmet::fullFace);
    head.splAtFullScaleDb = calibratedResponse().calibration.splAtFullScaleDb();
    head.volumeChangeDb = volumeDb;
    const auto onTheRoad = hearing::musicToNoiseDb(head.splDb(), noiseOnTheRoad);
    // Noise of 40 s has a spread of 4.34 / sqrt(40 s times bandwidth) dB, 0.32 dB at 20 Hz and less
    // than 0.15 dB from 100 Hz, in either signal and in the response's place within the band.
    for (std::size_t band = 7; band < 30; ++band) {
        CAPTURE(hearing::thirdOctave(band).centreHz);
        // The unevenness of the engine's pulses makes 23 dB a band that its spectrum leaves out:
        // what is fainter than 12 dB above that is not compared.
        if (noiseOnTheRoad.levelsDb[band] < 35.0)
            continue;
        CHECK(heard.levelsDb[band] == Approx(onTheRoad.levelsDb[band]).margin(0.5));
    }

    // How far below the road the headphones are, given a headphone of 100 dB at full scale.
    const double roadDba =
        hearing::powerSum(head.splDb(), noiseOnTheRoad).totalDb(dsp::Weighting::a)
        - music->levels.plugLossDb;
    const double heardDba =
        hearing::powerSum(thirdOctavesOf(music->audio), thirdOctavesOf(noise->audio))
            .totalDb(dsp::Weighting::a)
        + 100.0;
    CHECK(hearing::headphoneScaleDownDb(roadDba, heardDba)
          == Approx(-music->levels.scaleDb - 100.0).margin(0.2));
}

TEST_CASE("A volume step is the mean difference of what both measurements trust", "[core][hearing]")
{
    measure::Response low;
    measure::Response high;
    for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band) {
        const double frequencyHz = hearing::thirdOctave(band).centreHz;
        low.bands.push_back({.frequencyHz = frequencyHz, .levelDb = -20.0, .trusted = true});
        high.bands.push_back({.frequencyHz = frequencyHz, .levelDb = -14.5, .trusted = true});
    }
    low.bands[15].levelDb = 40.0;
    low.bands[15].trusted = false;
    low.bands[2].levelDb = 40.0; // outside the range that counts
    CHECK(hearing::volumeStepDb(high, low) == Approx(5.5));
    // A recorder turned down by 4 dB in between, which its calibration says.
    high.hasCalibration = true;
    low.hasCalibration = true;
    high.calibration = {94.0, -24.0};
    low.calibration = {94.0, -20.0};
    CHECK(hearing::volumeStepDb(high, low) == Approx(9.5));
    CHECK(hearing::volumeStepDb(high, measure::Response {}) == 0.0);
}
