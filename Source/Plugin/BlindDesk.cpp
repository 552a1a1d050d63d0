#include "Plugin/BlindDesk.h"

#include "Core/Job/BlindRuns.h"
#include "Core/Report/BlindWords.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"

#include <algorithm>
#include <random>

namespace saddletone::plugin {

namespace {

/** Where the panic key puts the output, with room for its steps. */
constexpr double inaudibleDb = -59.5;

/** Longer than the largest block of any host, and than a device takes to start. */
constexpr juce::uint32 longestBlockMs = 2000;

/** Of the operating system's random numbers. */
std::uint64_t drawSeed()
{
    std::random_device device;
    const auto high = static_cast<std::uint64_t>(device());
    const auto low = static_cast<std::uint64_t>(device());
    return ((high << 32U) ^ low) % audition::blindSeedEnd;
}

} // namespace

BlindDesk::BlindDesk(AuditionProcessor& auditionProcessor) : processor(auditionProcessor) {}

BlindDesk::~BlindDesk()
{
    if (!isRunning())
        return;
    test->abandon();
    store();
}

audition::BlindConditions BlindDesk::conditionsNow() const
{
    const AuditionProcessor::Heard heard = processor.heard();
    audition::BlindConditions conditions;
    conditions.monitor = heard.parameters.monitor;
    conditions.speedKmh = heard.parameters.ride.speedKmh;
    conditions.screen = heard.parameters.ride.screen;
    conditions.earPlugs = heard.parameters.ride.earPlugs;
    conditions.volumeDb = heard.parameters.volumeDb;
    conditions.noiseTrimDb = heard.parameters.noiseTrimDb;
    if (heard.scene != nullptr)
        conditions.helmet = heard.scene->scene.ride.parameters.helmet;
    if (heard.playsProgramme) {
        const std::u8string name = heard.programme.file.filename().u8string();
        conditions.programme.assign(name.begin(), name.end());
    }
    return conditions;
}

juce::String BlindDesk::obstacle() const
{
    const AuditionProcessor::Heard heard = processor.heard();
    if (heard.scene == nullptr)
        return "Open a job first: its candidates are what is compared.";
    if (heard.scene->scene.candidates.size() < 2)
        return "The job has one candidate only; a test needs two. Add one on Tuning, or measure "
               "another radio profile.";
    if (heard.scene->scene.isOnThisBike())
        return "Blind tests are made over headphones: choose them under Seat first.";
    if (heard.isBuilding)
        return "A change is being worked out; wait a moment.";
    if (heard.parameters.monitor == audition::Monitor::untouched)
        return "Bypass is on, so the candidates are not heard: close this and press B.";
    if (heard.parameters.monitor == audition::Monitor::noiseOnly)
        return "Only the noise is heard: close this and set \"Hear\" to one with programme.";
    if (heard.playsProgramme && !heard.programme.loaded)
        return "There is no music yet: choose a programme below.";
    return {};
}

bool BlindDesk::isAudioAtRest()
{
    const juce::uint32 nowMs = juce::Time::getMillisecondCounter();
    if (const std::uint32_t count = engineListening.blockCount(); count != blockCountSeen) {
        blockCountSeen = count;
        blockSeenAtMs = nowMs;
    }
    return nowMs - blockSeenAtMs > longestBlockMs;
}

juce::String BlindDesk::silence()
{
    const AuditionProcessor::Heard heard = processor.heard();
    if (isAudioAtRest())
        return heard.playsProgramme
                   ? "There is no sound: choose a working output in \"Audio settings\"."
                   : "The host does not play: start it.";
    if (heard.playsProgramme && !heard.programme.playing)
        return "The music is paused: press the space bar.";
    if (heard.parameters.outputLevelDb <= inaudibleDb)
        return "The output is turned down: turn it up, slowly.";
    if (heard.parameters.monitor == audition::Monitor::untouched)
        return "Bypass is on, so the candidates are not heard: switch it off in the host.";
    return {};
}

gui::BlindView BlindDesk::blindView()
{
    gui::BlindView view;
    if (!test) {
        audition::BlindConditions conditions = conditionsNow();
        view.obstacle = obstacle();
        // How loud they are against each other is chosen with the test.
        const std::string words = report::conditionWords(conditions);
        const std::string match = report::matchWords(conditions.match) + "; ";
        view.conditions = toText(words.substr(match.size()));
        return view;
    }
    view.kind = test->kind();
    view.numTrials = test->numTrials();
    view.conditions = toText(report::conditionWords(test->conditions()));
    if (const audition::BlindRun* const run = test->run()) {
        view.stage = gui::BlindStage::over;
        view.conditions = toText(report::conditionWords(*run));
        view.headline = toText(report::blindHeadline(*run));
        if (endWords.isNotEmpty())
            view.sentences.add(endWords);
        for (const std::string& sentence : report::blindSentences(*run))
            view.sentences.add(toText(sentence));
        view.isStored = isStored;
        view.storeWords = isStored ? juce::String("The run is kept in the job, and its report "
                                                  "mentions it.")
                                   : "The run is not in the job yet: " + storeProblem;
        return view;
    }
    view.stage = gui::BlindStage::running;
    audition::BlindConditions held = test->conditions();
    held.programmeFromSeconds.reset(); // grows while it is heard
    view.conditions = toText(report::conditionWords(held));
    view.silence = silence();
    view.numAnswered = test->numAnswered();
    view.place = test->place();
    for (std::size_t place = 0; place < test->numPlaces(); ++place)
        view.hasHeard.push_back(test->hasHeard(place));
    view.canAnswer = test->canAnswer() && view.silence.isEmpty();
    return view;
}

void BlindDesk::begin(const gui::BlindChoice& choice)
{
    if (test || obstacle().isNotEmpty())
        return;
    const AuditionProcessor::Heard heard = processor.heard();
    const auto& candidates = heard.scene->scene.candidates;
    const LoadedJob& loaded = *heard.scene->loaded;
    audition::BlindSetup setup;
    setup.kind = choice.kind;
    setup.numTrials = choice.numTrials;
    setup.seed = drawSeed();
    setup.startedAt = juce::Time::getCurrentTime().toISO8601(true).toStdString();
    setup.conditions = conditionsNow();
    setup.conditions.match = choice.match;
    for (const std::size_t index : choice.candidates) {
        if (index >= candidates.size())
            return;
        const job::JobCandidate& entry = loaded.job.candidates[index];
        setup.candidates.push_back(
            {.name = candidates[index].name,
             .stateId = entry.stateId,
             .tuning = loaded.request.candidates[index].tuning,
             .matchGainDb = candidates[index].matchGainDb,
             .isOverdriven = candidates[index].nonlinear != nullptr && heard.parameters.overdriven,
             .groupStateIds = entry.groupStateIds});
    }
    auto started = audition::BlindTest::start(std::move(setup));
    if (!started) {
        processor.reportProblem(toText(started.error().message));
        return;
    }
    test = *std::move(started);
    tested = heard.scene->loaded;
    chosen = choice.candidates;
    endWords.clear();
    isStored = false;
    storeProblem.clear();
    blockSeenAtMs = juce::Time::getMillisecondCounter();
    heardFromSeconds.reset();
    programmeFile = heard.programme.file;

    audition::AuditionEngine::Parameters held = heard.parameters;
    held.match = choice.match;
    engineListening.begin(held, chosen[test->candidateToPlay()]);
    if (heard.playsProgramme)
        processor.play();
}

void BlindDesk::playPlace()
{
    engineListening.switchTo(chosen[test->candidateToPlay()]);
}

void BlindDesk::listenTo(std::size_t place)
{
    if (!isRunning() || place >= test->numPlaces())
        return;
    test->listenTo(place);
    playPlace();
}

void BlindDesk::answer(std::size_t place)
{
    if (!isRunning() || silence().isNotEmpty())
        return;
    followProgramme();
    if (!test->answer(place))
        return;
    if (test->isOver())
        finish();
    else
        playPlace();
}

void BlindDesk::abandon()
{
    if (!isRunning())
        return;
    test->abandon();
    finish();
}

void BlindDesk::finish()
{
    engineListening.end();
    store();
}

void BlindDesk::store()
{
    const auto stored = job::storeBlindRun(tested->job.folder, *test->run());
    isStored = stored.has_value();
    storeProblem = isStored ? juce::String() : toText(stored.error().message);
}

void BlindDesk::storeAgain()
{
    if (test && test->isOver() && !isStored)
        store();
}

void BlindDesk::dismiss()
{
    if (!isRunning())
        test.reset();
}

void BlindDesk::followProgramme()
{
    const AuditionProcessor::Heard heard = processor.heard();
    if (!heard.playsProgramme || !heard.programme.playing)
        return;
    const double now = heard.programme.positionSeconds;
    heardToSeconds = heardFromSeconds ? std::max(heardToSeconds, now) : now;
    heardFromSeconds = std::min(heardFromSeconds.value_or(now), now);
    test->setProgrammePart(*heardFromSeconds, heardToSeconds);
}

void BlindDesk::update()
{
    if (!isRunning())
        return;
    const AuditionProcessor::Heard heard = processor.heard();
    if (heard.scene == nullptr || heard.scene->loaded != tested)
        endWords = "The job or one of its candidates was changed while the test ran.";
    else if (heard.scene->scene.ride.parameters.helmet != test->conditions().helmet)
        endWords = "The helmet was changed while the test ran.";
    else if (heard.playsProgramme && heard.programme.file != programmeFile)
        endWords = "The programme was changed while the test ran.";
    if (endWords.isNotEmpty())
        abandon();
    else
        followProgramme();
}

} // namespace saddletone::plugin
