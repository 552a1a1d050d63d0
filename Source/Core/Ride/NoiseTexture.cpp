#include "Core/Ride/NoiseTexture.h"

#include "Core/Dsp/RandomSource.h"
#include "Core/Dsp/Units.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <utility>

namespace saddletone::ride {

namespace {

// Streams of the seed; segments use the numbers from 0 up.
constexpr std::uint64_t gustStream = std::uint64_t {1} << 60U;
constexpr std::uint64_t toneStream = std::uint64_t {2} << 60U;
constexpr std::uint64_t glideStream = std::uint64_t {3} << 60U;
constexpr std::uint64_t phaseStream = std::uint64_t {4} << 60U;

/** A unit Gaussian value bent to a skewness, mean 0 and variance 1 kept (first terms of Cornish
    and Fisher, 1938). */
double skewed(double unit, double skewness) noexcept
{
    return (unit + skewness / 6.0 * (unit * unit - 1.0))
           / std::sqrt(1.0 + skewness * skewness / 18.0);
}

/** Level of the mean power of a gain whose level in dB has a deviation and a skewness. */
double meanPowerDb(double deviationDb, double skewness) noexcept
{
    constexpr int numSteps = 200;
    constexpr double reach = 5.0;
    double sum = 0.0;
    double weights = 0.0;
    for (int step = 0; step <= numSteps; ++step) {
        const double unit = reach * (2.0 * step / numSteps - 1.0);
        const double weight = std::exp(-0.5 * unit * unit);
        sum += weight * dsp::dbToPower(deviationDb * skewed(unit, skewness));
        weights += weight;
    }
    return dsp::powerToDb(sum / weights);
}

/** The same of a Gaussian level, in closed form. */
double meanPowerDb(double deviationDb) noexcept
{
    return 0.05 * std::numbers::ln10 * deviationDb * deviationDb;
}

} // namespace

NoiseTexture::NoiseTexture(RecordedNoise noise, std::uint64_t noiseSeed)
    : recorded(std::move(noise)), seed(noiseSeed)
{
    assert(!recorded.recordings.empty());
}

void NoiseTexture::prepare(const dsp::ProcessSpec& spec)
{
    sampleRate = spec.sampleRate;
    // Bins of about 1.5 Hz: the third octave of 25 Hz, 6 Hz wide, keeps its edges.
    constexpr double segmentSeconds = 0.5;
    hopFrames = chunksPerHop;
    while (static_cast<double>(2 * hopFrames) < segmentSeconds * sampleRate)
        hopFrames *= 2;
    chunkFrames = hopFrames / chunksPerHop;
    const std::size_t segmentFrames = 2 * hopFrames;

    fft.clear();
    fft.emplace_back(segmentFrames);
    window.resize(segmentFrames);
    for (std::size_t frame = 0; frame < segmentFrames; ++frame)
        window[frame] =
            static_cast<float>(std::sin(std::numbers::pi * (static_cast<double>(frame) + 0.5)
                                        / static_cast<double>(segmentFrames)));
    const double binHz = sampleRate / static_cast<double>(segmentFrames);
    bandOfBin.assign(hopFrames + 1, 0);
    for (std::size_t bin = 0, band = 0; bin <= hopFrames; ++bin) {
        while (band + 1 < numNoiseBands
               && noiseBandEdgeHz(band + 1) <= (static_cast<double>(bin) - 0.5) * binHz)
            ++band;
        bandOfBin[bin] = band;
    }
    for (auto& amplitude : amplitudes)
        amplitude.assign(hopFrames + 1, 0.0F);
    sharedPart.assign(hopFrames + 1, {});
    ownPart.assign(hopFrames + 1, 0.0F);
    for (Segment& segment : segments)
        for (auto& ear : segment)
            ear.assign(segmentFrames, 0.0F);
    for (auto& ear : chunkSamples)
        ear.assign(chunkFrames, 0.0F);

    for (std::size_t process = 0; process < gusts.size(); ++process) {
        dsp::RandomSource random(dsp::mixSeed(seed, gustStream + process));
        for (std::size_t line = 0; line < numGustLines; ++line) {
            const std::size_t band = line / linesPerBand;
            const double place = (static_cast<double>(line % linesPerBand) + random.nextUniform())
                                 / static_cast<double>(linesPerBand);
            gusts[process].frequenciesHz[line] =
                modulationEdgeHz(band)
                * std::pow(modulationEdgeHz(band + 1) / modulationEdgeHz(band), place);
            gusts[process].phasesRadians[line] = dsp::twoPi * random.nextUniform();
        }
    }
    reset();
}

void NoiseTexture::seek(std::uint64_t newPosition) noexcept
{
    position = newPosition;
    currentHop = none;
    currentChunk = none;
    stateSpeedKmh = -1.0;
}

void NoiseTexture::setParameters(const Parameters& newParameters) noexcept
{
    if (std::isfinite(newParameters.speedKmh))
        parameters.speedKmh = std::max(0.0, newParameters.speedKmh);
    if (std::isfinite(newParameters.gainDb))
        parameters.gainDb = newParameters.gainDb;
}

double NoiseTexture::tonePhase(std::size_t tone, double seconds, double glideSeconds) const noexcept
{
    const NoiseTone& line = state.tones[tone];
    const double cycles = line.frequencyHz * seconds;
    return phaseOffsetsRadians[tone]
           + dsp::twoPi
                 * (cycles - std::floor(cycles)
                    + line.frequencyHz * line.glideProportion * glideSeconds);
}

void NoiseTexture::takeState(double seconds) noexcept
{
    const bool goesOn = stateSpeedKmh >= 0.0;
    std::array<double, mostTones> phasesBefore {};
    if (goesOn) {
        const double glideSeconds = glide.integralAt(seconds);
        for (std::size_t tone = 0; tone < mostTones; ++tone)
            phasesBefore[tone] = tonePhase(tone, seconds, glideSeconds);
    }

    recorded.stateAt(parameters.speedKmh, state);
    stateSpeedKmh = parameters.speedKmh;
    stateGainDb = parameters.gainDb;
    const LevelFluctuation& fluctuation = state.fluctuation;
    for (auto& process : gusts)
        for (std::size_t line = 0; line < numGustLines; ++line)
            process.amplitudes[line] = std::sqrt(2.0 * fluctuation.variancesDb2[line / linesPerBand]
                                                 / static_cast<double>(linesPerBand));
    gustNormDb = meanPowerDb(fluctuation.deviationDb(), fluctuation.skewness);

    // Faster than this a fluctuation is a sideband of its own, which the analysis leaves in the
    // noise.
    constexpr double fastestToneHz = 1.5;
    glide = memoryLines(state.glideMemorySeconds, fastestToneHz, dsp::mixSeed(seed, glideStream));
    const double glideSecondsNow = glide.integralAt(seconds);
    for (std::size_t tone = 0; tone < mostTones; ++tone) {
        toneLevels[tone] = memoryLines(state.tones[tone].levelMemorySeconds, fastestToneHz,
                                       dsp::mixSeed(seed, toneStream + tone));
        dsp::RandomSource random(dsp::mixSeed(seed, phaseStream + tone));
        phaseOffsetsRadians[tone] = 0.0;
        phaseOffsetsRadians[tone] =
            goesOn ? phasesBefore[tone] - tonePhase(tone, seconds, glideSecondsNow)
                   : dsp::twoPi * random.nextUniform();
    }
    shapeBins();
}

void NoiseTexture::shapeBins() noexcept
{
    const auto segmentFrames = static_cast<double>(2 * hopFrames);
    const double binHz = sampleRate / segmentFrames;
    std::array<std::array<double, numNoiseBands>, numEars> densities {};
    std::array<double, numNoiseBands + 1> edgesHz {};
    for (std::size_t edge = 0; edge <= numNoiseBands; ++edge)
        edgesHz[edge] = noiseBandEdgeHz(edge);
    for (std::size_t ear = 0; ear < numEars; ++ear)
        for (std::size_t band = 0; band < numNoiseBands; ++band) {
            const double rms = dsp::dbfsToRms(state.noiseDbfs[ear][band] + stateGainDb);
            densities[ear][band] = rms * rms / (edgesHz[band + 1] - edgesHz[band]);
        }
    // A bin's real and imaginary parts are uniform in -1..1 (variance 1/3 each); a pair of bins
    // of spectrum value X contributes 2 |X|^2 / size^2 to the mean square.
    for (std::size_t bin = 0; bin <= hopFrames; ++bin) {
        const double lowerHz = (static_cast<double>(bin) - 0.5) * binHz;
        const double upperHz = lowerHz + binHz;
        const double centreHz = lowerHz + 0.5 * binHz;
        std::array<double, numEars> power {};
        std::size_t centreBand = bandOfBin[bin];
        for (std::size_t band = bandOfBin[bin]; band < numNoiseBands && edgesHz[band] < upperHz;
             ++band) {
            const double insideHz =
                std::min(upperHz, edgesHz[band + 1]) - std::max(lowerHz, edgesHz[band]);
            if (edgesHz[band] <= centreHz)
                centreBand = band;
            if (insideHz > 0.0)
                for (std::size_t ear = 0; ear < numEars; ++ear)
                    power[ear] += insideHz * densities[ear][band];
        }
        const bool isEdge = bin == 0 || bin == hopFrames;
        for (std::size_t ear = 0; ear < numEars; ++ear)
            amplitudes[ear][bin] =
                isEdge ? 0.0F : static_cast<float>(segmentFrames * std::sqrt(0.75 * power[ear]));
        const double coherence = state.coherence[centreBand];
        const auto right = static_cast<double>(amplitudes[1][bin]);
        sharedPart[bin] = std::complex<float>(
            std::polar(right * coherence, state.coherencePhaseRadians[centreBand]));
        ownPart[bin] =
            static_cast<float>(right * std::sqrt(std::max(0.0, 1.0 - coherence * coherence)));
    }
}

void NoiseTexture::makeSegment(std::uint64_t index, std::size_t ear, Segment& segment) noexcept
{
    constexpr float toUnit = 1.0F / 2147483648.0F;
    const auto drawn = [](dsp::RandomSource& random) {
        const std::uint64_t bits = random.nextBits();
        return std::complex<float>(
            toUnit * static_cast<float>(static_cast<std::int32_t>(bits >> 32U)),
            toUnit * static_cast<float>(static_cast<std::int32_t>(bits & 0xFFFFFFFFU)));
    };
    dsp::RandomSource left(dsp::mixSeed(seed, index * numEars));
    dsp::RandomSource right(dsp::mixSeed(seed, index * numEars + 1));
    const auto spectrum = fft.front().spectrum();
    if (ear == 0)
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
            spectrum[bin] = amplitudes[0][bin] * drawn(left);
    else
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
            // Written out: the library's complex product checks for infinities.
            const std::complex<float> common = drawn(left);
            const std::complex<float> part = sharedPart[bin];
            const std::complex<float> own = drawn(right);
            spectrum[bin] = {part.real() * common.real() - part.imag() * common.imag()
                                 + ownPart[bin] * own.real(),
                             part.real() * common.imag() + part.imag() * common.real()
                                 + ownPart[bin] * own.imag()};
        }
    fft.front().inverse();
    const auto time = fft.front().time();
    auto& samples = segment[ear];
    for (std::size_t frame = 0; frame < samples.size(); ++frame)
        samples[frame] = time[frame] * window[frame];
}

