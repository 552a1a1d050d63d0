#include "Core/Measure/HammersteinFit.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/RaisedCosine.h"
#include "Core/Dsp/Statistics.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/Takes.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <memory>
#include <numbers>
#include <span>
#include <utility>

#include <nlopt.h>

namespace saddletone::measure {

namespace {

using Complex = std::complex<double>;
using Spectrum = std::vector<Complex>;
using Criteria = HammersteinCriteria;
using files::fixedText;

constexpr std::size_t numOrders = highestHarmonic;
constexpr double windowSeconds = 0.28; // what states keep of harmonics
constexpr double transformSeconds = 0.34;
constexpr double kernelBeforeSeconds = 0.03;
constexpr double kernelAfterSeconds = 0.17; // with the lead 8192 frames at 44.1 kHz hold it
constexpr double kernelFadeSeconds = 0.05;
// What a branch leaves ahead of the arrival of a power's kernel at 44.1 kHz, the lowest rate.
constexpr double powerBeforeSeconds = 0.0008;
constexpr double powerRiseSeconds = 0.00025;
// Harmonics above are left out: a recorder of 44.1 kHz holds them whole, and the distortion of
// bass and middle, which is what is heard, lies below.
constexpr double topHz = 16000.0;
constexpr double topFadeHz = 17400.0;
constexpr double startOctaves = 2.0; // ratio to the sweep's start within which a range begins there
constexpr double skirtOctaves = 0.5; // outside a range, over which a kernel fades
// What a measured value may be off besides noise: of the fundamental 0.1 dB, of a harmonic 0.2 dB.
constexpr double fundamentalError = 0.01;
constexpr double harmonicError = 0.02;
constexpr double lowDistortionDb = -40.0;
constexpr double largestLoudnessDb = -50.0; // of drive^n, below which a kernel would be blown up
constexpr int maxPasses = 6;
constexpr int numSearches = 2; // the second without what disagreed after the first

std::size_t indexOf(int order)
{
    return static_cast<std::size_t>(order - 1);
}

/** A state's harmonics as spectra on the first state's clock, re the state's own linear gain. */
struct TakeSpectra {
    std::array<Spectrum, numOrders> orders; ///< 1 is the linear response.
    /** By order and third octave of the fundamental: level over noise in dB, silenceDb if unknown. */
    std::array<std::vector<double>, numOrders> overNoiseDb;
    std::array<std::vector<double>, numOrders> noiseAmplitude; ///< By order and bin of the output.
    double amplitude = 0.25; ///< Of the sweep, at the first state's volume.
};

/** All that is known, on the bins of one transform. */
struct Levels {
    double sampleRate = 48000.0;
    double binHz = 1.0;
    double fromHz = 20.0;
    double toHz = 16000.0;
    std::size_t numBins = 0;
    std::vector<dsp::Band> bands; ///< Third octaves of the fundamental.
    std::vector<TakeSpectra> takes;
    double mostAmplitude = 0.25;
    bool drivesAreStated = false;

    [[nodiscard]] double hzOf(std::size_t bin) const { return static_cast<double>(bin) * binHz; }
    [[nodiscard]] std::size_t bandOf(double frequencyHz) const
    {
        std::size_t band = 0;
        while (band + 1 < bands.size() && frequencyHz >= bands[band].upperHz)
            ++band;
        return band;
    }
};

/** What is searched: the drive filter, and by how much the linear parts' levels, as taken at first,
    are off because of compression. */
struct Drive {
    std::vector<DriveSection> sections;
    double gainLinear = 1.0;
    std::vector<double> scales; ///< By take; 1 for the first.

    [[nodiscard]] Complex at(double frequencyHz) const
    {
        Complex gain = gainLinear;
        for (const DriveSection& section : sections)
            gain *= section.analogue().response(frequencyHz);
        return gain;
    }

