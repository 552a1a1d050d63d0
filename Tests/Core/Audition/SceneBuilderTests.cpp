#include "Core/Audition/SceneBuilder.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Support/AuditionFixtures.h"
#include "Support/ProgrammeMeasures.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

using namespace saddletone;
using audition::AuditionEngine;
using audition::CandidateRequest;
using audition::LevelMatch;
using audition::Monitor;
using audition::SceneRequest;
using tuning::OutputGroup;

namespace {

constexpr std::size_t periodFrames = std::size_t {1} << 19U;

/** A response without room: one tap, then shaped, in the middle of 0.2 s. */
measure::Response responseWith(std::span<const dsp::BiquadCoefficients> sections, double gain = 1.0)
{
    measure::Response response;
    std::vector<double> impulse(9600, 0.0);
    response.arrivalFrame = 4800;
    impulse[response.arrivalFrame] = gain;
    for (const auto& section : sections)
        dsp::filterInPlace(section, impulse);
    response.impulse.assign(impulse.begin(), impulse.end());
    return response;
}

measure::Response flatResponse(double gain = 1.0)
{
    return responseWith({}, gain);
}

/** Like a fairing speaker: no bass, a hump, and a noisy tail. */
measure::Response speakerResponse(std::uint64_t seed, double humpDb)
{
    const std::array sections {
        dsp::designHighPass(120.0, 0.8, 48000.0),
        dsp::bilinearBiquad(dsp::analoguePeaking(2500.0, 1.5, humpDb), 48000.0)};
    auto response = responseWith(sections, 0.3);
    const auto tail = test::decayingNoise(4000, seed);
    for (std::size_t tap = 0; tap < tail.size(); ++tap)
        response.impulse[4900 + tap] += 0.05F * tail[tap];
    return response;
}

std::complex<double> transformAt(std::span<const float> taps, double frequencyHz, double sampleRate)
{
    std::complex<double> sum;
    for (std::size_t tap = 0; tap < taps.size(); ++tap)
        sum += static_cast<double>(taps[tap])
               * std::polar(1.0, -2.0 * std::numbers::pi * frequencyHz / sampleRate
                                     * static_cast<double>(tap));
    return sum;
}

double magnitudeDb(std::span<const float> taps, double frequencyHz, double sampleRate)
{
    return 20.0 * std::log10(std::abs(transformAt(taps, frequencyHz, sampleRate)));
}

/** Magnitude in dB of a digital peaking filter: its analogue prototype
    (s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1) at the frequency that the bilinear transform warps
    to. */
double peakingDb(double frequencyHz, double centreHz, double q, double gainDb, double sampleRate)
{
    const double amplitude = std::pow(10.0, gainDb / 40.0);
    const std::complex<double> s {0.0, std::tan(std::numbers::pi * frequencyHz / sampleRate)
                                           / std::tan(std::numbers::pi * centreHz / sampleRate)};
    const auto value = (s * s + s * amplitude / q + 1.0) / (s * s + s / (amplitude * q) + 1.0);
    return 20.0 * std::log10(std::abs(value));
}

std::vector<double> frequencies(double fromHz, double toHz)
{
    std::vector<double> values;
    for (double frequencyHz = fromHz; frequencyHz <= toHz; frequencyHz *= std::exp2(1.0 / 6.0))
        values.push_back(frequencyHz);
    return values;
}

AuditionEngine::Parameters wideOpen()
{
    AuditionEngine::Parameters parameters;
    parameters.outputLevelDb = -20.0;
    parameters.ceilingDbfs = 0.0;
    return parameters;
}

/** One period of the steady state of the reference programme through an audition. */
audition::Rendering renderPink(const SceneRequest& scene,
                               const AuditionEngine::Parameters& parameters,
                               double sampleRate = 48000.0)
{
    auto rendering =
        audition::renderAudition(scene, test::referencePinkNoise(sampleRate, periodFrames, 2),
                                 test::promptSettings(), parameters);
    REQUIRE(rendering);
    for (auto& ear : rendering->audio.channels)
        ear.erase(ear.begin(), ear.begin() + periodFrames);
    return std::move(*rendering);
}

double levelOf(const audition::Rendering& rendering)
{
    double power = 0.0;
    for (const auto& ear : rendering.audio.channels)
        power += 0.5 * std::pow(10.0, 0.1 * test::levelDbfsA(ear, rendering.audio.sampleRate));
    return 10.0 * std::log10(power);
}

double loudnessOf(const audition::Rendering& rendering)
{
    return test::loudnessLufs(rendering.audio.channels[0], rendering.audio.channels[1],
                              rendering.audio.sampleRate);
}

SceneRequest sceneWith(std::vector<CandidateRequest> candidates)
{
    SceneRequest request;
    request.candidates = std::move(candidates);
    request.ride.parameters.wind.gustDeviationDb = 0.0; // short stretches are to tell its level
    return request;
}

} // namespace

