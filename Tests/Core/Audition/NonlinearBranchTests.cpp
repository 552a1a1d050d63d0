#include "Core/Audition/NonlinearBranch.h"

#include "Core/Audition/OverdriveRender.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Support/AllocationCounter.h"
#include "Support/AuditionFixtures.h"
#include "Support/LockCounter.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

using namespace saddletone;
using audition::AmplifierClip;
using audition::NonlinearBranch;
using audition::NonlinearRequest;

namespace {

/** Kernels that are single taps of the given heights, powers 1 to 5. */
measure::HammersteinModel tapModel(std::array<float, 5> heights, double highestDriveDbfs = 0.0)
{
    measure::HammersteinModel model;
    model.sampleRate = 48000.0;
    model.arrivalFrame = 1440;
    for (std::size_t power = 0; power < heights.size(); ++power) {
        model.kernels[power].assign(9600, 0.0F);
        model.kernels[power][model.arrivalFrame] = heights[power];
    }
    model.takes = {{"loud", highestDriveDbfs, false}, {"soft", highestDriveDbfs - 6.0, false}};
    return model;
}

std::unique_ptr<const audition::NonlinearDesign> designOf(const NonlinearRequest& request,
                                                          double sampleRate)
{
    auto design = audition::buildNonlinearDesign(request, sampleRate);
    if (!design)
        FAIL(design.error().message);
    return *std::move(design);
}

/** Runs a mono programme through a branch in blocks of the given sizes over and over; left side. */
std::vector<float> runBranch(NonlinearBranch& branch, const std::vector<float>& programme,
                             const std::vector<std::size_t>& blocks)
{
    std::vector<float> left(programme.size());
    std::vector<float> right(programme.size());
    std::size_t turn = 0;
    for (std::size_t begin = 0; begin < programme.size();) {
        const std::size_t count =
            std::min(blocks[turn++ % blocks.size()], programme.size() - begin);
        const std::array<const float*, 1> input {programme.data() + begin};
        const std::array<float*, 2> output {left.data() + begin, right.data() + begin};
        branch.process({input.data(), 1, count}, {output.data(), 2, count});
        begin += count;
    }
    return left;
}

std::vector<float> runDesign(const audition::NonlinearDesign& design,
                             const std::vector<float>& programme)
{
    const auto branch = std::make_unique<NonlinearBranch>();
    branch->prepare({.sampleRate = design.sampleRate});
    branch->setDesign(&design);
    return runBranch(*branch, programme, {512});
}

std::vector<float> sine(double cyclesPerSample, double amplitude, std::size_t numFrames)
{
    std::vector<float> samples(numFrames);
    for (std::size_t frame = 0; frame < numFrames; ++frame)
        samples[frame] = static_cast<float>(
            amplitude
            * std::sin(2.0 * std::numbers::pi * cyclesPerSample * static_cast<double>(frame)));
    return samples;
}

constexpr std::size_t spectrumFrames = 8192;

/** Amplitudes of the last spectrumFrames samples, by bin. */
std::vector<double> amplitudes(const std::vector<float>& samples)
{
    dsp::RealFft<double> fft(spectrumFrames);
    std::copy(samples.end() - static_cast<std::ptrdiff_t>(spectrumFrames), samples.end(),
              fft.time().begin());
    fft.forward();
    std::vector<double> result;
    for (const auto& bin : fft.spectrum())
        result.push_back(2.0 * std::abs(bin) / static_cast<double>(spectrumFrames));
    return result;
}

/** A short swell of 400 and 900 Hz with its centre at a time. */
double swell(double seconds)
{
    const double fromCentre = seconds - 0.05;
    return 0.3 * std::exp(-fromCentre * fromCentre / (2.0 * 0.008 * 0.008))
           * (std::sin(2.0 * std::numbers::pi * 400.0 * seconds)
              + 0.5 * std::cos(2.0 * std::numbers::pi * 900.0 * seconds));
}

} // namespace

TEST_CASE("Powers come in time with the linear path, which is 1.5 ms late, and are exact",
          "[core][audition][overdrive]")
{
    // 1.5 ms is what SceneBuilder keeps ahead of the arrival. The filters of the oversampling and of
    // the resampled kernel ripple by less than 0.03 dB.
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0, 192000.0);
    const std::size_t power = GENERATE(2U, 3U, 4U, 5U);
    const double delayMs = GENERATE(0.0, 0.37); // of the tuning
    CAPTURE(sampleRate, power, delayMs);
    std::array<float, 5> heights {};
    heights[power - 1] = 1.0F;
    NonlinearRequest request {.model = tapModel(heights)};
    request.tuning.chains = {
        {tuning::OutputGroup::all, {{.type = tuning::ElementType::delay, .delayMs = delayMs}}}};
    const auto design = designOf(request, sampleRate);
    std::vector<float> programme(static_cast<std::size_t>(0.11 * sampleRate));
    std::vector<double> expected(programme.size());
    for (std::size_t frame = 0; frame < programme.size(); ++frame) {
        const double seconds = static_cast<double>(frame) / sampleRate;
        programme[frame] = static_cast<float>(swell(seconds));
        expected[frame] =
            std::pow(swell(seconds - 0.0015 - 0.001 * delayMs), static_cast<double>(power));
    }
    CHECK(test::relativeErrorDb(runDesign(*design, programme), expected) < -50.0);
}