    void normalise(double fromHz, double toHz)
    {
        gainLinear = 1.0;
        double largest = 0.0;
        for (const double frequencyHz : dsp::twelfthOctavesHz(fromHz, toHz))
            largest = std::max(largest, std::abs(at(frequencyHz)));
        gainLinear = 1.0 / largest;
    }
};

/** Kernels' spectra at one bin, and what the model says there of each take and order. */
struct BinFit {
    std::array<Complex, numOrders> kernels {};
    double cost = 0.0; ///< Squared errors re what is to be expected.
};

/** By power and bin: how much of the kernel is kept, 0 to 1. */
using Masks = std::array<std::vector<double>, numOrders>;

/** What order k of one take says at the output bin, per unit of kernel n. */
Complex factorOf(int order, int power, double amplitude, Complex drive)
{
    if (power == 1)
        return 1.0;
    return harmonicOfPower(order, power) * std::pow(amplitude, power - 1)
           * std::polar(std::pow(std::abs(drive), power), order * std::arg(drive));
}

/** Solves a small Hermitian positive system by elimination. */
void solveSmall(std::array<std::array<Complex, 4>, 3>& rows, std::size_t count)
{
    for (std::size_t pivot = 0; pivot < count; ++pivot) {
        const Complex inverse = 1.0 / rows[pivot][pivot];
        for (std::size_t column = pivot; column < 4; ++column)
            rows[pivot][column] *= inverse;
        for (std::size_t row = 0; row < count; ++row) {
            if (row == pivot)
                continue;
            const Complex factor = rows[row][pivot];
            for (std::size_t column = pivot; column < 4; ++column)
                rows[row][column] -= factor * rows[pivot][column];
        }
    }
}

/** Weighted least squares for the odd or even powers at one output bin. drives: the drive filter at
    the bin's frequency over 1 to 5. active: which powers may take part. */
BinFit fitBin(const Levels& levels, std::span<const double> scales, std::size_t bin, bool odd,
              const std::array<Complex, numOrders>& drives,
              const std::array<bool, numOrders>& active)
{
    struct Row {
        std::array<Complex, 3> factors {};
        Complex value;
        double weight = 0.0;
        bool counts = false;
    };
    const double frequencyHz = levels.hzOf(bin);
    const int firstOrder = odd ? 1 : 2;
    const std::size_t numPowers = odd ? 3 : 2;
    std::array<std::array<Complex, 4>, 3> normal {};
    // Unknowns are the powers' own harmonics at the highest drive, all of one size.
    std::array<double, 3> unit {};
    std::array<std::size_t, 3> place {};
    std::size_t count = 0;
    for (std::size_t index = 0; index < numPowers; ++index) {
        const int power = firstOrder + 2 * static_cast<int>(index);
        if (!active[indexOf(power)])
            continue;
        unit[count] = power == 1
                          ? 1.0
                          : std::max(1e-30, std::abs(factorOf(power, power, levels.mostAmplitude,
                                                              drives[indexOf(power)])));
        place[count++] = index;
    }
    BinFit fit;
    if (count == 0)
        return fit;
    std::vector<Row> rows;
    rows.reserve(numPowers * levels.takes.size());
    for (std::size_t index = 0; index < levels.takes.size(); ++index) {
        const TakeSpectra& take = levels.takes[index];
        const double amplitude = take.amplitude * (levels.drivesAreStated ? 1.0 : scales[index]);
        for (int order = firstOrder; order <= static_cast<int>(numOrders); order += 2) {
            const double fundamentalHz = frequencyHz / order;
            if (fundamentalHz < levels.fromHz || frequencyHz > levels.toHz)
                continue;
            const double noise = take.noiseAmplitude[indexOf(order)][bin] / scales[index];
            if (noise <= 0.0)
                continue;
            Row row;
            row.value = take.orders[indexOf(order)][bin] / scales[index];
            const double error =
                (order == 1 ? fundamentalError : harmonicError) * std::abs(row.value);
            row.weight = 1.0 / (error * error + noise * noise);
            row.counts = order == 1
                         || take.overNoiseDb[indexOf(order)][levels.bandOf(fundamentalHz)]
                                >= Criteria::otherOverNoiseDb;
            for (std::size_t unknown = 0; unknown < count; ++unknown) {
                const int power = firstOrder + 2 * static_cast<int>(place[unknown]);
                if (power >= order)
                    row.factors[unknown] =
                        factorOf(order, power, amplitude, drives[indexOf(order)]) / unit[unknown];
            }
            rows.push_back(row);
        }
    }
    for (std::size_t unknown = 0; unknown < count; ++unknown) {
        // A harmonic as strong as the fundamental is the most that is expected of any; what no level
        // tells stays small.
        const std::size_t power = (odd ? 1 : 2) + 2 * place[unknown];
        const double most = std::abs(levels.takes.front().orders[0][bin / power]);
        normal[unknown][unknown] = (power == 1 ? 1e-12 : 1.0) / std::max(1e-30, most * most);
    }
    for (const Row& row : rows)
        for (std::size_t one = 0; one < count; ++one) {
            const Complex weighted = row.weight * std::conj(row.factors[one]);
            for (std::size_t other = 0; other < count; ++other)
                normal[one][other] += weighted * row.factors[other];
            normal[one][3] += weighted * row.value;
        }
    solveSmall(normal, count);
    for (std::size_t unknown = 0; unknown < count; ++unknown)
        fit.kernels[2 * place[unknown] + (odd ? 0 : 1)] = normal[unknown][3] / unit[unknown];
    for (const Row& row : rows) {
        if (!row.counts)
            continue;
        Complex error = -row.value;
        for (std::size_t unknown = 0; unknown < count; ++unknown)
            error += row.factors[unknown] * normal[unknown][3];
        // Beyond some deviations by the logarithm, so that a place that no model explains does not
        // outweigh all others.
        fit.cost += 9.0 * std::log1p(row.weight * std::norm(error) / 9.0);
    }
    return fit;
}

std::array<Complex, numOrders> drivesAt(const Drive& drive, double outputHz)
{
    std::array<Complex, numOrders> drives {};
    for (int order = 1; order <= static_cast<int>(numOrders); ++order)
        drives[indexOf(order)] = drive.at(outputHz / order);
    return drives;
}

std::array<bool, numOrders> activeAt(const Masks& masks, std::size_t bin)
{
    std::array<bool, numOrders> active {};
    active[0] = true;
    for (std::size_t power = 1; power < numOrders; ++power)
        active[power] = masks[power][bin] > 0.0;
    return active;
}

/** The spectrum of part of an impulse, its arrival at time 0, in a state's window. */
Spectrum spectrumOf(const std::vector<float>& impulse, std::size_t arrivalFrame, double sampleRate,
                    dsp::RealFft<double>& fft)
{
    std::ranges::fill(fft.time(), 0.0);
    const auto size = static_cast<std::ptrdiff_t>(fft.size());
    const double before = kernelBeforeSeconds * sampleRate;
    const double after = (windowSeconds - kernelBeforeSeconds) * sampleRate;
    for (auto frame = static_cast<std::ptrdiff_t>(-before);
         frame < static_cast<std::ptrdiff_t>(after); ++frame) {
        const std::ptrdiff_t place = static_cast<std::ptrdiff_t>(arrivalFrame) + frame;
        if (place < 0 || place >= static_cast<std::ptrdiff_t>(impulse.size()))
            continue;
        const auto position = static_cast<double>(frame);
        fft.time()[static_cast<std::size_t>((frame + size) % size)] =
            static_cast<double>(impulse[static_cast<std::size_t>(place)])
            * dsp::raisedCosine((position + before) / (0.7 * before))
            * dsp::raisedCosine((after - position) / (0.3 * after));
    }
    fft.forward();
    return {fft.spectrum().begin(), fft.spectrum().end()};
}

/** Mean power over bins from one frequency to another. */
double meanPower(const Spectrum& spectrum, double binHz, double lowerHz, double upperHz)
{
    const auto first = static_cast<std::size_t>(std::ceil(lowerHz / binHz));
    const auto last =
        std::min(static_cast<std::size_t>(std::floor(upperHz / binHz)), spectrum.size() - 1);
    if (first > last)
        return std::norm(spectrum[std::min(
            static_cast<std::size_t>(std::lround(0.5 * (lowerHz + upperHz) / binHz)),
            spectrum.size() - 1)]);
    double sum = 0.0;
    for (std::size_t bin = first; bin <= last; ++bin)
        sum += std::norm(spectrum[bin]);
    return sum / static_cast<double>(last - first + 1);
}

/** What a state says of the noise of an order: level over it and its amplitude per bin. */
void fillNoise(const Response& state, const Levels& levels, int order, TakeSpectra& take)
{
    const auto index = indexOf(order);
    auto& overNoise = take.overNoiseDb[index];
    auto& amplitude = take.noiseAmplitude[index];
    overNoise.assign(levels.bands.size(), dsp::silenceDb);
    amplitude.assign(levels.numBins, 0.0);
    std::vector<double> ofBand(levels.bands.size(), 0.0);
    const auto isBand = [](double frequencyHz, const dsp::Band& band) {
        return frequencyHz > band.lowerHz && frequencyHz < band.upperHz;
    };
    for (std::size_t band = 0; band < levels.bands.size(); ++band) {
        const dsp::Band& here = levels.bands[band];
        const double fundamental =
            std::sqrt(meanPower(take.orders[0], levels.binHz, here.lowerHz, here.upperHz));
        if (order == 1) {
            for (const BandConfidence& known : state.bands)
                if (isBand(known.frequencyHz, here) && known.trusted) {
                    overNoise[band] = known.snrDb;
                    ofBand[band] = fundamental * dsp::dbToAmplitude(-known.snrDb);
                }
            continue;
        }
        for (const HarmonicOrder& known : state.distortion)
            if (known.order == order)
                for (const HarmonicLevel& level : known.levels)
                    if (isBand(level.frequencyHz, here)) {
                        overNoise[band] = level.levelDb - level.floorDb;
                        ofBand[band] =
                            fundamental * dsp::dbToAmplitude(std::max(level.floorDb, -160.0));
                    }
    }
    for (std::size_t bin = 1; bin < levels.numBins; ++bin) {
        const double fundamentalHz = levels.hzOf(bin) / order;
        if (fundamentalHz >= levels.bands.front().lowerHz
            && fundamentalHz < levels.bands.back().upperHz)
            amplitude[bin] = ofBand[levels.bandOf(fundamentalHz)];
    }
}

/** Fits the kernels at every bin of a set and sums up how badly. */
double costOf(const Levels& levels, const Masks& masks, const std::vector<std::size_t>& bins,
              const Drive& drive)
{
    double cost = 0.0;
    for (const std::size_t bin : bins) {
        const auto drives = drivesAt(drive, levels.hzOf(bin));
        const auto active = activeAt(masks, bin);
        cost += fitBin(levels, drive.scales, bin, true, drives, active).cost
                + fitBin(levels, drive.scales, bin, false, drives, active).cost;
    }
    return cost;
}

// Bounds of a section under search; log frequencies and log qualities.
constexpr double lowestSectionHz = 2.0;
constexpr double highestSectionHz = 20000.0;
constexpr double lowestSectionQ = 0.35;
constexpr double highestSectionQ = 5.0;
constexpr std::size_t mostSections = 3;

/** The largest error of a level taken from a compressed linear part. */
constexpr double largestScaleDb = 2.0;

struct DriveSearch {
    const Levels& levels;
    const Masks& masks;
    const std::vector<std::size_t>& bins;

