#include "Core/Measure/StreamAnalyser.h"

#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveFilterBank.h"
#include "Core/Dsp/WeightingFilter.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Measure/LatestValue.h"

#include <algorithm>
#include <atomic>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>
#include <utility>

#include <nlohmann/json.hpp>

namespace saddletone::measure {

namespace {

// Time constants of IEC 61672-1.
constexpr double fastSeconds = 0.125;
constexpr double slowSeconds = 1.0;

// Leq moves on in steps of about this length.
constexpr double chunkSeconds = 0.1;

constexpr std::string_view traceKind = "saddletone-analyser-trace";
constexpr int traceSchemaVersion = 1;

/** Largest magnitude a level is read from: far above full scale, and its square stays finite. */
constexpr float largestSample = 1e12F;

/** Averages of one power signal: a band or a total. */
struct Detector {
    double fastShare = 0.0; // of a new value in the exponential averages
    double slowShare = 0.0;
    double fast = 0.0;
    double slow = 0.0;
    double highestFast = 0.0;
    double highestSlow = 0.0;
    double chunkSum = 0.0;
    std::size_t chunkCount = 0;
    double infiniteSum = 0.0; // of whole chunks
    std::size_t infiniteCount = 0;
    // The window's sum would gather rounding errors as chunks enter and leave; it is taken afresh
    // from the chunks that entered whenever these have filled the window once.
    double windowSum = 0.0;
    double freshSum = 0.0;

    void take(std::span<const double> power) noexcept
    {
        for (const double value : power) {
            fast += fastShare * (value - fast);
            slow += slowShare * (value - slow);
            highestFast = std::max(highestFast, fast);
            highestSlow = std::max(highestSlow, slow);
            chunkSum += value;
        }
        chunkCount += power.size();
    }

    void restartAverage() noexcept
    {
        chunkSum = infiniteSum = windowSum = freshSum = 0.0;
        chunkCount = infiniteCount = 0;
    }
};

struct PublishedLevels {
    dsp::Weighting weighting = dsp::Weighting::z;
    double leqSeconds = 0.0;
    // Mean squares: bands, then totals in A, C and Z.
    std::vector<double> fast;
    std::vector<double> slow;
    std::vector<double> leq;
    std::vector<double> infinite;
    std::vector<double> highestFast;
    std::vector<double> highestSlow;
    double highestSample = 0.0;
    std::size_t leqFrames = 0;
    std::size_t infiniteFrames = 0;
    std::uint64_t streamFrames = 0;
};

struct PublishedSpectrum {
    bool hasPower = false;
    std::vector<double> power; // mean square of a sine on the bin
};

/** Mean of the spectra of one stretch. */
struct SpectrumSum {
    std::vector<double> sum;
    std::size_t count = 0;

    void clear() noexcept
    {
        std::ranges::fill(sum, 0.0);
        count = 0;
    }
};

double checked(float sample) noexcept
{
    return std::abs(sample) <= largestSample ? static_cast<double>(sample) : 0.0;
}

std::vector<double> levelsOf(std::span<const double> powers, double offsetDb)
{
    std::vector<double> levels;
    levels.reserve(powers.size());
    for (const double power : powers)
        levels.push_back(power > 0.0 ? dsp::rmsToDbfs(std::sqrt(power)) + offsetDb
                                     : dsp::silenceDb);
    return levels;
}

} // namespace

std::string_view averagingName(Averaging averaging) noexcept
{
    switch (averaging) {
    case Averaging::fast: return "fast";
    case Averaging::slow: return "slow";
    case Averaging::leq: return "leq";
    case Averaging::infinite: break;
    }
    return "infinite";
}

dsp::Result<Averaging> parseAveraging(std::string_view name)
{
    for (const Averaging averaging : allAveragings)
        if (averagingName(averaging) == name)
            return averaging;
    return dsp::fail(dsp::ErrorCode::malformed,
                     "averaging '" + std::string(name)
                         + "' is not known; use fast, slow, leq or infinite");
}

double AnalyserSnapshot::totalDb() const noexcept
{
    switch (parameters.weighting) {
    case dsp::Weighting::a: return totalADb;
    case dsp::Weighting::c: return totalCDb;
    case dsp::Weighting::z: break;
    }
    return totalZDb;
}

struct StreamAnalyser::State {
    // Shared by threads.
    std::atomic<Averaging> averaging {Averaging::fast};
    std::atomic<dsp::Weighting> weighting {dsp::Weighting::z};
    std::atomic<double> leqSeconds {AnalyserParameters {}.leqSeconds};
    std::atomic<double> splOffsetDb {std::numeric_limits<double>::quiet_NaN()}; // NaN: none
    std::atomic<bool> restartAsked {false};
    std::atomic<bool> peakResetAsked {false};
    static_assert(std::atomic<double>::is_always_lock_free);
    static_assert(std::atomic<Averaging>::is_always_lock_free);
    static_assert(std::atomic<dsp::Weighting>::is_always_lock_free);
    static_assert(std::atomic<bool>::is_always_lock_free);
    LatestValue<PublishedLevels> publishedLevels;
    LatestValue<PublishedSpectrum> publishedSpectrum;

