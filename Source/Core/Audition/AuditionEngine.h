#pragma once

#include "Core/Audition/AuditionScene.h"
#include "Core/Audition/ListeningGuard.h"
#include "Core/Audition/NonlinearBranch.h"
#include "Core/Audition/ProgrammeConvolver.h"
#include "Core/Audition/TruePeakLimiter.h"
#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/LinearRamp.h"
#include "Core/Dsp/ProcessSpec.h"
#include "Core/Ride/RideNoise.h"

#include <array>
#include <atomic>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

namespace saddletone::audition {

/** What is sent to the headphones. */
enum class Monitor {
    programmeAndNoise,
    programmeOnly,
    noiseOnly,
    untouched ///< The programme without bike and noise, at the level of the audition.
};

/** Plays programme through one of up to eight candidates with ride noise, in real time.

    Zero latency. Candidates share one history of the programme, so a switch is a 20 ms fade between
    complete tails, which begins switchDelayFrames() after it was asked for: of equal power, or of
    equal gain between candidates that sound alike (see SceneCandidate::kinship), which would
    otherwise swell by 3 dB. What overdriven speakers add has no history: its tail grows from the
    moment of asking. The noise goes through the scene's correction of the headphones. The ceiling is
    always last. For a given seed, scene and parameters the
    output is the same, to the bit, however the stream is cut; only the layout, see
    Settings::layoutBlockFrames, changes its last bits. A level that is set to NaN stays as it was. */
class AuditionEngine {
public:
    struct Settings {
        std::uint64_t noiseSeed = 1;
        double startRampSeconds = 1.0;  ///< Rise from silence after a reset; 0 to 10.
        double fadeSeconds = 0.02;      ///< Candidate switch; 0.005 to 1.
        double glideSeconds = 0.05;     ///< Level changes; 0 to 1.
        double maxKernelSeconds = 0.68; ///< Longest response the engine holds; 0.01 to 10.
        /** Block length that the layout is chosen for, and a scene's kernels with it; 0: the
            maxBlockFrames of prepare(), whose kernels fit no engine prepared otherwise. */
        std::size_t layoutBlockFrames = 512;

        bool operator==(const Settings&) const = default;
    };

    struct Parameters {
        std::size_t candidate = 0; ///< Index; one past the end means the last.
        RideChoice ride;
        /** Radio's volume against where it stood when the states were measured, -60 to 30. */
        double volumeDb = 0.0;
        double noiseTrimDb = 0.0;     ///< -24 to 12; 0 = as on the road.
        double outputLevelDb = -12.0; ///< -60 to 0.
        double ceilingDbfs = -6.0;    ///< True peak, -60 to 0.
        /** See ListeningGuard::Parameters. */
        double headphoneSplAtFullScaleDb = 0.0;
        double ceilingDba = 80.0;
        Monitor monitor = Monitor::programmeAndNoise;
        LevelMatch match = LevelMatch::asOnTheBike;
        bool overdriven = true; ///< What overdriven speakers add is heard.

        bool operator==(const Parameters&) const = default;
    };

    // Setup (may allocate, not during process)
    explicit AuditionEngine(const Settings& engineSettings);
    ~AuditionEngine();
    AuditionEngine(const AuditionEngine&) = delete;
    AuditionEngine& operator=(const AuditionEngine&) = delete;

    /** sampleRate 8 to 400 kHz; spec.numChannels is ignored, output is always two ears. */
    void prepare(const dsp::ProcessSpec& spec);

    /** The layout kernels have to be made for, at the rate of the last prepare(). */
    [[nodiscard]] const PartitionLayout& layout() const noexcept { return partitionLayout; }

    /** Hands over a new scene; the audio thread fades to it. Call from one thread only, which
        also frees the scenes that the audio thread has left. Not before prepare(). */
    void publish(std::unique_ptr<AuditionScene> scene);

    /** Frees scenes no longer heard. The thread that publishes calls it now and then. */
    void collectGarbage();

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Forgets programme and noise, takes up a published scene at once and rises from silence. */
    void reset() noexcept;
    void setParameters(const Parameters& newParameters) noexcept;

    /** input: one or two channels (one is heard in both ears); output: two. The two may be the
        same memory. NaN, Inf and samples beyond 60 dB over full scale in the input count as
        silence. */
    void process(dsp::ChannelView<const float> input, dsp::ChannelView<float> output) noexcept;