void NoiseTexture::enterHop(std::uint64_t hop) noexcept
{
    // Segment k covers hops k - 1 and k: hop h is the end of segment h and the start of h + 1.
    const bool follows = currentHop != none && hop == currentHop + 1;
    if (stateSpeedKmh != parameters.speedKmh || stateGainDb != parameters.gainDb)
        takeState(static_cast<double>(hop) * static_cast<double>(hopFrames) / sampleRate);
    if (follows) {
        for (std::size_t ear = 0; ear < numEars; ++ear)
            if (!isNextMade[ear])
                makeSegment(hop + 1, ear, segments[2]);
        std::rotate(segments.begin(), segments.begin() + 1, segments.end());
    } else {
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            makeSegment(hop, ear, segments[0]);
            makeSegment(hop + 1, ear, segments[1]);
        }
    }
    isNextMade.fill(false);
    currentHop = hop;
}

NoiseTexture::Moment NoiseTexture::momentAt(double seconds) const noexcept
{
    Moment moment;
    moment.glideSeconds = glide.integralAt(seconds);
    const LevelFluctuation& fluctuation = state.fluctuation;
    const double deviationDb = fluctuation.deviationDb();
    moment.gains.fill(1.0);
    if (deviationDb > 0.0) {
        const double common = std::sqrt(fluctuation.earCorrelation) * gusts[0].at(seconds);
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const double own =
                fluctuation.earCorrelation < 1.0
                    ? std::sqrt(1.0 - fluctuation.earCorrelation) * gusts[1 + ear].at(seconds)
                    : 0.0;
            moment.gains[ear] = dsp::dbToAmplitude(
                deviationDb * skewed((common + own) / deviationDb, fluctuation.skewness)
                - gustNormDb);
        }
    }
    for (std::size_t tone = 0; tone < state.numTones; ++tone) {
        const NoiseTone& line = state.tones[tone];
        moment.phasesRadians[tone] = tonePhase(tone, seconds, moment.glideSeconds);
        const double levelDb = stateGainDb + line.levelDeviationDb * toneLevels[tone].at(seconds)
                               - meanPowerDb(line.levelDeviationDb);
        // By AES17 a sine's peak is its level.
        const double right = dsp::dbToAmplitude(line.levelsDbfs[1] + levelDb);
        moment.amplitudes[tone] = {dsp::dbToAmplitude(line.levelsDbfs[0] + levelDb),
                                   right * std::cos(line.phaseDifferenceRadians),
                                   right * std::sin(line.phaseDifferenceRadians)};
    }
    return moment;
}

