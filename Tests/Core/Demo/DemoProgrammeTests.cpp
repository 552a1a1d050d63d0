#include "Core/Demo/DemoProgramme.h"

#include "Core/Demo/BandLimitedCycle.h"
#include "Core/Demo/DemoScore.h"
#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>
#include <ebur128.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <utility>
#include <vector>

using namespace saddletone;

namespace {

/** In place, radix 2; the size is a power of two. */
void fourierTransform(std::vector<std::complex<double>>& data)
{
    const std::size_t size = data.size();
    for (std::size_t i = 1, j = 0; i < size; ++i) {
        std::size_t bit = size >> 1U;
        for (; (j & bit) != 0; bit >>= 1U)
            j ^= bit;
        j ^= bit;
        if (i < j)
            std::swap(data[i], data[j]);
    }
    for (std::size_t span = 2; span <= size; span *= 2)
        for (std::size_t k = 0; k < span / 2; ++k) {
            const auto twiddle = std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(k)
                                                     / static_cast<double>(span));
            for (std::size_t start = k; start < size; start += span) {
                const std::complex<double> product = twiddle * data[start + span / 2];
                data[start + span / 2] = data[start] - product;
                data[start] += product;
            }
        }
}

/** Power per bin of frames from first on, Hann window. */
std::vector<double> powerSpectrum(const std::vector<float>& samples, std::size_t first,
                                  std::size_t size)
{
    std::vector<std::complex<double>> data(size);
    for (std::size_t i = 0; i < size; ++i) {
        const double phase =
            2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(size);
        data[i] = (0.5 - 0.5 * std::cos(phase)) * static_cast<double>(samples[first + i]);
    }
    fourierTransform(data);
    std::vector<double> power(size / 2);
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(data[bin]);
    return power;
}

/** Mean power spectrum of both channels, half-overlapping windows. */
std::vector<double> longTermSpectrum(const dsp::AudioBuffer& buffer, std::size_t size)
{
    std::vector<double> mean(size / 2);
    for (const std::vector<float>& channel : buffer.channels)
        for (std::size_t first = 0; first + size <= channel.size(); first += size / 2) {
            const std::vector<double> power = powerSpectrum(channel, first, size);
            for (std::size_t bin = 0; bin < mean.size(); ++bin)
                mean[bin] += power[bin];
        }
    return mean;
}

double bandPower(const std::vector<double>& power, double sampleRate, double lowHz, double highHz)
{
    const double binHz = 0.5 * sampleRate / static_cast<double>(power.size());
    double sum = 0.0;
    for (std::size_t bin = 0; bin < power.size(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        if (frequencyHz >= lowHz && frequencyHz < highHz)
            sum += power[bin];
    }
    return sum;
}

double integratedLoudnessLufs(const dsp::AudioBuffer& buffer)
{
    struct Destroy {
        void operator()(ebur128_state* state) const { ebur128_destroy(&state); }
    };
    const std::unique_ptr<ebur128_state, Destroy> state(
        ebur128_init(static_cast<unsigned int>(buffer.numChannels()),
                     static_cast<unsigned long>(buffer.sampleRate), EBUR128_MODE_I));
    std::vector<float> interleaved;
    for (std::size_t frame = 0; frame < buffer.numFrames(); ++frame)
        for (const std::vector<float>& channel : buffer.channels)
            interleaved.push_back(channel[frame]);
    REQUIRE(ebur128_add_frames_float(state.get(), interleaved.data(), buffer.numFrames())
            == EBUR128_SUCCESS);
    double loudness = 0.0;
    REQUIRE(ebur128_loudness_global(state.get(), &loudness) == EBUR128_SUCCESS);
    return loudness;
}

double peakOf(const dsp::AudioBuffer& buffer)
{
    double peak = 0.0;
    for (const std::vector<float>& channel : buffer.channels)
        for (const float sample : channel)
            peak = std::max(peak, static_cast<double>(std::abs(sample)));
    return peak;
}

double rmsOf(const std::vector<float>& samples, std::size_t first, std::size_t last)
{
    double sum = 0.0;
    for (std::size_t i = first; i < last; ++i)
        sum += static_cast<double>(samples[i]) * static_cast<double>(samples[i]);
    return std::sqrt(sum / static_cast<double>(last - first));
}

double barLevelDbfs(const dsp::AudioBuffer& buffer, std::size_t bar)
{
    const auto frameOf = [&](std::size_t number) {
        return static_cast<std::size_t>(demo::barSeconds * static_cast<double>(number)
                                        * buffer.sampleRate);
    };
    return dsp::rmsToDbfs(rmsOf(buffer.channels[0], frameOf(bar), frameOf(bar + 1)));
}

} // namespace

