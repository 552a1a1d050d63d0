#include "Core/Measure/MarkerSearch.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Parallel.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/CorrelationLag.h"
#include "Core/Measure/MarkerProposals.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <numeric>
#include <optional>
#include <vector>

namespace saddletone::measure {

namespace {

using files::fixedText;

constexpr double detectionThreshold = 0.2; // chance alone stays below 0.12 over ten minutes
constexpr double certainThreshold = 0.35;
constexpr double largestClockPpm = 1000.0;
constexpr std::size_t mostPeaks = 128; // sixty repeats and some chance peaks
constexpr double marginSeconds = 0.05; // the band's soft edges ring no longer, see LiveMarker

/** A stretch of a recording, with silence where it was not recorded. */
void copyPiece(std::span<const float> recording, std::ptrdiff_t begin, std::span<double> piece)
{
    std::ranges::fill(piece, 0.0);
    const auto numFrames = static_cast<std::ptrdiff_t>(recording.size());
    const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(begin, 0, numFrames);
    const std::ptrdiff_t to = std::clamp<std::ptrdiff_t>(
        begin + static_cast<std::ptrdiff_t>(piece.size()), from, numFrames);
    std::copy(recording.begin() + from, recording.begin() + to, piece.begin() + (from - begin));
}

/** The correlation with the marker around places proposed for it, exact to a frame. */
class CloseSearch {
public:
    CloseSearch(std::span<const float> samples, double recordingRate,
                const signals::MarkerShape& shape, dsp::FftStore& store)
        : recording(samples),
          margin(static_cast<std::size_t>(marginSeconds * recordingRate)),
          transforms(store)
    {
        const std::vector<double> marker = signals::makeMarker(shape, recordingRate);
        markerFrames = marker.size();
        reach = markerFrames / 4;
        size = dsp::fastFftSize(markerFrames + 2 * (reach + margin));
        const auto fft = transforms.real<double>(size);
        std::fill(std::ranges::copy(marker, fft->time().begin()).out, fft->time().end(), 0.0);
        fft->forward();
        for (std::size_t bin = 0; bin < fft->numBins(); ++bin) {
            band.push_back(markerBand(shape, static_cast<double>(bin) * recordingRate
                                                 / static_cast<double>(size)));
            matched.push_back(std::conj(fft->spectrum()[bin]) * band.back());
            markerEnergy += 2.0 * std::norm(matched.back()) / static_cast<double>(size);
        }
    }

