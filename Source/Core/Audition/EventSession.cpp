#include "Core/Audition/EventSession.h"

#include <algorithm>

namespace saddletone::audition {

namespace {

constexpr double longestStepSeconds = 1.0;

} // namespace

EventSession::EventSession(std::size_t numCandidates, const EventRules& eventRules)
    : rules(eventRules), heardSeconds(numCandidates, 0.0), counts(numCandidates, 0)
{
}

void EventSession::goTo(double nowSeconds) noexcept
{
    if (!hasStarted) {
        hasStarted = true;
        now = touchedAt = advancedAt = nowSeconds;
    }
    now = std::max(now, nowSeconds);
}

bool EventSession::touch(double nowSeconds)
{
    goTo(nowSeconds);
    touchedAt = now;
    if (hasTurn)
        return false;
    hasTurn = true;
    advancedAt = now;
    return true;
}

bool EventSession::advance(double nowSeconds, std::optional<std::size_t> playing)
{
    goTo(nowSeconds);
    const double step = std::min(now - advancedAt, longestStepSeconds);
    advancedAt = now;
    if (!hasTurn)
        return false;
    if (playing && *playing < heardSeconds.size()) {
        playedSeconds += step;
        heardSeconds[*playing] += step;
        if (!isCounted && playedSeconds >= rules.listenerSeconds) {
            isCounted = true;
            ++listeners;
        }
    }
    if (now - touchedAt < rules.idleSeconds)
        return false;
    endTurn();
    return true;
}

void EventSession::endTurn()
{
    hasTurn = false;
    isCounted = false;
    playedSeconds = 0.0;
    std::ranges::fill(heardSeconds, 0.0);
    answer.reset();
}

bool EventSession::hasHeard(std::size_t candidate) const noexcept
{
    return heardSeconds[candidate] >= rules.heardSeconds;
}

bool EventSession::canPrefer(std::size_t candidate) const noexcept
{
    if (!isListener() || candidate >= heardSeconds.size() || !hasHeard(candidate))
        return false;
    for (std::size_t other = 0; other < heardSeconds.size(); ++other)
        if (other != candidate && hasHeard(other))
            return true;
    return false;
}

bool EventSession::prefer(std::size_t candidate)
{
    if (!canPrefer(candidate))
        return false;
    const std::optional<std::size_t> before = answer;
    if (before)
        --counts[*before];
    answer.reset();
    if (before != candidate) {
        answer = candidate;
        ++counts[candidate];
    }
    return true;
}

std::optional<double> EventSession::countdownSeconds() const noexcept
{
    const double left = rules.idleSeconds - (now - touchedAt);
    if (!hasTurn || left > rules.countdownSeconds)
        return std::nullopt;
    return std::max(0.0, left);
}

} // namespace saddletone::audition
