#include "Core/Ride/NoiseAnalysis.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/TextTable.h"
#include "Core/Measure/RecordingChecks.h"
#include "Core/Ride/NoiseTexture.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

namespace saddletone::ride {

namespace {

using files::fixedText;

constexpr std::size_t numEars = 2;
constexpr double levelBlockSeconds = 0.0625; // two of them make a level of 125 ms
constexpr double lineSpacingHz = 1.5;
constexpr double lowestToneHz = 18.0;
constexpr double highestToneHz = 16000.0;

using Spectra = std::array<std::vector<double>, numEars>;

/** Hann-windowed, half-overlapping segments of both ears. */
class SegmentReader {
public:
    SegmentReader(const dsp::AudioBuffer& audio, std::size_t segmentFrames)
        : samples(audio), fft(segmentFrames), window(segmentFrames)
    {
        double windowPower = 0.0;
        for (std::size_t frame = 0; frame < segmentFrames; ++frame) {
            window[frame] = 0.5
                            - 0.5
                                  * std::cos(2.0 * std::numbers::pi * static_cast<double>(frame)
                                             / static_cast<double>(segmentFrames));
            windowPower += window[frame] * window[frame];
        }
        // Lines of a one-sided spectrum in mean square.
        scale = std::sqrt(2.0 / (windowPower * static_cast<double>(segmentFrames)));
        for (auto& ear : lines)
            ear.resize(fft.numBins());
    }

    [[nodiscard]] std::size_t numSegments() const
    {
        return (samples.numFrames() - fft.size()) / (fft.size() / 2) + 1;
    }
    [[nodiscard]] double binHz() const
    {
        return samples.sampleRate / static_cast<double>(fft.size());
    }

