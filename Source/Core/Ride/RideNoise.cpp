#include "Core/Ride/RideNoise.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Core/Ride/RideSpectrum.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace saddletone::ride {

namespace {

constexpr std::size_t tickFrames = EngineTone::tickFrames;

// Streams of one seed.
enum class Stream : std::uint64_t { wind = 1, tyre, engine, gusts, wake };

std::uint64_t streamSeed(std::uint64_t seed, Stream stream) noexcept
{
    return dsp::mixSeed(seed, static_cast<std::uint64_t>(stream));
}

// Less than this in common is not heard, nor found in an hour of noise.
constexpr double leastCoherence = 0.001;

std::size_t indexOf(Helmet helmet) noexcept
{
    return static_cast<std::size_t>(std::ranges::find(allHelmets, helmet) - allHelmets.begin());
}

/** A linear gain for a level on a scale; 0 for silence. */
double gainOf(double levelDb, double splAtFullScaleDb) noexcept
{
    return levelDb > dsp::silenceDb ? dsp::dbToAmplitude(levelDb - splAtFullScaleDb) : 0.0;
}

} // namespace

RideNoise::RideNoise(std::uint64_t noiseSeed)
    : windNoise(streamSeed(noiseSeed, Stream::wind)),
      tyreNoise(streamSeed(noiseSeed, Stream::tyre)),
      engineTone(streamSeed(noiseSeed, Stream::engine)),
      gusts(streamSeed(noiseSeed, Stream::gusts)),
      wake(streamSeed(noiseSeed, Stream::wake)),
      windShapes {WindShape(allHelmets[0]), WindShape(allHelmets[1]), WindShape(allHelmets[2])}
{
    setParameters({});
}

void RideNoise::prepare(const dsp::ProcessSpec& spec)
{
    sampleRate = spec.sampleRate;
    windNoise.prepare(sampleRate);
    tyreNoise.prepare(sampleRate);
    engineTone.prepare(sampleRate);
    treadTone.prepare(sampleRate);

    const std::size_t numBins = windNoise.numBins();
    const double binHz = 0.5 * sampleRate / static_cast<double>(numBins - 1);
    log2Hz.resize(numBins);
    weightingPower.resize(numBins);
    std::vector<double> tyreDensity(numBins);
    double tyreWeighted = 0.0;
    // Nothing is made at 0 Hz; it is filled in like the first bin to keep the lists alike.
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        const double frequencyHz = binHz * static_cast<double>(std::max(bin, std::size_t {1}));
        log2Hz[bin] = std::log2(frequencyHz);
        weightingPower[bin] =
            bin == 0 ? 0.0 : dsp::dbToPower(dsp::weightingDb(dsp::Weighting::a, frequencyHz));
        tyreDensity[bin] = dsp::dbToPower(tyreDensityDb(frequencyHz));
        tyreWeighted += tyreDensity[bin] * weightingPower[bin];
    }
    windDensitiesDb.assign(numBins, 0.0F);
    windAmplitudes.assign(numBins, 0.0F);
    windCoherence.shared.assign(numBins, 0.0F);
    windCoherence.own.assign(numBins, 1.0F);
    windKey = {};

    const double fullScalePower = dsp::dbfsToRms(0.0) * dsp::dbfsToRms(0.0);
    for (std::size_t index = 0; index < allHelmets.size(); ++index) {
        auto& amplitudes = tyreAmplitudes[index];
        amplitudes.resize(numBins);
        for (std::size_t bin = 0; bin < numBins; ++bin) {
            const double lossDb = insertionLossDb(allHelmets[index], std::exp2(log2Hz[bin]));
            amplitudes[bin] = tyreNoise.amplitudeOf(fullScalePower / tyreWeighted * tyreDensity[bin]
                                                    * dsp::dbToPower(-lossDb));
        }
    }
    tyreCoherence.shared.resize(numBins);
    tyreCoherence.own.resize(numBins);
    tyreCoherence.numBins = 0;
    for (std::size_t bin = 0; bin < numBins; ++bin) {
        const double frequencyHz = binHz * static_cast<double>(bin);
        if (frequencyHz > highestTyreCoherenceHz)
            break;
        const double shared = tyreEarCoherence(frequencyHz);
        tyreCoherence.shared[bin] = static_cast<float>(shared);
        tyreCoherence.own[bin] = static_cast<float>(std::sqrt(1.0 - shared * shared));
        tyreCoherence.numBins = bin + 1;
    }
    updateTones();
    seek(0);
}

