#include "Core/Dsp/MinimumPhase.h"

#include "Core/Dsp/Biquad.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"

#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

using namespace saddletone;

namespace {

constexpr std::size_t numBins = (1U << 14U) + 1;
constexpr std::size_t size = 2 * (numBins - 1);

/** A tuning of minimum phase: poles and zeros of all three lie within the unit circle. */
std::array<dsp::BiquadCoefficients, 3> sections(double sampleRate)
{
    return {dsp::bilinearBiquad(dsp::analoguePeaking(800.0, 3.0, 9.0), sampleRate),
            dsp::bilinearBiquad(dsp::analogueLowShelf(200.0, 0.7, -6.0), sampleRate),
            dsp::bilinearBiquad(dsp::analogueHighShelf(5000.0, 0.7, -12.0), sampleRate)};
}

std::vector<double> magnitudeOf(double sampleRate)
{
    std::vector<double> magnitude(numBins, 1.0);
    for (std::size_t bin = 0; bin < numBins; ++bin)
        for (const auto& section : sections(sampleRate))
            magnitude[bin] *= std::abs(section.response(
                static_cast<double>(bin) * sampleRate / static_cast<double>(size), sampleRate));
    return magnitude;
}

double largestError(const std::vector<double>& first, const std::vector<double>& second)
{
    double largest = 0.0;
    for (std::size_t n = 0; n < first.size(); ++n)
        largest = std::max(largest, std::abs(first[n] - second[n]));
    return largest;
}

} // namespace

TEST_CASE("The minimum-phase impulse of a biquad chain's magnitude is its own", "[core][dsp]")
{
    for (const double sampleRate : {44100.0, 48000.0, 96000.0, 192000.0}) {
        const auto impulse = dsp::minimumPhaseImpulse(magnitudeOf(sampleRate));
        REQUIRE(impulse.size() == size);
        std::vector<double> expected(size, 0.0);
        expected.front() = 1.0;
        for (const auto& section : sections(sampleRate))
            dsp::filterInPlace(section, expected);
        // What is left is the cepstrum wrapped at the size, which the lowest pole governs.
        CHECK(largestError(impulse, expected) < 1e-8);
    }
}

TEST_CASE("The minimum-phase impulse keeps the magnitude", "[core][dsp]")
{
    const auto magnitude = magnitudeOf(48000.0);
    const auto impulse = dsp::minimumPhaseImpulse(magnitude);
    dsp::RealFft<double> fft(impulse.size());
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    for (std::size_t bin = 0; bin < numBins; bin += 7)
        CHECK(dsp::amplitudeToDb(std::abs(fft.spectrum()[bin]) / magnitude[bin])
              == Approx(0.0).margin(1e-9));
}

TEST_CASE("No impulse of the same magnitude gathers its energy earlier", "[core][dsp]")
{
    // Oppenheim and Schafer: of all causal impulses of one magnitude the minimum-phase one has the
    // most energy in its first n taps, for every n. Held against the linear-phase impulse, which
    // half its length makes causal.
    const auto magnitude = magnitudeOf(48000.0);
    const auto impulse = dsp::minimumPhaseImpulse(magnitude);
    dsp::RealFft<double> fft(size);
    for (std::size_t bin = 0; bin < numBins; ++bin)
        fft.spectrum()[bin] = magnitude[bin] * (bin % 2 == 0 ? 1.0 : -1.0);
    fft.inverse();
    double minimumEnergy = 0.0;
    double linearEnergy = 0.0;
    bool ahead = true;
    for (std::size_t n = 0; n < size; ++n) {
        minimumEnergy += impulse[n] * impulse[n];
        linearEnergy += fft.time()[n] * fft.time()[n];
        ahead = ahead && minimumEnergy >= linearEnergy - 1e-9;
    }
    CHECK(ahead);
    CHECK(minimumEnergy == Approx(linearEnergy).epsilon(1e-9));
    CHECK(impulse.front() * impulse.front() > 0.2 * minimumEnergy);
}

TEST_CASE("A flat magnitude gives a single tap", "[core][dsp]")
{
    const auto impulse = dsp::minimumPhaseImpulse(std::vector<double>(257, 0.25));
    CHECK(impulse.front() == Approx(0.25).epsilon(1e-12));
    for (std::size_t n = 1; n < impulse.size(); ++n)
        CHECK(std::abs(impulse[n]) < 1e-14);
}

TEST_CASE("Zeros in the magnitude are raised to 120 dB below its top", "[core][dsp]")
{
    std::vector<double> magnitude(1025, 1.0);
    for (std::size_t bin = 900; bin < magnitude.size(); ++bin)
        magnitude[bin] = 0.0;
    const auto impulse = dsp::minimumPhaseImpulse(magnitude);
    dsp::RealFft<double> fft(impulse.size());
    std::ranges::copy(impulse, fft.time().begin());
    fft.forward();
    CHECK(dsp::amplitudeToDb(std::abs(fft.spectrum()[1000])) == Approx(-120.0).margin(1e-6));
    for (const double tap : dsp::minimumPhaseImpulse(std::vector<double>(65, 0.0)))
        CHECK(std::isfinite(tap));
}
