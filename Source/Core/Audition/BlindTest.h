#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Dsp/Result.h"
#include "Core/Ride/Helmet.h"
#include "Core/Tuning/Tuning.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace saddletone::audition {

enum class BlindKind {
    abx,       ///< Two candidates as A and B; which of them is X?
    preference ///< Two to eight candidates under letters; which is liked best?
};

inline constexpr std::size_t fewestBlindTrials = 12;
inline constexpr std::size_t mostBlindTrials = 25;

/** Seeds stay below this, so that every reader of JSON keeps them whole. */
inline constexpr std::uint64_t blindSeedEnd = std::uint64_t {1} << 53U;

/** Name of the way from a seed to an order; see deriveBlindOrder(). */
inline constexpr std::string_view blindOrderMethod = "splitmix64-shuffle-1";

/** A candidate as it was played: enough to build it again from the job. */
struct BlindCandidate {
    std::string name;
    std::string stateId;
    tuning::Tuning tuning;
    double matchGainDb = 0.0;  ///< Applied; 0 without equal loudness.
    bool isOverdriven = false; ///< With the distortion of a model.
    /** Of the other states, where it was put together from speaker groups. */
    std::vector<std::string> groupStateIds {};

    bool operator==(const BlindCandidate&) const = default;
};

/** What held from the first trial to the last. */
struct BlindConditions {
    LevelMatch match = LevelMatch::equalLoudness;
    Monitor monitor = Monitor::programmeAndNoise; ///< With the programme.
    double speedKmh = 0.0;
    double noiseTrimDb = 0.0;
    ride::Helmet helmet = ride::Helmet::fullFace;
    ride::Screen screen = ride::Screen::none;
    ride::EarPlugs earPlugs = ride::EarPlugs::none;
    double volumeDb = 0.0; ///< Of the radio, re the measurement.
    std::string programme; ///< Name of its file, without folders; empty: the host's track.
    /** From the earliest to the latest moment that was heard; nothing for a host's track. */
    std::optional<double> programmeFromSeconds {};
    std::optional<double> programmeToSeconds {};

    bool operator==(const BlindConditions&) const = default;
};

/** One answer and what it was about. */
struct BlindTrial {
    /** Candidate (index into BlindRun::candidates) at each place: A, B, X, or one a letter. */
    std::vector<std::size_t> order;
    std::size_t answer = 0; ///< Place: of ABX 0 (X is A) or 1 (X is B).

    bool operator==(const BlindTrial&) const = default;
};

/** A run that is over. It holds nothing about the listener. */
struct BlindRun {
    BlindKind kind = BlindKind::abx;
    bool isAbandoned = false;
    std::size_t numPlanned = 16; ///< Trials: fewestBlindTrials to mostBlindTrials.
    std::uint64_t seed = 0;      ///< Below blindSeedEnd.
    std::string startedAt;       ///< ISO 8601; may be empty.
    std::vector<BlindCandidate> candidates;
    BlindConditions conditions;
    std::vector<BlindTrial> trials; ///< numPlanned of them, or fewer if abandoned.

    bool operator==(const BlindRun&) const = default;
};

/** What is at each place in each trial. The numbers come from SplitMix64 (dsp::RandomSource)
    started with the seed; a draw below n takes the remainder by n of the first number that lies
    below the largest multiple of n up to 2^64. ABX: the first draw below 2 is the candidate called
    A, the other is B, and then one draw a trial, 0 for X = A. Preference: for each trial a
    Fisher-Yates shuffle of 0, 1, 2 and so on, the place i from the last down to 1 exchanged with
    the place drawn below i + 1. Each trial is independent of all others, as the tests of
    BlindStatistics assume: X may well be A more often than B. */
[[nodiscard]] std::vector<std::vector<std::size_t>> deriveBlindOrder(BlindKind kind,
                                                                     std::size_t numCandidates,
                                                                     std::size_t numTrials,
                                                                     std::uint64_t seed);

/** Whether the order a run says it had is the one its seed gives. */
[[nodiscard]] bool hasOrderOfItsSeed(const BlindRun& run);

/** A run must have a fitting number of candidates, trials and places, and answers that exist;
    source: named in the message. */
[[nodiscard]] dsp::Result<void> checkBlindRun(const BlindRun& run, std::string_view source);

/** What a complete run says. */
struct BlindFinding {
    std::size_t numCorrect = 0;            ///< Of ABX.
    std::vector<std::size_t> timesChosen;  ///< Of preference, one a candidate.
    std::optional<std::size_t> mostChosen; ///< Of preference; nothing where several share that.
    double chance = 1.0;                   ///< That guessing does as well; see BlindStatistics.
    /** The chance is at most blindSignificance, and with preference one candidate stands out. */
    bool isResult = false;

    bool operator==(const BlindFinding&) const = default;
};

/** Nothing for an abandoned run: ended when it suited, its counts would mislead. */
[[nodiscard]] std::optional<BlindFinding> findingOf(const BlindRun& run);

/** Letter of a place: A, B, X, or A to H. */
[[nodiscard]] char blindLetter(BlindKind kind, std::size_t place) noexcept;

/** What a run is started with. */
struct BlindSetup {
    BlindKind kind = BlindKind::abx;
    std::size_t numTrials = 16;
    std::uint64_t seed = 0;
    std::string startedAt;
    std::vector<BlindCandidate> candidates; ///< ABX two, preference two to eight.
    BlindConditions conditions;
};

/** A run in progress. The listener switches between the places as often as wanted and answers once
    a trial; there is no way back. Of what is where and of how it goes it tells nothing until the
    run is over, but for candidateToPlay(), which is for the sound only. */
class BlindTest {
public:
    [[nodiscard]] static dsp::Result<BlindTest> start(BlindSetup setup);

    [[nodiscard]] BlindKind kind() const noexcept { return held.kind; }
    [[nodiscard]] std::size_t numTrials() const noexcept { return held.numPlanned; }
    /** Trials answered. */
    [[nodiscard]] std::size_t numAnswered() const noexcept { return held.trials.size(); }
    [[nodiscard]] std::size_t numPlaces() const noexcept;
    [[nodiscard]] bool isOver() const noexcept;
    [[nodiscard]] const BlindConditions& conditions() const noexcept { return held.conditions; }

    /** Switches to a place, which counts as heard in this trial. Once over, nothing happens. */
    void listenTo(std::size_t place);
    [[nodiscard]] std::size_t place() const noexcept { return current; }
    [[nodiscard]] bool hasHeard(std::size_t place) const { return heard.at(place); }
    /** Index into the setup's candidates of the place that is listened to. */
    [[nodiscard]] std::size_t candidateToPlay() const;

    /** With ABX X must have been heard in this trial, with preference every letter. */
    [[nodiscard]] bool canAnswer() const;
    /** place: with ABX 0 or 1. False: it cannot be answered yet, or there is no such answer. Each
        trial begins at place A. */
    bool answer(std::size_t place);
    /** What has been answered is kept as abandoned. */
    void abandon();
    /** Which part of the programme was heard; may be called until the run is over. */
    void setProgrammePart(double fromSeconds, double toSeconds);

    /** Null while it is running. */
    [[nodiscard]] const BlindRun* run() const noexcept { return isOver() ? &held : nullptr; }

private:
    explicit BlindTest(BlindSetup setup);
    void beginTrial();

    BlindRun held;
    std::vector<std::vector<std::size_t>> order;
    std::size_t current = 0;
    std::vector<bool> heard;
};

} // namespace saddletone::audition