TEST_CASE("A kernel is response times tuning times helmet loss", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    const ride::Helmet helmet =
        GENERATE(ride::Helmet::none, ride::Helmet::openFace, ride::Helmet::fullFace);
    CAPTURE(sampleRate, ride::helmetName(helmet));
    CandidateRequest candidate {"plate", speakerResponse(3, 6.0), {}};
    tuning::Element cut;
    cut.type = tuning::ElementType::peaking;
    cut.frequencyHz = 2500.0;
    cut.q = 2.0;
    cut.gainDb = -5.0;
    tuning::Element gain;
    gain.gainDb = 3.0;
    tuning::Element boost = cut;
    boost.frequencyHz = 300.0;
    boost.gainDb = 4.0;
    candidate.tuning.chains = {{OutputGroup::all, {cut, gain}}, {OutputGroup::right, {boost}}};

    const auto left =
        audition::buildKernelTaps(candidate, OutputGroup::left, helmet, sampleRate, 32704);
    const auto right =
        audition::buildKernelTaps(candidate, OutputGroup::right, helmet, sampleRate, 32704);
    REQUIRE(left);
    REQUIRE(right);
    CHECK(left->size() == 32704);
    double largestError = 0.0;
    for (const double frequencyHz : frequencies(50.0, 16000.0)) {
        const double expected = magnitudeDb(candidate.response.impulse, frequencyHz, 48000.0)
                                + peakingDb(frequencyHz, 2500.0, 2.0, -5.0, sampleRate) + 3.0
                                - ride::insertionLossDb(helmet, frequencyHz);
        const double extra = peakingDb(frequencyHz, 300.0, 2.0, 4.0, sampleRate);
        largestError = std::max(
            {largestError, std::abs(magnitudeDb(*left, frequencyHz, sampleRate) - expected),
             std::abs(magnitudeDb(*right, frequencyHz, sampleRate) - expected - extra)});
    }
    CAPTURE(largestError);
    CHECK(largestError < 0.1);
}

TEST_CASE("A response keeps its magnitude at another sample rate", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 88200.0, 96000.0, 192000.0);
    // A lone tap is the hardest case, as its spectrum reaches up to Nyquist.
    const bool lone = GENERATE(true, false);
    CAPTURE(sampleRate, lone);
    const CandidateRequest candidate {
        "plate", lone ? flatResponse() : speakerResponse(4, -3.0), {}};
    const auto taps = audition::buildKernelTaps(candidate, OutputGroup::left, ride::Helmet::none,
                                                sampleRate, 65280);
    REQUIRE(taps);
    double largestError = 0.0;
    for (const double frequencyHz : frequencies(20.0, 18000.0))
        largestError =
            std::max(largestError,
                     std::abs(magnitudeDb(*taps, frequencyHz, sampleRate)
                              - magnitudeDb(candidate.response.impulse, frequencyHz, 48000.0)));
    CAPTURE(largestError);
    CHECK(largestError < 0.05);
}