    // Constant after prepare().
    dsp::ProcessSpec spec {48000.0, 0, 0};
    bool isPrepared = false;
    AnalyserSettings settings;
    std::vector<dsp::Band> bands;
    std::size_t numDetectors = 0;
    std::size_t chunkFrames = 1;
    std::size_t numRingChunks = 0;
    std::vector<double> window; // Hann
    double spectrumScale = 0.0;
    double fastSpectrumShare = 0.0;
    double slowSpectrumShare = 0.0;

    // The audio thread's own.
    dsp::Weighting ownWeighting = dsp::Weighting::z;
    Averaging ownAveraging = Averaging::fast;
    double ownLeqSeconds = 0.0;
    dsp::WeightingFilter filterA;
    dsp::WeightingFilter filterC;
    dsp::OctaveFilterBank bank;
    std::vector<std::vector<double>> audioA; // one a channel
    std::vector<std::vector<double>> audioC;
    std::vector<std::vector<double>> audioZ;
    std::vector<double*> pointersA;
    std::vector<double*> pointersC;
    std::vector<double*> pointersZ;
    std::vector<const double*> bankPointers;
    std::vector<double> power;
    std::vector<Detector> detectors; // bands, then totals in A, C and Z
    std::vector<double> ring;        // mean squares: [chunk][detector]
    std::size_t ringPosition = 0;    // where the next chunk goes
    std::size_t ringFilled = 0;
    std::size_t windowChunks = 1;
    std::size_t freshChunks = 0;
    std::size_t framesInChunk = 0;
    std::size_t framesAveraged = 0;
    std::uint64_t streamFrames = 0;
    float highestSample = 0.0F;
    dsp::RealFft<double> fft {2};
    std::vector<std::vector<double>> recent; // ring of fftSize frames, one a channel
    std::size_t recentPosition = 0;
    std::size_t framesToTransform = 0;
    std::vector<double> spectrum;
    std::vector<double> fastSpectrum;
    std::vector<double> slowSpectrum;
    bool hasSpectrum = false;
    SpectrumSum infiniteSpectrum;
    SpectrumSum windowSpectrum;
    std::vector<double> leqSpectrum; // of the last whole window
    bool hasLeqSpectrum = false;

