#include "Core/Measure/ResponseWindow.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <string>
#include <vector>

namespace saddletone::measure {

namespace {

/** The window's value at a time from the arrival. */
double windowAt(double seconds, double durationSeconds)
{
    const double quarter = 0.25 * durationSeconds;
    return seconds < 0.0 ? dsp::raisedCosine((seconds + quarter) / quarter)
                         : dsp::raisedCosine((durationSeconds - seconds) / quarter);
}

double secondsAfterArrival(const Response& response)
{
    return static_cast<double>(response.impulse.size() - response.arrivalFrame)
           / response.sampleRate;
}

double secondsAt(const Response& response, std::size_t frame)
{
    return (static_cast<double>(frame) - static_cast<double>(response.arrivalFrame))
           / response.sampleRate;
}

/** Puts levels and trust of the bands in line with the new impulse. */
WindowedResponse finish(Response response, double lowestHz, const std::string& windowWords)
{
    dsp::RealFft<double> fft(dsp::fastFftSize(response.impulse.size()));
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(response.impulse, fft.time().begin());
    fft.forward();
    std::vector<double> power(fft.numBins());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        power[bin] = std::norm(fft.spectrum()[bin]);
    const double binHz = response.sampleRate / static_cast<double>(fft.size());
    response.fromHz = std::clamp(lowestHz, response.fromHz, response.toHz);
    for (BandConfidence& band : response.bands) {
        const double half = std::pow(10.0, 0.05); // IEC 61260-1, third octave
        const std::array<dsp::Band, 1> only {
            dsp::Band {band.frequencyHz, band.frequencyHz / half, band.frequencyHz * half}};
        band.levelDb = dsp::powerToDb(dsp::bandPowers(power, binHz, only).front()
                                      / ((only[0].upperHz - only[0].lowerHz) / binHz));
        band.trusted = band.trusted && only[0].lowerHz >= lowestHz;
    }
    response.remarks.push_back("Windowed to " + windowWords + ": nothing below "
                               + files::fixedText(response.fromHz, 1) + " Hz can be told.");
    return {std::move(response), lowestHz};
}

} // namespace

WindowedResponse windowFixed(const Response& response, double milliseconds)
{
    assert(milliseconds >= 1.0);
    Response windowed = response;
    const double durationSeconds = std::min(milliseconds / 1000.0, secondsAfterArrival(response));
    for (std::size_t frame = 0; frame < windowed.impulse.size(); ++frame)
        windowed.impulse[frame] *=
            static_cast<float>(windowAt(secondsAt(response, frame), durationSeconds));
    return finish(std::move(windowed), 1.0 / durationSeconds,
                  files::fixedText(1000.0 * durationSeconds, 1) + " ms after the arrival");
}

WindowedResponse windowCycles(const Response& response, double cycles)
{
    assert(cycles >= 1.0);
    const double longestSeconds = secondsAfterArrival(response);
    const std::size_t length = response.impulse.size();
    dsp::RealFft<double> fft(dsp::fastFftSize(length));
    const double binHz = response.sampleRate / static_cast<double>(fft.size());
    const auto spectrumWith = [&](double durationSeconds) {
        std::ranges::fill(fft.time(), 0.0);
        for (std::size_t frame = 0; frame < length; ++frame)
            fft.time()[frame] = static_cast<double>(response.impulse[frame])
                                * windowAt(secondsAt(response, frame), durationSeconds);
        fft.forward();
        return std::vector<std::complex<double>>(fft.spectrum().begin(), fft.spectrum().end());
    };

    // Windows a twelfth of an octave apart; between two of them the spectrum is interpolated.
    const double lowestVariableHz = cycles / longestSeconds;
    constexpr double stepOctaves = 1.0 / 12.0;
    std::vector<std::complex<double>> result = spectrumWith(longestSeconds);
    std::vector<std::complex<double>> below = result;
    for (int step = 1;; ++step) {
        const double lowerHz = lowestVariableHz * std::exp2((step - 1) * stepOctaves);
        if (lowerHz >= 0.5 * response.sampleRate)
            break;
        const double upperHz = lowestVariableHz * std::exp2(step * stepOctaves);
        auto above = spectrumWith(cycles / upperHz);
        const auto first = static_cast<std::size_t>(std::ceil(lowerHz / binHz));
        for (std::size_t bin = first;
             bin < result.size() && static_cast<double>(bin) * binHz < upperHz; ++bin) {
            const double towards =
                std::log2(static_cast<double>(bin) * binHz / lowerHz) / stepOctaves;
            result[bin] = (1.0 - towards) * below[bin] + towards * above[bin];
        }
        below = std::move(above);
    }
    std::ranges::copy(result, fft.spectrum().begin());
    fft.inverse();
    Response windowed = response;
    for (std::size_t frame = 0; frame < length; ++frame)
        windowed.impulse[frame] = static_cast<float>(fft.time()[frame]);
    return finish(std::move(windowed), 1.0 / longestSeconds,
                  files::fixedText(cycles, 1) + " cycles of each frequency after the arrival");
}

} // namespace saddletone::measure