void RideNoise::setParameters(const Parameters& newParameters) noexcept
{
    if (newParameters == parameters && rideNow != RideState {})
        return;
    parameters = newParameters;
    parameters.ride = withinRange(newParameters.ride);
    parameters.splAtFullScaleDb = std::isnan(newParameters.splAtFullScaleDb)
                                      ? Parameters {}.splAtFullScaleDb
                                      : std::clamp(newParameters.splAtFullScaleDb, 0.0, 200.0);
    rideNow = rideState(parameters.ride);
    updateTones();
}

void RideNoise::updateTones() noexcept
{
    const RideParameters& ride = parameters.ride;
    const double plugged = parameters.splAtFullScaleDb + rideNow.plugLossDb;
    engineTone.setParameters({.model = ride.engine,
                              .rpm = rideNow.rpm,
                              .levelDbfsA = rideNow.engineDba > dsp::silenceDb
                                                ? rideNow.engineDba - plugged
                                                : dsp::silenceDb,
                              .helmet = ride.helmet});
    // A-weighting is left out of the tone's level where it is heard.
    double toneAmplitude = 0.0;
    if (rideNow.treadToneDba > dsp::silenceDb)
        toneAmplitude =
            gainOf(rideNow.treadToneDba - dsp::weightingDb(dsp::Weighting::a, rideNow.treadToneHz)
                       - insertionLossDb(ride.helmet, rideNow.treadToneHz),
                   plugged);
    treadTone.setTone(rideNow.treadToneHz, toneAmplitude);
}

void RideNoise::seek(std::uint64_t newPosition) noexcept
{
    position = newPosition;
    windHop = noHop;
    tyreHop = noHop;
    engineTone.seek(newPosition);
    treadTone.seek(newPosition);
}

void RideNoise::skip(std::size_t numFrames) noexcept
{
    position += numFrames;
    engineTone.skip(numFrames);
    treadTone.skip(numFrames);
}

void RideNoise::updateWindSpectrum() noexcept
{
    const WindKey wanted {parameters.ride.wind, parameters.ride.helmet, parameters.ride.speedKmh};
    if (wanted == windKey)
        return;
    windKey = wanted;
    windShapes[indexOf(wanted.helmet)].densitiesDb(wanted.speedKmh, log2Hz, windDensitiesDb);
    double weighted = 0.0;
    for (std::size_t bin = 0; bin < windAmplitudes.size(); ++bin) {
        // 10^(dB/20) as a power of two, in single precision: good to 0.0001 dB.
        constexpr float toOctaves = 0.16609640474F;
        windAmplitudes[bin] = std::exp2(toOctaves * windDensitiesDb[bin]);
        const auto amplitude = static_cast<double>(windAmplitudes[bin]);
        weighted += amplitude * amplitude * weightingPower[bin];
    }
    const double fullScalePower = dsp::dbfsToRms(0.0) * dsp::dbfsToRms(0.0);
    const float scale = windNoise.amplitudeOf(fullScalePower / weighted);
    for (float& amplitude : windAmplitudes)
        amplitude *= scale;

    const double binHz = 0.5 * sampleRate / static_cast<double>(windAmplitudes.size() - 1);
    windCoherence.numBins = 0;
    for (std::size_t bin = 0; bin < windAmplitudes.size(); ++bin) {
        const double shared =
            wanted.model.earCoherence(binHz * static_cast<double>(bin), wanted.speedKmh);
        if (shared < leastCoherence)
            break;
        windCoherence.shared[bin] = static_cast<float>(shared);
        windCoherence.own[bin] = static_cast<float>(std::sqrt(1.0 - shared * shared));
        windCoherence.numBins = bin + 1;
    }
}

void RideNoise::makeWindSegment(std::uint64_t index) noexcept
{
    const WindModel& wind = parameters.ride.wind;
    double gain = gainOf(rideNow.windDba, parameters.splAtFullScaleDb + rideNow.plugLossDb);
    if (gain > 0.0) {
        updateWindSpectrum();
        const double centreSeconds =
            static_cast<double>(index) * static_cast<double>(windNoise.hopFrames()) / sampleRate;
        gain *= dsp::dbToAmplitude(
            gusts.levelDb(centreSeconds, wind.gustDeviationDb, wind.gustTimeSeconds));
    }
    windNoise.makeSegment(index, windAmplitudes, gain, &windCoherence);
    wakeDepthsDb = {wakeDepthsDb[1], rideNow.wakeDepthDb};
}

