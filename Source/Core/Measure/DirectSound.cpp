#include "Core/Measure/DirectSound.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace saddletone::measure {

namespace {

constexpr double bandFromHz = 300.0;
constexpr double bandToHz = 3000.0;
constexpr double edgeOctaves = 1.0;
constexpr double clearDegrees = 60.0;
constexpr double leastAboveNoiseDb = 10.0;

/** The analytic signal of an impulse within the band. */
std::vector<std::complex<double>> analyticBand(const Response& response, dsp::FftStore& transforms)
{
    const std::size_t length = response.impulse.size();
    // Room for the band's ringing on both sides, which wraps around.
    const std::size_t size =
        dsp::fastFftSize(length + static_cast<std::size_t>(0.1 * response.sampleRate));
    const auto fft = transforms.real<double>(size);
    std::ranges::fill(fft->time(), 0.0);
    std::ranges::copy(response.impulse, fft->time().begin());
    fft->forward();
    std::vector<std::complex<double>> spectrum(fft->spectrum().begin(), fft->spectrum().end());
    const double binHz = response.sampleRate / static_cast<double>(size);
    const auto gainAt = [](double frequencyHz) {
        if (frequencyHz <= 0.5 * bandFromHz || frequencyHz >= 2.0 * bandToHz)
            return 0.0;
        return dsp::raisedCosine(std::log2(2.0 * frequencyHz / bandFromHz) / edgeOctaves)
               * dsp::raisedCosine(std::log2(2.0 * bandToHz / frequencyHz) / edgeOctaves);
    };
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        spectrum[bin] *=
            bin + 1 == spectrum.size() ? 0.0 : gainAt(static_cast<double>(bin) * binHz);
    std::vector<std::complex<double>> analytic(length);
    std::ranges::copy(spectrum, fft->spectrum().begin());
    fft->inverse();
    for (std::size_t frame = 0; frame < length; ++frame)
        analytic[frame].real(fft->time()[frame]);
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        fft->spectrum()[bin] = {spectrum[bin].imag(), -spectrum[bin].real()}; // a quarter later
    fft->inverse();
    for (std::size_t frame = 0; frame < length; ++frame)
        analytic[frame].imag(fft->time()[frame]);
    return analytic;
}

} // namespace

DirectSound findDirectSound(const Response& response)
{
    dsp::FftStore transforms;
    return findDirectSound(response, transforms);
}

DirectSound findDirectSound(const Response& response, dsp::FftStore& transforms)
{
    DirectSound direct;
    if (response.impulse.size() < 3) {
        direct.reason = "the response is too short to tell";
        return direct;
    }
    const auto analytic = analyticBand(response, transforms);
    double highestPower = 0.0;
    for (const auto& value : analytic)
        highestPower = std::max(highestPower, std::norm(value));
    if (highestPower <= 0.0) {
        direct.reason = "nothing between 300 Hz and 3 kHz";
        return direct;
    }
    std::size_t peak = 1;
    while (peak + 2 < analytic.size()
           && !(std::norm(analytic[peak]) >= 0.25 * highestPower
                && std::norm(analytic[peak]) >= std::norm(analytic[peak + 1])))
        ++peak;

    // Parabola through the envelope's three highest samples.
    const double before = std::abs(analytic[peak - 1]);
    const double at = std::abs(analytic[peak]);
    const double after = std::abs(analytic[peak + 1]);
    const double curvature = before - 2.0 * at + after;
    const double fraction =
        curvature < 0.0 ? std::clamp(0.5 * (before - after) / curvature, -0.5, 0.5) : 0.0;
    direct.offsetSeconds =
        (static_cast<double>(peak) + fraction - static_cast<double>(response.arrivalFrame))
        / response.sampleRate;
    const std::complex<double> value =
        fraction >= 0.0 ? (1.0 - fraction) * analytic[peak] + fraction * analytic[peak + 1]
                        : (1.0 + fraction) * analytic[peak] - fraction * analytic[peak - 1];
    direct.phaseDegrees = std::arg(value) * 180.0 / std::numbers::pi;

    // What precedes the direct sound by more than the band's own ringing; the end of the response
    // where nothing does.
    const auto gap = static_cast<std::size_t>(0.01 * response.sampleRate);
    const std::size_t stretch =
        std::min(static_cast<std::size_t>(0.1 * response.sampleRate), analytic.size());
    const std::size_t begin =
        peak > gap + stretch ? peak - gap - stretch : analytic.size() - stretch;
    double noise = 0.0;
    for (std::size_t frame = begin; frame < begin + stretch; ++frame)
        noise += std::norm(analytic[frame]) / static_cast<double>(stretch);
    const double aboveDb = dsp::powerToDb(std::norm(value)) - dsp::powerToDb(noise);
    if (aboveDb < leastAboveNoiseDb) {
        direct.reason = "the direct sound stands only " + files::fixedText(aboveDb, 0)
                        + " dB above the noise between 300 Hz and 3 kHz";
        return direct;
    }

    const double fromPositive = std::abs(direct.phaseDegrees);
    const std::string phase = "phase of the direct sound between 300 Hz and 3 kHz: "
                              + files::fixedText(direct.phaseDegrees, 0) + " degrees";
    if (fromPositive <= clearDegrees) {
        direct.polarity = Polarity::positive;
        direct.reason = phase;
    } else if (fromPositive >= 180.0 - clearDegrees) {
        direct.polarity = Polarity::negative;
        direct.reason = phase;
    } else {
        direct.reason = phase + ", which is neither push nor pull";
    }
    return direct;
}

dsp::Result<double> arrivalDifferenceMs(const Response& reference, const Response& other,
                                        double tracksApartSeconds)
{
    for (const Response* response : {&reference, &other})
        if (response->arrivalSeconds <= 0.0)
            return dsp::fail(dsp::ErrorCode::notTrustworthy,
                             "response '" + response->name
                                 + "' does not know when its sound arrived; measure it again from "
                                   "the recording");
    const auto arrival = [](const Response& response) {
        return response.arrivalSeconds + findDirectSound(response).offsetSeconds;
    };
    return (arrival(other) - arrival(reference) - tracksApartSeconds) * 1000.0;
}

} // namespace saddletone::measure