TEST_CASE("The demo programme has its length, peak and loudness at every rate", "[core][demo]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 88200.0, 96000.0);
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(sampleRate, 1);

    CHECK(programme.sampleRate == sampleRate);
    REQUIRE(programme.numChannels() == 2);
    CHECK(programme.channels[0].size() == programme.channels[1].size());
    CHECK(programme.durationSeconds() == Approx(30.0));
    for (const std::vector<float>& channel : programme.channels)
        CHECK(std::all_of(channel.begin(), channel.end(),
                          [](float sample) { return std::isfinite(sample); }));

    // A float holds the scaled peak to a few parts in 1e8.
    CHECK(peakOf(programme) == Approx(dsp::dbToAmplitude(-1.0)).epsilon(1e-6));
    const double loudnessLufs = integratedLoudnessLufs(programme);
    CHECK(loudnessLufs > -20.0);
    CHECK(loudnessLufs < -14.0);
}

TEST_CASE("The demo programme repeats for a seed and differs between seeds", "[core][demo]")
{
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(48000.0, 7);
    CHECK(programme == demo::makeDemoProgramme(48000.0, 7));

    const dsp::AudioBuffer other = demo::makeDemoProgramme(48000.0, 8);
    CHECK(other.numFrames() == programme.numFrames());
    CHECK_FALSE(programme == other);
}

TEST_CASE("The demo programme's loudness window holds for any seed", "[core][demo]")
{
    const auto seed = GENERATE(as<std::uint64_t>(), 0, 2, 1234567, 0xFFFFFFFFFFFFFFFF);
    const double loudnessLufs = integratedLoudnessLufs(demo::makeDemoProgramme(44100.0, seed));
    CHECK(loudnessLufs > -20.0);
    CHECK(loudnessLufs < -14.0);
}

TEST_CASE("The end of the demo programme leads into its start", "[core][demo]")
{
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(48000.0, 1);
    for (const std::vector<float>& channel : programme.channels) {
        std::vector<float> steps;
        for (std::size_t i = 1; i < channel.size(); ++i)
            steps.push_back(std::abs(channel[i] - channel[i - 1]));
        // The loop point must not stand out even from ordinary steps, so the bar is the 99th
        // percentile rather than the largest drum stroke.
        const auto percentile =
            steps.begin() + static_cast<std::ptrdiff_t>(steps.size() * 99 / 100);
        std::nth_element(steps.begin(), percentile, steps.end());
        CHECK(std::abs(channel.front() - channel.back()) <= *percentile);
    }

    // Tails wrap round: bar 0 still holds the last chord's decay, bar 1 opens without one.
    const std::vector<double> start = powerSpectrum(programme.channels[0], 0, 16384);
    const std::vector<double> later = powerSpectrum(programme.channels[0], 120000, 16384);
    const double startDb = dsp::powerToDb(bandPower(start, 48000.0, 300.0, 800.0));
    const double laterDb = dsp::powerToDb(bandPower(later, 48000.0, 300.0, 800.0));
    CHECK(startDb > laterDb + 10.0);
}

TEST_CASE("The demo programme fills the octaves from 63 Hz to 8 kHz as music does", "[core][demo]")
{
    const double sampleRate = GENERATE(44100.0, 96000.0);
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(sampleRate, 1);
    const std::vector<double> power = longTermSpectrum(programme, 16384);
    const double total = bandPower(power, sampleRate, 20.0, 20000.0);

    // Exact mid-bands of IEC 61260-1, base ten: 10^(3k/10) kHz. No octave of a full mix holds
    // more than two thirds of the power, and none that a tone control is judged by is lost under
    // the others; the window is the project's own.
    constexpr double octaveEdge = 1.412537544622754; // 10^(3/20)
    for (int k = -4; k <= 3; ++k) {
        const double centreHz = 1000.0 * std::pow(10.0, 0.3 * k);
        const double levelDb = dsp::powerToDb(
            bandPower(power, sampleRate, centreHz / octaveEdge, centreHz * octaveEdge) / total);
        INFO("octave " << centreHz << " Hz: " << levelDb << " dB of the whole");
        CHECK(levelDb > -26.0);
        CHECK(levelDb < -2.0);
    }
    CHECK(dsp::powerToDb(bandPower(power, sampleRate, 14000.0, 17000.0) / total) > -42.0);
}

TEST_CASE("The demo programme's spectrum does not depend on the sample rate", "[core][demo]")
{
    const std::vector<double> slow = longTermSpectrum(demo::makeDemoProgramme(48000.0, 1), 16384);
    const std::vector<double> fast = longTermSpectrum(demo::makeDemoProgramme(96000.0, 1), 32768);
    // Each noise stroke draws other numbers and the peak that sets the gain moves with them.
    const auto relativeDb = [](const std::vector<double>& power, double sampleRate,
                               double centreHz) {
        constexpr double octaveEdge = 1.412537544622754;
        return dsp::powerToDb(
            bandPower(power, sampleRate, centreHz / octaveEdge, centreHz * octaveEdge)
            / bandPower(power, sampleRate, 20.0, 16000.0));
    };
    for (const double centreHz : {63.1, 125.9, 251.2, 501.2, 1000.0, 1995.3, 3981.1, 7943.3})
        CHECK(relativeDb(fast, 96000.0, centreHz)
              == Approx(relativeDb(slow, 48000.0, centreHz)).margin(1.0));
}