    /** Numbers are the logarithms of all scales but the first, then the sections. */
    [[nodiscard]] Drive driveOf(std::span<const double> numbers) const
    {
        Drive drive;
        const std::size_t numScales = levels.takes.size() - 1;
        drive.scales.push_back(1.0);
        for (std::size_t scale = 0; scale < numScales; ++scale)
            drive.scales.push_back(std::exp(numbers[scale]));
        for (auto own = numbers.subspan(numScales); !own.empty(); own = own.subspan(4))
            drive.sections.push_back(
                {std::exp(own[0]), std::exp(own[1]), std::exp(own[2]), std::exp(own[3])});
        drive.normalise(levels.fromHz, levels.toHz);
        return drive;
    }
};

double searchCost(unsigned count, const double* numbers, double* /*gradient*/, void* data)
{
    const auto& search = *static_cast<const DriveSearch*>(data);
    return costOf(search.levels, search.masks, search.bins, search.driveOf({numbers, count}));
}

/** Searches from a start; the drive found and its cost. */
std::pair<Drive, double> searchDrive(const DriveSearch& search, const Drive& start)
{
    std::vector<double> numbers;
    std::vector<double> lowest;
    std::vector<double> highest;
    const auto add = [&](double value, double least, double most) {
        lowest.push_back(std::log(least));
        highest.push_back(std::log(most));
        numbers.push_back(std::clamp(std::log(value), lowest.back(), highest.back()));
    };
    for (std::size_t take = 1; take < start.scales.size(); ++take)
        add(start.scales[take], dsp::dbToAmplitude(-largestScaleDb),
            dsp::dbToAmplitude(largestScaleDb));
    for (const DriveSection& section : start.sections) {
        add(section.zeroHz, lowestSectionHz, highestSectionHz);
        add(section.zeroQ, lowestSectionQ, highestSectionQ);
        add(section.poleHz, lowestSectionHz, highestSectionHz);
        add(section.poleQ, lowestSectionQ, highestSectionQ);
    }
    const std::unique_ptr<nlopt_opt_s, decltype(&nlopt_destroy)> optimiser(
        nlopt_create(NLOPT_LN_BOBYQA, static_cast<unsigned>(numbers.size())), &nlopt_destroy);
    DriveSearch data = search;
    nlopt_set_lower_bounds(optimiser.get(), lowest.data());
    nlopt_set_upper_bounds(optimiser.get(), highest.data());
    nlopt_set_min_objective(optimiser.get(), &searchCost, &data);
    std::vector<double> firstSteps(numbers.size(), 0.3);
    std::fill_n(firstSteps.begin(), start.scales.size() - 1, 0.03);
    nlopt_set_initial_step(optimiser.get(), firstSteps.data());
    nlopt_set_xtol_abs1(optimiser.get(), 1e-4);
    nlopt_set_ftol_rel(optimiser.get(), 1e-5);
    nlopt_set_maxeval(optimiser.get(), 60 * static_cast<int>(numbers.size() + 1));
    double cost = 0.0;
    // Whatever ends it, the best point so far is in numbers.
    nlopt_optimize(optimiser.get(), numbers.data(), &cost);
    return {search.driveOf(numbers), cost};
}

/** Scales, and a drive filter if one explains how harmonics change with level clearly better than
    none. */
Drive findDrive(const Levels& levels, const Masks& masks, const Drive& before)
{
    std::vector<std::size_t> bins;
    for (const double frequencyHz : dsp::twelfthOctavesHz(levels.fromHz, levels.toHz)) {
        const auto bin = static_cast<std::size_t>(std::lround(frequencyHz / levels.binHz));
        if (bin > 0 && bin < levels.numBins && (bins.empty() || bin > bins.back()))
            bins.push_back(bin);
    }
    const DriveSearch search {levels, masks, bins};
    Drive flat;
    flat.scales = before.scales;
    std::pair<Drive, double> best = searchDrive(search, flat);
    // Worth the name: a fifth less, and more than chance gives to the numbers of a section.
    const auto isClearlyLess = [&](double cost) { return cost < 0.8 * best.second - 20.0; };
    // The excursion of a cone, stiff below 70 or 280 Hz, what a high-pass lets through, and a boost.
    const std::array starts {
        DriveSection {10000.0, 0.7, 70.0, 1.0}, DriveSection {10000.0, 0.7, 280.0, 1.0},
        DriveSection {3.0, 0.7, 50.0, 0.8}, DriveSection {20.0, 0.7, 100.0, 0.7},
        DriveSection {90.0, 0.5, 90.0, 0.9}};
    for (std::size_t numSections = 1; numSections <= mostSections; ++numSections) {
        std::pair<Drive, double> found = best;
        for (const DriveSection& start : starts) {
            Drive more = best.first;
            more.sections.push_back(start);
            auto tried = searchDrive(search, more);
            if (tried.second < found.second)
                found = std::move(tried);
        }
        if (!isClearlyLess(found.second))
            break;
        best = std::move(found);
    }
    return best.first;
}

/** What is kept of each order by third octave of the fundamental. */
using Kept = std::array<std::vector<bool>, numOrders>;

std::vector<FundamentalRange> rangesOf(const Levels& levels, const std::vector<bool>& kept)
{
    std::vector<FundamentalRange> ranges;
    for (std::size_t band = 0; band < kept.size(); ++band) {
        if (!kept[band])
            continue;
        if (band > 0 && kept[band - 1])
            ranges.back().toHz = levels.bands[band].upperHz;
        else
            ranges.push_back({levels.bands[band].lowerHz, levels.bands[band].upperHz});
    }
    return ranges;
}

/** Drops runs of fewer than the least number of neighbouring bands. */
void dropShortRuns(std::vector<bool>& kept)
{
    for (std::size_t begin = 0; begin < kept.size();) {
        std::size_t end = begin;
        while (end < kept.size() && kept[end] == kept[begin])
            ++end;
        if (kept[begin] && end - begin < Criteria::fewestBands)
            std::fill(kept.begin() + static_cast<std::ptrdiff_t>(begin),
                      kept.begin() + static_cast<std::ptrdiff_t>(end), false);
        begin = end;
    }
}

/** Where an order stands above the noise at two levels. */
bool isHeard(const Levels& levels, int order, std::size_t band)
{
    const auto overNoise = [&](const TakeSpectra& take) {
        return take.overNoiseDb[indexOf(order)][band];
    };
    for (const TakeSpectra& loud : levels.takes)
        for (const TakeSpectra& other : levels.takes)
            if (overNoise(loud) >= Criteria::loudestOverNoiseDb
                && overNoise(other) >= Criteria::otherOverNoiseDb
                && std::abs(dsp::amplitudeToDb(loud.amplitude / other.amplitude))
                       >= Criteria::leastDriveStepDb)
                return true;
    return false;
}

Masks masksOf(const Levels& levels, const Kept& kept, const Drive& drive)
{
    Masks masks;
    for (int power = 2; power <= static_cast<int>(numOrders); ++power) {
        auto& mask = masks[indexOf(power)];
        mask.assign(levels.numBins, 0.0);
        for (const FundamentalRange& range : rangesOf(levels, kept[indexOf(power)]))
            for (std::size_t bin = 1; bin < levels.numBins; ++bin) {
                const double fundamentalHz = levels.hzOf(bin) / power;
                const double outsideOctaves =
                    std::max({0.0, std::log2(range.fromHz / fundamentalHz),
                              std::log2(fundamentalHz / range.toHz)});
                if (power * dsp::amplitudeToDb(std::abs(drive.at(fundamentalHz)))
                        < largestLoudnessDb
                    || fundamentalHz < levels.fromHz)
                    continue;
                mask[bin] =
                    std::max(mask[bin], dsp::raisedCosine(1.0 - outsideOctaves / skirtOctaves));
            }
        // Below what the sweep's start tells of the order itself, the power still shows in how the
        // order below it changes with level; two levels would let it explain anything.
        const auto ranges = rangesOf(levels, kept[indexOf(power)]);
        if (power > 2 && levels.takes.size() > 2 && !ranges.empty()
            && ranges.front().fromHz < levels.fromHz * startOctaves)
            for (std::size_t bin = 1; bin < levels.numBins; ++bin) {
                const double frequencyHz = levels.hzOf(bin);
                if (frequencyHz > ranges.front().fromHz * power)
                    break;
                const double below =
                    power == 3 ? dsp::raisedCosine(
                        1.0 - std::log2(levels.fromHz / frequencyHz) / skirtOctaves)
                               : masks[indexOf(power - 2)][bin];
                mask[bin] = std::max(mask[bin], below);
            }
        for (std::size_t bin = 0; bin < levels.numBins; ++bin)
            mask[bin] *= dsp::raisedCosine((topFadeHz - levels.hzOf(bin)) / (topFadeHz - topHz));
    }
    return masks;
}

/** All kernels' spectra. */
using Kernels = std::array<Spectrum, numOrders>;

Kernels fitKernels(const Levels& levels, const Masks& masks, const Drive& drive)
{
    Kernels kernels;
    for (Spectrum& spectrum : kernels)
        spectrum.assign(levels.numBins, {});
    for (std::size_t bin = 1; bin < levels.numBins; ++bin) {
        const double frequencyHz = levels.hzOf(bin);
        if (frequencyHz < levels.fromHz || frequencyHz > levels.toHz) {
            kernels[0][bin] = levels.takes.front().orders[0][bin];
            continue;
        }
        const auto drives = drivesAt(drive, frequencyHz);
        const auto active = activeAt(masks, bin);
        const BinFit odd = fitBin(levels, drive.scales, bin, true, drives, active);
        const BinFit even = fitBin(levels, drive.scales, bin, false, drives, active);
        for (std::size_t power = 0; power < numOrders; ++power)
            kernels[power][bin] = (power % 2 == 0 ? odd : even).kernels[power]
                                  * (power == 0 ? 1.0 : masks[power][bin]);
        if (kernels[0][bin] == Complex {})
            kernels[0][bin] = levels.takes.front().orders[0][bin];
    }
    return kernels;
}

/** Amplitude of a take's sweep at the first state's volume. */
double amplitudeOf(const Levels& levels, const Drive& drive, std::size_t take)
{
    return levels.takes[take].amplitude * (levels.drivesAreStated ? 1.0 : drive.scales[take]);
}

/** What the model makes of an order over bins from one frequency to another, mean power. */
double modelPower(const Levels& levels, const Kernels& kernels, const Drive& drive, int order,
                  double amplitude, const dsp::Band& fundamental)
{
    const auto first =
        static_cast<std::size_t>(std::ceil(order * fundamental.lowerHz / levels.binHz));
    const auto last =
        static_cast<std::size_t>(std::floor(order * fundamental.upperHz / levels.binHz));
    double sum = 0.0;
    std::size_t count = 0;
    for (std::size_t bin = first; bin <= last && bin < levels.numBins; ++bin, ++count) {
        const Complex driven = drive.at(levels.hzOf(bin) / order);
        Complex value;
        for (int power = order; power <= static_cast<int>(numOrders); power += 2)
            value += factorOf(order, power, amplitude, driven) * kernels[indexOf(power)][bin];
        sum += std::norm(value);
    }
    return count == 0 ? 0.0 : sum / static_cast<double>(count);
}

/** Largest error in dB of an order in a band against the takes in which it is heard. */
double errorIn(const Levels& levels, const Kernels& kernels, const Drive& drive, int order,
               std::size_t band)
{
    double largest = 0.0;
    const dsp::Band& fundamental = levels.bands[band];
    for (std::size_t index = 0; index < levels.takes.size(); ++index) {
        const TakeSpectra& take = levels.takes[index];
        const double overNoiseDb = take.overNoiseDb[indexOf(order)][band];
        if (overNoiseDb < Criteria::otherOverNoiseDb)
            continue;
        const double measured = meanPower(take.orders[indexOf(order)], levels.binHz,
                                          order * fundamental.lowerHz, order * fundamental.upperHz);
        const double modelled = modelPower(levels, kernels, drive, order,
                                           amplitudeOf(levels, drive, index), fundamental);
        const double errorDb = std::abs(
            dsp::powerToDb(modelled * drive.scales[index] * drive.scales[index] / measured));
        // What is measured holds the noise as well, at most that which the state says.
        const double ofNoiseDb = dsp::powerToDb(1.0 + dsp::dbToPower(-overNoiseDb));
        largest = std::max(largest, std::max(0.0, errorDb - ofNoiseDb));
    }
    return largest;
}

/** Brings a spectrum to frames about its arrival, windowed in front and behind. riseSeconds: from
    fromSeconds on. */
void windowInTime(const Levels& levels, double fromSeconds, double riseSeconds,
                  dsp::RealFft<double>& fft)
{
    fft.inverse();
    const auto time = fft.time();
    const auto size = static_cast<std::ptrdiff_t>(fft.size());
    for (std::ptrdiff_t frame = -size / 2; frame < size / 2; ++frame) {
        const double seconds = static_cast<double>(frame) / levels.sampleRate;
        time[static_cast<std::size_t>((frame + size) % size)] *=
            dsp::raisedCosine((seconds - fromSeconds) / riseSeconds)
            * dsp::raisedCosine((kernelAfterSeconds - seconds) / kernelFadeSeconds);
    }
}

/** The kernel of a spectrum of which only what the mask keeps is known. Cut off there, it would ring
    ahead of its arrival, where a branch has no time. So what lies outside the mask is let grow into
    what a kernel without forerunners asks for (alternating projections: Papoulis, IEEE Trans.
    Circuits and Systems 22(9):735-742, 1975), held down a little each time. */
std::vector<float> kernelOf(const Spectrum& spectrum, std::span<const double> mask,
                            const Levels& levels, dsp::RealFft<double>& fft)
{
    std::ranges::copy(spectrum, fft.spectrum().begin());
    if (mask.empty()) {
        windowInTime(levels, -kernelBeforeSeconds, 0.7 * kernelBeforeSeconds, fft);
    } else {
        constexpr int rounds = 300;
        constexpr double heldDown = 0.995;
        for (int round = 0; round < rounds; ++round) {
            windowInTime(levels, -powerBeforeSeconds, powerRiseSeconds, fft);
            if (round + 1 == rounds)
                break;
            fft.forward();
            for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
                fft.spectrum()[bin] =
                    spectrum[bin] + heldDown * (1.0 - mask[bin]) * fft.spectrum()[bin];
        }
    }
    const auto before =
        static_cast<std::ptrdiff_t>(std::lround(kernelBeforeSeconds * levels.sampleRate));
    const auto after =
        static_cast<std::ptrdiff_t>(std::lround(kernelAfterSeconds * levels.sampleRate));
    const auto size = static_cast<std::ptrdiff_t>(fft.size());
    std::vector<float> kernel;
    for (std::ptrdiff_t frame = -before; frame < after; ++frame)
        kernel.push_back(
            static_cast<float>(fft.time()[static_cast<std::size_t>((frame + size) % size)]));
    return kernel;
}

std::string hzText(double frequencyHz)
{
    return frequencyHz >= 1000.0 ? fixedText(frequencyHz / 1000.0, 1) + " kHz"
                                 : fixedText(frequencyHz, 0) + " Hz";
}

dsp::Unexpected refuse(const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "no overdrive model: " + reason);
}

std::string nameOf(const Response& state, std::size_t index)
{
    return state.name.empty() ? "state " + std::to_string(index + 1) : "'" + state.name + "'";
}

dsp::Result<void> checkStates(const HammersteinRequest& request)
{
    if (request.states.size() < 2)
        return refuse("one drive level only; how harmonics grow with level takes a second "
                      "measurement, 4 to 10 dB louder or softer");
    assert(request.drivesDb.empty() || request.drivesDb.size() == request.states.size());
    const Response& first = request.states.front();
    for (std::size_t index = 0; index < request.states.size(); ++index) {
        const Response& state = request.states[index];
        if (!state.harmonics)
            return refuse(nameOf(state, index)
                          + " holds no harmonics; keep its .harmonics.wav beside it, or measure it "
                            "again from takes made at one place with a sweep of 6 s or longer");
        if (state.sampleRate != first.sampleRate)
            return refuse(nameOf(state, index) + " has another sample rate than " + nameOf(first, 0)
                          + "; use tracks of one rate");
    }
    return {};
}

/** Drives and scales from the level of the linear part. */
dsp::Result<void> setDrives(const HammersteinRequest& request, Levels& levels)
{
    const Response& first = request.states.front();
    for (std::size_t index = 0; index < levels.takes.size(); ++index) {
        TakeSpectra& take = levels.takes[index];
        const Response& state = request.states[index];
        std::vector<std::pair<double, double>> ratios; // distortion, level
        for (std::size_t band = 0; band < levels.bands.size(); ++band) {
            const dsp::Band& here = levels.bands[band];
            if (take.overNoiseDb[0][band] < 15.0 || levels.takes.front().overNoiseDb[0][band] < 15.0
                || here.centreHz < 200.0 || here.centreHz > 6000.0)
                continue;
            const auto level = [&](const TakeSpectra& of) {
                return dsp::powerToDb(
                    meanPower(of.orders[0], levels.binHz, here.lowerHz, here.upperHz));
            };
            double third = dsp::silenceDb;
            for (const HarmonicOrder& order : state.distortion)
                if (order.order == 3)
                    for (const HarmonicLevel& known : order.levels)
                        if (known.frequencyHz > here.lowerHz && known.frequencyHz < here.upperHz)
                            third = std::max(third, known.levelDb);
            ratios.emplace_back(third, level(take) - level(levels.takes.front()));
        }
        if (ratios.size() < 3)
            return refuse(nameOf(state, index)
                          + " stands too little above the noise between 200 Hz and 6 kHz for its "
                            "drive level to be told");
        std::ranges::sort(ratios);
        // Distortion of the third order comes with compression, which would pass for less drive.
        auto end = std::ranges::find_if(
            ratios, [](const auto& ratio) { return ratio.first > lowDistortionDb; });
        if (end - ratios.begin() < 3)
            end = ratios.begin() + std::max<std::ptrdiff_t>(3, std::ssize(ratios) / 2);
        std::vector<double> levelsDb;
        std::transform(ratios.begin(), end, std::back_inserter(levelsDb),
                       [](const auto& ratio) { return ratio.second; });
        const double scaleDb = dsp::medianOf(std::move(levelsDb));
        const double scaleLinear = dsp::dbToAmplitude(scaleDb);
        double driveDb = scaleDb;
        if (state.hasCalibration && first.hasCalibration)
            driveDb += state.calibration.splAtFullScaleDb() - first.calibration.splAtFullScaleDb();
        const double driveDbfs =
            request.drivesDb.empty()
                ? state.harmonics->driveDbfs + driveDb
                : first.harmonics->driveDbfs + request.drivesDb[index] - request.drivesDb.front();
        take.amplitude = dsp::dbToAmplitude(driveDbfs);
        levels.mostAmplitude = std::max(index == 0 ? 0.0 : levels.mostAmplitude, take.amplitude);
        for (Spectrum& spectrum : take.orders)
            for (Complex& value : spectrum)
                value /= scaleLinear;
        for (auto& noise : take.noiseAmplitude)
            for (double& value : noise)
                value /= scaleLinear;
    }
    const auto [lowest, highest] = std::ranges::minmax(
        levels.takes, {}, [](const TakeSpectra& take) { return take.amplitude; });
    const double stepDb = dsp::amplitudeToDb(highest.amplitude / lowest.amplitude);
    if (stepDb < Criteria::leastDriveStepDb)
        return refuse("the takes drive the speaker alike (" + fixedText(stepDb, 1)
                      + " dB apart, and " + fixedText(Criteria::leastDriveStepDb, 0)
                      + " dB are needed); change the volume step or the track's level, not the "
                        "recorder's gain, or state the drives");
    return {};
}

Levels gather(const HammersteinRequest& request, dsp::RealFft<double>& fft)
{
    const Response& first = request.states.front();
    Levels levels;
    levels.sampleRate = first.sampleRate;
    levels.binHz = first.sampleRate / static_cast<double>(fft.size());
    levels.numBins = fft.numBins();
    levels.drivesAreStated = !request.drivesDb.empty();
    levels.fromHz = 0.0;
    levels.toHz = topFadeHz;
    for (const Response& state : request.states) {
        levels.fromHz = std::max(levels.fromHz, state.fromHz);
        levels.toHz = std::min(levels.toHz, state.toHz);
    }
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        if (band.upperHz > levels.fromHz && band.lowerHz < levels.toHz)
            levels.bands.push_back(band);
    for (const Response& state : request.states) {
        TakeSpectra take;
        take.orders[0] = spectrumOf(state.impulse, state.arrivalFrame, state.sampleRate, fft);
        for (std::size_t order = 0; order < state.harmonics->orders.size(); ++order)
            take.orders[order + 1] =
                spectrumOf(state.harmonics->orders[order], state.harmonics->arrivalFrame,
                           state.sampleRate, fft);
        levels.takes.push_back(std::move(take));
    }
    // All on the first state's clock; noise needs no clock.
    const double radiansPerBin = 2.0 * std::numbers::pi / static_cast<double>(fft.size());
    for (std::size_t index = 0; index < levels.takes.size(); ++index) {
        TakeSpectra& take = levels.takes[index];
        if (index > 0) {
            const double lag =
                lagOfTake(levels.takes.front().orders[0], take.orders[0], fft, levels.sampleRate);
            for (Spectrum& spectrum : take.orders)
                for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
                    spectrum[bin] *=
                        std::polar(1.0, radiansPerBin * static_cast<double>(bin) * lag);
        }
        for (int order = 1; order <= static_cast<int>(numOrders); ++order)
            fillNoise(request.states[index], levels, order, take);
    }
    return levels;
}

/** What is to be said of an order. worstDb and worstBand: of bands left out for disagreement. */
OrderSupport supportOf(const Levels& levels, const Kernels& kernels, const Drive& drive, int order,
                       const std::vector<bool>& kept, const std::vector<double>& disagreementDb)
{
    OrderSupport support;
    support.order = order;
    support.ranges = rangesOf(levels, kept);
    for (std::size_t band = 0; band < kept.size(); ++band)
        if (kept[band])
            support.largestErrorDb =
                std::max(support.largestErrorDb, errorIn(levels, kernels, drive, order, band));
    const auto worst = std::ranges::max_element(disagreementDb);
    const std::string name = "harmonic " + std::to_string(order) + ": ";
    const std::string disagreement =
        *worst > 0.0
            ? "the levels disagree by up to " + fixedText(std::min(*worst, 99.0), 1)
                  + " dB at a fundamental of "
                  + hzText(levels.bands[static_cast<std::size_t>(worst - disagreementDb.begin())]
                               .centreHz)
            : std::string();
    if (support.ranges.empty()) {
        support.words =
            name + "left out; "
            + (disagreement.empty()
                   ? "it does not stand above the noise at two drive levels over an "
                     "octave"
                   : disagreement + " (something changed between the takes, or a limiter acts)");
        return support;
    }
    std::string ranges;
    for (const FundamentalRange& range : support.ranges)
        ranges += (ranges.empty() ? "" : ", ") + hzText(range.fromHz) + " to " + hzText(range.toHz);
    support.words = name + "heard for fundamentals of " + ranges + "; model and takes agree within "
                    + fixedText(support.largestErrorDb, 1) + " dB"
                    + (disagreement.empty() ? "" : "; left out where " + disagreement);
    return support;
}

} // namespace