    /** The highest correlation within a quarter of a marker from a frame. */
    [[nodiscard]] MarkerPeak run(std::size_t around) const
    {
        const auto borrowed = transforms.real<double>(size);
        dsp::RealFft<double>& piece = *borrowed;
        // Some context in front and behind keeps the band filter's ringing out of the energy.
        const auto begin =
            static_cast<std::ptrdiff_t>(around) - static_cast<std::ptrdiff_t>(reach + margin);
        copyPiece(recording, begin, piece.time());
        piece.forward();
        const std::vector<std::complex<double>> spectrum(piece.spectrum().begin(),
                                                         piece.spectrum().end());
        for (std::size_t bin = 0; bin < band.size(); ++bin)
            piece.spectrum()[bin] *= band[bin];
        piece.inverse();
        std::vector<double> energyBelow(size + 1, 0.0);
        std::transform_inclusive_scan(piece.time().begin(), piece.time().end(),
                                      energyBelow.begin() + 1, std::plus<> {},
                                      [](double sample) { return sample * sample; });
        for (std::size_t bin = 0; bin < band.size(); ++bin)
            piece.spectrum()[bin] = spectrum[bin] * matched[bin];
        piece.inverse();
        MarkerPeak highest {around, 0.0};
        for (std::size_t place = margin; place <= margin + 2 * reach; ++place) {
            const std::ptrdiff_t frame = begin + static_cast<std::ptrdiff_t>(place);
            if (frame < 0 || frame >= static_cast<std::ptrdiff_t>(recording.size()))
                continue;
            const double energy = energyBelow[place + markerFrames] - energyBelow[place];
            // Below -120 dBFS there is nothing to correlate with.
            if (energy <= 1e-12 * static_cast<double>(markerFrames))
                continue;
            const double correlation =
                std::abs(piece.time()[place]) / std::sqrt(energy * markerEnergy);
            if (correlation > highest.correlation)
                highest = {static_cast<std::size_t>(frame), correlation};
        }
        return highest;
    }

private:
    std::span<const float> recording;
    std::size_t margin;
    std::size_t markerFrames = 0;
    std::size_t reach = 0;
    std::size_t size = 0; ///< Of a piece.
    dsp::FftStore& transforms;
    std::vector<double> band;
    std::vector<std::complex<double>> matched;
    double markerEnergy = 0.0;
};

/** The highest peaks above the threshold, no two closer than half a marker, highest first. */
std::vector<MarkerPeak> findPeaks(std::span<const float> recording, double recordingRate,
                                  const signals::MarkerShape& shape, std::size_t markerFrames,
                                  dsp::FftStore& transforms)
{
    std::vector<MarkerPeak> peaks;
    std::optional<CloseSearch> search;
    dsp::runInParallel(2, [&](std::size_t task) {
        if (task == 0)
            peaks = proposeMarkers(recording, recordingRate, shape, transforms);
        else
            search.emplace(recording, recordingRate, shape, transforms);
    });
    dsp::runInParallel(peaks.size(),
                       [&](std::size_t index) { peaks[index] = search->run(peaks[index].frame); });
    std::erase_if(peaks,
                  [](const MarkerPeak& peak) { return peak.correlation < detectionThreshold; });
    return keepHighest(std::move(peaks), markerFrames / 2, mostPeaks);
}

struct Alignment {
    double lagFrames = 0.0;
    double levelChangeDb = 0.0;
};

/** By how many frames the second segment lags the first beyond their nominal places: the maximum
    of their correlation within the marker's band, found by Newton's method on its phase. */
Alignment alignMarkers(std::span<const float> recording, double recordingRate,
                       const signals::MarkerShape& shape, std::size_t firstFrame,
                       std::size_t secondFrame, dsp::FftStore& transforms)
{
    // Some of the place's tail helps; all of it would reach into the sweep.
    const auto lead = static_cast<std::size_t>(0.1 * recordingRate);
    const auto length = static_cast<std::size_t>((shape.durationSeconds + 0.5) * recordingRate);
    const std::size_t size = dsp::fastFftSize(2 * length);
    const auto firstBorrowed = transforms.real<double>(size);
    const auto secondBorrowed = transforms.real<double>(size);
    dsp::RealFft<double>& first = *firstBorrowed;
    dsp::RealFft<double>& second = *secondBorrowed;
    dsp::runInParallel(2, [&](std::size_t index) {
        dsp::RealFft<double>& fft = index == 0 ? first : second;
        const auto piece = fft.time().first(length);
        std::ranges::fill(fft.time().subspan(length), 0.0);
        copyPiece(recording,
                  static_cast<std::ptrdiff_t>(index == 0 ? firstFrame : secondFrame)
                      - static_cast<std::ptrdiff_t>(lead),
                  piece);
        for (std::size_t frame = 0; frame < lead; ++frame) {
            const double taper = static_cast<double>(frame) / static_cast<double>(lead);
            const double gain = 0.5 - 0.5 * std::cos(std::numbers::pi * taper);
            piece[frame] *= gain;
            piece[length - 1 - frame] *= gain;
        }
        fft.forward();
    });

    std::vector<std::complex<double>> cross(first.numBins());
    double firstEnergy = 0.0;
    double secondEnergy = 0.0;
    std::size_t firstBin = cross.size();
    std::size_t lastBin = 0;
    for (std::size_t bin = 1; bin < cross.size(); ++bin) {
        const double band =
            markerBand(shape, static_cast<double>(bin) * recordingRate / static_cast<double>(size));
        if (band <= 0.0)
            continue;
        firstBin = std::min(firstBin, bin);
        lastBin = bin;
        cross[bin] = std::conj(first.spectrum()[bin]) * second.spectrum()[bin] * band;
        firstEnergy += band * std::norm(first.spectrum()[bin]);
        secondEnergy += band * std::norm(second.spectrum()[bin]);
    }
    std::ranges::copy(cross, first.spectrum().begin());
    first.inverse();
    const auto time = first.time();
    const auto highest = static_cast<std::size_t>(std::ranges::max_element(time) - time.begin());
    double lag = highest < size / 2 ? static_cast<double>(highest)
                                    : static_cast<double>(highest) - static_cast<double>(size);

    lag = refineLag(cross, size, lag, firstBin, lastBin);
    return {lag, dsp::powerToDb(secondEnergy / std::max(firstEnergy, 1e-30))};
}

dsp::Unexpected refuse(const std::string& source, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "recording '" + source + "': " + reason);
}

/** Why peaks were found but no pair of the right spacing. */
dsp::Unexpected explainMissingPair(const std::vector<MarkerPeak>& peaks, std::size_t numFrames,
                                   double recordingRate, double nominalSpacing,
                                   const std::string& source)
{
    std::vector<MarkerPeak> certain;
    std::ranges::copy_if(peaks, std::back_inserter(certain), [](const MarkerPeak& peak) {
        return peak.correlation >= certainThreshold;
    });
    if (certain.size() >= 2) {
        const auto spacing = static_cast<double>(std::max(certain[0].frame, certain[1].frame)
                                                 - std::min(certain[0].frame, certain[1].frame));
        return refuse(source, "wrong track: its markers stand "
                                  + fixedText(spacing / recordingRate, 3)
                                  + " s apart, those of the signal description "
                                  + fixedText(nominalSpacing / recordingRate, 3)
                                  + " s; give the description of the track that was played");
    }
    const MarkerPeak& only = peaks.front();
    const double framesBefore = static_cast<double>(only.frame);
    const double framesAfter = static_cast<double>(numFrames - only.frame);
    // The sweep takes up most of the track: the marker with more of the recording behind it is the
    // first.
    if (framesAfter < nominalSpacing * 1.001 && framesAfter >= framesBefore)
        return refuse(
            source, "cut off: it ends "
                        + fixedText(std::max(0.0, nominalSpacing - framesAfter) / recordingRate, 1)
                        + " s before the second marker; record until the track has ended");
    if (framesBefore < nominalSpacing && framesAfter < framesBefore)
        return refuse(source,
                      "its start is missing: only the second marker is in it; start recording "
                      "before the track");
    return refuse(
        source,
        "only one marker was found, at "
            + fixedText(static_cast<double>(only.frame) / recordingRate, 1)
            + " s; the track was interrupted or one marker drowned in noise; measure again");
}

} // namespace

