#include "Core/Seat/HeadModel.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Seat/SofaFile.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>
#include <numeric>
#include <span>
#include <utility>

namespace saddletone::seat {

namespace {

using Complex = std::complex<double>;

/** Of silence in front of the earliest arrival, for what filters move forward. */
constexpr double leadSeconds = 0.0015;
constexpr std::size_t fewestDirections = 16;
constexpr double nearestMetres = 0.2;
constexpr double farthestMetres = 100.0;
constexpr double wantedDistanceMetres = 1.0;
/** Sources this far apart in distance belong to one sphere. */
constexpr double sameDistanceMetres = 0.05;
/** Directions this near to the middle plane tell when the sound passes the head's middle. */
constexpr double middlePlaneRadians = 3.0 * std::numbers::pi / 180.0;

/** Turns phases by a delay; the bin at Nyquist stays real. */
void delaySpectrum(double frames, std::size_t size, std::span<Complex> spectrum)
{
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
        spectrum[bin] *= std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(bin) * frames
                                             / static_cast<double>(size));
    spectrum[spectrum.size() - 1] = spectrum[spectrum.size() - 1].real();
}

/** Converts impulses of one length and rate to another by their spectra: exact, as an impulse of
    some thousand samples is its own whole period. A delay in front is put in on the way. */
class SpectralResampler {
public:
    SpectralResampler(std::size_t impulseFrames, double inputRate, double outputRate)
    {
        // The shortest period that is a whole and even number of frames at both rates.
        const auto in = static_cast<std::size_t>(std::llround(inputRate));
        const auto out = static_cast<std::size_t>(std::llround(outputRate));
        assert(in > 0 && out > 0);
        const std::size_t common = std::gcd(in, out);
        const std::size_t stepIn = 2 * in / common;
        const std::size_t stepOut = 2 * out / common;
        const std::size_t repeats = (impulseFrames + stepIn - 1) / stepIn;
        input = dsp::RealFft<double>(stepIn * repeats);
        output = dsp::RealFft<double>(stepOut * repeats);
    }

    [[nodiscard]] std::size_t outputFrames() const noexcept { return output.size(); }

    [[nodiscard]] std::vector<double> convert(std::span<const float> impulse, double delayFrames)
    {
        std::ranges::fill(input.time(), 0.0);
        std::ranges::copy(impulse, input.time().begin());
        input.forward();
        delaySpectrum(delayFrames, input.size(), input.spectrum());
        const std::size_t shared = std::min(input.numBins(), output.numBins());
        std::ranges::fill(output.spectrum(), Complex {});
        // The same spectrum, so the same frequency response; what lies above is cut off.
        std::copy_n(input.spectrum().begin(), shared, output.spectrum().begin());
        if (input.numBins() < output.numBins())
            output.spectrum()[shared - 1] *= 0.5;
        else if (input.numBins() > output.numBins())
            output.spectrum()[shared - 1] = output.spectrum()[shared - 1].real();
        output.inverse();
        return {output.time().begin(), output.time().end()};
    }

private:
    dsp::RealFft<double> input {2};
    dsp::RealFft<double> output {2};
};

/** Finds when a sound arrives: the first time that the interpolated impulse comes within 20 dB of
    its highest, as ISO 3382-1 has it for rooms. */
class ArrivalSearch {
public:
    explicit ArrivalSearch(std::size_t impulseFrames)
        : coarse(impulseFrames), fine(oversampling * impulseFrames)
    {
    }

    [[nodiscard]] double arrivalFrame(std::span<const double> impulse)
    {
        std::ranges::copy(impulse, coarse.time().begin());
        coarse.forward();
        std::ranges::fill(fine.spectrum(), Complex {});
        std::ranges::copy(coarse.spectrum(), fine.spectrum().begin());
        fine.spectrum()[coarse.numBins() - 1] *= 0.5;
        fine.inverse();
        const auto samples = fine.time();
        double highest = 0.0;
        for (const double sample : samples)
            highest = std::max(highest, std::abs(sample));
        const double threshold = highest * dsp::dbToAmplitude(-20.0);
        std::size_t first = 0;
        while (first + 1 < samples.size() && std::abs(samples[first]) < threshold)
            ++first;
        double offset = 0.0;
        if (first > 0) {
            const double before = std::abs(samples[first - 1]);
            const double rise = std::abs(samples[first]) - before;
            if (rise > 0.0)
                offset = (threshold - before) / rise - 1.0;
        }
        return (static_cast<double>(first) + offset) / static_cast<double>(oversampling);
    }

private:
    static constexpr std::size_t oversampling = 8;

