#include "Plugin/EventDesk.h"

#include "Core/Job/EventRecords.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Gui/ProgrammeModel.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <array>
#include <chrono>

namespace saddletone::plugin {

namespace ids = gui::parameterIds;

namespace {

constexpr double stepDb = 3.0;

/** The longest that a level rises for at once, however long the program was held up. */
constexpr double longestRiseSeconds = 0.1;

/** What a listener cannot change. */
constexpr std::array heldIds {ids::noiseTrimDb,    ids::ceilingDbfs, ids::monitor,
                              ids::levelMatch,     ids::helmet,      ids::screen,
                              ids::earPlugs,       ids::engineNoise, ids::radioVolumeDb,
                              ids::headphoneSplDb, ids::ceilingDba,  ids::bypass};

/** What is no number becomes the quietest. */
double limitInRange(double limitDb)
{
    return std::min(std::max(EventDesk::lowestLimitDb, limitDb), 0.0);
}

std::string timeOfDay()
{
    return juce::Time::getCurrentTime().toISO8601(true).toStdString();
}

} // namespace

EventDesk::EventDesk(gui::AuditionModel& auditionModel, gui::BlindModel* blindTests,
                     Clock eventClock, LimitMemory limitMemory)
    : model(auditionModel),
      blind(blindTests),
      clock(std::move(eventClock)),
      keepLimit(std::move(limitMemory.keep)),
      limitDb(limitInRange(limitMemory.limitDb))
{
}

EventDesk::EventDesk(gui::AuditionModel& auditionModel, gui::BlindModel* blindTests,
                     Clock eventClock)
    : EventDesk(auditionModel, blindTests, std::move(eventClock), {})
{
}

EventDesk::~EventDesk()
{
    if (isRunning())
        store();
}

double EventDesk::steadySeconds()
{
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch())
        .count();
}

juce::String EventDesk::obstacle()
{
    const gui::AuditionSnapshot snapshot = model.snapshot();
    if (snapshot.job == nullptr)
        return "Open a job first: its candidates are what people listen to.";
    if (snapshot.busy)
        return "Something is being loaded; wait a moment.";
    if (!snapshot.player.loaded)
        return "There is no music yet: choose a programme on Listen.";
    if (blind != nullptr && blind->blindView().stage == gui::BlindStage::running)
        return "A blind test is running: finish it first.";
    return fileProblem;
}

void EventDesk::noteTouch()
{
    if (isRunning() && !session->isWaiting())
        session->touch(clock());
}

gui::EventView EventDesk::eventView()
{
    gui::EventView view;
    view.nowSeconds = clock();
    view.limitDb = limitDb;
    if (!session) {
        view.obstacle = obstacle();
        return view;
    }
    view.record = record;
    view.storeProblem = storeProblem;
    view.lowestDb = lowestDb();
    view.volumeDb = wantedDb;
    if (isOver) {
        view.stage = gui::EventStage::over;
        return view;
    }
    view.stage = session->isWaiting() ? gui::EventStage::waiting : gui::EventStage::listening;
    view.isListener = session->isListener();
    for (std::size_t index = 0; index < record.candidates.size(); ++index)
        view.canPrefer.push_back(session->canPrefer(index));
    view.preferred = session->preferred();
    view.countdownSeconds = session->countdownSeconds();
    view.exposure = model.snapshot().exposure.since(exposureBefore);
    return view;
}

void EventDesk::setLimitDb(double newLimitDb)
{
    const double limit = limitInRange(newLimitDb);
    if (session || limit == limitDb)
        return;
    limitDb = limit;
    if (keepLimit)
        keepLimit(limitDb);
}

void EventDesk::begin(double newLimitDb)
{
    if (session || obstacle().isNotEmpty())
        return;
    const gui::AuditionSnapshot snapshot = model.snapshot();
    // Before anybody has been counted in vain.
    if (const auto events = job::loadEvents(toPath(snapshot.job->folder)); !events) {
        fileProblem = toText(events.error().message);
        return;
    }
    folder = snapshot.job->folder;
    record = {};
    record.startedAt = timeOfDay();
    record.match = snapshot.match;
    for (const gui::CandidateView& candidate : snapshot.job->candidates)
        record.candidates.push_back({candidate.name.toStdString(), 0});
    isOver = false;
    isStored = true; // an event nobody has listened to is none
    storeProblem.clear();
    setLimitDb(newLimitDb);

    gui::setParameter(model.parameters(), ids::bypass, 0.0);
    if (gui::parameterValue(model.parameters(), ids::monitor)
        > static_cast<double>(audition::Monitor::programmeOnly))
        gui::setParameter(model.parameters(), ids::monitor,
                          static_cast<double>(audition::Monitor::programmeAndNoise));
    held.clear();
    for (const char* const id : heldIds)
        held.push_back({id, gui::parameterValue(model.parameters(), id)});
    loopedBefore = snapshot.player.looping;
    model.setLooping(true);

    session.emplace(record.candidates.size());
    updatedAt = clock();
    quietStart();
    startTimerHz(30);
}