TEST_CASE("Nothing that a power folds back stands above -80 dB", "[core][audition][overdrive]")
{
    // Sines up to the top of the band at full scale; 0.35 of the rate is where kernels of measured
    // models have faded out (16 kHz at 44.1 kHz).
    const std::size_t bin = GENERATE(1201U, 2003U, 2389U, 2731U, 2867U, 3301U, 3637U, 4001U);
    const std::size_t power = GENERATE(2U, 3U, 4U, 5U);
    CAPTURE(bin, power);
    std::array<float, 5> heights {};
    heights[power - 1] = 1.0F;
    const auto design = designOf({.model = tapModel(heights)}, 48000.0);
    const auto output = runDesign(
        *design, sine(static_cast<double>(bin) / static_cast<double>(spectrumFrames), 1.0, 24000));
    const auto found = amplitudes(output);
    for (std::size_t each = 1; each < spectrumFrames * 35 / 100; ++each) {
        if (each % bin == 0)
            continue; // a harmonic
        CAPTURE(each);
        REQUIRE(dsp::amplitudeToDb(found[each]) < -80.0);
    }
}

TEST_CASE("A branch does not depend on how the stream is cut and is as new after a reset",
          "[core][audition][overdrive]")
{
    auto model = tapModel({1.0F, 0.5F, 0.4F, 0.3F, 0.2F}, -12.0);
    for (std::size_t power = 0; power < model.kernels.size(); ++power)
        model.kernels[power] = test::decayingNoise(9600, power + 1);
    model.driveFilter = {{300.0, 0.7, 100.0, 0.9}};
    model.driveGainLinear = 0.11;
    NonlinearRequest request {.model = model};
    request.clip = {AmplifierClip::Shape::soft, AmplifierClip::Source::assumed, -6.0};
    const auto design = designOf(request, 48000.0);
    const auto programme = test::gaussianNoise(40000, 0.2, 7);
    const auto branch = std::make_unique<NonlinearBranch>();
    branch->prepare({.sampleRate = 48000.0});
    branch->setDesign(design.get());
    const auto even = runBranch(*branch, programme, {512});
    CHECK(std::ranges::any_of(even, [](float sample) { return sample != 0.0F; }));
    branch->reset();
    CHECK(runBranch(*branch, programme, {1, 17, 64, 333, 63, 4096}) == even);
}

TEST_CASE("A branch takes no memory and locks nothing on the audio thread",
          "[core][audition][overdrive]")
{
    NonlinearRequest request {.model = tapModel({1.0F, 0.5F, 0.4F, 0.3F, 0.2F})};
    request.tuning.chains = {
        {tuning::OutputGroup::all,
         {{.type = tuning::ElementType::lowShelf, .frequencyHz = 120.0, .gainDb = 6.0}}}};
    const auto design = designOf(request, 48000.0);
    const auto branch = std::make_unique<NonlinearBranch>();
    branch->prepare({.sampleRate = 48000.0});
    const auto programme = test::gaussianNoise(5000, 0.2, 9);
    std::vector<float> left(programme.size());
    std::vector<float> right(programme.size());
    const std::array<const float*, 1> input {programme.data()};
    const std::array<float*, 2> output {left.data(), right.data()};
    const test::AllocationCounter allocations;
    const test::LockCounter locks;
    for (int round = 0; round < 2; ++round) {
        branch->setDesign(design.get());
        branch->process({input.data(), 1, programme.size()}, {output.data(), 2, programme.size()});
        branch->reset();
        branch->setDesign(nullptr);
        branch->process({input.data(), 1, programme.size()}, {output.data(), 2, programme.size()});
    }
    CHECK(allocations.numHeapCalls() == 0);
    CHECK(locks.numLocks() == 0);
    CHECK(std::ranges::all_of(left, [](float sample) { return sample == 0.0F; })); // no design
}