    // Any thread
    [[nodiscard]] static constexpr std::size_t latencySamples() noexcept { return 0; }
    /** Frames between asking for a switch and the first of its fade, in which the tail of the new
        candidate is made. */
    [[nodiscard]] static constexpr std::size_t switchDelayFrames() noexcept
    {
        return ProgrammeConvolver::warmUpFrames;
    }
    /** Largest output sample of the last block, linear. */
    [[nodiscard]] float outputPeak() const noexcept
    {
        return outputPeakLinear.load(std::memory_order_relaxed);
    }
    /** Gain the ceiling applies, linear; 1 = none. */
    [[nodiscard]] float ceilingGain() const noexcept
    {
        return ceilingGainLinear.load(std::memory_order_relaxed);
    }
    /** Gain that keeps the level at the ear below its ceiling, linear; 1 = none. */
    [[nodiscard]] float guardGain() const noexcept
    {
        return guardGainLinear.load(std::memory_order_relaxed);
    }
    /** Least gain of the hold in the last block, linear: less than 1 where the programme drives an
        overdriven candidate's speakers harder than was measured. */
    [[nodiscard]] float driveHoldGain() const noexcept
    {
        return driveHoldGainLinear.load(std::memory_order_relaxed);
    }
    /** See ListeningGuard::levelDba(). */
    [[nodiscard]] float earLevelDba() const noexcept
    {
        return earLevel.load(std::memory_order_relaxed);
    }

private:
    /** One candidate being heard. */
    struct Voice {
        const AuditionScene* scene = nullptr;
        std::size_t candidate = 0;
        dsp::LinearRamp gain;
        dsp::LinearRamp radioGain;     // how hard it drives the speakers
        dsp::LinearRamp overdriveGain; // 1 = heard, 0 = switched off
        std::unique_ptr<NonlinearBranch> branch;
        const NonlinearDesign* design = nullptr; // that the branch has
        bool branchIsBehind = false;             // it has not heard the programme for a while

        [[nodiscard]] const SceneCandidate* playing() const noexcept
        {
            return scene == nullptr || scene->candidates.empty() ? nullptr
                                                                 : &scene->candidates[candidate];
        }
    };

    [[nodiscard]] std::size_t clampedCandidate(const AuditionScene* scene) const noexcept;
    void updateTargets() noexcept;
    void updateNoise(const AuditionScene& scene, const AuditionLevels& levels) noexcept;
    [[nodiscard]] double outputLevelDb() const noexcept;
    [[nodiscard]] bool renderNoise(std::size_t numFrames) noexcept;
    void addNoise(ride::NoiseTexture* texture, std::size_t numFrames, bool isFadingOut) noexcept;
    void correctNoise(bool isHeard, std::size_t numFrames) noexcept;
    void startSwitches() noexcept;
    void beginSwitch(const AuditionScene* scene, std::size_t candidate) noexcept;
    void beginFade() noexcept;
    void finishFade() noexcept;
    [[nodiscard]] float fadeGain(std::size_t position) const noexcept;
    [[nodiscard]] std::size_t numFreeRetiredPlaces() const noexcept;
    void retire(const AuditionScene* scene) noexcept;
    void startOverdrive(Voice& voice) noexcept;
    void stopOverdrive(Voice& voice) noexcept;
    bool renderOverdrive(Voice& voice, std::size_t numFrames) noexcept;
    void renderVoice(std::size_t voice, std::size_t numFrames) noexcept;
    void processPiece(dsp::ChannelView<const float> input, dsp::ChannelView<float> output,
                      std::size_t begin, std::size_t numFrames) noexcept;

    Settings settings;
    Parameters parameters;
    double sampleRate = 48000.0;
    PartitionLayout partitionLayout;

    ProgrammeConvolver convolver;
    std::array<Voice, 2> voices;
    std::size_t activeVoice = 0;
    std::vector<float> fadeIn; // equal-power rise, one value a frame; its square adds up to one
    std::size_t fadePosition = 0;
    bool fadesAlike = false;
    bool fading = false;
    std::size_t framesToFade = 0; // of a switch that has begun; 0: none, or it fades already

    ride::RideNoise rideNoise;
    std::uint64_t noisePosition = 0; // in frames
    dsp::LinearRamp noiseGain;
    // The headphones' correction of the noise; in step with the convolver. Its voices change with a
    // scene of another correction only.
    ProgrammeConvolver noiseConvolver;
    std::size_t noiseVoice = 0;
    bool noiseSwitches = false;
    dsp::LinearRamp programmeMix; // 1 = bike, 0 = untouched or none
    dsp::LinearRamp untouchedGain;
    ListeningGuard guard;
    TruePeakLimiter limiter;
    std::size_t startRampFrames = 0;
    std::size_t framesSinceReset = 0;

    std::array<ProgrammeConvolver::Piece, numEars> pieceInput {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceVoice {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceDriven {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceOverdrive {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceOutput {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceNoise {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceSource {};
    std::array<ProgrammeConvolver::Piece, numEars> pieceBefore {};

    // Of the thread that publishes; scenes with the same recordings share one texture.
    std::shared_ptr<const ride::RecordedNoise> texturedNoise;
    std::shared_ptr<ride::NoiseTexture> newestTexture;

    std::atomic<const AuditionScene*> pending {nullptr};
    // Two places: a reset within a fade leaves the scene faded from and the one faded to.
    std::array<std::atomic<const AuditionScene*>, 2> retired {};
    static_assert(std::atomic<const AuditionScene*>::is_always_lock_free);
    std::atomic<float> outputPeakLinear {0.0F};
    std::atomic<float> ceilingGainLinear {1.0F};
    std::atomic<float> guardGainLinear {1.0F};
    float leastHoldGain = 1.0F; // of the block being processed
    std::atomic<float> driveHoldGainLinear {1.0F};
    std::atomic<float> earLevel {static_cast<float>(dsp::silenceDb)};
    static_assert(std::atomic<float>::is_always_lock_free);
};

/** Levels at which the engine plays a candidate of a scene with given parameters: for display,
    reports and the engine itself. */
[[nodiscard]] AuditionLevels levelsOf(const AuditionScene& scene, const SceneCandidate& candidate,
                                      const AuditionEngine::Parameters& parameters) noexcept;

} // namespace saddletone::audition