void EventDesk::setLevel(double newLevelDb)
{
    levelDb = newLevelDb;
    if (gui::parameterValue(model.parameters(), ids::outputLevelDb) != levelDb)
        gui::setParameter(model.parameters(), ids::outputLevelDb, levelDb);
}

void EventDesk::holdParameters()
{
    for (const HeldParameter& each : held)
        if (gui::parameterValue(model.parameters(), each.id) != each.value)
            gui::setParameter(model.parameters(), each.id, each.value);
}

void EventDesk::quietStart()
{
    quieten();
    if (gui::ProgrammeModel* const programmes = model.programmes()) {
        programmes->setLive(false);
        programmes->restart();
    }
    pick(0);
    gui::setParameter(model.parameters(), ids::speedKmh, 0.0);
    if (blind == nullptr)
        return;
    blind->abandon();
    blind->dismiss();
}

void EventDesk::touch()
{
    if (!isRunning() || !session->touch(clock()))
        return;
    exposureBefore = model.snapshot().exposure;
    play();
}

void EventDesk::play()
{
    if (!isRunning() || session->isWaiting())
        return;
    noteTouch();
    setLevel(silentDb);
    model.play();
}

void EventDesk::pause()
{
    if (!isRunning())
        return;
    noteTouch();
    model.pause();
    setLevel(silentDb);
}

void EventDesk::quieten()
{
    if (!isRunning())
        return;
    pause();
    wantedDb = startDb();
}

void EventDesk::pick(std::size_t candidate)
{
    if (!isRunning() || candidate >= record.candidates.size())
        return;
    noteTouch();
    gui::setParameter(model.parameters(), ids::candidate, static_cast<double>(candidate) + 1.0);
}

void EventDesk::stepVolume(int steps)
{
    if (!isRunning())
        return;
    noteTouch();
    wantedDb = std::clamp(wantedDb + stepDb * steps, lowestDb(), limitDb);
}

void EventDesk::prefer(std::size_t candidate)
{
    noteTouch();
    if (isRunning() && session->prefer(candidate))
        store();
}

void EventDesk::update()
{
    if (!isRunning())
        return;
    const double now = clock();
    const double elapsed = std::clamp(now - updatedAt, 0.0, longestRiseSeconds);
    updatedAt = std::max(updatedAt, now);

    const gui::AuditionSnapshot snapshot = model.snapshot();
    if (snapshot.job == nullptr || snapshot.job->folder != folder
        || snapshot.job->candidates.size() != record.candidates.size()) {
        end();
        return;
    }
    holdParameters();
    const bool isPlaying = snapshot.player.playing;
    setLevel(isPlaying ? std::min(wantedDb, levelDb + riseDbPerSecond * elapsed) : silentDb);

    const std::size_t numBefore = session->numListeners();
    const bool hasEnded =
        session->advance(now, isPlaying ? std::optional(snapshot.candidate) : std::nullopt);
    if (session->numListeners() != numBefore)
        store();
    if (hasEnded)
        quietStart();
}

void EventDesk::store()
{
    audition::EventRecord newest = record;
    newest.numListeners = session->numListeners();
    for (std::size_t index = 0; index < newest.candidates.size(); ++index)
        newest.candidates[index].timesPreferred = session->timesPreferred()[index];
    if (newest != record) {
        record = std::move(newest);
        record.changedAt = timeOfDay();
        isStored = false;
    }
    if (isStored)
        return;
    const auto stored = job::storeEvent(toPath(folder), record);
    isStored = stored.has_value();
    storeProblem = isStored ? juce::String() : toText(stored.error().message);
}

void EventDesk::end()
{
    if (!isRunning())
        return;
    quietStart();
    store();
    session->endTurn();
    isOver = true;
    model.setLooping(loopedBefore);
    stopTimer();
}

void EventDesk::dismiss()
{
    fileProblem.clear();
    if (!session || !isOver)
        return;
    store(); // once more, if it could not be written
    session.reset();
}

} // namespace saddletone::plugin
