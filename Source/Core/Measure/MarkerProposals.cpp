#include "Core/Measure/MarkerProposals.h"

#include "Core/Dsp/Parallel.h"
#include "Core/Measure/CorrelationLag.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <complex>
#include <thread>
#include <type_traits>

namespace saddletone::measure {

namespace {

constexpr std::size_t mostProposals = 256; // of sixty repeats and some chance peaks
// 2^11 * 75: with its factors FFTW is faster than at the nearest powers of two.
constexpr std::size_t blockFrames = 153600;
constexpr double marginSeconds = 0.05; // the band's soft edges ring no longer, see LiveMarker
/** Rate of the envelope over the band's width: a peak in the middle between two values of a flat
    band then loses a quarter (sinc 0.4). */
constexpr double envelopeOversampling = 1.25;

std::complex<float> times(std::complex<float> a, std::complex<float> b)
{
    // As written out by hand; the library's own product looks for NaN.
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

/** The marker in its band, and the sizes of the blocks in which a recording is worked on. */
struct Search {
    Search(double recordingRate, const signals::MarkerShape& shape, dsp::FftStore& store)
        : transforms(store)
    {
        const auto marker = signals::makeMarker(shape, recordingRate);
        markerFrames = marker.size();
        margin = static_cast<std::size_t>(marginSeconds * recordingRate);
        size = dsp::fastFftSize(std::max(blockFrames, 4 * markerFrames + 2 * margin));
        step = size - markerFrames - 2 * margin;

        const auto fft = borrowFft();
        std::fill(std::ranges::copy(marker, fft->time().begin()).out, fft->time().end(), 0.0F);
        fft->forward();
        const auto weight = [&](std::size_t bin) {
            return markerBand(shape,
                              static_cast<double>(bin) * recordingRate / static_cast<double>(size));
        };
        while (firstBin < size / 2 && weight(firstBin) <= 0.0)
            ++firstBin;
        for (std::size_t bin = firstBin; bin <= size / 2 && weight(bin) > 0.0; ++bin) {
            const auto gain = static_cast<float>(weight(bin));
            band.push_back(gain);
            matched.push_back(std::conj(fft->spectrum()[bin]) * gain);
            markerEnergy +=
                2.0 * static_cast<double>(std::norm(matched.back())) / static_cast<double>(size);
        }
        envelopeSize = dsp::fastFftSize(
            static_cast<std::size_t>(envelopeOversampling * static_cast<double>(band.size())));
        framesPerValue = static_cast<double>(size) / static_cast<double>(envelopeSize);
    }

    [[nodiscard]] dsp::FftStore::Borrowed<dsp::RealFft<float>> borrowFft() const
    {
        return transforms.real<float>(size, dsp::FftDirections::forwardOnly);
    }

    dsp::FftStore& transforms;

    std::size_t markerFrames = 0;
    std::size_t margin = 0; ///< Of a block, at either end, where its circular edges ring.
    std::size_t size = 0;   ///< Frames of a block.
    std::size_t step = 0;   ///< Places for a marker in a block.
    std::size_t firstBin = 1;
    std::vector<float> band;
    std::vector<std::complex<float>> matched;
    double markerEnergy = 0.0;
    std::size_t envelopeSize = 0;
    double framesPerValue = 1.0;
};

/** What one thread needs to work on blocks. */
class BlockSearch {
public:
    explicit BlockSearch(const Search& shared)
        : search(shared),
          fft(search.borrowFft()),
          envelope(search.transforms.complexInverse(search.envelopeSize)),
          energyBelow(search.envelopeSize + 1)
    {
    }

    /** The highest peak of every half marker among the places from begin on. */
    [[nodiscard]] std::vector<MarkerPeak> run(std::span<const float> recording, std::size_t begin)
    {
        fill(recording, begin);
        fft->forward();
        multiply(search.band);
        envelope->inverse();
        // Half the squared amplitude of the analytic signal, times the frames that a value stands
        // for.
        const double toEnergy = 2.0 / search.framesPerValue;
        double below = 0.0;
        for (std::size_t index = 0; index < search.envelopeSize; ++index) {
            energyBelow[index] = below;
            below += static_cast<double>(std::norm(envelope->values()[index])) * toEnergy;
        }
        energyBelow.back() = below;
        multiply(search.matched);
        envelope->inverse();
        return peaks(recording.size(), begin);
    }

private:
    void fill(std::span<const float> recording, std::size_t begin)
    {
        const auto time = fft->time();
        const std::size_t numBefore = begin >= search.margin ? 0 : search.margin - begin;
        const std::size_t from = begin + numBefore - search.margin;
        const std::size_t count =
            std::min(search.size - numBefore, recording.size() - std::min(from, recording.size()));
        std::fill_n(time.begin(), numBefore, 0.0F);
        const auto rest = std::copy_n(recording.begin() + static_cast<std::ptrdiff_t>(from), count,
                                      time.begin() + static_cast<std::ptrdiff_t>(numBefore));
        std::fill(rest, time.end(), 0.0F);
    }

    template <typename Factor>
    void multiply(const std::vector<Factor>& factors)
    {
        const auto spectrum = fft->spectrum().subspan(search.firstBin, factors.size());
        const auto values = envelope->values();
        for (std::size_t bin = 0; bin < factors.size(); ++bin)
            if constexpr (std::is_same_v<Factor, float>)
                values[bin] = spectrum[bin] * factors[bin];
            else
                values[bin] = times(spectrum[bin], factors[bin]);
        std::fill(values.begin() + static_cast<std::ptrdiff_t>(factors.size()), values.end(),
                  std::complex<float> {});
    }

    [[nodiscard]] std::vector<MarkerPeak> peaks(std::size_t numFrames, std::size_t begin)
    {
        const auto values = envelope->values();
        const auto window = static_cast<std::size_t>(
            std::lround(static_cast<double>(search.markerFrames) / search.framesPerValue));
        const auto first =
            static_cast<std::size_t>(static_cast<double>(search.margin) / search.framesPerValue);
        const auto last =
            std::min(search.envelopeSize - window - 1,
                     static_cast<std::size_t>(static_cast<double>(search.margin + search.step)
                                              / search.framesPerValue));
        const std::size_t stretch = std::max<std::size_t>(1, window / 2);
        // The analytic signal has twice the positive frequencies; the transform was the shorter one.
        const double scale = 2.0 / search.framesPerValue;
        // Below -120 dBFS there is nothing to correlate with.
        const double leastEnergy = 1e-12 * static_cast<double>(search.markerFrames);
        std::vector<MarkerPeak> found;
        for (std::size_t from = first; from <= last; from += stretch) {
            double best = 0.0;
            std::size_t bestAt = from;
            for (std::size_t at = from; at < std::min(from + stretch, last + 1); ++at) {
                const double energy =
                    std::max(leastEnergy, energyBelow[at + window] - energyBelow[at]);
                const auto power = static_cast<double>(std::norm(values[at]));
                if (power > best * energy) {
                    best = power / energy;
                    bestAt = at;
                }
            }
            const double correlation = scale * std::sqrt(best / search.markerEnergy);
            const double frame = static_cast<double>(bestAt) * search.framesPerValue
                                 + static_cast<double>(begin) - static_cast<double>(search.margin);
            if (correlation >= proposalThreshold && frame < static_cast<double>(numFrames))
                found.push_back(
                    {static_cast<std::size_t>(std::lround(std::max(0.0, frame))), correlation});
        }
        return found;
    }

    const Search& search;
    dsp::FftStore::Borrowed<dsp::RealFft<float>> fft;
    dsp::FftStore::Borrowed<dsp::ComplexInverseFft> envelope;
    std::vector<double> energyBelow;
};

} // namespace

std::vector<MarkerPeak> keepHighest(std::vector<MarkerPeak> peaks, std::size_t minSpacing,
                                    std::size_t mostPeaks)
{
    std::ranges::stable_sort(peaks, [](const MarkerPeak& a, const MarkerPeak& b) {
        return a.correlation > b.correlation;
    });
    std::vector<MarkerPeak> kept;
    for (const MarkerPeak& peak : peaks) {
        const bool near = std::ranges::any_of(kept, [&](const MarkerPeak& other) {
            return std::max(peak.frame, other.frame) - std::min(peak.frame, other.frame)
                   < minSpacing;
        });
        if (!near)
            kept.push_back(peak);
        if (kept.size() == mostPeaks)
            break;
    }
    return kept;
}

std::vector<MarkerPeak> proposeMarkers(std::span<const float> recording, double recordingRate,
                                       const signals::MarkerShape& shape, dsp::FftStore& transforms)
{
    const Search search(recordingRate, shape, transforms);
    const std::size_t numBlocks = (recording.size() + search.step - 1) / search.step;
    std::vector<std::vector<MarkerPeak>> found(numBlocks);
    const std::size_t numWorkers =
        std::min<std::size_t>(numBlocks, std::max(1U, std::thread::hardware_concurrency()));
    std::atomic<std::size_t> next {0};
    dsp::runInParallel(numWorkers, [&](std::size_t) {
        BlockSearch blocks(search);
        for (std::size_t block = next++; block < numBlocks; block = next++)
            found[block] = blocks.run(recording, block * search.step);
    });
    std::vector<MarkerPeak> all;
    for (const auto& peaks : found)
        all.insert(all.end(), peaks.begin(), peaks.end());
    return keepHighest(std::move(all), search.markerFrames / 2, mostProposals);
}

} // namespace saddletone::measure
