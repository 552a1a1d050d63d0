#include "Plugin/SeatDesk.h"

#include "Core/Measure/CalibrationRecord.h"
#include "Core/Seat/CandidateDifference.h"
#include "Core/Seat/SeatWords.h"
#include "Gui/ElementWords.h"
#include "Plugin/AuditionProcessor.h"
#include "Plugin/Paths.h"
#include "Plugin/TuningDesk.h"

#include <algorithm>
#include <exception>
#include <utility>

namespace saddletone::plugin {

namespace {

/** "closed (generic)" for closed-generic.csv. */
juce::String genericName(const juce::File& table)
{
    return table.getFileNameWithoutExtension().upToLastOccurrenceOf("-generic", false, true)
           + " (generic)";
}

juce::String nameOf(const std::string& file)
{
    return file.empty() ? juce::String() : toText(file).fromLastOccurrenceOf("/", false, false);
}

} // namespace

SeatDesk::SeatDesk(AuditionProcessor& auditionProcessor) : processor(auditionProcessor)
{
    if (const juce::File presets = TuningDesk::findPresets(); presets != juce::File()) {
        auto tables = presets.getChildFile("Headphones")
                          .findChildFiles(juce::File::findFiles, false, "*-generic.csv");
        tables.sort();
        genericFiles.assign(tables.begin(), tables.end());
    }
}

SeatDesk::~SeatDesk()
{
    worker.removeAllJobs(true, -1);
}

juce::String SeatDesk::obstacle()
{
    if (processor.openedJob().loaded == nullptr)
        return "Open a job first: its seat is kept in it.";
    if (processor.blindTests().isRunning())
        return "A blind test is under way: what is heard stays as it is until it is over.";
    return {};
}

gui::SeatView SeatDesk::seatView()
{
    gui::SeatView view;
    view.obstacle = obstacle();
    view.isStoring = isRunning;
    for (const juce::File& file : genericFiles)
        view.genericTables.add(genericName(file));
    const auto loaded = processor.openedJob().loaded;
    if (loaded == nullptr)
        return view;
    const job::JobSeat& seat = loaded->job.seat;
    const seat::ListenerSeat* const listener = loaded->request.seat.get();
    view.headphoneTable = nameOf(seat.headphoneResponseFile);
    if (listener != nullptr && listener->isHeadphoneInvented)
        for (std::size_t index = 0; index < genericFiles.size(); ++index)
            if (genericFiles[index].getFileName() == view.headphoneTable)
                view.generic = static_cast<int>(index);
    if (loaded->headphones)
        view.headphoneSplDb = loaded->headphones->splAtFullScaleDb();
    view.isBinaural = seat.isBinaural;
    view.headSet = nameOf(seat.headSetFile);
    const AuditionProcessor::Heard heard = processor.heard();
    if (heard.scene != nullptr)
        for (const audition::SceneCandidate& candidate : heard.scene->scene.candidates)
            view.candidates.add(toText(candidate.name));
    view.nowOnBike = processor.candidateOnThisBike();
    if (problemOf == loaded->job.folder)
        view.problem = problem;
    if (view.nowOnBike) {
        view.finding = findingOnThisBike();
        return view;
    }
    view.finding.headline = isRunning ? "The change is being checked and kept in the job."
                                      : "Over headphones, as the job keeps it:";
    for (const std::string& sentence : seat::seatSentences(listener, loaded->headphones))
        view.finding.sentences.add(toText(sentence));
    return view;
}

gui::FindingView SeatDesk::findingOnThisBike()
{
    gui::FindingView finding;
    finding.headline = "What the speakers of this bike play";
    const AuditionProcessor::Heard heard = processor.heard();
    if (heard.scene == nullptr || !heard.scene->scene.isOnThisBike()) {
        finding.sentences.add("It is being worked out.");
    } else {
        const auto& candidates = heard.scene->scene.candidates;
        const audition::SceneCandidate& candidate =
            candidates[std::min(heard.parameters.candidate, candidates.size() - 1)];
        const juce::String now = toText(heard.scene->choice.nowOnBike->name);
        const double mostDb = seat::DifferenceSettings {}.maxBoostDb;
        const audition::OnThisBikeFigures figures =
            candidate.onThisBike.value_or(audition::OnThisBikeFigures {});
        if (figures.isUnchanged)
            finding.sentences.add("'" + now
                                  + "' is what the bike plays now: the programme goes out as it "
                                    "is.");
        else
            finding.sentences.add(
                "The programme goes out through what '" + toText(candidate.name)
                + "' differs by from '" + now + "', which the bike plays now: gain "
                + gui::numberWords(figures.highestGainDb, 1) + " dB at most, within limits of "
                + gui::numberWords(mostDb, 0) + " dB; a limit acts in "
                + gui::numberWords(100.0 * figures.limitedProportion, 0) + " % of the range.");
    }
    finding.sentences.add(
        "Connect the output to the bike's input. Parked, engine off. The output "
        "has been turned to its lowest: turn the bike's volume down as well, then "
        "both up slowly. What is boosted can harm speakers, amplifier and "
        "hearing; Cost on Tuning says what a tuning asks of them.");
    finding.sentences.add(
        "No ride noise, helmet, headphone correction or placement is applied: here "
        "they are there by themselves. Distortion and limiters are left out.");
    finding.sentences.add("What is known of the headphones does not apply, so the level at the ear "
                          "is not known and the ceiling is the digital one.");
    finding.sentences.add("An estimate: levels are brought over, smoothed to a sixth of an octave, "
                          "and not times.");
    return finding;
}

void SeatDesk::store(job::SeatChange change)
{
    if (isRunning || obstacle().isNotEmpty())
        return;
    problem.clear();
    isRunning = true;
    worker.addJob(
        [this, folder = processor.openedJob().loaded->job.folder, wanted = std::move(change)] {
            Outcome made;
            made.folder = folder;
            made.setsLevel = wanted.headphoneSplDb || wanted.headphoneCalibration;
            try {
                auto stored = job::changeSeat(folder, wanted, measure::todayUtc());
                if (stored)
                    made.stored = *std::move(stored);
                else
                    made.problem = stored.error().message;
            } catch (const std::exception& exception) {
                made.problem = std::string(exception.what()) + "; the seat stays as it was";
            }
            const std::lock_guard lock(outcomeMutex);
            outcome = std::move(made);
        });
}

void SeatDesk::update()
{
    std::optional<Outcome> made;
    {
        const std::lock_guard lock(outcomeMutex);
        made = std::exchange(outcome, std::nullopt);
    }
    if (!made)
        return;
    isRunning = false;
    problem = toText(made->problem);
    problemOf = made->folder;
    if (made->stored)
        processor.playSeat(made->folder, *made->stored, made->setsLevel);
}

void SeatDesk::chooseHeadphones(const juce::File& table)
{
    job::SeatChange change;
    change.headphoneResponse = table == juce::File() ? std::filesystem::path() : toPath(table);
    store(std::move(change));
}

void SeatDesk::chooseGenericHeadphones(int index)
{
    if (index >= 0 && index < static_cast<int>(genericFiles.size()))
        chooseHeadphones(genericFiles[static_cast<std::size_t>(index)]);
}

void SeatDesk::setHeadphoneSplDb(double splDb)
{
    job::SeatChange change;
    if (splDb > seat::lowestHeadphoneSplDb)
        change.headphoneSplDb = splDb;
    else
        change.headphoneCalibration = std::filesystem::path();
    store(std::move(change));
}

void SeatDesk::setBinaural(bool shouldBeBinaural)
{
    job::SeatChange change;
    change.isBinaural = shouldBeBinaural;
    store(std::move(change));
}

void SeatDesk::chooseHeadSet(const juce::File& file)
{
    job::SeatChange change;
    change.headSet = file == juce::File() ? std::filesystem::path() : toPath(file);
    store(std::move(change));
}

void SeatDesk::listenOnThisBike(std::optional<std::size_t> candidate)
{
    if (obstacle().isEmpty())
        processor.listenOnThisBike(candidate);
}

} // namespace saddletone::plugin
