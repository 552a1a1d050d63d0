#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Dsp/Result.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::measure {

/** How levels are averaged over time: exponentially with 125 ms (fast) or 1 s (slow) by
    IEC 61672-1, over the last seconds (leq), or since the average was restarted (infinite). */
enum class Averaging { fast, slow, leq, infinite };

inline constexpr std::array allAveragings {Averaging::fast, Averaging::slow, Averaging::leq,
                                           Averaging::infinite};

/** The word used in files and on the screen: fast, slow, leq, infinite. */
[[nodiscard]] std::string_view averagingName(Averaging averaging) noexcept;
[[nodiscard]] dsp::Result<Averaging> parseAveraging(std::string_view name);

/** Sizes of the FFT view. */
inline constexpr std::array<std::size_t, 7> analyserFftSizes {1024,  2048,  4096, 8192,
                                                              16384, 32768, 65536};

/** What an analyser is built for; a change needs prepare(). */
struct AnalyserSettings {
    int bandsPerOctave = 3;      ///< 3, 6, 12 or 24.
    double fromHz = 20.0;        ///< Lowest band centre, nominal; 10 or more.
    double toHz = 20000.0;       ///< Highest band centre, nominal; bands beyond half the rate go.
    std::size_t fftSize = 16384; ///< One of analyserFftSizes.

    bool operator==(const AnalyserSettings&) const = default;
};

inline constexpr double shortestLeqSeconds = 0.5;
inline constexpr double longestLeqSeconds = 60.0;

/** What may change while the analyser runs. */
struct AnalyserParameters {
    Averaging averaging = Averaging::fast;
    dsp::Weighting weighting = dsp::Weighting::z; ///< Of bands and spectrum; totals come in all.
    /** Window of leq: shortestLeqSeconds to longestLeqSeconds, in steps of about 0.1 s. */
    double leqSeconds = 10.0;
    /** dB SPL of 0 dBFS, -100 to 300; missing: levels are dBFS. */
    std::optional<double> splOffsetDb = std::nullopt;

    bool operator==(const AnalyserParameters&) const = default;
};

/** Levels at one moment, a plain value. Levels are AES17 dBFS, or dB SPL where
    parameters.splOffsetDb is set; several channels read as the mean of their powers; silence
    reads dsp::silenceDb without the offset. */
struct AnalyserSnapshot {
    AnalyserSettings settings;
    AnalyserParameters parameters;
    double sampleRate = 0.0; ///< 0 before prepare().
    std::vector<dsp::Band> bands;
    std::vector<double> levelsDb;   ///< One a band, by parameters.averaging.
    std::vector<double> peakHoldDb; ///< Highest slow level if averaging is slow, else highest fast.
    double totalADb = dsp::silenceDb; ///< All frequencies, A-weighted, by parameters.averaging.
    double totalCDb = dsp::silenceDb;
    double totalZDb = dsp::silenceDb;
    double highestSampleDbfs = dsp::silenceDb; ///< Largest magnitude re full scale since the peak
                                               ///< hold was reset; 0 and more: clipped.
    double averagedSeconds = 0.0;              ///< Time inside the leq or infinite average so far.
    double streamSeconds = 0.0;                ///< Audio since reset().
    /** Averaged spectrum, weighted, one a bin from 0 Hz by binHz; a sine on a bin reads its level.
        Empty until the first transform. In leq: the mean over the last whole window. */
    std::vector<double> spectrumDb;
    double binHz = 0.0;
    double noiseBandwidthHz = 0.0; ///< Of a bin (Hann: 1.5 bins); density = level - 10 log10 of it.

    [[nodiscard]] bool isSpl() const noexcept { return parameters.splOffsetDb.has_value(); }
    /** The total of parameters.weighting. */
    [[nodiscard]] double totalDb() const noexcept;
};

/** Live analyser: fractional octaves by filters (dsp::OctaveFilterBank), totals in A, C and Z, and
    an FFT view, for any number of channels. All averages run all the time, so that a change of
    averaging shows at once. Narrow low bands take their time: a filter needs about two divided by
    its width in Hz to settle. process() may stand on a real-time thread; an FFT of the largest
    sizes takes some hundred microseconds every half FFT length. The caller of process() holds a
    dsp::ScopedFlushDenormals. */
class StreamAnalyser {
public:
    // Setup (may allocate, not during process)
    StreamAnalyser();
    ~StreamAnalyser();
    StreamAnalyser(const StreamAnalyser&) = delete;
    StreamAnalyser& operator=(const StreamAnalyser&) = delete;
    /** Not during snapshot() either. */
    void prepare(const dsp::ProcessSpec& spec, const AnalyserSettings& settings = {});

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Forgets audio, averages and peak holds; keeps parameters. */
    void reset() noexcept;
    /** Takes 0 to maxBlockFrames frames; the values that are not finite count as silence. */
    void process(dsp::ChannelView<const float> block) noexcept;

    // Any thread
    /** Taken over at the next block. A new weighting restarts bands, spectrum and averages. */
    void setParameters(const AnalyserParameters& parameters) noexcept;
    [[nodiscard]] AnalyserParameters parameters() const noexcept;
    /** Starts leq and infinite anew at the next block. */
    void restartAverage() noexcept;
    /** Clears the peak holds at the next block. */
    void resetPeakHold() noexcept;
    /** The state after the last whole block; never waits, nor does process() wait for it. One
        thread at a time may ask. */
    [[nodiscard]] AnalyserSnapshot snapshot();

private:
    struct State;
    std::unique_ptr<State> state;
};

/** Levels kept to be shown beside others; a plain value, stored as JSON. */
struct AnalyserTrace {
    std::string name;
    AnalyserSettings settings;
    AnalyserParameters parameters;
    double sampleRate = 48000.0;
    std::vector<dsp::Band> bands;
    std::vector<double> levelsDb; ///< One a band; dBFS, or dB SPL with parameters.splOffsetDb.
    double totalADb = dsp::silenceDb;
    double totalCDb = dsp::silenceDb;
    double totalZDb = dsp::silenceDb;

    bool operator==(const AnalyserTrace&) const = default;
};

[[nodiscard]] AnalyserTrace traceOf(std::string name, const AnalyserSnapshot& snapshot);

/** NAME.trace.json, schema version 1. */
[[nodiscard]] dsp::Result<void> saveTrace(const AnalyserTrace& trace,
                                          const std::filesystem::path& file);
[[nodiscard]] dsp::Result<AnalyserTrace> loadTrace(const std::filesystem::path& file);

} // namespace saddletone::measure
