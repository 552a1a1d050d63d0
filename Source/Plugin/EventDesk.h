#pragma once

#include "Core/Audition/EventSession.h"
#include "Gui/AuditionModel.h"
#include "Gui/BlindModel.h"
#include "Gui/EventModel.h"

#include <functional>
#include <optional>
#include <vector>

namespace saddletone::plugin {

/** Runs an event on what a model plays: quiet starts, one listener after another, and the counts,
    which go into the job with each change, so that a crash loses none.

    While it runs, nothing but candidate, speed and output level can change: everything else is set
    back to what it was when the event began. */
class EventDesk final : public gui::EventModel, private juce::Timer {
public:
    /** Seconds of a clock that never goes back. */
    using Clock = std::function<double()>;

    static constexpr double silentDb = -60.0;         ///< The lowest output level.
    static constexpr double lowestLimitDb = -40.0;    ///< Quieter events make no sense.
    static constexpr double usualLimitDb = -12.0;     ///< Where nobody has set another.
    static constexpr double startBelowLimitDb = 12.0; ///< A listener starts so far below the limit.
    static constexpr double riseDbPerSecond = 8.0;

    /** The limit that the owner sets, from one start of the program to the next. */
    struct LimitMemory {
        double limitDb = usualLimitDb;    ///< To begin with; brought into the range.
        std::function<void(double)> keep; ///< It has been set; may be empty.
    };

    /** blindTests: null where nothing is tested blind. */
    EventDesk(gui::AuditionModel& auditionModel, gui::BlindModel* blindTests, Clock eventClock,
              LimitMemory limitMemory);
    /** With the usual limit, which is forgotten with the desk. */
    EventDesk(gui::AuditionModel& auditionModel, gui::BlindModel* blindTests, Clock eventClock);
    ~EventDesk() override;
    EventDesk(const EventDesk&) = delete;
    EventDesk& operator=(const EventDesk&) = delete;

    /** std::chrono::steady_clock, which setting the time of day does not move. */
    [[nodiscard]] static double steadySeconds();

    /** Listeners are expected or there. */
    [[nodiscard]] bool isRunning() const noexcept { return session && !isOver; }
    /** Goes on to now; a timer calls it 30 times a second. */
    void update();

    gui::EventView eventView() override;
    void setLimitDb(double newLimitDb) override;
    void begin(double newLimitDb) override;
    void touch() override;
    void play() override;
    void pause() override;
    void quieten() override;
    void pick(std::size_t candidate) override;
    void stepVolume(int steps) override;
    void prefer(std::size_t candidate) override;
    void end() override;
    void dismiss() override;

private:
    struct HeldParameter {
        const char* id;
        double value;
    };

    void timerCallback() override { update(); }
    [[nodiscard]] juce::String obstacle();
    /** Whatever a listener does is a touch as well. */
    void noteTouch();
    [[nodiscard]] double startDb() const noexcept { return limitDb - startBelowLimitDb; }
    [[nodiscard]] double lowestDb() const noexcept { return startDb() - 18.0; }
    void setLevel(double newLevelDb);
    void holdParameters();
    void quietStart();
    /** Writes the counts if they have changed, or have not been written. */
    void store();

    gui::AuditionModel& model;
    gui::BlindModel* const blind;
    const Clock clock;
    const std::function<void(double)> keepLimit;
    std::optional<audition::EventSession> session; ///< None: no event, or one that has been read.
    bool isOver = false;
    juce::File folder; ///< Of the job.
    audition::EventRecord record;
    bool isStored = true;
    juce::String storeProblem;
    juce::String fileProblem; ///< Why the last wish to begin came to nothing.
    std::vector<HeldParameter> held;
    bool loopedBefore = false;
    double limitDb = usualLimitDb;
    double wantedDb = 0.0;
    double levelDb = silentDb;
    double updatedAt = 0.0;
    hearing::SessionExposure exposureBefore;
};

} // namespace saddletone::plugin
