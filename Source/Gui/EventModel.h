#pragma once

#include "Core/Audition/EventRecord.h"
#include "Core/Hearing/SessionExposure.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <optional>
#include <vector>

namespace saddletone::gui {

enum class EventStage {
    off,
    waiting,   ///< Nobody is there; silent, parked, candidate 1.
    listening, ///< Somebody is.
    over       ///< What it came to is to be read.
};

/** Everything the screen needs to know of an event, at one moment. */
struct EventView {
    EventStage stage = EventStage::off;
    juce::String obstacle;       ///< Off: why none can begin; empty if one can.
    double nowSeconds = 0.0;     ///< Of a clock that never goes back.
    double limitDb = 0.0;        ///< The output level goes no higher; off: in the next event.
    double lowestDb = 0.0;       ///< A listener turns it no lower; silence is another button.
    double volumeDb = 0.0;       ///< What the output level is, or rises to.
    bool isListener = false;     ///< This one is counted.
    std::vector<bool> canPrefer; ///< One a candidate; see audition::EventSession.
    std::optional<std::size_t> preferred;
    /** Until the next quiet start, where that is near. */
    std::optional<double> countdownSeconds;
    hearing::SessionExposure exposure; ///< Of this listener.
    audition::EventRecord record;
    juce::String storeProblem; ///< Why the counts are not in the job; empty: they are.
};

/** What the screen sees of an event. All of it is for the message thread. */
class EventModel {
public:
    virtual ~EventModel() = default;

    [[nodiscard]] virtual EventView eventView() = 0;
    /** The highest output level of the next event, -40 to 0 dB, which is remembered; none while an
        event runs. */
    virtual void setLimitDb(double limitDb) = 0;
    /** Takes effect when there is no obstacle. limitDb: as of setLimitDb(). */
    virtual void begin(double limitDb) = 0;
    /** Somebody has touched something. Nobody was there before: the music rises from silence. */
    virtual void touch() = 0;
    /** Rises from silence. */
    virtual void play() = 0;
    virtual void pause() = 0;
    /** Silence at once; play() then rises to the level of a start. */
    virtual void quieten() = 0;
    virtual void pick(std::size_t candidate) = 0;
    /** By so many steps of 3 dB, within lowestDb and limitDb. */
    virtual void stepVolume(int steps) = 0;
    /** The same again takes it back. */
    virtual void prefer(std::size_t candidate) = 0;
    virtual void end() = 0;
    /** Over: what it came to has been read. */
    virtual void dismiss() = 0;
};

} // namespace saddletone::gui
