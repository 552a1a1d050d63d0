#pragma once

#include "Core/Audition/AuditionEngine.h"

#include <array>
#include <atomic>
#include <cstdint>
#include <memory>
#include <vector>

namespace saddletone::audition {

/** Lets an engine play what a blind test wants and nobody is to see: the candidate does not go
    through any parameter, and what the run was started with holds until it ends.

    Every switch is the same short dip into silence, in which the engine fades from one candidate to
    the other, if it is another one at all. The fade itself could else be heard where two candidates
    differ and not where they are the same, and would give away what X is. */
class BlindListening {
public:
    static constexpr double fadeSeconds = 0.02;
    /** Longer than the engine's fade, which must be over before anything is heard again. */
    static constexpr double silenceSeconds = 0.04;

    // Setup (may allocate, not during process)
    void prepare(double sampleRate);

    // Message thread
    /** From now on these hold in place of the engine's own parameters, but for output level and
        ceiling, which stay in the listener's hands, and for the candidate. May allocate. */
    void begin(const AuditionEngine::Parameters& conditions, std::size_t candidate);
    /** Switches, even if it is the same candidate again. */
    void switchTo(std::size_t candidate) noexcept;
    void end() noexcept;
    [[nodiscard]] bool isActive() const noexcept
    {
        return conditionsHeld.load(std::memory_order_acquire) != nullptr;
    }

    // Any thread
    /** A number that every call of process() makes another: whether there is audio at all. */
    [[nodiscard]] std::uint32_t blockCount() const noexcept
    {
        return numBlocks.load(std::memory_order_relaxed);
    }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** What is to be played when these are the engine's own parameters. A programme that is to be
        left untouched stays so. */
    [[nodiscard]] AuditionEngine::Parameters
    parametersOver(const AuditionEngine::Parameters& own) const noexcept;
    /** As AuditionEngine::setParameters() and process(). */
    void process(AuditionEngine& engine, const AuditionEngine::Parameters& own,
                 dsp::ChannelView<const float> input, dsp::ChannelView<float> output) noexcept;

private:
    enum class Phase { open, closing, silent, opening };

    /** One look at what the message thread wants. */
    struct Wish {
        const AuditionEngine::Parameters* conditions = nullptr; ///< Null: no run.
        std::uint32_t switched = 0;                             ///< As wanted.
    };

    [[nodiscard]] Wish wish() const noexcept;
    [[nodiscard]] static AuditionEngine::Parameters
    parametersOf(const Wish& wish, const AuditionEngine::Parameters& own) noexcept;
    void takeUp(const Wish& wish) noexcept;
    [[nodiscard]] std::size_t framesOf(Phase which) const noexcept;
    [[nodiscard]] float gainAt(std::size_t position) const noexcept;
    void startPhase(Phase next) noexcept;

    /** Conditions of all runs: the audio thread may still be looking at those before. */
    std::vector<std::unique_ptr<const AuditionEngine::Parameters>> conditions;
    std::atomic<const AuditionEngine::Parameters*> conditionsHeld {nullptr};
    static_assert(std::atomic<const AuditionEngine::Parameters*>::is_always_lock_free);
    /** Candidate in the low byte, above it a number that every switch makes another. */
    std::atomic<std::uint32_t> wanted {0};
    std::atomic<std::uint32_t> numBlocks {0};
    static_assert(std::atomic<std::uint32_t>::is_always_lock_free);

    // Audio thread
    std::size_t fadeFrames = 960;
    std::size_t silentFrames = 1920;
    Phase phase = Phase::open;
    std::size_t phasePosition = 0;
    Wish taken;
    AuditionEngine::Parameters last; ///< Before the switch; played until nothing is heard of it.
};

} // namespace saddletone::audition
