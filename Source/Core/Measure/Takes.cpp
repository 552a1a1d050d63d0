#include "Core/Measure/Takes.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/CorrelationLag.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace saddletone::measure {

namespace {

using Spectrum = std::vector<std::complex<double>>;

constexpr double alignFromHz = 200.0; // loud in every speaker, and narrow enough in time
constexpr double alignToHz = 6000.0;
constexpr double alignReachSeconds = 0.005; // the sound's way over 1.7 m: head places lie closer
constexpr double outlierRatio = 8.0;
constexpr double leastHarmfulRatio = 1e-5;
constexpr double explainedByNoise = 4.0;
constexpr double smallDifferenceRatio = 1e-4;
constexpr double inPhaseShare = 0.8;
constexpr double largestShortfall = 0.05; // of the mean power: 0.22 dB

/** Which band each bin belongs to; bins outside all bands belong to the nearest. */
std::vector<std::size_t> bandOfBins(std::size_t numBins, double binHz,
                                    std::span<const BandNoise> bands)
{
    std::vector<std::size_t> result(numBins);
    std::size_t band = 0;
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        while (band + 1 < bands.size()
               && static_cast<double>(bin) * binHz >= bands[band].band.upperHz)
            ++band;
        result[bin] = band;
    }
    return result;
}

/** 1 at the centre of a band in phase, 0 at that of one that is not, linear in between. */
double inPhaseWeight(const std::vector<bool>& inPhase, std::span<const BandNoise> bands,
                     std::size_t band, double frequencyHz)
{
    const auto weight = [&](std::size_t index) { return inPhase[index] ? 1.0 : 0.0; };
    const double here = weight(band);
    if (frequencyHz <= 0.0)
        return here;
    const bool above = frequencyHz > bands[band].band.centreHz;
    if ((above && band + 1 == bands.size()) || (!above && band == 0))
        return here;
    const std::size_t other = above ? band + 1 : band - 1;
    const double towards =
        std::clamp(std::log(frequencyHz / bands[band].band.centreHz)
                       / std::log(bands[other].band.centreHz / bands[band].band.centreHz),
                   0.0, 1.0);
    return (1.0 - towards) * here + towards * weight(other);
}

} // namespace

double lagOfTake(std::span<const std::complex<double>> reference,
                 std::span<const std::complex<double>> take, dsp::RealFft<double>& fft,
                 double sampleRate)
{
    const std::size_t size = fft.size();
    const double binHz = sampleRate / static_cast<double>(size);
    const auto first = static_cast<std::size_t>(alignFromHz / binHz);
    const auto last = std::min(static_cast<std::size_t>(alignToHz / binHz), reference.size() - 2);
    Spectrum cross(reference.size());
    for (std::size_t bin = first; bin <= last; ++bin)
        cross[bin] = std::conj(reference[bin]) * take[bin];
    std::ranges::copy(cross, fft.spectrum().begin());
    fft.inverse();
    const auto time = fft.time();
    const auto reach = static_cast<std::ptrdiff_t>(alignReachSeconds * sampleRate);
    std::ptrdiff_t highest = 0;
    const auto at = [&](std::ptrdiff_t frame) {
        return time[static_cast<std::size_t>(frame < 0 ? frame + static_cast<std::ptrdiff_t>(size)
                                                       : frame)];
    };
    for (std::ptrdiff_t frame = -reach; frame <= reach; ++frame)
        if (at(frame) > at(highest))
            highest = frame;

    return refineLag(cross, size, static_cast<double>(highest), first, last);
}