    /** Complex lines of a segment at both ears; of one channel, the same twice. */
    const std::array<std::vector<std::complex<double>>, numEars>& read(std::size_t segment)
    {
        const std::size_t begin = segment * (fft.size() / 2);
        for (std::size_t ear = 0; ear < samples.numChannels(); ++ear) {
            const auto time = fft.time();
            for (std::size_t frame = 0; frame < time.size(); ++frame)
                time[frame] = scale * window[frame]
                              * static_cast<double>(samples.channels[ear][begin + frame]);
            fft.forward();
            std::ranges::copy(fft.spectrum(), lines[ear].begin());
        }
        if (samples.numChannels() == 1)
            lines[1] = lines[0];
        return lines;
    }

private:
    const dsp::AudioBuffer& samples;
    dsp::RealFft<double> fft;
    std::vector<double> window;
    double scale = 1.0;
    std::array<std::vector<std::complex<double>>, numEars> lines;
};

struct MeanSpectra {
    Spectra power;                           ///< Mean square per line.
    std::vector<std::complex<double>> cross; ///< Right times conjugate of left.
    double binHz = 1.0;
    double numIndependent = 1.0;
};

MeanSpectra meanSpectra(SegmentReader& reader)
{
    MeanSpectra mean;
    mean.binHz = reader.binHz();
    const std::size_t numSegments = reader.numSegments();
    // Half-overlapping Hann segments count as 0.95 independent ones each (Welch 1967).
    mean.numIndependent = std::max(1.0, 0.95 * static_cast<double>(numSegments));
    const double share = 1.0 / static_cast<double>(numSegments);
    for (std::size_t segment = 0; segment < numSegments; ++segment) {
        const auto& lines = reader.read(segment);
        mean.cross.resize(lines[0].size());
        for (std::size_t ear = 0; ear < numEars; ++ear)
            mean.power[ear].resize(lines[ear].size(), 0.0);
        for (std::size_t bin = 0; bin < lines[0].size(); ++bin) {
            for (std::size_t ear = 0; ear < numEars; ++ear)
                mean.power[ear][bin] += share * std::norm(lines[ear][bin]);
            mean.cross[bin] += share * lines[1][bin] * std::conj(lines[0][bin]);
        }
    }
    return mean;
}

/** The noise under the tones: the median of the lines within 12 % (and at least 10 Hz) of each
    frequency, straight in dB over log frequency between 48 points an octave. */
std::vector<double> noiseFloorDb(const std::vector<double>& power, double binHz)
{
    constexpr double pointsPerOctave = 48.0;
    const double topHz = binHz * static_cast<double>(power.size() - 1);
    std::vector<double> pointsDb;
    std::vector<double> near;
    const auto numPoints = static_cast<std::size_t>(pointsPerOctave * std::log2(topHz / binHz)) + 2;
    for (std::size_t point = 0; point < numPoints; ++point) {
        const double centreHz =
            std::min(topHz, binHz * std::exp2(static_cast<double>(point) / pointsPerOctave));
        const double reachHz = std::max(10.0, 0.12 * centreHz);
        const auto first = static_cast<std::size_t>(
            std::max(1.0, std::ceil((centreHz - std::min(reachHz, 0.7 * centreHz)) / binHz)));
        const auto last =
            std::min(power.size() - 1, static_cast<std::size_t>((centreHz + reachHz) / binHz));
        near.assign(power.begin() + static_cast<std::ptrdiff_t>(std::min(first, last)),
                    power.begin() + static_cast<std::ptrdiff_t>(last + 1));
        const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
        std::ranges::nth_element(near, middle);
        pointsDb.push_back(dsp::powerToDb(*middle));
    }
    std::vector<double> floorDb(power.size(), pointsDb.front());
    for (std::size_t bin = 1; bin < power.size(); ++bin) {
        const double place = pointsPerOctave * std::log2(static_cast<double>(bin));
        const auto below = std::min(static_cast<std::size_t>(place), numPoints - 2);
        const double share = std::min(1.0, place - static_cast<double>(below));
        floorDb[bin] = pointsDb[below] + share * (pointsDb[below + 1] - pointsDb[below]);
    }
    return floorDb;
}

/** Lines of a spectrum that belong to one tone. */
struct ToneLines {
    std::size_t first = 0;
    std::size_t last = 0;
    double prominenceDb = 0.0;
};

/** Peaks of the mean spectrum of both ears, the most prominent first. */
std::vector<ToneLines> findTones(const std::vector<double>& power,
                                 const std::vector<double>& floorDb, double binHz)
{
    constexpr double skirtDb = 3.0;
    constexpr double widestProportion = 0.08;
    constexpr double widestLowHz = 12.0;
    // From a valley of this depth on, another tone begins.
    constexpr double valleyDb = 6.0;
    std::vector<double> aboveDb(power.size());
    for (std::size_t bin = 0; bin < power.size(); ++bin)
        aboveDb[bin] = dsp::powerToDb(power[bin]) - floorDb[bin];
    std::vector<std::size_t> peaks;
    const auto lowest = static_cast<std::size_t>(lowestToneHz / binHz) + 1;
    const auto highest =
        std::min(power.size() - 2, static_cast<std::size_t>(highestToneHz / binHz));
    for (std::size_t bin = lowest; bin <= highest; ++bin)
        if (aboveDb[bin] >= toneProminenceDb && power[bin] > power[bin - 1]
            && power[bin] >= power[bin + 1])
            peaks.push_back(bin);
    std::ranges::sort(peaks, std::ranges::greater(), [&](std::size_t bin) { return aboveDb[bin]; });

    std::vector<bool> isUsed(power.size(), false);
    std::vector<ToneLines> tones;
    for (const std::size_t peak : peaks) {
        if (isUsed[peak])
            continue;
        const auto edge = [&](std::ptrdiff_t direction) {
            std::size_t bin = peak;
            std::size_t lowestBin = peak;
            while (bin > 2 && bin + 2 < power.size()) {
                const auto next =
                    static_cast<std::size_t>(static_cast<std::ptrdiff_t>(bin) + direction);
                if (isUsed[next] || aboveDb[next] < skirtDb)
                    return bin;
                if (aboveDb[next] < aboveDb[lowestBin])
                    lowestBin = next;
                if (aboveDb[next] > aboveDb[lowestBin] + valleyDb)
                    return lowestBin;
                bin = next;
            }
            return bin;
        };
        ToneLines tone {edge(-1), edge(1), aboveDb[peak]};
        for (std::size_t bin = tone.first; bin <= tone.last; ++bin)
            isUsed[bin] = true;
        const double widthHz = static_cast<double>(tone.last - tone.first + 1) * binHz;
        // A strong tone's window skirts pass the limit and are not its width.
        std::size_t numStrong = 0;
        for (std::size_t bin = tone.first; bin <= tone.last; ++bin)
            if (aboveDb[bin] >= std::max(skirtDb, tone.prominenceDb - 20.0))
                ++numStrong;
        const double strongHz = static_cast<double>(numStrong) * binHz;
        const double widestHz =
            std::max(widestLowHz, widestProportion * static_cast<double>(peak) * binHz);
        if (std::min(widthHz, strongHz) <= widestHz)
            tones.push_back(tone);
    }
    return tones;
}

/** Takes the tones out of a spectrum: their lines become the noise between the lines beside them,
    in dB, where these are noise, or else the floor. */
std::vector<double> withoutTones(const std::vector<double>& power,
                                 const std::vector<double>& floorDb,
                                 const std::vector<ToneLines>& tones)
{
    constexpr std::size_t numBeside = 4;
    std::vector<bool> isTone(power.size(), false);
    for (const ToneLines& tone : tones)
        for (std::size_t bin = tone.first; bin <= tone.last; ++bin)
            isTone[bin] = true;
    std::vector<double> noise = power;
    for (const ToneLines& tone : tones) {
        // How the lines beside stand to the floor, which is of both ears and a median.
        double ratio = 0.0;
        std::size_t count = 0;
        for (std::size_t step = 1; step <= numBeside; ++step) {
            for (const std::size_t bin :
                 {tone.first - std::min(step, tone.first), tone.last + step})
                if (bin > 0 && bin < power.size() && !isTone[bin]) {
                    ratio += power[bin] / dsp::dbToPower(floorDb[bin]);
                    ++count;
                }
        }
        ratio = count > 0 ? ratio / static_cast<double>(count) : 1.0;
        for (std::size_t bin = tone.first; bin <= tone.last; ++bin)
            noise[bin] = std::min(power[bin], ratio * dsp::dbToPower(floorDb[bin]));
    }
    return noise;
}

/** Value of a series' autocovariance at a lag. */
double autocovariance(std::span<const double> series, std::size_t lag)
{
    double mean = 0.0;
    for (const double value : series)
        mean += value / static_cast<double>(series.size());
    double sum = 0.0;
    for (std::size_t index = lag; index < series.size(); ++index)
        sum += (series[index] - mean) * (series[index - lag] - mean);
    return sum / static_cast<double>(series.size());
}

/** Time in which a series' autocorrelation falls to 1/e. variance: that of the series less what
    chance adds to it. A recording tells nothing of a memory above a tenth of its duration. */
double memorySecondsOf(std::span<const double> series, double variance, double stepSeconds)
{
    constexpr double shortest = 0.1;
    const auto numLags = std::max<std::size_t>(1, series.size() / 10);
    double before = 1.0;
    for (std::size_t lag = 1; lag <= numLags; ++lag) {
        const double correlation = std::min(1.0, autocovariance(series, lag) / variance);
        constexpr double limit = 1.0 / std::numbers::e;
        if (correlation <= limit) {
            const double share = (before - limit) / (before - correlation);
            return std::max(shortest, (static_cast<double>(lag) - 1.0 + share) * stepSeconds);
        }
        before = correlation;
    }
    return std::max(shortest, static_cast<double>(numLags) * stepSeconds);
}

/** A tone from segment to segment: summed power of both ears above the noise, and frequency. */
struct ToneTrack {
    std::vector<double> powers;
    std::vector<double> frequenciesHz;
};

std::vector<ToneTrack> trackTones(SegmentReader& reader, const std::vector<ToneLines>& tones,
                                  const std::vector<double>& noise)
{
    std::vector<ToneTrack> tracks(tones.size());
    for (std::size_t segment = 0; segment < reader.numSegments(); ++segment) {
        const auto& lines = reader.read(segment);
        const auto lineDb = [&](std::size_t bin) {
            return dsp::powerToDb(std::norm(lines[0][bin]) + std::norm(lines[1][bin]));
        };
        for (std::size_t index = 0; index < tones.size(); ++index) {
            double sum = 0.0;
            double floor = 0.0;
            std::size_t peak = tones[index].first;
            for (std::size_t bin = tones[index].first; bin <= tones[index].last; ++bin) {
                sum += std::norm(lines[0][bin]) + std::norm(lines[1][bin]);
                floor += noise[bin];
                if (lineDb(bin) > lineDb(peak))
                    peak = bin;
            }
            tracks[index].powers.push_back(sum - floor);
            const double below = lineDb(peak - 1);
            const double above = lineDb(peak + 1);
            const double bend = below - 2.0 * lineDb(peak) + above;
            const double shift =
                bend < 0.0 ? std::clamp(0.5 * (below - above) / bend, -0.5, 0.5) : 0.0;
            tracks[index].frequenciesHz.push_back((static_cast<double>(peak) + shift)
                                                  * reader.binHz());
        }
    }
    return tracks;
}

NoiseTone describeTone(const ToneLines& lines, const ToneTrack& track, const MeanSpectra& mean,
                       const Spectra& noise, double& glideMemorySeconds)
{
    NoiseTone tone;
    double weight = 0.0;
    double noisePower = 0.0;
    double tonePower = 0.0;
    std::array<double, numEars> power {};
    std::complex<double> cross;
    tone.frequencyHz = 0.0;
    for (std::size_t bin = lines.first; bin <= lines.last; ++bin) {
        for (std::size_t ear = 0; ear < numEars; ++ear) {
            const double excess = std::max(0.0, mean.power[ear][bin] - noise[ear][bin]);
            power[ear] += excess;
            noisePower += noise[ear][bin];
            tonePower += excess;
            weight += excess;
            tone.frequencyHz += excess * static_cast<double>(bin) * mean.binHz;
        }
        cross += mean.cross[bin];
    }
    tone.frequencyHz = weight > 0.0
                           ? tone.frequencyHz / weight
                           : 0.5 * static_cast<double>(lines.first + lines.last) * mean.binHz;
    for (std::size_t ear = 0; ear < numEars; ++ear)
        tone.levelsDbfs[ear] = dsp::rmsToDbfs(std::sqrt(power[ear]));
    tone.phaseDifferenceRadians = std::arg(cross);

    // Noise makes the summed power of tone and noise move: by the product of the tone with the
    // noise in the window's one and a half lines, and by itself in all lines, neighbours of which
    // have a good part in common. The ears count as half alike.
    const double stepSeconds = 0.5 / mean.binHz;
    const auto numLines = static_cast<double>(lines.last - lines.first + 1);
    const double perLine = noisePower / numLines;
    const double byChance =
        1.5 * tonePower * 1.5 * perLine + 0.75 * 1.9 * numLines * perLine * perLine;
    const double variance = autocovariance(track.powers, 0) - byChance;
    if (variance > 0.0) {
        // Of a level with a normal distribution in dB.
        const double perMeanSquare = variance / std::max(tonePower * tonePower, 1e-30);
        tone.levelDeviationDb =
            std::min(10.0 / std::numbers::ln10 * std::sqrt(std::log1p(perMeanSquare)), 12.0);
        tone.levelMemorySeconds = memorySecondsOf(track.powers, variance, stepSeconds);
    }
    // A steady tone's frequency reads within a quarter of a line.
    const double chanceHz = 0.25 * mean.binHz;
    const double frequencyVariance = autocovariance(track.frequenciesHz, 0);
    if (frequencyVariance > chanceHz * chanceHz) {
        tone.glideProportion = std::min(std::sqrt(frequencyVariance) / tone.frequencyHz, 0.1);
        glideMemorySeconds = memorySecondsOf(track.frequenciesHz, frequencyVariance, stepSeconds);
    }
    return tone;
}

/** Mean power of the noise in twelfth octaves, and the coherence of the ears in third octaves. */
void describeNoise(const MeanSpectra& mean, const Spectra& noise,
                   const std::vector<ToneLines>& tones, bool isMono, NoiseState& state)
{
    std::vector<bool> isTone(mean.cross.size(), false);
    for (const ToneLines& tone : tones)
        for (std::size_t bin = tone.first; bin <= tone.last; ++bin)
            isTone[bin] = true;
    const double topHz = mean.binHz * static_cast<double>(mean.cross.size() - 1);
    for (std::size_t band = 0; band < numNoiseBands; ++band) {
        const dsp::Band limits {0.0, noiseBandEdgeHz(band), noiseBandEdgeHz(band + 1)};
        for (std::size_t ear = 0; ear < numEars; ++ear)
            state.noiseDbfs[ear][band] =
                limits.upperHz > topHz
                    ? dsp::silenceDb
                    : dsp::rmsToDbfs(
                        std::sqrt(dsp::bandPowers(noise[ear], mean.binHz, {&limits, 1}).front()));
    }
    if (isMono)
        return;
    for (std::size_t band = 0; band < numNoiseBands; band += 4) {
        const auto first = static_cast<std::size_t>(std::ceil(noiseBandEdgeHz(band) / mean.binHz));
        const auto last =
            std::min(mean.cross.size() - 1,
                     static_cast<std::size_t>(noiseBandEdgeHz(band + 4) / mean.binHz));
        double squared = 0.0;
        std::complex<double> sum;
        std::size_t count = 0;
        for (std::size_t bin = first; bin <= last; ++bin) {
            const double product = mean.power[0][bin] * mean.power[1][bin];
            if (isTone[bin] || !(product > 0.0))
                continue;
            const auto coherency = mean.cross[bin] / std::sqrt(product);
            squared += std::norm(coherency);
            sum += coherency;
            ++count;
        }
        if (count == 0)
            continue;
        squared /= static_cast<double>(count);
        // By chance alone the squared coherence of n independent segments reads 1/n.
        const double chance = 1.0 / mean.numIndependent;
        const double coherence =
            std::sqrt(std::clamp((squared - chance) / (1.0 - chance), 0.0, 1.0));
        for (std::size_t part = band; part < band + 4; ++part) {
            state.coherence[part] = coherence;
            state.coherencePhaseRadians[part] = std::arg(sum);
        }
    }
}

/** Mean squares of consecutive blocks of 62.5 ms of one channel, 18 Hz to 22 kHz, without the
    lines of the tones. */
std::vector<double> blockPowers(std::span<const float> samples, double sampleRate,
                                const std::vector<ToneLines>& tones, double binHz)
{
    // Half-overlapping pieces whose windows add up to one: a filter for any length of recording.
    const std::size_t size = dsp::fastFftSize(static_cast<std::size_t>(4.0 * sampleRate));
    const std::size_t hop = size / 2;
    dsp::RealFft<double> fft(size);
    const double fineHz = sampleRate / static_cast<double>(size);
    std::vector<double> passes(fft.numBins(), 1.0);
    const auto stop = [&](double fromHz, double toHz) {
        const auto first = static_cast<std::size_t>(std::max(0.0, fromHz / fineHz));
        const auto last = std::min(passes.size() - 1, static_cast<std::size_t>(toHz / fineHz));
        for (std::size_t bin = first; bin <= last; ++bin)
            passes[bin] = 0.0;
    };
    stop(0.0, noiseBandEdgeHz(0));
    if (noiseBandEdgeHz(numNoiseBands) < 0.5 * sampleRate)
        stop(noiseBandEdgeHz(numNoiseBands), 0.5 * sampleRate);
    for (const ToneLines& tone : tones)
        stop((static_cast<double>(tone.first) - 0.5) * binHz,
             (static_cast<double>(tone.last) + 0.5) * binHz);

    std::vector<double> window(size);
    for (std::size_t frame = 0; frame < size; ++frame)
        window[frame] = 0.5
                        - 0.5
                              * std::cos(2.0 * std::numbers::pi * static_cast<double>(frame)
                                         / static_cast<double>(size));
    const double blockFrames = levelBlockSeconds * sampleRate;
    const auto blockEnd = [&](std::size_t block) {
        return static_cast<std::size_t>(std::lround(static_cast<double>(block + 1) * blockFrames));
    };
    std::vector<double> powers;
    std::vector<double> carried(hop, 0.0); // second half of the piece before
    double sum = 0.0;
    std::size_t blockBegin = 0;
    for (std::size_t piece = 0; piece * hop < samples.size() + hop; ++piece) {
        // Pieces begin one hop before the recording.
        const auto time = fft.time();
        for (std::size_t frame = 0; frame < size; ++frame) {
            const std::size_t place = piece * hop + frame;
            time[frame] = place >= hop && place - hop < samples.size()
                              ? window[frame] * static_cast<double>(samples[place - hop])
                              : 0.0;
        }
        fft.forward();
        for (std::size_t bin = 0; bin < passes.size(); ++bin)
            fft.spectrum()[bin] *= passes[bin];
        fft.inverse();
        const auto filtered = fft.time();
        for (std::size_t frame = 0; frame < hop; ++frame) {
            const std::size_t place = piece * hop + frame;
            if (place < hop || place - hop >= samples.size())
                continue;
            const double sample = carried[frame] + filtered[frame];
            sum += sample * sample;
            const std::size_t end = place - hop + 1;
            if (end == blockEnd(powers.size())) {
                powers.push_back(sum / static_cast<double>(end - blockBegin));
                sum = 0.0;
                blockBegin = end;
            }
        }
        std::copy_n(filtered.begin() + static_cast<std::ptrdiff_t>(hop), hop, carried.begin());
    }
    return powers;
}

/** Levels of 125 ms, 16 a second, in dB less their mean; of an even number. */
std::vector<double> shortTimeLevels(const std::vector<double>& powers)
{
    std::vector<double> levels;
    for (std::size_t block = 1; block < powers.size(); ++block)
        levels.push_back(dsp::powerToDb(0.5 * (powers[block - 1] + powers[block])));
    if (levels.size() % 2 != 0)
        levels.pop_back();
    double mean = 0.0;
    for (const double level : levels)
        mean += level / static_cast<double>(levels.size());
    for (double& level : levels)
        level -= mean;
    return levels;
}

/** How 125 ms levels move, below 4 Hz. */
struct LevelMovement {
    std::array<double, numModulationBands> variancesDb2 {}; ///< Mean of the ears.
    double slowDensityDb2PerHz = 0.0;                       ///< Below 1 Hz.
    double earCovarianceDb2 = 0.0;
    double thirdMoment = 0.0; ///< Of the levels, all frequencies.