TEST_CASE("Beyond the highest measured drive distortion keeps its proportion and stays finite",
          "[core][audition][overdrive]")
{
    // The cube of a sine holds a quarter of it at three times its frequency.
    const auto design =
        designOf({.model = tapModel({1.0F, 0.0F, 1.0F, 0.0F, 0.0F}, -12.0)}, 48000.0);
    constexpr std::size_t bin = 171; // 1002 Hz
    for (const double overDb : {-6.0, 0.0, 6.0, 12.0}) {
        const double amplitude = dsp::dbToAmplitude(-12.0 + overDb);
        const auto branch = std::make_unique<NonlinearBranch>();
        branch->prepare({.sampleRate = 48000.0});
        branch->setDesign(design.get());
        const auto output = runBranch(
            *branch, sine(static_cast<double>(bin) / spectrumFrames, amplitude, 48000), {512});
        const double ratio = amplitudes(output)[3 * bin] / amplitude;
        const double expectedDb =
            dsp::amplitudeToDb(0.25 * dsp::dbToPower(std::min(0.0, overDb) - 12.0));
        INFO(overDb << " dB over");
        // The hold gives way by a thousandth between two peaks.
        CHECK(dsp::amplitudeToDb(ratio) == Approx(expectedDb).margin(0.1));
        CHECK(dsp::amplitudeToDb(static_cast<double>(branch->holdGain()))
              == Approx(-std::max(0.0, overDb)).margin(0.1));
    }
    const std::vector<float> loudest(20000, 1000.0F);
    CHECK(std::ranges::all_of(runDesign(*design, loudest),
                              [](float sample) { return std::isfinite(sample); }));
}

TEST_CASE("Tuning, volume and clipping act ahead of the powers", "[core][audition][overdrive]")
{
    constexpr std::size_t bin = 171;
    const auto level = [&](const NonlinearRequest& request, std::size_t harmonic) {
        const auto output = runDesign(*designOf(request, 48000.0),
                                      sine(static_cast<double>(bin) / spectrumFrames, 0.1, 48000));
        return dsp::amplitudeToDb(amplitudes(output)[harmonic * bin]);
    };
    NonlinearRequest request {.model = tapModel({1.0F, 1.0F, 0.0F, 0.0F, 0.0F})};
    const double plain = level(request, 2);
    CHECK(plain == Approx(dsp::amplitudeToDb(0.5 * 0.1 * 0.1)).margin(0.05));
    request.volumeDb = 4.0; // x^2 grows by 8 dB, and the volume itself is taken off
    CHECK(level(request, 2) == Approx(plain + 4.0).margin(0.01));
    request.volumeDb = 0.0;
    request.tuning.chains = {
        {tuning::OutputGroup::all, {{.type = tuning::ElementType::gain, .gainDb = 6.0}}}};
    CHECK(level(request, 2) == Approx(plain + 12.0).margin(0.01));
    request.tuning = {};

    // A sine clipped at half its amplitude: with the angle p = asin(1/2) its third harmonic is
    // (2 / pi) times the integral of the clipped sine times sin 3t from 0 to pi.
    request.clip = {AmplifierClip::Shape::hard, AmplifierClip::Source::assumed,
                    dsp::amplitudeToDb(0.05)};
    double third = 0.0;
    constexpr int steps = 200000;
    for (int step = 0; step < steps; ++step) {
        const double angle = std::numbers::pi * (step + 0.5) / steps;
        third += 2.0 / steps * std::min(0.05, 0.1 * std::sin(angle)) * std::sin(3.0 * angle);
    }
    CHECK(level(request, 3) == Approx(dsp::amplitudeToDb(third)).margin(0.1));
    // Powers are made of what is clipped: x^2 cannot pass the limit's square.
    request.model = tapModel({0.0F, 1.0F, 0.0F, 0.0F, 0.0F});
    CHECK(level(request, 2) < plain - 6.0);
}

TEST_CASE("Volumes, limits and filters out of range are refused with words",
          "[core][audition][overdrive]")
{
    NonlinearRequest request {.model = tapModel({1.0F, 1.0F, 0.0F, 0.0F, 0.0F})};
    request.volumeDb = std::numeric_limits<double>::quiet_NaN();
    CHECK(audition::buildNonlinearDesign(request, 48000.0).error().message.find("volume")
          != std::string::npos);
    request.volumeDb = 0.0;
    request.clip.limitDbfs = 90.0;
    CHECK(audition::buildNonlinearDesign(request, 48000.0).error().message.find("clips")
          != std::string::npos);
    request.clip.limitDbfs = 0.0;
    request.model.driveFilter.resize(5);
    CHECK(audition::buildNonlinearDesign(request, 48000.0).error().message.find("drive filter")
          != std::string::npos);
    CHECK_FALSE(audition::renderOverdrive({.model = tapModel({1.0F})}, {}).has_value());
}
