#include "Core/Measure/MarkerSearch.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/CorrelationLag.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace saddletone::measure {

namespace {

using files::fixedText;

constexpr double detectionThreshold = 0.2; // chance alone stays below 0.12 over ten minutes
constexpr double certainThreshold = 0.35;
constexpr double largestClockPpm = 1000.0;
constexpr std::size_t mostPeaks = 128; // sixty repeats and some chance peaks

struct Peak {
    std::size_t frame = 0;
    double correlation = 0.0;
};

/** Magnitude of the normalised correlation with the marker at every frame of the recording. */
std::vector<float> correlateWithMarker(std::span<const double> recording, double recordingRate,
                                       const signals::MarkerShape& shape)
{
    const std::vector<double> marker = signals::makeMarker(shape, recordingRate);
    const std::size_t size = dsp::fastFftSize(std::max<std::size_t>(1U << 17U, 4 * marker.size()));
    const std::size_t step = size - 2 * marker.size();
    dsp::RealFft<double> fft(size);
    const std::size_t numBins = fft.numBins();

    std::vector<double> band(numBins);
    for (std::size_t bin = 0; bin < numBins; ++bin)
        band[bin] =
            markerBand(shape, static_cast<double>(bin) * recordingRate / static_cast<double>(size));
    std::ranges::fill(fft.time(), 0.0);
    std::ranges::copy(marker, fft.time().begin());
    fft.forward();
    std::vector<std::complex<double>> matched(numBins);
    double markerEnergy = 0.0;
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        matched[bin] = std::conj(fft.spectrum()[bin]) * band[bin];
        markerEnergy += 2.0 * std::norm(matched[bin]) / static_cast<double>(size);
    }

    std::vector<float> result(recording.size(), 0.0F);
    std::vector<std::complex<double>> spectrum(numBins);
    std::vector<double> energyBelow(size + 1);
    for (std::size_t begin = 0; begin < recording.size(); begin += step) {
        // Half a marker of context in front keeps the band filter's ringing out of the energy.
        const std::size_t context = marker.size() / 2;
        const auto time = fft.time();
        for (std::size_t frame = 0; frame < size; ++frame) {
            const std::size_t position = begin + frame;
            time[frame] = position >= context && position - context < recording.size()
                              ? recording[position - context]
                              : 0.0;
        }
        fft.forward();
        std::ranges::copy(fft.spectrum(), spectrum.begin());
        for (std::size_t bin = 0; bin < numBins; ++bin)
            fft.spectrum()[bin] = spectrum[bin] * band[bin];
        fft.inverse();
        energyBelow[0] = 0.0;
        for (std::size_t frame = 0; frame < size; ++frame)
            energyBelow[frame + 1] = energyBelow[frame] + fft.time()[frame] * fft.time()[frame];
        for (std::size_t bin = 0; bin < numBins; ++bin)
            fft.spectrum()[bin] = spectrum[bin] * matched[bin];
        fft.inverse();
        for (std::size_t frame = 0; frame < step && begin + frame < recording.size(); ++frame) {
            const std::size_t shifted = frame + context;
            const double energy = energyBelow[shifted + marker.size()] - energyBelow[shifted];
            // Below -120 dBFS there is nothing to correlate with.
            if (energy > 1e-12 * static_cast<double>(marker.size()))
                result[begin + frame] = static_cast<float>(std::abs(fft.time()[shifted])
                                                           / std::sqrt(energy * markerEnergy));
        }
    }
    return result;
}