    [[nodiscard]] double variance() const
    {
        double sum = 0.0;
        for (const double value : variancesDb2)
            sum += value;
        return sum;
    }
};

LevelMovement levelMovement(const std::array<std::vector<double>, numEars>& levels)
{
    LevelMovement movement;
    const std::size_t count = levels[0].size();
    dsp::RealFft<double> fft(count);
    std::array<std::vector<std::complex<double>>, numEars> lines;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        std::ranges::copy(levels[ear], fft.time().begin());
        fft.forward();
        lines[ear].assign(fft.spectrum().begin(), fft.spectrum().end());
        for (const double level : levels[ear])
            movement.thirdMoment += 0.5 * level * level * level / static_cast<double>(count);
    }
    const double lineHz = 1.0 / (levelBlockSeconds * static_cast<double>(count));
    const double scale = 2.0 / (static_cast<double>(count) * static_cast<double>(count));
    double slow = 0.0;
    for (std::size_t line = 1; line + 1 < lines[0].size(); ++line) {
        const double frequencyHz = static_cast<double>(line) * lineHz;
        if (frequencyHz >= modulationEdgeHz(numModulationBands))
            break;
        std::size_t band = 0;
        while (modulationEdgeHz(band + 1) <= frequencyHz)
            ++band;
        const double power = 0.5 * scale * (std::norm(lines[0][line]) + std::norm(lines[1][line]));
        movement.variancesDb2[band] += power;
        if (frequencyHz < 1.0)
            slow += power;
        movement.earCovarianceDb2 += scale * (lines[0][line] * std::conj(lines[1][line])).real();
    }
    movement.slowDensityDb2PerHz = slow;
    return movement;
}

/** Movement of the 125 ms level that steady noise of a state shows by chance. */
LevelMovement chanceMovement(const NoiseState& state, double sampleRate,
                             const std::vector<ToneLines>& tones, double binHz)
{
    constexpr double seconds = 120.0;
    NoiseRecording steady;
    steady.state = state;
    steady.state.fluctuation = {};
    steady.state.numTones = 0;
    RecordedNoise noise;
    noise.recordings.push_back(std::move(steady));
    NoiseTexture texture(std::move(noise), 1);
    constexpr std::size_t blockFrames = 4096;
    texture.prepare({sampleRate, blockFrames, numEars});
    dsp::AudioBuffer audio =
        dsp::makeSilence(sampleRate, numEars, static_cast<std::size_t>(seconds * sampleRate));
    for (std::size_t done = 0; done < audio.numFrames(); done += blockFrames) {
        const std::array<float*, numEars> pointers {audio.channels[0].data() + done,
                                                    audio.channels[1].data() + done};
        texture.process(
            {pointers.data(), numEars, std::min(blockFrames, audio.numFrames() - done)});
    }
    return levelMovement(
        {shortTimeLevels(blockPowers(audio.channels[0], sampleRate, tones, binHz)),
         shortTimeLevels(blockPowers(audio.channels[1], sampleRate, tones, binHz))});
}

/** The gain's fluctuation: what was recorded less what chance does. */
LevelFluctuation describeFluctuation(const LevelMovement& recorded, const LevelMovement& chance,
                                     double durationSeconds)
{
    LevelFluctuation fluctuation;
    double total = 0.0;
    double positive = 0.0;
    for (std::size_t band = 0; band < numModulationBands; ++band) {
        const double lowerHz = modulationEdgeHz(band);
        const double upperHz = modulationEdgeHz(band + 1);
        // Few lines fall into a slow band; chance has the same density in all of them.
        const double byChance = upperHz <= 1.001 ? chance.slowDensityDb2PerHz * (upperHz - lowerHz)
                                                 : chance.variancesDb2[band];
        const double argument = std::numbers::pi * 0.125 * std::sqrt(lowerHz * upperHz);
        const double averaging = std::sin(argument) / argument;
        const double excess = recorded.variancesDb2[band] - byChance;
        fluctuation.variancesDb2[band] = std::max(0.0, excess) / (averaging * averaging);
        total += excess;
        positive += std::max(0.0, excess);
    }
    // Bands below chance are chance too: they take as much from the others.
    const double share = total > 0.0 ? total / positive : 0.0;
    // No gust does more; what does is no road noise, and a model must stay within its file's range.
    constexpr double largestTotal = 225.0;
    const double most = std::min(1.0, largestTotal / std::max(total, 1e-9));
    for (double& variance : fluctuation.variancesDb2)
        variance = std::min(variance * share * most, largestTotal);

    const double deviation = fluctuation.deviationDb();
    if (deviation > 0.3) {
        const double raw =
            (recorded.thirdMoment - chance.thirdMoment) / (deviation * deviation * deviation);
        // The skewness of n values spreads by the root of 6/n; gusts last some two seconds.
        const double spread = 6.0 / (0.5 * durationSeconds);
        fluctuation.skewness = std::clamp(raw * raw * raw / (raw * raw + spread), -1.0, 1.0);
        fluctuation.earCorrelation = std::clamp(
            (recorded.earCovarianceDb2 - chance.earCovarianceDb2) / std::max(total, 1e-9), 0.0,
            1.0);
    }
    return fluctuation;
}

/** What the course of the level says about the recording. */
void remarkOnCourse(const std::vector<double>& powers, double deviationDb,
                    std::vector<std::string>& remarks)
{
    const auto levelDb = [&](std::size_t from, std::size_t to) {
        double sum = 0.0;
        for (std::size_t block = from; block < to; ++block)
            sum += powers[block] / static_cast<double>(to - from);
        return dsp::powerToDb(sum);
    };
    const std::size_t half = powers.size() / 2;
    const double change = levelDb(half, powers.size()) - levelDb(0, half);
    constexpr double largestChangeDb = 3.0;
    if (std::abs(change) > largestChangeDb)
        remarks.push_back("the second half is " + fixedText(std::abs(change), 1) + " dB "
                          + (change > 0.0 ? "louder" : "quieter")
                          + " than the first: the speed or the surface changed; the texture holds "
                            "the mean of both, a stretch at constant speed would be better");
    std::vector<double> sorted = powers;
    const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(half);
    std::ranges::nth_element(sorted, middle);
    // Gusts seldom pass four standard deviations.
    const double burstDb = std::max(12.0, 4.0 * deviationDb);
    const double burst = *middle * dsp::dbToPower(burstDb);
    const auto numBursts = std::ranges::count_if(powers, [&](double p) { return p > burst; });
    if (numBursts > 0) {
        const auto loudest = std::ranges::max_element(powers) - powers.begin();
        remarks.push_back(
            "bursts of more than " + fixedText(burstDb, 0) + " dB above the usual level ("
            + fixedText(static_cast<double>(numBursts) * levelBlockSeconds, 1)
            + " s in all, the loudest at "
            + fixedText(static_cast<double>(loudest) * levelBlockSeconds, 1)
            + " s): handling, a bump or a passing vehicle; they raise the texture's level, so cut "
              "them out if they do not belong to the ride");
    }
}

dsp::Result<void> checkRecording(const std::string& name, const dsp::AudioBuffer& audio)
{
    const auto refused = [&](dsp::ErrorCode code, const std::string& reason) {
        return dsp::fail(code, "recording '" + name + "': " + reason);
    };
    if (audio.numChannels() < 1 || audio.numChannels() > numEars)
        return refused(dsp::ErrorCode::unsupported,
                       std::to_string(audio.numChannels())
                           + " channels; road noise is one channel, or two for left and right ear");
    if (audio.durationSeconds() < shortestNoiseSeconds)
        return refused(dsp::ErrorCode::notTrustworthy,
                       "only " + fixedText(audio.durationSeconds(), 1) + " s long; record at least "
                           + fixedText(shortestNoiseSeconds, 0) + " s at constant speed, better "
                           + fixedText(wantedNoiseSeconds, 0) + " s");
    for (const auto& channel : audio.channels) {
        if (auto check = measure::checkNotSilent(channel, name); !check)
            return check;
        if (auto check = measure::checkNotDamaged(channel, audio.sampleRate, name); !check)
            return check;
        if (auto check = measure::checkNotClipped(channel, audio.sampleRate, name); !check)
            return check;
        std::size_t run = 0;
        for (std::size_t frame = 0; frame < channel.size(); ++frame) {
            run = channel[frame] == 0.0F ? run + 1 : 0;
            if (static_cast<double>(run) > levelBlockSeconds * audio.sampleRate)
                return refused(dsp::ErrorCode::notTrustworthy,
                               "digital silence at "
                                   + fixedText(static_cast<double>(frame) / audio.sampleRate, 1)
                                   + " s: the recorder dropped out or the file was padded; cut "
                                     "that stretch out or record again");
        }
    }
    return {};
}

} // namespace