    dsp::RealFft<double> coarse;
    dsp::RealFft<double> fine;
};

/** The distance of the sphere that is nearest to the wanted one. */
double chosenDistance(const std::vector<SofaMeasurement>& measurements)
{
    const auto nearest = std::ranges::min_element(measurements, {}, [](const auto& measurement) {
        return std::abs(measurement.distanceMetres - wantedDistanceMetres);
    });
    return nearest->distanceMetres;
}

} // namespace

std::filesystem::path HeadModel::packagedFile()
{
    return SADDLETONE_PACKAGED_HEAD;
}

std::size_t HeadModel::impulseFrames() const noexcept
{
    return directions.front().impulses[leftEar].size();
}

dsp::Result<HeadModel> HeadModel::load(const std::filesystem::path& file, double sampleRate)
{
    const auto content = readSofaFile(file);
    if (!content)
        return content.unexpected();
    return fromContent(*content, file.string(), sampleRate);
}

dsp::Result<HeadModel> HeadModel::fromContent(const SofaContent& content, const std::string& source,
                                              double sampleRate)
{
    if (!(sampleRate >= 8000.0 && sampleRate <= 384000.0) || sampleRate != std::round(sampleRate))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a head model needs a sample rate of whole hertz from 8000 to 384000");
    if (content.sampleRate != std::round(content.sampleRate))
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "'" + source + "': its sample rate is no whole number of hertz");
    for (const SofaMeasurement& measurement : content.measurements)
        if (!(measurement.distanceMetres >= nearestMetres
              && measurement.distanceMetres <= farthestMetres))
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             "'" + source + "': a source stands "
                                 + files::fixedText(measurement.distanceMetres, 2)
                                 + " m from the head; 0.2 to 100 m are understood, so choose a set "
                                   "of the far field");

    for (const SofaMeasurement& measurement : content.measurements)
        for (const auto& impulse : measurement.impulses)
            if (impulse.empty()
                || impulse.size() != content.measurements.front().impulses[leftEar].size())
                return dsp::fail(dsp::ErrorCode::malformed,
                                 "'" + source + "': its impulse responses differ in length");

    const auto tooFew = [&](std::size_t count) {
        return dsp::fail(dsp::ErrorCode::unsupported,
                         "'" + source + "': has " + std::to_string(count)
                             + " directions at one distance; a set needs "
                             + std::to_string(fewestDirections) + " or more all round");
    };
    HeadModel model;
    model.rate = sampleRate;
    if (content.measurements.size() < fewestDirections)
        return tooFew(content.measurements.size());
    model.distance = chosenDistance(content.measurements);
    model.words = content.description;
    model.topHz = std::min({20000.0, 0.4535 * content.sampleRate, 0.4535 * sampleRate});
    double longestDelay = 0.0;
    for (const SofaMeasurement& measurement : content.measurements)
        longestDelay = std::max(
            {longestDelay, measurement.delayFrames[leftEar], measurement.delayFrames[rightEar]});
    const double lead = std::ceil(leadSeconds * content.sampleRate);
    const auto frames = content.measurements.front().impulses[leftEar].size()
                        + static_cast<std::size_t>(std::ceil(longestDelay) + 2.0 * lead);
    SpectralResampler resampler(frames, content.sampleRate, sampleRate);
    ArrivalSearch search(resampler.outputFrames());
    double earliest = static_cast<double>(resampler.outputFrames());
    for (const SofaMeasurement& measurement : content.measurements) {
        if (std::abs(measurement.distanceMetres - model.distance) > sameDistanceMetres)
            continue;
        EarImpulses pair;
        pair.direction = measurement.direction;
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            pair.impulses[ear] =
                resampler.convert(measurement.impulses[ear], measurement.delayFrames[ear] + lead);
            pair.arrivalFrames[ear] = search.arrivalFrame(pair.impulses[ear]);
            earliest = std::min(earliest, pair.arrivalFrames[ear]);
        }
        model.directions.push_back(std::move(pair));
    }
    if (model.directions.size() < fewestDirections)
        return tooFew(model.directions.size());

    // Recordings from metres away hold the sound's way; what all directions share is cut off.
    const double spare = earliest - leadSeconds * sampleRate;
    const auto cut = static_cast<std::size_t>(std::max(0.0, std::floor(spare)));
    double sum = 0.0;
    std::size_t numMiddle = 0;
    double smallestMean = static_cast<double>(resampler.outputFrames());
    for (EarImpulses& pair : model.directions) {
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            auto& impulse = pair.impulses[ear];
            impulse.erase(impulse.begin(), impulse.begin() + static_cast<std::ptrdiff_t>(cut));
            pair.arrivalFrames[ear] -= static_cast<double>(cut);
        }
        const double mean = 0.5 * (pair.arrivalFrames[leftEar] + pair.arrivalFrames[rightEar]);
        smallestMean = std::min(smallestMean, mean);
        if (std::abs(lateralAngleRadians(pair.direction)) <= middlePlaneRadians) {
            sum += mean;
            ++numMiddle;
        }
    }
    // Without such directions, the mean of the ears is next earliest where the sound comes from
    // nearly there (Woodworth's mean is r/2c (angle - sin(angle)) late).
    model.centreFrame = numMiddle > 0 ? sum / static_cast<double>(numMiddle) : smallestMean;
    return model;
}