TEST_CASE("The demo programme builds up and breaks down", "[core][demo]")
{
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(48000.0, 1);
    const double drumsDbfs = barLevelDbfs(programme, 0);
    const double bassDbfs = barLevelDbfs(programme, 2);
    const double fullDbfs = barLevelDbfs(programme, 5);
    const double breakdownDbfs = barLevelDbfs(programme, 10);
    CHECK(bassDbfs > drumsDbfs + 1.0);
    CHECK(fullDbfs > bassDbfs + 0.5);
    CHECK(breakdownDbfs < fullDbfs - 1.5);
}

TEST_CASE("The demo programme is stereo with its bass in the middle", "[core][demo]")
{
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(48000.0, 1);
    const std::vector<float>& left = programme.channels[0];
    const std::vector<float>& right = programme.channels[1];
    std::vector<float> difference(left.size());
    for (std::size_t i = 0; i < left.size(); ++i)
        difference[i] = left[i] - right[i];
    dsp::AudioBuffer side {programme.sampleRate, {difference}};

    const std::vector<double> whole = longTermSpectrum(programme, 16384);
    const std::vector<double> sides = longTermSpectrum(side, 16384);
    const auto sideDb = [&](double lowHz, double highHz) {
        return dsp::powerToDb(bandPower(sides, 48000.0, lowHz, highHz)
                              / bandPower(whole, 48000.0, lowHz, highHz));
    };
    CHECK(sideDb(200.0, 8000.0) > -12.0);
    CHECK(sideDb(30.0, 90.0) < -25.0);
}

TEST_CASE("The demo programme's bass plays the written root", "[core][demo]")
{
    // Bar 2, between the first stroke and the second: an E at 41.2 Hz under drums.
    const dsp::AudioBuffer programme = demo::makeDemoProgramme(48000.0, 1);
    constexpr std::size_t size = 32768;
    const auto first = static_cast<std::size_t>(48000.0 * 2.0 * demo::barSeconds);
    const std::vector<double> power = powerSpectrum(programme.channels[0], first, size);
    const double rootHz = 440.0 * std::exp2((demo::chordBar(2).bassRootMidi - 69) / 12.0);
    // The third harmonic is clear of the kick.
    const auto lowest = static_cast<std::size_t>(2.6 * rootHz * size / 48000.0);
    const auto highest = static_cast<std::size_t>(3.4 * rootHz * size / 48000.0);
    const auto strongest = std::max_element(power.begin() + static_cast<std::ptrdiff_t>(lowest),
                                            power.begin() + static_cast<std::ptrdiff_t>(highest));
    const double foundHz = static_cast<double>(strongest - power.begin()) * 48000.0 / size;
    CHECK(foundHz == Approx(3.0 * rootHz).margin(48000.0 / size)); // One bin.
}

TEST_CASE("The band-limited cycle keeps aliases 60 dB under its fundamental", "[core][demo]")
{
    const double sampleRate = GENERATE(44100.0, 48000.0, 96000.0);
    const double fundamentalHz = GENERATE(164.81, 739.99, 1479.98);
    const demo::BandLimitedCycle cycle(demo::sawtoothHarmonics(160), fundamentalHz);
    constexpr std::size_t size = 32768;
    demo::Phase phase;
    std::vector<float> samples(size);
    for (float& sample : samples)
        sample = static_cast<float>(cycle.at(phase.advance(fundamentalHz / sampleRate)));
    const std::vector<double> power = powerSpectrum(samples, 0, size);

    const double binHz = sampleRate / static_cast<double>(size);
    const double fundamentalPower = *std::max_element(power.begin(), power.end());
    // A Hann window's side lobes fall by 18 dB per octave: 12 bins off a harmonic they are under
    // -80 dB.
    constexpr double skirtBins = 12.0;
    double worst = 0.0;
    for (std::size_t bin = 0; bin < power.size(); ++bin) {
        const double frequencyHz = static_cast<double>(bin) * binHz;
        const double nearest = fundamentalHz * std::round(frequencyHz / fundamentalHz);
        const bool besideHarmonic = std::abs(frequencyHz - nearest) < skirtBins * binHz
                                    && nearest < demo::programmeBandwidthHz;
        if (!besideHarmonic)
            worst = std::max(worst, power[bin]);
    }
    CHECK(dsp::powerToDb(worst / fundamentalPower) < -60.0);
}