dsp::Result<NoiseRecording> analyseNoise(const std::string& name, const dsp::AudioBuffer& audio,
                                         double speedKmh)
{
    if (const auto check = checkRecording(name, audio); !check)
        return dsp::fail(check.error().code, check.error().message);
    const bool isMono = audio.numChannels() == 1;
    NoiseRecording recording;
    recording.name = name;
    recording.durationSeconds = audio.durationSeconds();
    recording.sampleRate = audio.sampleRate;
    recording.numChannels = audio.numChannels();
    NoiseState& state = recording.state;
    state.speedKmh = speedKmh;

    SegmentReader reader(
        audio, dsp::fastFftSize(static_cast<std::size_t>(audio.sampleRate / lineSpacingHz)));
    const MeanSpectra mean = meanSpectra(reader);
    std::vector<double> both(mean.cross.size());
    for (std::size_t bin = 0; bin < both.size(); ++bin)
        both[bin] = mean.power[0][bin] + mean.power[1][bin];
    auto tones = findTones(both, noiseFloorDb(both, mean.binHz), mean.binHz);
    if (tones.size() > mostRecordedTones) {
        recording.remarks.push_back(std::to_string(tones.size()) + " tones stand out; the "
                                    + std::to_string(mostRecordedTones)
                                    + " most prominent are kept as tones, the others as noise");
        tones.resize(mostRecordedTones);
    }
    std::ranges::sort(tones, {}, &ToneLines::first);
    Spectra noise;
    for (std::size_t ear = 0; ear < numEars; ++ear)
        noise[ear] =
            withoutTones(mean.power[ear], noiseFloorDb(mean.power[ear], mean.binHz), tones);
    std::vector<double> noiseOfBoth(both.size());
    for (std::size_t bin = 0; bin < both.size(); ++bin)
        noiseOfBoth[bin] = noise[0][bin] + noise[1][bin];

    const auto tracks = trackTones(reader, tones, noiseOfBoth);
    std::size_t numUnsteady = 0;
    double strongestGlideDb = dsp::silenceDb;
    for (std::size_t index = 0; index < tones.size(); ++index) {
        double memorySeconds = state.glideMemorySeconds;
        const NoiseTone tone =
            describeTone(tones[index], tracks[index], mean, noise, memorySeconds);
        if (tone.glideProportion > 0.0 && tones[index].prominenceDb > strongestGlideDb) {
            strongestGlideDb = tones[index].prominenceDb;
            state.glideMemorySeconds = memorySeconds;
        }
        // A tone that is on for a sixth of the time deviates by as much.
        constexpr double unsteadyDb = 5.5;
        numUnsteady += tone.levelDeviationDb > unsteadyDb ? 1U : 0U;
        state.tones[state.numTones++] = tone;
    }
    describeNoise(mean, noise, tones, isMono, state);

    std::array<std::vector<double>, numEars> levels;
    std::vector<double> powers;
    for (std::size_t ear = 0; ear < numEars; ++ear) {
        const auto earPowers =
            isMono && ear == 1
                ? std::vector<double>()
                : blockPowers(audio.channels[ear], audio.sampleRate, tones, mean.binHz);
        levels[ear] = isMono && ear == 1 ? levels[0] : shortTimeLevels(earPowers);
        powers.resize(std::max(powers.size(), earPowers.size()), 0.0);
        for (std::size_t block = 0; block < earPowers.size(); ++block)
            powers[block] += earPowers[block];
    }
    const LevelMovement recorded = levelMovement(levels);
    recording.levelDeviationDb = std::sqrt(recorded.variance());
    state.fluctuation =
        describeFluctuation(recorded, chanceMovement(state, audio.sampleRate, tones, mean.binHz),
                            recording.durationSeconds);
    if (isMono)
        state.fluctuation.earCorrelation = 1.0;

    remarkOnCourse(powers, recording.levelDeviationDb, recording.remarks);
    if (isMono)
        recording.remarks.push_back("one channel: both ears get its spectrum, with noise that is "
                                    "unrelated between them (judgement)");
    if (recording.durationSeconds < wantedNoiseSeconds)
        recording.remarks.push_back(fixedText(recording.durationSeconds, 0)
                                    + " s long: gusts slower than that are not known; "
                                    + fixedText(wantedNoiseSeconds, 0) + " s would be better");
    if (0.5 * audio.sampleRate < noiseBandEdgeHz(numNoiseBands))
        recording.remarks.push_back("the recording's sample rate ends at "
                                    + fixedText(0.5 * audio.sampleRate, 0)
                                    + " Hz; the texture is silent above");
    constexpr double largestDeviationDb = 6.0;
    if (recording.levelDeviationDb > largestDeviationDb)
        recording.remarks.push_back(
            "the level fluctuates by " + fixedText(recording.levelDeviationDb, 1)
            + " dB (standard deviation): this is more than gusts at a constant speed usually do "
              "(judgement); music, speech or changes of speed may be in it");
    if (numUnsteady >= 3)
        recording.remarks.push_back(std::to_string(numUnsteady)
                                    + " tones come and go: music or speech may be in the "
                                      "recording; switch the radio off for it");
    return recording;
}

} // namespace saddletone::ride