    void prepare(const dsp::ProcessSpec& newSpec, const AnalyserSettings& newSettings);
    void reset() noexcept;
    void takeCommands() noexcept;
    void clearWeighted() noexcept;
    void clearSpectrum() noexcept;
    void restartAverage() noexcept;
    void setWindow() noexcept;
    void takeSegment(dsp::ChannelView<const float> block, std::size_t begin,
                     std::size_t numFrames) noexcept;
    void sumSquares(const std::vector<std::vector<double>>& audio, std::size_t numFrames,
                    Detector& detector) noexcept;
    void endChunk() noexcept;
    void transform() noexcept;
    void publishLevels() noexcept;
    void publishSpectrum() noexcept;
    [[nodiscard]] double leqOf(const Detector& detector) const noexcept;
};

void StreamAnalyser::State::prepare(const dsp::ProcessSpec& newSpec,
                                    const AnalyserSettings& newSettings)
{
    assert(std::ranges::find(analyserFftSizes, newSettings.fftSize) != analyserFftSizes.end());
    assert(newSpec.numChannels >= 1);
    assert(newSettings.fromHz >= 10.0 && newSettings.toHz > newSettings.fromHz);
    spec = newSpec;
    settings = newSettings;
    bank.prepare(spec, settings.bandsPerOctave, settings.fromHz, settings.toHz);
    bands.clear();
    std::size_t mostHalvings = 0;
    for (const dsp::OctaveFilter& filter : bank.filters()) {
        bands.push_back(filter.band);
        mostHalvings = std::max(mostHalvings, filter.halvings);
    }
    filterA.setParameters({dsp::Weighting::a});
    filterC.setParameters({dsp::Weighting::c});
    filterA.prepare(spec);
    filterC.prepare(spec);

    numDetectors = bands.size() + 3;
    detectors.assign(numDetectors, {});
    for (std::size_t index = 0; index < numDetectors; ++index) {
        const double rate =
            index < bands.size() ? bank.filters()[index].rate(spec.sampleRate) : spec.sampleRate;
        detectors[index].fastShare = -std::expm1(-1.0 / (fastSeconds * rate));
        detectors[index].slowShare = -std::expm1(-1.0 / (slowSeconds * rate));
    }
    // A chunk holds whole samples of the lowest rate, hence as many of every band each time.
    const double lowestRateFrames = std::ldexp(1.0, static_cast<int>(mostHalvings));
    chunkFrames = static_cast<std::size_t>(
        lowestRateFrames
        * std::max(1.0, std::round(chunkSeconds * spec.sampleRate / lowestRateFrames)));
    numRingChunks = static_cast<std::size_t>(
        std::ceil(longestLeqSeconds * spec.sampleRate / static_cast<double>(chunkFrames)));
    ring.assign(numRingChunks * numDetectors, 0.0);

    const std::size_t size = settings.fftSize;
    fft = dsp::RealFft<double>(size);
    window.resize(size);
    double windowSum = 0.0;
    for (std::size_t frame = 0; frame < size; ++frame) {
        window[frame] = 0.5
                        - 0.5
                              * std::cos(2.0 * std::numbers::pi * static_cast<double>(frame)
                                         / static_cast<double>(size));
        windowSum += window[frame];
    }
    spectrumScale =
        2.0
        / (windowSum * windowSum * static_cast<double>(std::max<std::size_t>(1, spec.numChannels)));
    const double hopSeconds = 0.5 * static_cast<double>(size) / spec.sampleRate;
    fastSpectrumShare = -std::expm1(-hopSeconds / fastSeconds);
    slowSpectrumShare = -std::expm1(-hopSeconds / slowSeconds);
    const std::size_t numBins = fft.numBins();
    for (auto* values : {&spectrum, &fastSpectrum, &slowSpectrum, &infiniteSpectrum.sum,
                         &windowSpectrum.sum, &leqSpectrum})
        values->assign(numBins, 0.0);
    recent.assign(spec.numChannels, std::vector<double>(size, 0.0));

    power.assign(spec.maxBlockFrames, 0.0);
    bankPointers.assign(spec.numChannels, nullptr);
    for (auto [audio, pointers] :
         {std::pair {&audioA, &pointersA}, {&audioC, &pointersC}, {&audioZ, &pointersZ}}) {
        audio->assign(spec.numChannels, std::vector<double>(spec.maxBlockFrames, 0.0));
        pointers->clear();
        for (auto& channel : *audio)
            pointers->push_back(channel.data());
    }
    publishedLevels.forEach([this](PublishedLevels& levels) {
        for (auto* values : {&levels.fast, &levels.slow, &levels.leq, &levels.infinite,
                             &levels.highestFast, &levels.highestSlow})
            values->assign(numDetectors, 0.0);
    });
    publishedSpectrum.forEach([numBins](PublishedSpectrum& published) {
        published.power.assign(numBins, 0.0);
        published.hasPower = false;
    });
    isPrepared = true;
    reset();
}

void StreamAnalyser::State::reset() noexcept
{
    restartAsked.store(false, std::memory_order_relaxed);
    peakResetAsked.store(false, std::memory_order_relaxed);
    ownWeighting = weighting.load(std::memory_order_relaxed);
    ownAveraging = averaging.load(std::memory_order_relaxed);
    ownLeqSeconds = leqSeconds.load(std::memory_order_relaxed);
    filterA.reset();
    filterC.reset();
    for (Detector& detector : detectors)
        detector.fast = detector.slow = detector.highestFast = detector.highestSlow = 0.0;
    highestSample = 0.0F;
    streamFrames = 0;
    clearWeighted();
    restartAverage();
    publishLevels();
    publishSpectrum();
}

void StreamAnalyser::State::clearWeighted() noexcept
{
    bank.reset();
    for (std::size_t band = 0; band < bands.size(); ++band) {
        Detector& detector = detectors[band];
        detector.fast = detector.slow = detector.highestFast = detector.highestSlow = 0.0;
    }
    for (auto& channel : recent)
        std::ranges::fill(channel, 0.0);
    recentPosition = 0;
    framesToTransform = settings.fftSize;
    std::ranges::fill(fastSpectrum, 0.0);
    std::ranges::fill(slowSpectrum, 0.0);
    hasSpectrum = false;
}

void StreamAnalyser::State::clearSpectrum() noexcept
{
    infiniteSpectrum.clear();
    windowSpectrum.clear();
    hasLeqSpectrum = false;
}

void StreamAnalyser::State::restartAverage() noexcept
{
    for (Detector& detector : detectors)
        detector.restartAverage();
    ringPosition = 0;
    ringFilled = 0;
    freshChunks = 0;
    framesInChunk = 0;
    framesAveraged = 0;
    clearSpectrum();
    setWindow();
}

void StreamAnalyser::State::setWindow() noexcept
{
    windowChunks = std::clamp<std::size_t>(
        static_cast<std::size_t>(
            std::lround(ownLeqSeconds * spec.sampleRate / static_cast<double>(chunkFrames))),
        1, numRingChunks);
    const std::size_t numChunks = std::min(windowChunks, ringFilled);
    for (std::size_t index = 0; index < numDetectors; ++index) {
        double sum = 0.0;
        for (std::size_t back = numChunks; back >= 1; --back)
            sum +=
                ring[(ringPosition + numRingChunks - back) % numRingChunks * numDetectors + index];
        detectors[index].windowSum = sum;
        detectors[index].freshSum = 0.0;
    }
    freshChunks = 0;
}

void StreamAnalyser::State::takeCommands() noexcept
{
    const dsp::Weighting newWeighting = weighting.load(std::memory_order_relaxed);
    const Averaging newAveraging = averaging.load(std::memory_order_relaxed);
    const double newLeqSeconds = leqSeconds.load(std::memory_order_relaxed);
    bool restarts = restartAsked.exchange(false, std::memory_order_acquire);
    if (newWeighting != ownWeighting) {
        ownWeighting = newWeighting;
        clearWeighted();
        restarts = true;
    }
    if (newLeqSeconds != ownLeqSeconds) {
        ownLeqSeconds = newLeqSeconds;
        windowSpectrum.clear();
        hasLeqSpectrum = false;
        setWindow();
    }
    if (restarts)
        restartAverage();
    if (newAveraging != ownAveraging || restarts) {
        ownAveraging = newAveraging;
        publishSpectrum();
    }
    if (peakResetAsked.exchange(false, std::memory_order_acquire)) {
        for (Detector& detector : detectors)
            detector.highestFast = detector.highestSlow = 0.0;
        highestSample = 0.0F;
    }
}

void StreamAnalyser::State::sumSquares(const std::vector<std::vector<double>>& audio,
                                       std::size_t numFrames, Detector& detector) noexcept
{
    const std::span<double> sum(power.data(), numFrames);
    std::ranges::fill(sum, 0.0);
    const double share = 1.0 / static_cast<double>(spec.numChannels);
    for (const auto& channel : audio)
        for (std::size_t frame = 0; frame < numFrames; ++frame)
            sum[frame] += share * (channel[frame] * channel[frame]);
    detector.take(sum);
}

void StreamAnalyser::State::takeSegment(dsp::ChannelView<const float> block, std::size_t begin,
                                        std::size_t numFrames) noexcept
{
    const std::size_t numChannels = spec.numChannels;
    for (std::size_t channel = 0; channel < numChannels; ++channel) {
        const auto source = block[channel].subspan(begin, numFrames);
        for (std::size_t frame = 0; frame < numFrames; ++frame) {
            audioZ[channel][frame] = checked(source[frame]);
            highestSample =
                std::max(highestSample, static_cast<float>(std::abs(audioZ[channel][frame])));
        }
    }
    const dsp::ChannelView<const double> plain(pointersZ.data(), numChannels, numFrames);
    filterA.process(plain, {pointersA.data(), numChannels, numFrames});
    filterC.process(plain, {pointersC.data(), numChannels, numFrames});

    const auto& weighted = ownWeighting == dsp::Weighting::a   ? audioA
                           : ownWeighting == dsp::Weighting::c ? audioC
                                                               : audioZ;
    for (std::size_t channel = 0; channel < numChannels; ++channel)
        bankPointers[channel] = weighted[channel].data();
    bank.process({bankPointers.data(), numChannels, numFrames});
    const double share = 1.0 / static_cast<double>(numChannels);
    for (std::size_t band = 0; band < bands.size(); ++band) {
        const std::span<double> sum(power.data(), bank.output(0, band).size());
        std::ranges::fill(sum, 0.0);
        for (std::size_t channel = 0; channel < numChannels; ++channel) {
            const auto output = bank.output(channel, band);
            for (std::size_t frame = 0; frame < sum.size(); ++frame)
                sum[frame] += share * (output[frame] * output[frame]);
        }
        detectors[band].take(sum);
    }
    sumSquares(audioA, numFrames, detectors[bands.size()]);
    sumSquares(audioC, numFrames, detectors[bands.size() + 1]);
    sumSquares(audioZ, numFrames, detectors[bands.size() + 2]);

    for (std::size_t channel = 0; channel < numChannels; ++channel) {
        const std::size_t untilEnd = std::min(numFrames, settings.fftSize - recentPosition);
        const auto from = weighted[channel].begin();
        std::copy_n(from, untilEnd,
                    recent[channel].begin() + static_cast<std::ptrdiff_t>(recentPosition));
        std::copy_n(from + static_cast<std::ptrdiff_t>(untilEnd), numFrames - untilEnd,
                    recent[channel].begin());
    }
    recentPosition = (recentPosition + numFrames) % settings.fftSize;
    streamFrames += numFrames;
    framesAveraged += numFrames;
    framesInChunk += numFrames;
    framesToTransform -= numFrames;
    if (framesInChunk == chunkFrames)
        endChunk();
    if (framesToTransform == 0) {
        transform();
        framesToTransform = settings.fftSize / 2;
    }
}

void StreamAnalyser::State::endChunk() noexcept
{
    const bool leaves = ringFilled >= windowChunks;
    const std::size_t oldest =
        (ringPosition + numRingChunks - windowChunks) % numRingChunks * numDetectors;
    ++freshChunks;
    for (std::size_t index = 0; index < numDetectors; ++index) {
        Detector& detector = detectors[index];
        const double mean = detector.chunkSum / static_cast<double>(detector.chunkCount);
        const double leaving = leaves ? ring[oldest + index] : 0.0;
        detector.windowSum = std::max(0.0, detector.windowSum + mean - leaving);
        detector.freshSum += mean;
        if (freshChunks == windowChunks) {
            detector.windowSum = detector.freshSum;
            detector.freshSum = 0.0;
        }
        ring[ringPosition * numDetectors + index] = mean;
        detector.infiniteSum += detector.chunkSum;
        detector.infiniteCount += detector.chunkCount;
        detector.chunkSum = 0.0;
        detector.chunkCount = 0;
    }
    if (freshChunks == windowChunks)
        freshChunks = 0;
    ringPosition = (ringPosition + 1) % numRingChunks;
    ringFilled = std::min(ringFilled + 1, numRingChunks);
    framesInChunk = 0;
}

void StreamAnalyser::State::transform() noexcept
{
    const std::size_t size = settings.fftSize;
    std::ranges::fill(spectrum, 0.0);
    for (const auto& channel : recent) {
        const auto time = fft.time();
        for (std::size_t frame = 0; frame < size; ++frame)
            time[frame] = window[frame] * channel[(recentPosition + frame) & (size - 1)];
        fft.forward();
        const auto bins = fft.spectrum();
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
            spectrum[bin] += spectrumScale * std::norm(bins[bin]);
    }
    // 0 Hz and half the rate have no mirror image.
    spectrum.front() *= 0.5;
    spectrum.back() *= 0.5;

    const double fastShare = hasSpectrum ? fastSpectrumShare : 1.0;
    const double slowShare = hasSpectrum ? slowSpectrumShare : 1.0;
    for (std::size_t bin = 0; bin < spectrum.size(); ++bin) {
        fastSpectrum[bin] += fastShare * (spectrum[bin] - fastSpectrum[bin]);
        slowSpectrum[bin] += slowShare * (spectrum[bin] - slowSpectrum[bin]);
        infiniteSpectrum.sum[bin] += spectrum[bin];
        windowSpectrum.sum[bin] += spectrum[bin];
    }
    hasSpectrum = true;
    ++infiniteSpectrum.count;
    ++windowSpectrum.count;
    const double coveredSeconds = 0.5 * static_cast<double>(size)
                                  * static_cast<double>(windowSpectrum.count) / spec.sampleRate;
    if (coveredSeconds >= ownLeqSeconds) {
        for (std::size_t bin = 0; bin < spectrum.size(); ++bin)
            leqSpectrum[bin] = windowSpectrum.sum[bin] / static_cast<double>(windowSpectrum.count);
        hasLeqSpectrum = true;
        windowSpectrum.clear();
    }
    publishSpectrum();
}

double StreamAnalyser::State::leqOf(const Detector& detector) const noexcept
{
    const std::size_t numChunks = std::min(windowChunks, ringFilled);
    if (numChunks > 0)
        return detector.windowSum / static_cast<double>(numChunks);
    return detector.chunkCount > 0 ? detector.chunkSum / static_cast<double>(detector.chunkCount)
                                   : 0.0;
}

void StreamAnalyser::State::publishLevels() noexcept
{
    PublishedLevels& levels = publishedLevels.writable();
    levels.weighting = ownWeighting;
    levels.leqSeconds = ownLeqSeconds;
    for (std::size_t index = 0; index < numDetectors; ++index) {
        const Detector& detector = detectors[index];
        levels.fast[index] = detector.fast;
        levels.slow[index] = detector.slow;
        levels.leq[index] = leqOf(detector);
        const std::size_t count = detector.infiniteCount + detector.chunkCount;
        levels.infinite[index] =
            count > 0 ? (detector.infiniteSum + detector.chunkSum) / static_cast<double>(count)
                      : 0.0;
        levels.highestFast[index] = detector.highestFast;
        levels.highestSlow[index] = detector.highestSlow;
    }
    levels.highestSample = static_cast<double>(highestSample);
    const std::size_t numChunks = std::min(windowChunks, ringFilled);
    levels.leqFrames = numChunks > 0 ? numChunks * chunkFrames : framesInChunk;
    levels.infiniteFrames = framesAveraged;
    levels.streamFrames = streamFrames;
    publishedLevels.publish();
}

void StreamAnalyser::State::publishSpectrum() noexcept
{
    PublishedSpectrum& published = publishedSpectrum.writable();
    published.hasPower = hasSpectrum;
    const auto copyMean = [&published](const SpectrumSum& spectra) {
        published.hasPower = spectra.count > 0;
        for (std::size_t bin = 0; bin < spectra.sum.size() && spectra.count > 0; ++bin)
            published.power[bin] = spectra.sum[bin] / static_cast<double>(spectra.count);
    };
    switch (ownAveraging) {
    case Averaging::fast: std::ranges::copy(fastSpectrum, published.power.begin()); break;
    case Averaging::slow: std::ranges::copy(slowSpectrum, published.power.begin()); break;
    case Averaging::leq:
        if (hasLeqSpectrum)
            std::ranges::copy(leqSpectrum, published.power.begin());
        else
            copyMean(windowSpectrum);
        break;
    case Averaging::infinite: copyMean(infiniteSpectrum); break;
    }
    publishedSpectrum.publish();
}

StreamAnalyser::StreamAnalyser() : state(std::make_unique<State>()) {}
StreamAnalyser::~StreamAnalyser() = default;

void StreamAnalyser::prepare(const dsp::ProcessSpec& spec, const AnalyserSettings& settings)
{
    state->prepare(spec, settings);
}

void StreamAnalyser::reset() noexcept
{
    if (state->isPrepared)
        state->reset();
}

void StreamAnalyser::process(dsp::ChannelView<const float> block) noexcept
{
    State& own = *state;
    assert(own.isPrepared && block.numChannels() == own.spec.numChannels);
    assert(block.numFrames() <= own.spec.maxBlockFrames);
    own.takeCommands();
    std::size_t begin = 0;
    while (begin < block.numFrames()) {
        const std::size_t numFrames =
            std::min({block.numFrames() - begin, own.chunkFrames - own.framesInChunk,
                      own.framesToTransform});
        own.takeSegment(block, begin, numFrames);
        begin += numFrames;
    }
    own.publishLevels();
}

void StreamAnalyser::setParameters(const AnalyserParameters& parameters) noexcept
{
    const double window =
        std::isfinite(parameters.leqSeconds)
            ? std::clamp(parameters.leqSeconds, shortestLeqSeconds, longestLeqSeconds)
            : AnalyserParameters {}.leqSeconds;
    const bool hasOffset =
        parameters.splOffsetDb.has_value() && std::isfinite(*parameters.splOffsetDb);
    state->averaging.store(parameters.averaging, std::memory_order_relaxed);
    state->weighting.store(parameters.weighting, std::memory_order_relaxed);
    state->leqSeconds.store(window, std::memory_order_relaxed);
    state->splOffsetDb.store(hasOffset ? *parameters.splOffsetDb
                                       : std::numeric_limits<double>::quiet_NaN(),
                             std::memory_order_relaxed);
}

AnalyserParameters StreamAnalyser::parameters() const noexcept
{
    AnalyserParameters parameters;
    parameters.averaging = state->averaging.load(std::memory_order_relaxed);
    parameters.weighting = state->weighting.load(std::memory_order_relaxed);
    parameters.leqSeconds = state->leqSeconds.load(std::memory_order_relaxed);
    if (const double offset = state->splOffsetDb.load(std::memory_order_relaxed);
        std::isfinite(offset))
        parameters.splOffsetDb = offset;
    return parameters;
}

void StreamAnalyser::restartAverage() noexcept
{
    state->restartAsked.store(true, std::memory_order_release);
}

void StreamAnalyser::resetPeakHold() noexcept
{
    state->peakResetAsked.store(true, std::memory_order_release);
}

AnalyserSnapshot StreamAnalyser::snapshot()
{
    AnalyserSnapshot result;
    result.parameters = parameters();
    if (!state->isPrepared)
        return result;
    const PublishedLevels& levels = state->publishedLevels.latest();
    result.settings = state->settings;
    result.sampleRate = state->spec.sampleRate;
    result.bands = state->bands;
    // What the levels were really taken with.
    result.parameters.weighting = levels.weighting;
    result.parameters.leqSeconds = levels.leqSeconds;

    const double offsetDb = result.parameters.splOffsetDb.value_or(0.0);
    const std::vector<double>* powers = nullptr;
    double averagedFrames = 0.0;
    switch (result.parameters.averaging) {
    case Averaging::fast: powers = &levels.fast; break;
    case Averaging::slow: powers = &levels.slow; break;
    case Averaging::leq:
        powers = &levels.leq;
        averagedFrames = static_cast<double>(levels.leqFrames);
        break;
    case Averaging::infinite:
        powers = &levels.infinite;
        averagedFrames = static_cast<double>(levels.infiniteFrames);
        break;
    }
    const std::size_t numBands = result.bands.size();
    result.levelsDb = levelsOf(std::span(*powers).first(numBands), offsetDb);
    const auto totals = levelsOf(std::span(*powers).subspan(numBands), offsetDb);
    result.totalADb = totals[0];
    result.totalCDb = totals[1];
    result.totalZDb = totals[2];
    const bool holdsSlow = result.parameters.averaging == Averaging::slow;
    result.peakHoldDb = levelsOf(
        std::span(holdsSlow ? levels.highestSlow : levels.highestFast).first(numBands), offsetDb);
    result.highestSampleDbfs = dsp::amplitudeToDb(levels.highestSample);
    result.averagedSeconds = averagedFrames / result.sampleRate;
    result.streamSeconds = static_cast<double>(levels.streamFrames) / result.sampleRate;
    result.binHz = result.sampleRate / static_cast<double>(result.settings.fftSize);
    result.noiseBandwidthHz = 1.5 * result.binHz;
    if (const PublishedSpectrum& spectrum = state->publishedSpectrum.latest(); spectrum.hasPower)
        result.spectrumDb = levelsOf(spectrum.power, offsetDb);
    return result;
}

AnalyserTrace traceOf(std::string name, const AnalyserSnapshot& snapshot)
{
    return {std::move(name),     snapshot.settings, snapshot.parameters,
            snapshot.sampleRate, snapshot.bands,    snapshot.levelsDb,
            snapshot.totalADb,   snapshot.totalCDb, snapshot.totalZDb};
}

dsp::Result<void> saveTrace(const AnalyserTrace& trace, const std::filesystem::path& file)
{
    nlohmann::json bands = nlohmann::json::array();
    for (std::size_t band = 0; band < trace.bands.size(); ++band)
        bands.push_back({{"centreHz", trace.bands[band].centreHz},
                         {"lowerHz", trace.bands[band].lowerHz},
                         {"upperHz", trace.bands[band].upperHz},
                         {"levelDb", trace.levelsDb[band]}});
    nlohmann::json json {{"kind", traceKind},
                         {"schemaVersion", traceSchemaVersion},
                         {"name", trace.name},
                         {"sampleRate", trace.sampleRate},
                         {"bandsPerOctave", trace.settings.bandsPerOctave},
                         {"fromHz", trace.settings.fromHz},
                         {"toHz", trace.settings.toHz},
                         {"fftSize", trace.settings.fftSize},
                         {"averaging", averagingName(trace.parameters.averaging)},
                         {"weighting", dsp::weightingName(trace.parameters.weighting)},
                         {"leqSeconds", trace.parameters.leqSeconds},
                         {"totalADb", trace.totalADb},
                         {"totalCDb", trace.totalCDb},
                         {"totalZDb", trace.totalZDb},
                         {"bands", std::move(bands)}};
    if (trace.parameters.splOffsetDb)
        json["splOffsetDb"] = *trace.parameters.splOffsetDb;
    return files::writeTextFile(file, files::jsonText(json));
}

dsp::Result<AnalyserTrace> loadTrace(const std::filesystem::path& file)
{
    const auto json = files::loadJson(file);
    if (!json)
        return json.unexpected();
    files::JsonReader reader(*json, file.string());
    reader.expectKind(traceKind, traceSchemaVersion);
    constexpr double lowestDb = dsp::silenceDb;
    constexpr double highestDb = 600.0;
    AnalyserTrace trace;
    trace.name = reader.text("name");
    trace.sampleRate = reader.number("sampleRate", 1000.0, 1e6);
    trace.settings.bandsPerOctave = static_cast<int>(reader.integer("bandsPerOctave", 3, 24));
    if (trace.settings.bandsPerOctave != 3 && trace.settings.bandsPerOctave != 6
        && trace.settings.bandsPerOctave != 12 && trace.settings.bandsPerOctave != 24)
        reader.reject("bandsPerOctave", "must be 3, 6, 12 or 24", dsp::ErrorCode::outOfRange);
    trace.settings.fromHz = reader.number("fromHz", 10.0, 1e6);
    trace.settings.toHz = reader.number("toHz", 10.0, 1e6);
    trace.settings.fftSize = static_cast<std::size_t>(
        reader.integer("fftSize", static_cast<long long>(analyserFftSizes.front()),
                       static_cast<long long>(analyserFftSizes.back()),
                       static_cast<long long>(trace.settings.fftSize)));
    if (std::ranges::find(analyserFftSizes, trace.settings.fftSize) == analyserFftSizes.end())
        reader.reject("fftSize", "must be a power of two", dsp::ErrorCode::outOfRange);
    if (const auto averaging = parseAveraging(reader.text("averaging")))
        trace.parameters.averaging = *averaging;
    else
        reader.reject("averaging", averaging.error().message);
    if (const auto weighting = dsp::parseWeighting(reader.text("weighting")))
        trace.parameters.weighting = *weighting;
    else
        reader.reject("weighting", weighting.error().message);
    trace.parameters.leqSeconds = reader.number("leqSeconds", shortestLeqSeconds, longestLeqSeconds,
                                                trace.parameters.leqSeconds);
    if (reader.has("splOffsetDb"))
        trace.parameters.splOffsetDb = reader.number("splOffsetDb", -100.0, 300.0);
    trace.totalADb = reader.number("totalADb", lowestDb, highestDb);
    trace.totalCDb = reader.number("totalCDb", lowestDb, highestDb);
    trace.totalZDb = reader.number("totalZDb", lowestDb, highestDb);
    for (files::JsonReader& band : reader.objects("bands")) {
        dsp::Band read;
        read.centreHz = band.number("centreHz", 1.0, 1e6);
        read.lowerHz = band.number("lowerHz", 1.0, 1e6);
        read.upperHz = band.number("upperHz", 1.0, 1e6);
        if (!(read.lowerHz < read.centreHz && read.centreHz < read.upperHz))
            band.reject("centreHz", "must lie between lowerHz and upperHz",
                        dsp::ErrorCode::outOfRange);
        if (!trace.bands.empty() && read.centreHz <= trace.bands.back().centreHz)
            band.reject("centreHz", "must be above that of the band before",
                        dsp::ErrorCode::outOfRange);
        trace.bands.push_back(read);
        trace.levelsDb.push_back(band.number("levelDb", lowestDb, highestDb));
        reader.absorb(band);
    }
    if (trace.bands.empty())
        reader.reject("bands", "must hold at least one band");
    if (reader.failure())
        return dsp::Unexpected {*reader.failure()};
    return trace;
}

} // namespace saddletone::measure