TEST_CASE("What stands before the direct sound is cut to a millisecond and a half",
          "[core][audition]")
{
    auto response = flatResponse();
    response.impulse[response.arrivalFrame - 1000] = 0.5F;
    const auto taps = audition::buildKernelTaps({"plate", response, {}}, OutputGroup::left,
                                                ride::Helmet::none, 48000.0, 4096);
    REQUIRE(taps);
    CHECK((*taps)[72] == 1.0F);
    CHECK(std::ranges::count(*taps, 0.0F) == 4095);

    // Nothing to cut: the arrival stays where it is.
    response.impulse = {1.0F, 0.5F};
    response.arrivalFrame = 0;
    const auto prompt = audition::buildKernelTaps({"plate", response, {}}, OutputGroup::left,
                                                  ride::Helmet::none, 48000.0, 4096);
    REQUIRE(prompt);
    CHECK((*prompt)[0] == 1.0F);
    CHECK((*prompt)[1] == 0.5F);
}

TEST_CASE("Rendered music and noise stand to each other as stated", "[core][audition]")
{
    const double speedKmh = GENERATE(40.0, 90.0, 130.0);
    const ride::Helmet helmet =
        GENERATE(ride::Helmet::none, ride::Helmet::openFace, ride::Helmet::fullFace);
    CAPTURE(speedKmh, ride::helmetName(helmet));
    auto request = sceneWith({{"one", speakerResponse(5, 3.0), {}}});
    request.ride.parameters.helmet = helmet;
    AuditionEngine::Parameters parameters = wideOpen();
    parameters.ride.speedKmh = speedKmh;
    parameters.noiseTrimDb = -3.0;
    parameters.monitor = Monitor::programmeOnly;
    const auto music = renderPink(request, parameters);
    parameters.monitor = Monitor::noiseOnly;
    const auto noise = renderPink(request, parameters);

    const double statedDb = music.levels.programmeSplDba - music.levels.noise.totalDba;
    CHECK(levelOf(music) - levelOf(noise) == Approx(statedDb).margin(0.2));
    // The levels themselves: dB SPL on the bike plus the stated scale.
    CHECK(levelOf(music)
          == Approx(music.levels.programmeSplDba + music.levels.scaleDb).margin(0.02));
    CHECK(levelOf(noise) == Approx(noise.levels.noise.totalDba + noise.levels.scaleDb).margin(0.2));
}

TEST_CASE("Music and noise together have the stated output level", "[core][audition]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    auto request = sceneWith({{"one", speakerResponse(5, 3.0), {}}});
    AuditionEngine::Parameters parameters = wideOpen();
    parameters.ride.speedKmh = 80.0;
    const auto both = renderPink(request, parameters, sampleRate);
    CHECK(levelOf(both) == Approx(both.levels.outputDbfsA).margin(0.2));
    parameters.monitor = Monitor::untouched;
    const auto untouched = renderPink(request, parameters, sampleRate);
    CHECK(levelOf(untouched) == Approx(-24.0 - 20.0).margin(0.05));
}

