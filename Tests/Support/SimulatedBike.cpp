#include "Support/SimulatedBike.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include <fftw3.h>

namespace saddletone::test {

namespace {

constexpr double pi = std::numbers::pi;

/** Modified Bessel function of the first kind, order 0, by its series. */
double besselI0(double x)
{
    double sum = 1.0;
    double term = 1.0;
    for (int k = 1; k < 60; ++k) {
        term *= (x / (2.0 * k)) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

} // namespace

std::complex<double> SimulatedBike::response(double frequencyHz) const
{
    const std::complex<double> s(0.0, frequencyHz);
    const auto highPass = s * s / (s * s + s * (55.0 / 0.8) + 55.0 * 55.0);
    const auto lowPass = 19000.0 * 19000.0 / (s * s + s * (19000.0 / 0.75) + 19000.0 * 19000.0);
    // Analogue peaking sections: gain g at the centre.
    const auto peak = [&](double centreHz, double q, double gain) {
        return (s * s + s * (centreHz * gain / q) + centreHz * centreHz)
               / (s * s + s * (centreHz / q) + centreHz * centreHz);
    };
    const auto sections =
        highPass * lowPass * peak(90.0, 0.9, 2.5) * peak(2600.0, 1.5, 0.6) * peak(7000.0, 2.0, 1.4);
    const auto reflections = 1.0 + 0.22 * std::polar(1.0, -2.0 * pi * frequencyHz * 0.0031)
                             + 0.1 * std::polar(1.0, -2.0 * pi * frequencyHz * 0.0117);
    return 0.5 * sections * reflections;
}

double SimulatedBike::smoothedDb(double frequencyHz, int numPerOctave) const
{
    constexpr int points = 400;
    const double lower = frequencyHz * std::exp2(-0.5 / numPerOctave);
    const double upper = frequencyHz * std::exp2(0.5 / numPerOctave);
    double sum = 0.0;
    for (int point = 0; point < points; ++point)
        sum += std::norm(response(lower + (upper - lower) * (point + 0.5) / points));
    return 10.0 * std::log10(sum / points);
}

std::vector<double> SimulatedBike::play(const std::vector<float>& track, double sampleRate) const
{
    const std::size_t length = track.size() + static_cast<std::size_t>(0.5 * sampleRate);
    std::size_t size = 1;
    while (size < length + static_cast<std::size_t>(sampleRate))
        size *= 2;
    std::vector<double> time(size, 0.0);
    std::vector<std::complex<double>> spectrum(size / 2 + 1);
    auto* raw = reinterpret_cast<fftw_complex*>(spectrum.data());
    const fftw_plan forward =
        fftw_plan_dft_r2c_1d(static_cast<int>(size), time.data(), raw, FFTW_ESTIMATE);
    const fftw_plan inverse =
        fftw_plan_dft_c2r_1d(static_cast<int>(size), raw, time.data(), FFTW_ESTIMATE);
    std::copy(track.begin(), track.end(), time.begin());
    fftw_execute(forward);
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        spectrum[bin] *= response(static_cast<double>(bin) * sampleRate / static_cast<double>(size))
                         / static_cast<double>(size);
    fftw_execute(inverse);
    fftw_destroy_plan(forward);
    fftw_destroy_plan(inverse);
    time.resize(length);
    return time;
}

std::vector<float> record(const std::vector<double>& sound, double soundRate,
                          const RecorderModel& recorder)
{
    const double recorderRate = recorder.sampleRate * (1.0 + recorder.clockPpm * 1e-6);
    const double seconds =
        static_cast<double>(sound.size()) / soundRate + recorder.startSeconds + recorder.endSeconds;
    const auto numFrames = static_cast<std::size_t>(seconds * recorderRate);
    std::vector<float> recording(numFrames);

    // A recorder of a lower rate filters what it cannot hold; the cut-off follows it.
    const double cutoff = std::min(1.0, recorderRate / soundRate) * 0.985;
    constexpr int halfTaps = 96;
    constexpr double beta = 12.0;
    constexpr int tableSteps = 512;
    std::vector<double> kernel(static_cast<std::size_t>(halfTaps * tableSteps) + 2, 0.0);
    for (std::size_t index = 0; index < kernel.size(); ++index) {
        const double x = static_cast<double>(index) / tableSteps;
        if (x >= halfTaps)
            continue;
        const double sinc = x == 0.0 ? cutoff : std::sin(pi * cutoff * x) / (pi * x);
        kernel[index] = sinc * besselI0(beta * std::sqrt(1.0 - (x / halfTaps) * (x / halfTaps)))
                        / besselI0(beta);
    }

    std::mt19937_64 generator(recorder.seed);
    std::normal_distribution<double> noise(0.0, 1.0);
    for (std::size_t frame = 0; frame < numFrames; ++frame) {
        const double position =
            (static_cast<double>(frame) / recorderRate - recorder.startSeconds) * soundRate;
        const double nearest = std::round(position);
        double value = 0.0;
        if (std::abs(position - nearest) < 1e-6 && recorderRate == soundRate) {
            if (nearest >= 0.0 && nearest < static_cast<double>(sound.size()))
                value = sound[static_cast<std::size_t>(nearest)];
        } else {
            const auto first = static_cast<std::ptrdiff_t>(std::floor(position)) - halfTaps + 1;
            for (std::ptrdiff_t tap = std::max<std::ptrdiff_t>(first, 0);
                 tap < std::min<std::ptrdiff_t>(first + 2 * halfTaps,
                                                static_cast<std::ptrdiff_t>(sound.size()));
                 ++tap) {
                const double distance = std::abs(position - static_cast<double>(tap)) * tableSteps;
                const auto whole = static_cast<std::size_t>(distance);
                if (whole + 1 >= kernel.size())
                    continue;
                const double between = distance - static_cast<double>(whole);
                value += sound[static_cast<std::size_t>(tap)]
                         * (kernel[whole] + between * (kernel[whole + 1] - kernel[whole]));
            }
        }
        recording[frame] =
            static_cast<float>(recorder.gain * value + recorder.noiseRms * noise(generator));
    }
    return recording;
}

double activeRms(const std::vector<double>& signal)
{
    double peak = 0.0;
    for (const double sample : signal)
        peak = std::max(peak, std::abs(sample));
    double sum = 0.0;
    std::size_t count = 0;
    for (const double sample : signal)
        if (std::abs(sample) > 1e-3 * peak) {
            sum += sample * sample;
            ++count;
        }
    return count == 0 ? 0.0 : std::sqrt(sum / static_cast<double>(count));
}

} // namespace saddletone::test
