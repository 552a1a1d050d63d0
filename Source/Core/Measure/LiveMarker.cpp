#include "Core/Measure/LiveMarker.h"

#include "Core/Dsp/Fft.h"
#include "Core/Measure/CorrelationLag.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <deque>
#include <vector>

namespace saddletone::measure {

namespace {

// As in MarkerSearch.
constexpr double detectionThreshold = 0.2;
constexpr double certainThreshold = 0.35;
constexpr double largestClockPpm = 1000.0;

constexpr double stepSeconds = 0.25;
/** The band filter's edges are at least 160 Hz wide; its ringing is over by then. */
constexpr double marginSeconds = 0.05;

struct Peak {
    std::uint64_t frame = 0;
    double correlation = 0.0;
};

} // namespace

struct LiveMarker::Impl {
    std::size_t markerFrames;
    std::size_t stepFrames;
    std::size_t marginFrames;
    std::size_t windowFrames; ///< Margin, step, marker, margin.
    double spacingFrames;
    dsp::RealFft<double> fft;
    std::vector<double> band;
    std::vector<std::complex<double>> matched;
    double markerEnergy = 0.0;
    std::vector<std::complex<double>> spectrum;
    std::vector<double> energyBelow;

    std::vector<double> window; ///< The stream from frame begin - marginFrames on.
    std::size_t held = 0;
    std::uint64_t begin = 0; ///< Frame whose correlation comes next.
    std::deque<Peak> peaks;  ///< No two within half a marker; none too old to be of a pair.
    std::optional<std::uint64_t> secondEnd;

    Impl(const signals::SignalDescription& track, double recorderRate)
        : markerFrames(
            static_cast<std::size_t>(track.sweepLayout->marker.durationSeconds * recorderRate)),
          stepFrames(static_cast<std::size_t>(stepSeconds * recorderRate)),
          marginFrames(static_cast<std::size_t>(marginSeconds * recorderRate)),
          windowFrames(2 * marginFrames + stepFrames + markerFrames),
          spacingFrames(static_cast<double>(track.sweepLayout->secondMarkerFrame
                                            - track.sweepLayout->firstMarkerFrame)
                        / track.sampleRate * recorderRate),
          fft(dsp::fastFftSize(windowFrames)),
          band(fft.numBins()),
          matched(fft.numBins()),
          spectrum(fft.numBins()),
          energyBelow(windowFrames + 1),
          window(windowFrames, 0.0),
          held(marginFrames)
    {
        const signals::MarkerShape& shape = track.sweepLayout->marker;
        auto marker = signals::makeMarker(shape, recorderRate);
        marker.resize(std::min(marker.size(), markerFrames));
        const auto size = static_cast<double>(fft.size());
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(marker, fft.time().begin());
        fft.forward();
        for (std::size_t bin = 0; bin < band.size(); ++bin) {
            band[bin] = markerBand(shape, static_cast<double>(bin) * recorderRate / size);
            matched[bin] = std::conj(fft.spectrum()[bin]) * band[bin];
            markerEnergy += 2.0 * std::norm(matched[bin]) / size;
        }
    }

    void notePeak(const Peak& peak)
    {
        if (!peaks.empty() && peak.frame - peaks.back().frame < markerFrames / 2) {
            if (peak.correlation <= peaks.back().correlation)
                return;
            peaks.back() = peak;
        } else {
            peaks.push_back(peak);
        }
        const double slack = spacingFrames * largestClockPpm * 1e-6 + 2.0;
        for (const Peak& first : peaks) {
            const auto spacing = static_cast<double>(peak.frame - first.frame);
            if (std::abs(spacing - spacingFrames) <= slack)
                secondEnd = peak.frame + markerFrames;
        }
    }

    /** Looks at the frames from begin to begin + stepFrames, for which the window is full. */
    void search()
    {
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(window, fft.time().begin());
        fft.forward();
        std::ranges::copy(fft.spectrum(), spectrum.begin());
        for (std::size_t bin = 0; bin < band.size(); ++bin)
            fft.spectrum()[bin] = spectrum[bin] * band[bin];
        fft.inverse();
        energyBelow[0] = 0.0;
        for (std::size_t frame = 0; frame < windowFrames; ++frame)
            energyBelow[frame + 1] = energyBelow[frame] + fft.time()[frame] * fft.time()[frame];
        for (std::size_t bin = 0; bin < band.size(); ++bin)
            fft.spectrum()[bin] = spectrum[bin] * matched[bin];
        fft.inverse();
        Peak highest;
        for (std::size_t frame = 0; frame < stepFrames; ++frame) {
            const std::size_t place = frame + marginFrames;
            const double energy = energyBelow[place + markerFrames] - energyBelow[place];
            // Below -120 dBFS there is nothing to correlate with.
            if (energy <= 1e-12 * static_cast<double>(markerFrames))
                continue;
            const double correlation =
                std::abs(fft.time()[place]) / std::sqrt(energy * markerEnergy);
            if (correlation > highest.correlation)
                highest = {begin + frame, correlation};
        }
        if (highest.correlation >= detectionThreshold)
            notePeak(highest);

        std::copy(window.begin() + static_cast<std::ptrdiff_t>(stepFrames), window.end(),
                  window.begin());
        held -= stepFrames;
        begin += stepFrames;
        while (!peaks.empty()
               && static_cast<double>(begin - peaks.front().frame) > 1.01 * spacingFrames)
            peaks.pop_front();
    }
};

LiveMarker::LiveMarker(const signals::SignalDescription& track, double recorderRate)
{
    assert(track.sweepLayout.has_value());
    impl = std::make_unique<Impl>(track, recorderRate);
}

LiveMarker::LiveMarker(LiveMarker&&) noexcept = default;
LiveMarker& LiveMarker::operator=(LiveMarker&&) noexcept = default;
LiveMarker::~LiveMarker() = default;

void LiveMarker::process(std::span<const float> samples)
{
    while (!samples.empty()) {
        const std::size_t count = std::min(samples.size(), impl->windowFrames - impl->held);
        std::copy_n(samples.begin(), count,
                    impl->window.begin() + static_cast<std::ptrdiff_t>(impl->held));
        impl->held += count;
        samples = samples.subspan(count);
        if (impl->held == impl->windowFrames)
            impl->search();
    }
}

int LiveMarker::numMarkersHeard() const noexcept
{
    if (impl->secondEnd)
        return 2;
    return std::ranges::any_of(
               impl->peaks, [](const Peak& peak) { return peak.correlation >= certainThreshold; })
               ? 1
               : 0;
}

std::optional<std::uint64_t> LiveMarker::secondMarkerEndFrame() const noexcept
{
    return impl->secondEnd;
}

} // namespace saddletone::measure
