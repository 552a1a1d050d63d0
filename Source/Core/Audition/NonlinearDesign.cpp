#include "Core/Audition/NonlinearDesign.h"

#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/SceneBuilder.h"
#include "Core/Dsp/FractionalDelay.h"
#include "Core/Dsp/MatchedBiquad.h"
#include "Core/Dsp/Units.h"
#include "Core/Measure/SpeakerSet.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace saddletone::audition {

namespace {

/** By which a kernel's arrival is stated early: all that the linear path's kernels have ahead. */
constexpr double earlySeconds = 0.0015;
/** Over which a kernel rises after its first taps were taken away. */
constexpr std::size_t riseFrames = 12;

/** A kernel of the model at the engine's rate, ahead of time by the oversampling's delay; empty where
    nothing passes. */
dsp::Result<std::vector<float>> buildTaps(const NonlinearRequest& request, std::size_t power,
                                          tuning::OutputGroup side, double delaySamples,
                                          double gainLinear, const PartitionLayout& layout,
                                          double sampleRate)
{
    const std::vector<float>& kernel = request.model.kernels[power - 1];
    if (std::ranges::all_of(kernel, [](float tap) { return tap == 0.0F; }))
        return std::vector<float> {};
    CandidateRequest candidate;
    candidate.name = request.model.name;
    candidate.response.sampleRate = request.model.sampleRate;
    candidate.response.impulse = kernel;
    // Stated early, so that buildKernelTaps() fades in what is taken away afterwards.
    const auto early =
        std::min(request.model.arrivalFrame,
                 static_cast<std::size_t>(std::lround(earlySeconds * request.model.sampleRate)));
    candidate.response.arrivalFrame = request.model.arrivalFrame - early;
    const auto taps =
        buildKernelTaps(candidate, side, request.helmet, sampleRate, layout.maxTaps());
    if (!taps)
        return taps.unexpected();
    std::vector<double> exact(taps->begin(), taps->end());
    const double tooLate = static_cast<double>(early) * sampleRate / request.model.sampleRate
                           + static_cast<double>(PowerOversampler::delayFrames);
    const auto taken = static_cast<std::size_t>(std::ceil(tooLate));
    dsp::delaySamplesInPlace(delaySamples + static_cast<double>(taken) - tooLate, exact);
    std::vector<float> kept(exact.size() - taken);
    for (std::size_t tap = 0; tap < kept.size(); ++tap) {
        const double rise =
            tap < riseFrames
                ? 0.5
                      - 0.5
                            * std::cos(std::numbers::pi * (static_cast<double>(tap) + 0.5)
                                       / static_cast<double>(riseFrames))
                : 1.0;
        kept[tap] = static_cast<float>(gainLinear * rise * exact[tap + taken]);
    }
    return kept;
}

} // namespace

PartitionLayout nonlinearLayout()
{
    return PartitionLayout::forTaps(nonlinearTaps);
}

dsp::Result<std::unique_ptr<const NonlinearDesign>>
buildNonlinearDesign(const NonlinearRequest& request, double sampleRate)
{
    if (!(request.volumeDb >= -60.0 && request.volumeDb <= 40.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the volume of an overdriven candidate must lie between -60 and 40 dB re "
                         "the volume of its model");
    if (!(request.clip.limitDbfs >= -60.0 && request.clip.limitDbfs <= 40.0))
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the level at which the amplifier clips must lie between -60 and 40 dBFS");
    if (request.model.driveFilter.size() > PowerOversampler::maxSections)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "the drive filter of model '" + request.model.name
                             + "' has more sections than are run; make the model again");

    auto design = std::make_unique<NonlinearDesign>();
    design->sampleRate = sampleRate;
    const double raisedRate = static_cast<double>(PowerOversampler::factor) * sampleRate;
    for (const measure::DriveSection& section : request.model.driveFilter)
        design->driveFilter.push_back(dsp::bilinearBiquad(section.analogue(), raisedRate));
    design->driveGainLinear = request.model.driveGainLinear;
    // The drive filter's highest gain is 1, so no sine of a take drove the powers harder.
    design->highestDriveLinear = dsp::dbToAmplitude(request.model.highestDriveDbfs());
    const double volumeLinear = dsp::dbToAmplitude(request.volumeDb);
    design->clip = request.clip.shape;
    design->clipLimitLinear = volumeLinear * dsp::dbToAmplitude(request.clip.limitDbfs);

    const PartitionLayout layout = nonlinearLayout();
    constexpr std::array sides {tuning::OutputGroup::left, tuning::OutputGroup::right};
    std::array<seat::EarKernels, PowerOversampler::numOutputs> taps;
    for (std::size_t side = 0; side < sides.size(); ++side) {
        const auto speakers = measure::speakersOnChannel(
            request.speakers, side == 0 ? measure::BikeChannel::left : measure::BikeChannel::right);
        if (const auto applies = tuning::checkApplies(request.tuning, speakers); !applies)
            return applies.unexpected();
        const auto tuned = tuning::designTuning(request.tuning, speakers, sampleRate);
        if (tuned.sections.size() > maxTuningSections)
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             "the tuning '" + request.tuning.name
                                 + "' has more filters than an overdriven candidate can run; join "
                                   "or remove some");
        NonlinearSide& made = design->sides[side];
        made.gainLinear = tuned.gainLinear * volumeLinear;
        made.sections = tuned.sections;
        const bool clips = request.clip.shape != AmplifierClip::Shape::none;
        for (std::size_t power = clips ? 1 : 2; power <= taps.size(); ++power) {
            // The volume is taken off again: levels of an audition are set elsewhere.
            auto kernel = buildTaps(request, power, sides[side], tuned.delaySamples,
                                    1.0 / volumeLinear, layout, sampleRate);
            if (!kernel)
                return kernel.unexpected();
            taps[power - 1][side][side] = *std::move(kernel);
        }
    }
    for (std::size_t power = 0; power < taps.size(); ++power)
        design->kernels[power] =
            partitioned(layout, request.seatFilters == nullptr
                                    ? taps[power]
                                    : request.seatFilters->earKernels(
                                        taps[power][0][0], taps[power][1][1], request.speakers));
    return std::unique_ptr<const NonlinearDesign>(std::move(design));
}

} // namespace saddletone::audition