void NoiseTexture::renderChunk(std::uint64_t chunk) noexcept
{
    const std::uint64_t hop = chunk / chunksPerHop;
    const auto chunkInHop = static_cast<std::size_t>(chunk % chunksPerHop);
    const double chunkSeconds = static_cast<double>(chunkFrames) / sampleRate;
    const double beginSeconds = static_cast<double>(chunk) * chunkSeconds;
    const bool follows = currentChunk != none && chunk == currentChunk + 1;
    if (hop != currentHop)
        enterHop(hop);
    // The next segment is made ahead at these chunks, far from each other.
    constexpr std::array<std::size_t, numEars> makeAt {8, 40};
    for (std::size_t ear = 0; ear < numEars; ++ear)
        if (chunkInHop >= makeAt[ear] && !isNextMade[ear]) {
            makeSegment(hop + 2, ear, segments[2]);
            isNextMade[ear] = true;
        }

    // Amplitudes go on from where the last chunk ended, also over a change of state; phases are
    // those of the present state, which continue the last one's.
    Moment begin = momentAt(beginSeconds);
    if (follows) {
        begin.gains = momentEnd.gains;
        begin.amplitudes = momentEnd.amplitudes;
    }
    // Not begin plus a chunk, which rounds differently.
    momentEnd = momentAt(static_cast<double>(chunk + 1) * chunkSeconds);
    currentChunk = chunk;

    const double perFrame = 1.0 / static_cast<double>(chunkFrames);
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const std::size_t offset = chunkInHop * chunkFrames;
        const float* const rising = segments[1][ear].data() + offset;
        const float* const falling = segments[0][ear].data() + hopFrames + offset;
        const auto gain = static_cast<float>(begin.gains[ear]);
        const auto step = static_cast<float>((momentEnd.gains[ear] - begin.gains[ear]) * perFrame);
        for (std::size_t frame = 0; frame < chunkFrames; ++frame)
            chunkSamples[ear][frame] =
                (rising[frame] + falling[frame]) * (gain + step * static_cast<float>(frame));
    }
    for (std::size_t tone = 0; tone < mostTones; ++tone) {
        const auto& from = begin.amplitudes[tone];
        const auto& to = momentEnd.amplitudes[tone];
        const auto isSilent = [](const std::array<double, 3>& parts) {
            return parts == std::array<double, 3> {};
        };
        if (isSilent(from) && isSilent(to))
            continue;
        const NoiseTone& line = state.tones[tone];
        const double turn =
            dsp::twoPi * line.frequencyHz
            * (chunkSeconds + line.glideProportion * (momentEnd.glideSeconds - begin.glideSeconds));
        const std::complex<double> rotation = std::polar(1.0, turn * perFrame);
        std::complex<double> left = std::polar(1.0, begin.phasesRadians[tone]);
        for (std::size_t frame = 0; frame < chunkFrames; ++frame) {
            const double share = static_cast<double>(frame) * perFrame;
            const auto part = [&](std::size_t index) {
                return from[index] + share * (to[index] - from[index]);
            };
            chunkSamples[0][frame] += static_cast<float>(part(0) * left.real());
            chunkSamples[1][frame] +=
                static_cast<float>(part(1) * left.real() - part(2) * left.imag());
            left = {left.real() * rotation.real() - left.imag() * rotation.imag(),
                    left.real() * rotation.imag() + left.imag() * rotation.real()};
        }
    }
}

void NoiseTexture::process(dsp::ChannelView<float> output) noexcept
{
    assert(output.numChannels() == numEars);
    std::size_t done = 0;
    while (done < output.numFrames()) {
        const std::uint64_t chunk = position / chunkFrames;
        if (chunk != currentChunk)
            renderChunk(chunk);
        const auto offset = static_cast<std::size_t>(position % chunkFrames);
        const std::size_t count = std::min(chunkFrames - offset, output.numFrames() - done);
        for (std::size_t ear = 0; ear < numEars; ++ear)
            std::copy_n(chunkSamples[ear].begin() + static_cast<std::ptrdiff_t>(offset), count,
                        output[ear].begin() + static_cast<std::ptrdiff_t>(done));
        position += count;
        done += count;
    }
}

} // namespace saddletone::ride