void RideNoise::makeTyreSegment(std::uint64_t index) noexcept
{
    tyreNoise.makeSegment(index, tyreAmplitudes[indexOf(parameters.ride.helmet)],
                          gainOf(rideNow.tyreDba, parameters.splAtFullScaleDb + rideNow.plugLossDb),
                          &tyreCoherence);
}

template <typename MakeSegment>
void RideNoise::enterHop(std::uint64_t hop, std::uint64_t& current, MakeSegment&& make) noexcept
{
    if (hop == current)
        return;
    // Hop h is the end of segment h and the start of h + 1; so hop 0 has a predecessor.
    if (current == noHop || hop != current + 1)
        make(hop);
    make(hop + 1);
    current = hop;
}

void RideNoise::writeWind(std::size_t ear, std::span<float> output) const noexcept
{
    const auto offset = static_cast<std::size_t>(position % windNoise.hopFrames());
    const float* const rising = windNoise.rising(ear) + offset;
    const float* const falling = windNoise.falling(ear) + offset;
    if (wakeDepthsDb[0] == 0.0 && wakeDepthsDb[1] == 0.0) {
        for (std::size_t frame = 0; frame < output.size(); ++frame)
            output[frame] = rising[frame] + falling[frame];
        return;
    }
    const auto first = static_cast<float>(position % tickFrames);
    std::array<float, 2> gains {};
    std::array<float, 2> steps {};
    for (std::size_t segment = 0; segment < 2; ++segment) {
        const double begin = WakeModulation::gain(wakeBeats[0], wakeDepthsDb[segment]);
        const double end = WakeModulation::gain(wakeBeats[1], wakeDepthsDb[segment]);
        gains[segment] = static_cast<float>(begin);
        steps[segment] = static_cast<float>((end - begin) / static_cast<double>(tickFrames));
    }
    for (std::size_t frame = 0; frame < output.size(); ++frame) {
        const float place = first + static_cast<float>(frame);
        output[frame] = falling[frame] * (gains[0] + place * steps[0])
                        + rising[frame] * (gains[1] + place * steps[1]);
    }
}

void RideNoise::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == numEars);
    const std::size_t hopFrames = windNoise.hopFrames();
    std::size_t done = 0;
    while (done < output.numFrames()) {
        enterHop(position / hopFrames, windHop,
                 [this](std::uint64_t index) { makeWindSegment(index); });
        // Half a hop apart, so that no block has to make segments of both.
        const std::uint64_t tyrePosition = position + hopFrames / 2;
        enterHop(tyrePosition / hopFrames, tyreHop,
                 [this](std::uint64_t index) { makeTyreSegment(index); });
        const std::uint64_t tick = position / tickFrames;
        if (rideNow.wakeDepthDb != 0.0 || wakeDepthsDb[0] != 0.0 || wakeDepthsDb[1] != 0.0) {
            if (tick != wakeTick) {
                const auto secondsAt = [this](std::uint64_t index) {
                    return static_cast<double>(index * tickFrames) / sampleRate;
                };
                wakeBeats = {wake.beat(secondsAt(tick)), wake.beat(secondsAt(tick + 1))};
                wakeTick = tick;
            }
        }
        const std::size_t count =
            std::min(tickFrames - static_cast<std::size_t>(position % tickFrames),
                     output.numFrames() - done);
        const std::span<float> both(tones.data(), count);
        std::ranges::fill(both, 0.0F);
        engineTone.add(both);
        treadTone.add(both);
        const auto offset = static_cast<std::size_t>(tyrePosition % hopFrames);
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const auto out = output[ear].subspan(done, count);
            writeWind(ear, out);
            if (tyreNoise.isSilent()) {
                for (std::size_t frame = 0; frame < count; ++frame)
                    out[frame] += both[frame];
            } else {
                const float* const rising = tyreNoise.rising(ear) + offset;
                const float* const falling = tyreNoise.falling(ear) + offset;
                for (std::size_t frame = 0; frame < count; ++frame)
                    out[frame] += rising[frame] + falling[frame] + both[frame];
            }
        }
        position += count;
        done += count;
    }
}

} // namespace saddletone::ride
