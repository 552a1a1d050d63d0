#pragma once

#include "Core/Dsp/FftStore.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Result.h"
#include "Core/Measure/HarmonicDistortion.h"
#include "Core/Measure/MarkerSearch.h"
#include "Core/Measure/Measurement.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace saddletone::measure {

/** How an impulse is cut out of a deconvolved take, in seconds about its arrival. */
struct ImpulseWindow {
    static constexpr double beforeSeconds = 0.35;
    static constexpr double afterSeconds = 0.6;
    static constexpr double fadeInSeconds = 0.2;
    static constexpr double fadeOutSeconds = 0.15;
};

/** The lowest frequency to be trusted, re the sweep's: its fade takes the first sixth of an octave. */
inline constexpr double sweptFromRatio = 1.119;

/** Size of the transform on whose bins an impulse's noise is given. */
[[nodiscard]] std::size_t impulseFftSize(double sampleRate);

/** The third octaves that a sample rate holds. */
[[nodiscard]] std::vector<dsp::Band> bandsBelowNyquist(double sampleRate);

/** One take, deconvolved and brought to the track's clock. */
struct DeconvolvedTake {
    std::vector<double> impulse;
    std::vector<double> noisePerBin; ///< Expected |noise|^2 of the impulse's spectrum, per bin.
    double noiseSeconds = 0.0;       ///< What the noise was estimated from.
    /** Per band: the error while the track plays stands above the noise of the pause. */
    std::vector<bool> worseWhilePlaying;
    std::vector<HarmonicOrder> distortion;
    /** Orders 2 to 5 on the impulse's clock; none where the sweep is too short. */
    std::optional<HarmonicImpulses> harmonics;
    double arrivalSeconds = 0.0; ///< In the recording, on the track's clock.
};

/** Deconvolves the takes of a track that a recorder of one sample rate took down.

    The work is done on the recorder's clock: the sweep, known by its formula, is brought to it, and
    only the short impulse goes back to the track's (libsoxr). The division is circular over the
    sweep and the pause behind it, so what a place answers after more than the pause comes round to
    the front, and harmonics of an order that no speaker makes to the back. Large transforms are in
    single precision, whose error stays 120 dB below the response. */
class Deconvolver {
public:
    /** request and transforms must outlive this. highestHarmonicHz: up to where distortion is measured. */
    Deconvolver(const MeasurementRequest& measurement, double recorderRate,
                double highestHarmonicHz, dsp::FftStore& transforms);

    /** recording: the channel in which the markers were found, at the recorder's rate; source: what
        messages call the take. Refused: a sweep that is not the track's. */
    [[nodiscard]] dsp::Result<DeconvolvedTake>
    run(std::span<const float> recording, const MarkerPair& markers, const std::string& source);

private:
    /** Where a take stands in its recording, in the recorder's frames. */
    struct Placement {
        double framesPerTrackFrame = 1.0;
        double rate = 48000.0;    ///< Frames to a second of the track.
        double sweepFrame = 0.0;  ///< The sweep's start.
        std::ptrdiff_t begin = 0; ///< Of what is deconvolved.
        std::size_t length = 0;
    };

    [[nodiscard]] Placement place(const MarkerPair& markers) const;
    void transformPlayed();
    void transformRecorded(std::span<const float> recording, const Placement& placement);
    [[nodiscard]] double gainAt(double frequencyHz, double rate) const;
    [[nodiscard]] std::vector<double> noiseDensity(std::span<const float> recording,
                                                   const Placement& placement,
                                                   double& seconds) const;
    [[nodiscard]] double divide(std::span<const double> density, double rate);
    [[nodiscard]] bool isSmeared(std::ptrdiff_t arrival, double noiseEnergy, double rate);
    [[nodiscard]] std::vector<double> unitNoise(std::span<const double> density, double rate);
    [[nodiscard]] std::vector<bool> findPlayingError(const DeconvolvedSweep& deconvolved,
                                                     std::vector<double>& noise) const;

    const MeasurementRequest& request;
    const signals::SweepLayout& layout;
    double nominalRate;
    double mostHarmonicHz;
    dsp::FftStore& transforms;
    std::vector<float> placeNoise; // at the recorder's rate; empty: the pauses are used
    dsp::FftStore::Borrowed<dsp::RealFft<float>> recorded;
    dsp::FftStore::Borrowed<dsp::RealFft<float>> played;
    std::size_t numMatchedBins;
    dsp::FftStore::Borrowed<dsp::RealFft<float>>
        matched; // the quotient's lower bins, every octave with the same weight
    double regularisation = 0.0;
};

} // namespace saddletone::measure