dsp::Result<HammersteinModel> fitHammerstein(const HammersteinRequest& request)
{
    if (const auto checked = checkStates(request); !checked)
        return checked.unexpected();
    const Response& first = request.states.front();
    dsp::RealFft<double> fft(
        std::bit_ceil(static_cast<std::size_t>(std::ceil(transformSeconds * first.sampleRate))));
    Levels levels = gather(request, fft);
    if (levels.bands.empty())
        return refuse("the states have no frequency range in common");
    if (const auto set = setDrives(request, levels); !set)
        return set.unexpected();

    Kept kept;
    std::array<std::vector<double>, numOrders> disagreementDb;
    for (int order = 2; order <= static_cast<int>(numOrders); ++order) {
        auto& ofOrder = kept[indexOf(order)];
        disagreementDb[indexOf(order)].assign(levels.bands.size(), 0.0);
        for (std::size_t band = 0; band < levels.bands.size(); ++band)
            ofOrder.push_back(order * levels.bands[band].upperHz <= std::min(topHz, levels.toHz)
                              && isHeard(levels, order, band));
        dropShortRuns(ofOrder);
    }
    Drive drive;
    drive.scales.assign(levels.takes.size(), 1.0);
    Masks masks = masksOf(levels, kept, drive);
    Kernels kernels;
    for (int pass = 0; pass < maxPasses; ++pass) {
        if (pass < numSearches)
            drive = findDrive(levels, masks, drive);
        masks = masksOf(levels, kept, drive);
        kernels = fitKernels(levels, masks, drive);
        bool changed = false;
        for (int order = static_cast<int>(numOrders); order >= 2; --order) {
            auto& ofOrder = kept[indexOf(order)];
            for (std::size_t band = 0; band < levels.bands.size(); ++band) {
                if (!ofOrder[band])
                    continue;
                // A fundamental that is not understood speaks against the drives themselves.
                const double error = std::max(errorIn(levels, kernels, drive, order, band),
                                              errorIn(levels, kernels, drive, 1, band));
                if (error <= Criteria::largestErrorDb)
                    continue;
                disagreementDb[indexOf(order)][band] = error;
                ofOrder[band] = false;
                changed = true;
            }
            dropShortRuns(ofOrder);
        }
        masks = masksOf(levels, kept, drive);
        kernels = fitKernels(levels, masks, drive);
        if (!changed)
            break;
    }

    HammersteinModel model;
    model.name = request.name;
    model.sampleRate = levels.sampleRate;
    model.arrivalFrame =
        static_cast<std::size_t>(std::lround(kernelBeforeSeconds * levels.sampleRate));
    model.driveFilter = drive.sections;
    model.driveGainLinear = drive.gainLinear;
    for (std::size_t power = 0; power < numOrders; ++power)
        model.kernels[power] = kernelOf(kernels[power], masks[power], levels, fft);
    for (std::size_t index = 0; index < levels.takes.size(); ++index)
        model.takes.push_back({request.states[index].name,
                               dsp::amplitudeToDb(amplitudeOf(levels, drive, index)),
                               !request.drivesDb.empty()});
    std::string reasons;
    for (int order = 2; order <= static_cast<int>(numOrders); ++order) {
        model.orders.push_back(supportOf(levels, kernels, drive, order, kept[indexOf(order)],
                                         disagreementDb[indexOf(order)]));
        reasons += (reasons.empty() ? "" : ". ") + model.orders.back().words;
    }
    if (!model.speaks())
        return refuse(reasons);
    if (!drive.sections.empty())
        model.remarks.emplace_back(
            "Harmonics change with level as if a filter stood ahead of the distortion; it is part "
            "of the model.");
    return model;
}

} // namespace saddletone::measure