dsp::Result<std::vector<MarkerPair>> findAllMarkers(std::span<const float> recording,
                                                    double recordingRate,
                                                    const signals::SignalDescription& track,
                                                    const std::string& source,
                                                    dsp::FftStore& transforms)
{
    const signals::SweepLayout& layout = *track.sweepLayout;
    const auto markerFrames =
        static_cast<std::size_t>(layout.marker.durationSeconds * recordingRate);
    const double nominalSpacing =
        static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame) / track.sampleRate
        * recordingRate;
    if (recording.size() < 2 * markerFrames)
        return refuse(source,
                      "cut off: it lasts only "
                          + fixedText(static_cast<double>(recording.size()) / recordingRate, 2)
                          + " s; record the whole track");

    const auto peaks = findPeaks(recording, recordingRate, layout.marker, markerFrames, transforms);
    if (peaks.empty())
        return refuse(
            source, "no marker was found; is it the recording of a sweep track, and loud enough?");

    struct Candidate {
        const MarkerPeak* first = nullptr;
        const MarkerPeak* second = nullptr;
        [[nodiscard]] double weaker() const
        {
            return std::min(first->correlation, second->correlation);
        }
    };
    std::vector<Candidate> candidates;
    double best = 0.0;
    for (const MarkerPeak& first : peaks)
        for (const MarkerPeak& second : peaks) {
            if (second.frame <= first.frame)
                continue;
            const auto spacing = static_cast<double>(second.frame - first.frame);
            // Two frames of slack for the rounding of both peaks.
            if (std::abs(spacing - nominalSpacing) > nominalSpacing * largestClockPpm * 1e-6 + 2.0)
                continue;
            candidates.push_back({&first, &second});
            best = std::max(best, candidates.back().weaker());
        }
    if (candidates.empty())
        return explainMissingPair(peaks, recording.size(), recordingRate, nominalSpacing, source);

    // The pair that ends first is taken first, each marker once: so the end of one repeat and the
    // start of the next are not taken for a track, should a pause happen to be as long as one.
    std::erase_if(candidates,
                  [&](const Candidate& candidate) { return candidate.weaker() < 0.5 * best; });
    std::ranges::sort(candidates, [](const Candidate& a, const Candidate& b) {
        return a.second->frame != b.second->frame ? a.second->frame < b.second->frame
                                                  : a.weaker() > b.weaker();
    });
    std::vector<MarkerPair> pairs;
    std::size_t endOfLast = 0;
    for (const Candidate& candidate : candidates) {
        if (!pairs.empty() && candidate.first->frame <= endOfLast)
            continue;
        endOfLast = candidate.second->frame;
        const Alignment alignment =
            alignMarkers(recording, recordingRate, layout.marker, candidate.first->frame,
                         candidate.second->frame, transforms);
        MarkerPair pair;
        pair.firstFrame = candidate.first->frame;
        pair.spacingFrames = static_cast<double>(candidate.second->frame - candidate.first->frame)
                             + alignment.lagFrames;
        pair.recorderFramesPerTrackFrame =
            pair.spacingFrames
            / static_cast<double>(layout.secondMarkerFrame - layout.firstMarkerFrame);
        pair.clockPpm = (pair.spacingFrames / nominalSpacing - 1.0) * 1e6;
        pair.correlation = candidate.weaker();
        pair.levelChangeDb = alignment.levelChangeDb;
        pairs.push_back(pair);
    }
    return pairs;
}

dsp::Result<MarkerPair> findMarkers(std::span<const float> recording, double recordingRate,
                                    const signals::SignalDescription& track,
                                    const std::string& source, dsp::FftStore& transforms)
{
    const auto pairs = findAllMarkers(recording, recordingRate, track, source, transforms);
    if (!pairs)
        return pairs.unexpected();
    return *std::ranges::max_element(*pairs, {}, &MarkerPair::correlation);
}

} // namespace saddletone::measure