TEST_CASE("Equal loudness levels candidates; as on the bike keeps their difference",
          "[core][audition]")
{
    const ride::Helmet helmet = GENERATE(ride::Helmet::none, ride::Helmet::fullFace);
    tuning::Element louder;
    louder.gainDb = 7.0;
    tuning::Element bass;
    bass.type = tuning::ElementType::lowShelf;
    bass.frequencyHz = 200.0;
    bass.gainDb = 9.0;
    auto request =
        sceneWith({{"one", speakerResponse(6, 6.0), {}},
                   {"two", speakerResponse(7, -6.0), {"t", {{OutputGroup::all, {louder}}}}},
                   {"three", flatResponse(0.1), {"t", {{OutputGroup::all, {bass}}}}}});
    request.ride.parameters.helmet = helmet;
    AuditionEngine::Parameters parameters = wideOpen();
    parameters.ride.speedKmh = 70.0;
    parameters.monitor = Monitor::programmeOnly;

    std::vector<double> equal;
    std::vector<double> onTheBike;
    for (std::size_t candidate = 0; candidate < 3; ++candidate) {
        parameters.candidate = candidate;
        parameters.match = LevelMatch::equalLoudness;
        equal.push_back(loudnessOf(renderPink(request, parameters)));
        parameters.match = LevelMatch::asOnTheBike;
        const auto asIs = renderPink(request, parameters);
        onTheBike.push_back(loudnessOf(asIs));
        CHECK(levelOf(asIs)
              == Approx(asIs.levels.programmeSplDba + asIs.levels.scaleDb).margin(0.02));
    }
    for (std::size_t candidate = 1; candidate < 3; ++candidate) {
        CAPTURE(candidate);
        // 0.1 LU: see EBU Tech 3341.
        CHECK(equal[candidate] == Approx(equal[0]).margin(0.1));
        CHECK(std::abs(onTheBike[candidate] - onTheBike[0]) > 1.0);
    }
    // Louder by 7 dB of gain: the tuning comes through in full.
    auto plain = request;
    plain.candidates[1].tuning = {};
    parameters.candidate = 1;
    CHECK(onTheBike[1] - loudnessOf(renderPink(plain, parameters)) == Approx(7.0).margin(0.01));
}

TEST_CASE("Equal loudness holds between recordings of unequal calibration", "[core][audition]")
{
    auto request = sceneWith({{"one", speakerResponse(8, 6.0), {}},
                              {"two", speakerResponse(9, -6.0), {}},
                              {"not calibrated", flatResponse(0.2), {}}});
    for (std::size_t candidate = 0; candidate < 2; ++candidate)
        request.candidates[candidate].response.hasCalibration = true;
    request.candidates[0].response.calibration = {.toneSplDb = 94.0, .toneDbfs = -20.0};
    request.candidates[1].response.calibration = {.toneSplDb = 94.0, .toneDbfs = -33.0};
    AuditionEngine::Parameters parameters = wideOpen();
    parameters.monitor = Monitor::programmeOnly;
    parameters.match = LevelMatch::equalLoudness;
    std::vector<double> loudness;
    for (parameters.candidate = 0; parameters.candidate < 3; ++parameters.candidate)
        loudness.push_back(loudnessOf(renderPink(request, parameters)));
    CHECK(loudness[1] == Approx(loudness[0]).margin(0.1));
    CHECK(loudness[2] == Approx(loudness[0]).margin(0.1));
}