std::vector<double> HeadModel::sphereShares() const
{
    std::vector<std::array<double, 3>> vectors;
    for (const EarImpulses& pair : directions)
        vectors.push_back(unitVector(pair.direction));
    std::vector<double> shares(directions.size(), 0.0);
    const double leastCosine = std::cos(largestGapDegrees * std::numbers::pi / 180.0);
    // Even points on a sphere by the golden angle.
    constexpr std::size_t numPoints = 10000;
    constexpr double goldenAngle = 2.399963229728653;
    double total = 0.0;
    for (std::size_t point = 0; point < numPoints; ++point) {
        const double z = 1.0 - 2.0 * (static_cast<double>(point) + 0.5) / numPoints;
        const double around = goldenAngle * static_cast<double>(point);
        const double radius = std::sqrt(1.0 - z * z);
        const double x = radius * std::cos(around);
        const double y = radius * std::sin(around);
        double highest = -1.0;
        std::size_t nearest = 0;
        for (std::size_t index = 0; index < vectors.size(); ++index) {
            const double cosine =
                x * vectors[index][0] + y * vectors[index][1] + z * vectors[index][2];
            if (cosine > highest) {
                highest = cosine;
                nearest = index;
            }
        }
        if (highest >= leastCosine) {
            shares[nearest] += 1.0;
            total += 1.0;
        }
    }
    for (double& share : shares)
        share /= total;
    return shares;
}

dsp::Result<EarImpulses> HeadModel::at(const Direction& direction) const
{
    if (!std::isfinite(direction.azimuthDegrees) || !(std::abs(direction.elevationDegrees) <= 90.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "a direction needs a finite azimuth and an elevation from -90 to 90 "
                         "degrees");
    constexpr std::size_t numNeighbours = 3;
    std::vector<std::pair<double, std::size_t>> byAngle;
    for (std::size_t index = 0; index < directions.size(); ++index)
        byAngle.emplace_back(angleBetweenDegrees(direction, directions[index].direction), index);
    std::ranges::partial_sort(byAngle, byAngle.begin() + numNeighbours);
    if (byAngle.front().first > largestGapDegrees)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the set of head-related responses has nothing within "
                             + files::fixedText(largestGapDegrees, 0) + " degrees of azimuth "
                             + files::fixedText(direction.azimuthDegrees, 0) + ", elevation "
                             + files::fixedText(direction.elevationDegrees, 0)
                             + "; place the speaker elsewhere or choose another set");
    constexpr double sameDegrees = 0.01;
    if (byAngle.front().first <= sameDegrees)
        return directions[byAngle.front().second];

    std::array<double, numNeighbours> weights {};
    double sumOfWeights = 0.0;
    for (std::size_t neighbour = 0; neighbour < numNeighbours; ++neighbour) {
        weights[neighbour] = 1.0 / (byAngle[neighbour].first * byAngle[neighbour].first);
        sumOfWeights += weights[neighbour];
    }
    const std::size_t frames = impulseFrames();
    // Room for what a delay pushes behind the end.
    dsp::RealFft<double> fft(dsp::fastFftSize(2 * frames));
    EarImpulses pair;
    pair.direction = direction;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        for (std::size_t neighbour = 0; neighbour < numNeighbours; ++neighbour)
            pair.arrivalFrames[ear] += weights[neighbour] / sumOfWeights
                                       * directions[byAngle[neighbour].second].arrivalFrames[ear];
        std::vector<Complex> mean(fft.numBins());
        for (std::size_t neighbour = 0; neighbour < numNeighbours; ++neighbour) {
            const EarImpulses& measuredPair = directions[byAngle[neighbour].second];
            std::ranges::fill(fft.time(), 0.0);
            std::ranges::copy(measuredPair.impulses[ear], fft.time().begin());
            fft.forward();
            delaySpectrum(pair.arrivalFrames[ear] - measuredPair.arrivalFrames[ear], fft.size(),
                          fft.spectrum());
            for (std::size_t bin = 0; bin < mean.size(); ++bin)
                mean[bin] += weights[neighbour] / sumOfWeights * fft.spectrum()[bin];
        }
        std::ranges::copy(mean, fft.spectrum().begin());
        fft.inverse();
        const auto kept = fft.time().first(frames);
        pair.impulses[ear].assign(kept.begin(), kept.end());
    }
    return pair;
}

} // namespace saddletone::seat