/** The highest peaks above the threshold, no two closer than minSpacing, highest first. */
std::vector<Peak> pickPeaks(const std::vector<float>& correlation, std::size_t minSpacing)
{
    std::vector<Peak> peaks;
    for (std::size_t begin = 0; begin < correlation.size(); begin += minSpacing) {
        const auto first = correlation.begin() + static_cast<std::ptrdiff_t>(begin);
        const auto last =
            correlation.begin()
            + static_cast<std::ptrdiff_t>(std::min(begin + minSpacing, correlation.size()));
        const auto highest = std::max_element(first, last);
        if (*highest >= static_cast<float>(detectionThreshold))
            peaks.push_back({static_cast<std::size_t>(highest - correlation.begin()),
                             static_cast<double>(*highest)});
    }
    std::ranges::sort(peaks,
                      [](const Peak& a, const Peak& b) { return a.correlation > b.correlation; });
    std::vector<Peak> kept;
    for (const Peak& peak : peaks) {
        const bool near = std::ranges::any_of(kept, [&](const Peak& other) {
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

struct Alignment {
    double lagFrames = 0.0;
    double levelChangeDb = 0.0;
};

/** By how many frames the second segment lags the first beyond their nominal places: the maximum
    of their correlation within the marker's band, found by Newton's method on its phase. */
Alignment alignMarkers(std::span<const double> recording, double recordingRate,
                       const signals::MarkerShape& shape, std::size_t firstFrame,
                       std::size_t secondFrame)
{
    // Some of the place's tail helps; all of it would reach into the sweep.
    const auto lead = static_cast<std::size_t>(0.1 * recordingRate);
    const auto length = static_cast<std::size_t>((shape.durationSeconds + 0.5) * recordingRate);
    const std::size_t size = dsp::fastFftSize(2 * length);
    dsp::RealFft<double> fft(size);
    const auto transform = [&](std::size_t markerFrame) {
        std::ranges::fill(fft.time(), 0.0);
        for (std::size_t frame = 0; frame < length; ++frame) {
            const std::size_t position = markerFrame + frame;
            if (position >= lead && position - lead < recording.size()) {
                const double edge = static_cast<double>(std::min(frame, length - 1 - frame));
                const double taper = std::min(1.0, edge / static_cast<double>(lead));
                fft.time()[frame] =
                    recording[position - lead] * (0.5 - 0.5 * std::cos(std::numbers::pi * taper));
            }
        }
        fft.forward();
        return std::vector<std::complex<double>>(fft.spectrum().begin(), fft.spectrum().end());
    };
    const auto first = transform(firstFrame);
    const auto second = transform(secondFrame);

    std::vector<std::complex<double>> cross(first.size());
    double firstEnergy = 0.0;
    double secondEnergy = 0.0;
    for (std::size_t bin = 0; bin < cross.size(); ++bin) {
        const double band =
            markerBand(shape, static_cast<double>(bin) * recordingRate / static_cast<double>(size));
        cross[bin] = std::conj(first[bin]) * second[bin] * band;
        firstEnergy += band * std::norm(first[bin]);
        secondEnergy += band * std::norm(second[bin]);
    }
    std::ranges::copy(cross, fft.spectrum().begin());
    fft.inverse();
    const auto time = fft.time();
    const auto highest = static_cast<std::size_t>(std::ranges::max_element(time) - time.begin());
    double lag = highest < size / 2 ? static_cast<double>(highest)
                                    : static_cast<double>(highest) - static_cast<double>(size);

    lag = refineLag(cross, size, lag, 1, cross.size() - 1);
    return {lag, dsp::powerToDb(secondEnergy / std::max(firstEnergy, 1e-30))};
}

dsp::Unexpected refuse(const std::string& source, const std::string& reason)
{
    return dsp::fail(dsp::ErrorCode::notTrustworthy, "recording '" + source + "': " + reason);
}

/** Why peaks were found but no pair of the right spacing. */
dsp::Unexpected explainMissingPair(const std::vector<Peak>& peaks, std::size_t numFrames,
                                   double recordingRate, double nominalSpacing,
                                   const std::string& source)
{
    std::vector<Peak> certain;
    std::ranges::copy_if(peaks, std::back_inserter(certain),
                         [](const Peak& peak) { return peak.correlation >= certainThreshold; });
    if (certain.size() >= 2) {
        const auto spacing = static_cast<double>(std::max(certain[0].frame, certain[1].frame)
                                                 - std::min(certain[0].frame, certain[1].frame));
        return refuse(source, "wrong track: its markers stand "
                                  + fixedText(spacing / recordingRate, 3)
                                  + " s apart, those of the signal description "
                                  + fixedText(nominalSpacing / recordingRate, 3)
                                  + " s; give the description of the track that was played");
    }
    const Peak& only = peaks.front();
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

dsp::Result<std::vector<MarkerPair>> findAllMarkers(std::span<const double> recording,
                                                    double recordingRate,
                                                    const signals::SignalDescription& track,
                                                    const std::string& source)
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

    const auto correlation = correlateWithMarker(recording, recordingRate, layout.marker);
    const auto peaks = pickPeaks(correlation, markerFrames / 2);
    if (peaks.empty())
        return refuse(
            source, "no marker was found; is it the recording of a sweep track, and loud enough?");

    struct Candidate {
        const Peak* first = nullptr;
        const Peak* second = nullptr;
        [[nodiscard]] double weaker() const
        {
            return std::min(first->correlation, second->correlation);
        }
    };
    std::vector<Candidate> candidates;
    double best = 0.0;
    for (const Peak& first : peaks)
        for (const Peak& second : peaks) {
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
        const Alignment alignment = alignMarkers(recording, recordingRate, layout.marker,
                                                 candidate.first->frame, candidate.second->frame);
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

dsp::Result<MarkerPair> findMarkers(std::span<const double> recording, double recordingRate,
                                    const signals::SignalDescription& track,
                                    const std::string& source)
{
    const auto pairs = findAllMarkers(recording, recordingRate, track, source);
    if (!pairs)
        return pairs.unexpected();
    return *std::ranges::max_element(*pairs, {}, &MarkerPair::correlation);
}

} // namespace saddletone::measure