CombinedTakes combineTakes(std::span<const std::vector<double>> impulses, double sampleRate,
                           std::span<const BandNoise> bands)
{
    assert(!impulses.empty() && !bands.empty());
    const std::size_t numTakes = impulses.size();
    CombinedTakes combined;
    combined.spreadDb.assign(bands.size(), 0.0);
    combined.numKept.assign(bands.size(), numTakes);
    combined.inPhase.assign(bands.size(), true);
    combined.lagFrames.assign(numTakes, 0.0);
    if (numTakes == 1) {
        combined.impulse = impulses.front();
        return combined;
    }

    const std::size_t length = impulses.front().size();
    dsp::RealFft<double> fft(
        dsp::fastFftSize(length + static_cast<std::size_t>(0.02 * sampleRate)));
    const double binHz = sampleRate / static_cast<double>(fft.size());
    std::vector<Spectrum> spectra;
    for (const std::vector<double>& impulse : impulses) {
        assert(impulse.size() == length);
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(impulse, fft.time().begin());
        fft.forward();
        spectra.emplace_back(fft.spectrum().begin(), fft.spectrum().end());
    }
    const double radiansPerBin = 2.0 * std::numbers::pi / static_cast<double>(fft.size());
    for (std::size_t take = 1; take < numTakes; ++take) {
        const double lag = lagOfTake(spectra.front(), spectra[take], fft, sampleRate);
        combined.lagFrames[take] = lag;
        for (std::size_t bin = 0; bin < spectra[take].size(); ++bin)
            spectra[take][bin] *= std::polar(1.0, radiansPerBin * static_cast<double>(bin) * lag);
    }

    // The median take, and how far each stands from it in each band.
    const std::size_t numBins = fft.numBins();
    const auto bandOfBin = bandOfBins(numBins, binHz, bands);
    using PerTake = std::vector<double>;
    std::vector<PerTake> residual(bands.size(), PerTake(numTakes, 0.0));
    std::vector<PerTake> power(bands.size(), PerTake(numTakes, 0.0));
    std::vector<std::vector<std::complex<double>>> product(
        bands.size(), std::vector<std::complex<double>>(numTakes));
    std::vector<double> medianPower(bands.size(), 0.0);
    std::vector<std::size_t> numBinsOf(bands.size(), 0);
    std::vector<double> real(numTakes);
    std::vector<double> imaginary(numTakes);
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        const std::size_t band = bandOfBin[bin];
        for (std::size_t take = 0; take < numTakes; ++take) {
            real[take] = spectra[take][bin].real();
            imaginary[take] = spectra[take][bin].imag();
        }
        const std::complex<double> median(dsp::medianOf(real), dsp::medianOf(imaginary));
        medianPower[band] += std::norm(median);
        ++numBinsOf[band];
        for (std::size_t take = 0; take < numTakes; ++take) {
            residual[band][take] += std::norm(spectra[take][bin] - median);
            power[band][take] += std::norm(spectra[take][bin]);
            product[band][take] += std::conj(median) * spectra[take][bin];
        }
    }

    std::vector<std::vector<bool>> outlier(bands.size(), std::vector<bool>(numTakes, false));
    for (std::size_t band = 0; band < bands.size(); ++band) {
        PerTake agreement(numTakes);
        for (std::size_t take = 0; take < numTakes; ++take)
            agreement[take] = std::norm(product[band][take])
                              / std::max(medianPower[band] * power[band][take], 1e-300);
        combined.inPhase[band] = dsp::medianOf(agreement) >= inPhaseShare;
        const double usual = dsp::medianOf(residual[band]);
        const double response = dsp::medianOf(power[band]);
        const double noise = bands[band].perBin * static_cast<double>(numBinsOf[band]);
        if (numTakes < 3 || !combined.inPhase[band] || !bands[band].swept
            || usual > std::max(explainedByNoise * noise, smallDifferenceRatio * response))
            continue;
        const double limit = std::max(outlierRatio * usual, leastHarmfulRatio * response);
        for (std::size_t take = 0; take < numTakes; ++take)
            outlier[band][take] = residual[band][take] > limit;
    }

    // The neighbours of a hit band are hit at their edges.
    std::vector<std::vector<bool>> kept(bands.size(), std::vector<bool>(numTakes, true));
    for (std::size_t band = 0; band < bands.size(); ++band) {
        std::size_t count = 0;
        for (std::size_t take = 0; take < numTakes; ++take) {
            const bool hit = outlier[band][take] || (band > 0 && outlier[band - 1][take])
                             || (band + 1 < bands.size() && outlier[band + 1][take]);
            kept[band][take] = !hit;
            count += hit ? 0U : 1U;
        }
        if (count < std::max<std::size_t>(2, (numTakes + 1) / 2)) {
            kept[band].assign(numTakes, true);
            count = numTakes;
        }
        combined.numKept[band] = count;

        double mean = 0.0;
        std::vector<double> levels;
        for (std::size_t take = 0; take < numTakes; ++take)
            if (kept[band][take]) {
                levels.push_back(dsp::powerToDb(power[band][take]));
                mean += levels.back() / static_cast<double>(count);
            }
        double squares = 0.0;
        for (const double level : levels)
            squares += (level - mean) * (level - mean);
        combined.spreadDb[band] = std::sqrt(squares / static_cast<double>(count - 1));
    }
    for (std::size_t take = 0; take < numTakes; ++take)
        for (std::size_t band = 0; band < bands.size(); ++band) {
            if (kept[band][take])
                continue;
            if (band > 0 && !kept[band - 1][take])
                combined.rejections.back().toHz = bands[band].band.upperHz;
            else
                combined.rejections.push_back(
                    {take, bands[band].band.lowerHz, bands[band].band.upperHz});
        }

    // Takes of places with other levels may agree in phase all the same. The power of their complex
    // mean falls short of their mean power by the takes' variance, so that decides in the end.
    Spectrum mean(numBins);
    Spectrum first(numBins);
    std::vector<double> meanPower(numBins, 0.0);
    std::vector<double> variance(bands.size(), 0.0);
    std::vector<double> keptPower(bands.size(), 0.0);
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        const std::size_t band = bandOfBin[bin];
        const double share = 1.0 / static_cast<double>(combined.numKept[band]);
        bool found = false;
        for (std::size_t take = 0; take < numTakes; ++take) {
            if (!kept[band][take])
                continue;
            mean[bin] += share * spectra[take][bin];
            meanPower[bin] += share * std::norm(spectra[take][bin]);
            if (!found)
                first[bin] = spectra[take][bin];
            found = true;
        }
        variance[band] += meanPower[bin] - std::norm(mean[bin]);
        keptPower[band] += meanPower[bin];
    }
    for (std::size_t band = 0; band < bands.size(); ++band) {
        const double noise = bands[band].perBin * static_cast<double>(numBinsOf[band]);
        if (variance[band] > largestShortfall * keptPower[band] + 2.0 * noise)
            combined.inPhase[band] = false;
    }

    for (std::size_t bin = 0; bin < numBins; ++bin) {
        const double weight = inPhaseWeight(combined.inPhase, bands, bandOfBin[bin],
                                            static_cast<double>(bin) * binHz);
        const std::complex<double> direction = weight > 0.0 ? mean[bin] : first[bin];
        const double magnitude = std::abs(direction);
        const double wanted =
            std::sqrt(weight * std::norm(mean[bin]) + (1.0 - weight) * meanPower[bin]);
        fft.spectrum()[bin] =
            weight >= 1.0 || magnitude <= 0.0 ? mean[bin] : direction * (wanted / magnitude);
    }
    fft.inverse();
    combined.impulse.assign(fft.time().begin(),
                            fft.time().begin() + static_cast<std::ptrdiff_t>(length));
    return combined;
}

double studentT95(double degreesOfFreedom) noexcept
{
    assert(degreesOfFreedom >= 1.0);
    // Exact to the third decimal at whole numbers up to 30 (tables of Student's distribution); in
    // between and above, linear in 1 / degrees of freedom, towards the normal distribution's 1.960.
    constexpr std::array points {12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306,
                                 2.262,  2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
                                 2.110,  2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064,
                                 2.060,  2.056, 2.052, 2.048, 2.045, 2.042};
    constexpr double normal = 1.960;
    const auto last = static_cast<double>(points.size());
    if (degreesOfFreedom >= last)
        return normal + (points.back() - normal) * last / degreesOfFreedom;
    const auto below = static_cast<std::size_t>(degreesOfFreedom);
    const double lowerPoint = points[below - 1];
    const double upperPoint = points[below];
    const double position =
        (1.0 / static_cast<double>(below) - 1.0 / degreesOfFreedom)
        / (1.0 / static_cast<double>(below) - 1.0 / (static_cast<double>(below) + 1.0));
    return lowerPoint + position * (upperPoint - lowerPoint);
}

} // namespace saddletone::measure
