#pragma once

#include <cstddef>
#include <optional>
#include <vector>

namespace saddletone::audition {

/** When somebody counts as a listener and when they have gone. All of it is judgement. */
struct EventRules {
    double idleSeconds = 120.0;     ///< Untouched for so long, a turn is over.
    double countdownSeconds = 30.0; ///< The last of these are counted down.
    double listenerSeconds = 10.0;  ///< Of music in a turn, that make a listener.
    double heardSeconds = 2.0;      ///< Of music through a candidate, that let it be preferred.

    bool operator==(const EventRules&) const = default;
};

/** The listeners of an event, one after the other: a turn begins with a touch and ends when nothing
    has been touched for a while. Counts those who listened and what they preferred.

    Times are seconds of a clock that never goes back, such as std::chrono::steady_clock; if one is
    earlier than the last, no time has passed. */
class EventSession {
public:
    explicit EventSession(std::size_t numCandidates, const EventRules& eventRules = {});

    /** Somebody is there. True: they are the next one, and a turn begins. */
    bool touch(double nowSeconds);
    /** Goes on to now. playing: the candidate that music has been heard through since the last call;
        nothing: there was none. A gap of more than a second counts as a second of music. True: the
        turn has just ended, as nobody touched anything. */
    bool advance(double nowSeconds, std::optional<std::size_t> playing);
    /** Ends the turn, if there is one. */
    void endTurn();
    /** What this listener likes best; the same again takes it back. False: it may not be said, see
        canPrefer(). */
    bool prefer(std::size_t candidate);

    /** Nobody is there. */
    [[nodiscard]] bool isWaiting() const noexcept { return !hasTurn; }
    /** This turn's listener is counted. */
    [[nodiscard]] bool isListener() const noexcept { return hasTurn && isCounted; }
    /** A listener may prefer what they have heard, if they have heard anything else as well. */
    [[nodiscard]] bool canPrefer(std::size_t candidate) const noexcept;
    [[nodiscard]] std::optional<std::size_t> preferred() const noexcept { return answer; }
    /** Until the turn ends, where that is to be counted down. */
    [[nodiscard]] std::optional<double> countdownSeconds() const noexcept;

    /** Of all turns, with the one that is on. */
    [[nodiscard]] std::size_t numListeners() const noexcept { return listeners; }
    /** One a candidate. */
    [[nodiscard]] const std::vector<std::size_t>& timesPreferred() const noexcept { return counts; }

private:
    [[nodiscard]] bool hasHeard(std::size_t candidate) const noexcept;
    void goTo(double nowSeconds) noexcept;

    EventRules rules;
    double now = 0.0;
    double touchedAt = 0.0;
    double advancedAt = 0.0;
    bool hasStarted = false;
    bool hasTurn = false;
    bool isCounted = false;
    double playedSeconds = 0.0;
    std::vector<double> heardSeconds; // one a candidate, of this turn
    std::optional<std::size_t> answer;
    std::size_t listeners = 0;
    std::vector<std::size_t> counts;
};

} // namespace saddletone::audition