TEST_CASE("A calibration gives the level at the head", "[core][audition]")
{
    const auto layout = audition::PartitionLayout::forTaps(32000);
    auto request = sceneWith({{"one", flatResponse(0.1), {}}});
    request.ride.parameters.helmet = ride::Helmet::none;
    request.candidates[0].response.hasCalibration = true;
    request.candidates[0].response.calibration = {.toneSplDb = 94.0, .toneDbfs = -23.0};
    const auto calibrated = audition::buildScene(request, layout, 48000.0);
    REQUIRE(calibrated);
    const auto& level = calibrated->candidates[0].level;
    CHECK(level.source == audition::LevelSource::measured);
    CHECK(level.splAtFullScaleDb == Approx(117.0));

    // By hand: pink noise has equal power per octave, so A-weighted it is -18 dBFS times the mean
    // of 10^(A/10) over log frequency from 20 Hz to 20 kHz. The core sums bins of 1 Hz instead.
    double sum = 0.0;
    constexpr int numSteps = 10000;
    for (int step = 0; step < numSteps; ++step) {
        const double frequencyHz = 20.0 * std::pow(1000.0, (step + 0.5) / numSteps);
        sum += std::pow(10.0, 0.1 * test::aWeightingDb(frequencyHz)) / numSteps;
    }
    const double pinkDbfsA = -18.0 + 10.0 * std::log10(sum);
    CHECK(calibrated->pinkDbfsA == Approx(pinkDbfsA).margin(0.03));
    CHECK(level.splDba == Approx(117.0 - 20.0 + pinkDbfsA).margin(0.03));

    // Without one the first candidate is said to be as loud as assumed, for the bare head.
    request.candidates[0].response.hasCalibration = false;
    request.candidates.push_back({"two", flatResponse(0.2), {}});
    request.assumedProgrammeSplDba = 88.0;
    const auto assumed = audition::buildScene(request, layout, 48000.0);
    REQUIRE(assumed);
    CHECK(assumed->candidates[0].level.source == audition::LevelSource::assumed);
    CHECK(assumed->candidates[0].level.splDba == Approx(88.0).margin(1e-6));
    CHECK(assumed->candidates[1].level.splDba
          == Approx(88.0 + 20.0 * std::log10(2.0)).margin(1e-3));
    CHECK(assumed->candidates[0].matchGainDb == 0.0);

    request.ride.parameters.helmet = ride::Helmet::fullFace;
    const auto helmeted = audition::buildScene(request, layout, 48000.0);
    REQUIRE(helmeted);
    CHECK(helmeted->candidates[0].level.splDba < 88.0);
    CHECK(helmeted->candidates[0].level.splAtFullScaleDb
          == Approx(assumed->candidates[0].level.splAtFullScaleDb));
}

TEST_CASE("Scenes that cannot be built are refused with the reason", "[core][audition]")
{
    const auto layout = audition::PartitionLayout::forTaps(4000);
    const auto messageOf = [&](const SceneRequest& request) {
        const auto scene = audition::buildScene(request, layout, 48000.0);
        REQUIRE_FALSE(scene);
        return scene.error().message;
    };
    const CandidateRequest good {"good", flatResponse(), {}};

    CHECK(messageOf({}).find("1 to 8 candidates, not 0") != std::string::npos);
    CHECK(messageOf(sceneWith(std::vector<CandidateRequest>(9, good))).find("not 9")
          != std::string::npos);
    CHECK(audition::buildScene(sceneWith(std::vector<CandidateRequest>(8, good)), layout, 48000.0)
              .has_value());

    CandidateRequest empty {"plate 4", {}, {}};
    CHECK(messageOf(sceneWith({good, empty})).find("'plate 4'") != std::string::npos);

    for (const double splDba : {49.9, 120.1, std::numeric_limits<double>::quiet_NaN(),
                                std::numeric_limits<double>::infinity()}) {
        auto request = sceneWith({good});
        request.assumedProgrammeSplDba = splDba;
        CHECK(messageOf(request).find("between 50 and 120") != std::string::npos);
    }

    CandidateRequest wild = good;
    wild.name = "wild";
    tuning::Element gain;
    gain.gainDb = 40.0;
    wild.tuning.chains = {{OutputGroup::left, std::vector<tuning::Element>(30, gain)}};
    CHECK(messageOf(sceneWith({wild})).find("'wild'") != std::string::npos);
}

TEST_CASE("A tuning of a part of the speakers heard together is refused", "[core][audition]")
{
    CandidateRequest partly {"front only", flatResponse(), {}};
    tuning::Element gain;
    gain.gainDb = 3.0;
    partly.tuning.chains = {{OutputGroup::front, {gain}}};
    const auto scene = audition::buildScene(sceneWith({partly}),
                                            audition::PartitionLayout::forTaps(4000), 48000.0);
    REQUIRE_FALSE(scene);
    CHECK(scene.error().code == dsp::ErrorCode::unsupported);
    CHECK(scene.error().message.find("'front only'") != std::string::npos);
    CHECK(scene.error().message.find("'front'") != std::string::npos);
}
