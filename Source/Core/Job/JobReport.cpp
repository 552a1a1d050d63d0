#include "Core/Job/JobReport.h"

#include "Core/Audition/BlindStatistics.h"
#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/CandidateNotes.h"
#include "Core/Audition/RoadAudibility.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Hearing/ProgrammeAtHead.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Job/EventRecords.h"
#include "Core/Job/JobLibrary.h"
#include "Core/Job/ReportFindings.h"
#include "Core/Measure/Comparison.h"
#include "Core/Report/BlindWords.h"
#include "Core/Report/CurveTable.h"
#include "Core/Report/HtmlAppendix.h"
#include "Core/Report/HtmlReport.h"
#include "Core/Report/Wording.h"
#include "Core/Seat/SeatWords.h"
#include "Core/Tuning/Prediction.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <span>
#include <utility>

namespace saddletone::job {

namespace {

using report::numberText;

constexpr double reportSampleRate = 48000.0;
constexpr double evenFromHz = 80.0;
constexpr double evenToHz = 12000.0;
constexpr double middleFromHz = 500.0;
constexpr double middleToHz = 2000.0;
/** Most of the music: what the table of a report asks for. */
constexpr hearing::AudibilityGoal mostIsHeard {.share = 0.8, .marginDb = 0.0};

/** A response and what the job calls it. */
struct NamedResponse {
    std::string name;
    std::string mark;
    measure::Response response;
    measure::StateOrigin origin;

    [[nodiscard]] std::string shownName() const { return report::marked(mark, name); }
    [[nodiscard]] std::string shortName() const { return mark.empty() ? name : mark; }
};

std::string stateMark(std::size_t index)
{
    constexpr std::size_t numLetters = 26;
    return index < numLetters ? std::string(1, static_cast<char>('A' + index)) : std::string();
}

dsp::Result<std::vector<NamedResponse>> loadStates(const Job& job)
{
    if (job.states.empty())
        return dsp::fail(dsp::ErrorCode::notFound,
                         "the job '" + job.folder.string()
                             + "' has no measured state to report on; measure one first");
    std::vector<NamedResponse> states;
    for (const JobState& state : job.states) {
        const auto file = resolveInside(job.folder, state.file);
        if (!file)
            return file.unexpected();
        auto response = measure::loadResponse(*file);
        if (!response)
            return response.unexpected();
        auto origin = measure::loadOrigin(*file);
        if (!origin)
            return origin.unexpected();
        std::string name = response->name.empty() ? state.id : response->name;
        if (state.measuredElsewhere)
            name += anotherBikeMark;
        states.push_back(
            {std::move(name), stateMark(states.size()), std::move(*response), std::move(*origin)});
    }
    return states;
}

/** Third octaves of a response, 0 dB at its mean from 500 Hz to 2 kHz, gaps where not trusted. */
report::Curve curveOf(const measure::Response& response)
{
    const double meanDb = measure::meanBandLevelDb(response, middleFromHz, middleToHz);
    report::Curve curve;
    for (const measure::BandConfidence& band : response.bands) {
        curve.frequenciesHz.push_back(band.frequencyHz);
        curve.levelsDb.push_back(band.trusted ? band.levelDb - meanDb
                                              : std::numeric_limits<double>::quiet_NaN());
    }
    return curve;
}

report::ReportState describeState(const NamedResponse& state)
{
    const measure::Response& response = state.response;
    report::ReportState shown;
    shown.name = state.name;
    shown.conditions = response.state;
    shown.measuredOn = state.origin.measuredOn;
    shown.microphone = state.origin.microphone;
    shown.numTakes = response.numTakes;
    shown.snrDb = response.snrDb;
    shown.clockPpm = response.clockPpm;
    if (response.hasCalibration)
        shown.calibration = response.calibration;
    shown.evenness = measure::flatnessOf(response, evenFromHz, evenToHz);
    shown.curve = curveOf(response);
    shown.curve.label = state.name;
    shown.curve.mark = state.mark;
    for (const measure::BandConfidence& band : response.bands) {
        shown.uncertaintiesDb.push_back(band.trusted ? band.uncertaintyDb
                                                     : std::numeric_limits<double>::quiet_NaN());
        if (band.trusted)
            shown.interval95Db = std::max(shown.interval95Db.value_or(0.0), band.interval95Db);
    }
    return shown;
}

bool isParkedAndOff(const measure::BikeState& state)
{
    return state.engine == measure::EngineState::off && !(state.speedKmh > 0.0);
}

/** The parked state to set a running one against: same profile, and if there are several, the one
    whose microphone and volume were most alike. */
const NamedResponse* parkedCounterpart(const std::vector<NamedResponse>& states,
                                       const measure::BikeState& running)
{
    const auto likeness = [&](const measure::BikeState& state) {
        return (state.microphonePlace == running.microphonePlace ? 2 : 0)
               + (state.volumeStep == running.volumeStep ? 1 : 0);
    };
    const NamedResponse* best = nullptr;
    for (const NamedResponse& candidate : states) {
        const measure::BikeState& state = candidate.response.state;
        if (isParkedAndOff(state) && state.radioProfile == running.radioProfile
            && state.speakers == running.speakers
            && (best == nullptr || likeness(state) > likeness(best->response.state)))
            best = &candidate;
    }
    return best;
}

report::ReportComparison describeComparison(const NamedResponse& parked,
                                            const NamedResponse& running)
{
    const measure::Response& reference = parked.response;
    const measure::Response& other = running.response;
    report::ReportComparison shown;
    shown.parkedName = parked.shortName();
    shown.otherName = running.shortName();
    shown.other = other.state;
    shown.comparison = measure::compareResponses(reference, other);
    const bool sameVolume = reference.state.volumeStep == other.state.volumeStep;
    // Without a calibration the recorder's gain may have been another one.
    if (reference.hasCalibration && other.hasCalibration && sameVolume)
        shown.levelDifferenceDb = shown.comparison.levelDifferenceDb
                                  + other.calibration.splAtFullScaleDb()
                                  - reference.calibration.splAtFullScaleDb();
    if (reference.state.microphonePlace != other.state.microphonePlace)
        shown.notes.emplace_back(
            "The microphone stood at another place, which changes the curve too.");
    if (!sameVolume)
        shown.notes.emplace_back(
            "The volume step was another one, and a radio may tie its curve to it.");
    return shown;
}

void addComparisons(const std::vector<NamedResponse>& states, report::ReportContent& content)
{
    bool anyRunning = false;
    for (const NamedResponse& state : states) {
        const measure::BikeState& conditions = state.response.state;
        if (conditions.engine == measure::EngineState::off)
            continue;
        anyRunning = true;
        if (const NamedResponse* parked = parkedCounterpart(states, conditions))
            content.comparisons.push_back(describeComparison(*parked, state));
        else
            content.comparisonNotes.push_back(
                state.shownName() + " was not compared: its radio profile '"
                + conditions.radioProfile + "' was not measured parked with the engine off.");
    }
    if (!anyRunning)
        content.comparisonNotes.emplace_back(
            "No state was measured with the engine running, so nobody can "
            "say yet whether the radio plays another curve then.");
}

/** Each remark once, with the states it holds for. */
std::vector<std::string> collectRemarks(const std::vector<NamedResponse>& states)
{
    struct Remark {
        std::string text;
        std::string names;
        std::size_t count = 0;
    };
    std::vector<Remark> remarks;
    for (const NamedResponse& state : states) {
        for (const std::string& text : state.response.remarks) {
            auto found = std::ranges::find(remarks, text, &Remark::text);
            if (found == remarks.end())
                found = remarks.insert(remarks.end(), Remark {text, {}, 0});
            found->names += (found->names.empty() ? "" : ", ") + state.shortName();
            ++found->count;
        }
    }
    std::vector<std::string> lines;
    for (const Remark& remark : remarks) {
        const bool holdsForAll = remark.count == states.size() && states.size() > 1;
        lines.push_back((holdsForAll ? "All states" : remark.names) + ": " + remark.text);
    }
    return lines;
}

constexpr int pointsPerBand = 9;

/** Frequencies spread evenly over a third octave, in log frequency. */
std::array<double, pointsPerBand> pointsIn(double centreHz)
{
    constexpr double bandDecades = 0.1; // IEC 61260-1, base ten
    std::array<double, pointsPerBand> pointsHz {};
    for (int point = 0; point < pointsPerBand; ++point)
        pointsHz[static_cast<std::size_t>(point)] =
            centreHz * std::pow(10.0, bandDecades * ((point + 0.5) / pointsPerBand - 0.5));
    return pointsHz;
}

constexpr std::array bothSides {tuning::OutputGroup::left, tuning::OutputGroup::right};

/** The candidate's tuning on each of its outputs. */
std::vector<tuning::DesignedTuning> designedOutputs(const audition::CandidateRequest& candidate)
{
    std::vector<tuning::DesignedTuning> designed;
    for (const measure::SpeakerGroup speakers : audition::outputsOf(candidate))
        designed.push_back(tuning::designTuning(candidate.tuning, speakers, reportSampleRate));
    return designed;
}

/** The bands of a candidate's response as its tuning would leave them; of a response that was
    measured at once the impulse is not touched. */
dsp::Result<measure::Response> withTuning(const audition::CandidateRequest& candidate)
{
    if (candidate.groups != nullptr)
        return tuning::predictResponse(*candidate.groups, candidate.tuning);
    measure::Response response = candidate.response;
    const auto sides = designedOutputs(candidate);
    for (measure::BandConfidence& band : response.bands) {
        double power = 0.0;
        for (const double frequencyHz : pointsIn(band.frequencyHz))
            for (const tuning::DesignedTuning& side : sides)
                power += std::norm(side.response(frequencyHz));
        band.levelDb += dsp::powerToDb(power / (pointsPerBand * static_cast<double>(sides.size())));
    }
    return response;
}

void findLargestBoost(const audition::CandidateRequest& request, report::ReportCandidate& candidate)
{
    const auto sides = designedOutputs(request);
    double leastDb = 0.0;
    double mostDb = dsp::silenceDb;
    double mostAtHz = 0.0;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        for (const double frequencyHz : pointsIn(band.centreHz)) {
            double gainDb = dsp::silenceDb;
            for (const tuning::DesignedTuning& side : sides)
                gainDb = std::max(gainDb, dsp::amplitudeToDb(std::abs(side.response(frequencyHz))));
            leastDb = mostDb == dsp::silenceDb ? gainDb : std::min(leastDb, gainDb);
            if (gainDb > mostDb) {
                mostDb = gainDb;
                mostAtHz = band.centreHz;
            }
        }
    constexpr double sameEverywhereDb = 0.5;
    candidate.largestBoostDb = std::max(0.0, mostDb);
    candidate.largestBoostAtHz = mostDb - leastDb < sameEverywhereDb ? 0.0 : mostAtHz;
}

/** Octave levels in dBFS of the reference programme (pink noise from 20 Hz to 20 kHz) after
    kernels, mean power of both ears: the spectrum behind SceneCandidate::level. */
dsp::Result<std::vector<double>> programmeOctavesDbfs(const audition::CandidateRequest& candidate,
                                                      ride::Helmet helmet, std::size_t maxTaps,
                                                      std::span<const dsp::Band> octaves)
{
    std::vector<double> power(octaves.size(), 0.0);
    for (const auto side : bothSides) {
        const auto taps =
            audition::buildKernelTaps(candidate, side, helmet, reportSampleRate, maxTaps);
        if (!taps)
            return taps.unexpected();
        const std::size_t size =
            dsp::fastFftSize(std::max(taps->size(), static_cast<std::size_t>(reportSampleRate)));
        dsp::RealFft<double> fft(size);
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(*taps, fft.time().begin());
        fft.forward();
        const double binHz = reportSampleRate / static_cast<double>(size);
        std::vector<double> powerPerBin(fft.numBins(), 0.0);
        double pinkSum = 0.0;
        for (std::size_t bin = 1; bin < fft.numBins(); ++bin) {
            const double frequencyHz = static_cast<double>(bin) * binHz;
            if (frequencyHz < 20.0 || frequencyHz > 20000.0)
                continue;
            pinkSum += 1.0 / frequencyHz;
            powerPerBin[bin] = std::norm(fft.spectrum()[bin]) / frequencyHz;
        }
        const auto bands = dsp::bandPowers(powerPerBin, binHz, octaves);
        for (std::size_t octave = 0; octave < bands.size(); ++octave)
            power[octave] += bands[octave] / pinkSum / static_cast<double>(bothSides.size());
    }
    std::vector<double> levelsDbfs;
    for (const double bandPower : power)
        levelsDbfs.push_back(audition::referenceProgrammeDbfs + dsp::powerToDb(bandPower));
    return levelsDbfs;
}

/** Octaves of a spectrum in third octaves. */
report::Curve noiseOctavesOf(const hearing::ThirdOctaveSpectrum& spectrum,
                             std::span<const dsp::Band> octaves)
{
    report::Curve curve;
    curve.label = "noise";
    for (const dsp::Band& octave : octaves) {
        double power = 0.0;
        for (std::size_t band = 0; band < hearing::numThirdOctaves; ++band)
            if (const double centreHz = hearing::thirdOctave(band).centreHz;
                centreHz > octave.lowerHz && centreHz < octave.upperHz)
                power += dsp::dbToPower(spectrum.levelsDb[band]);
        curve.frequenciesHz.push_back(octave.centreHz);
        curve.levelsDb.push_back(dsp::powerToDb(power));
    }
    return curve;
}

/** What a sound file lets hear. */
std::string fileWords(const audition::AuditionEngine::Parameters& parameters,
                      const audition::AuditionScene& scene, report::SpeedUnits units)
{
    const std::size_t index = std::min(parameters.candidate, scene.candidates.size() - 1);
    const std::string candidate = "Candidate " + std::to_string(index + 1);
    const bool isRiding = parameters.ride.speedKmh > 0.0;
    const std::string where =
        isRiding ? " at " + report::speedWords(parameters.ride.speedKmh, units) : " parked";
    std::string words;
    switch (parameters.monitor) {
    case audition::Monitor::untouched: return "The music itself, without bike and noise";
    case audition::Monitor::noiseOnly: words = "Noise of the ride alone" + where; break;
    case audition::Monitor::programmeOnly: words = candidate + where + ", noise left out"; break;
    case audition::Monitor::programmeAndNoise:
        words = candidate + where + (isRiding ? " with the noise of the ride" : "");
        break;
    }
    if (parameters.match == audition::LevelMatch::equalLoudness)
        words += ", brought to the loudness of candidate 1";
    if (std::abs(parameters.noiseTrimDb) >= 0.05 && isRiding)
        words +=
            ", noise " + report::signedText(parameters.noiseTrimDb, 1) + " dB against the estimate";
    return words;
}

/** What remains of every candidate on one ride of the report. */
void addAudibility(const audition::SceneRequest& request, const audition::AuditionScene& scene,
                   const audition::AuditionEngine::Parameters& parameters, bool isLastRide,
                   report::ReportContent& content)
{
    const auto music = hearing::pinkProgrammeDbfs(audition::referenceProgrammeDbfs);
    for (std::size_t index = 0; index < scene.candidates.size(); ++index) {
        const audition::SceneCandidate& candidate = scene.candidates[index];
        const auto road = audition::assessRoad(
            music,
            audition::candidateGainDb(request.candidates[index], request.ride.parameters.helmet,
                                      parameters.ride.speedKmh),
            candidate.level, audition::levelsOf(scene, candidate, parameters), request.ride,
            parameters, mostIsHeard);
        content.candidates[index].audibility.back() =
            report::ReportAudibility {road.music.shareOfScale, road.music.loudness.share(),
                                      road.speech.index, road.music.overallGainDb, road.powerRatio};
        if (index == 0 && isLastRide)
            content.exposureWords = hearing::exposureGuidance(road.exposure, road.dose);
    }
}

/** Levels and noise of all rides. */
void addRides(const Job& job, const audition::SceneRequest& request,
              const audition::AuditionScene& scene, const std::vector<double>& speedsKmh,
              std::span<const dsp::Band> octaves, report::ReportContent& content)
{
    audition::AuditionEngine::Parameters parameters;
    parameters.ride = rideChoice(job.ride);
    for (const double speedKmh : speedsKmh) {
        parameters.ride.speedKmh = speedKmh;
        report::ReportRide ride;
        ride.speedKmh = speedKmh;
        for (std::size_t index = 0; index < scene.candidates.size(); ++index) {
            const auto levels = audition::levelsOf(scene, scene.candidates[index], parameters);
            content.candidates[index].programmeSplDba.push_back(levels.programmeSplDba);
            content.candidates[index].audibility.emplace_back();
            if (levels.noise.totalDba > dsp::silenceDb)
                ride.noiseSplDba = levels.noise.totalDba;
        }
        if (ride.noiseSplDba) {
            ride.noiseOctaveLevels =
                noiseOctavesOf(audition::noiseSpectrum(request.ride, parameters.ride)
                                   .raisedBy(-audition::plugLossDb(request.ride, parameters.ride)),
                               octaves);
            addAudibility(request, scene, parameters, speedKmh == speedsKmh.back(), content);
        }
        content.rides.push_back(std::move(ride));
    }
    content.noiseIsRecorded = request.ride.recorded != nullptr;
    content.noiseIsMeasured = audition::isNoiseMeasured(request.ride);
    content.noiseFigures = audition::noiseFigures(request.ride, parameters.ride);
}

dsp::Result<void> addRoad(const Job& job, const JobReportOptions& options,
                          const std::vector<double>& speedsKmh,
                          const std::vector<NamedResponse>& states, report::ReportContent& content)
{
    const auto request = loadSceneRequest(job);
    if (!request)
        return request.unexpected();
    audition::AuditionEngine engine({});
    engine.prepare(
        {.sampleRate = reportSampleRate, .maxBlockFrames = 512, .numChannels = audition::numEars});
    const auto scene = audition::buildScene(*request, engine.layout(), reportSampleRate);
    if (!scene)
        return scene.unexpected();

    const auto centresHz = ride::octaveCentresHz();
    const auto octaves = dsp::octaveBands(1, centresHz.front(), centresHz.back());
    for (std::size_t index = 0; index < request->candidates.size(); ++index) {
        const audition::CandidateRequest& candidate = request->candidates[index];
        const auto tuned = withTuning(candidate);
        if (!tuned)
            return tuned.unexpected();
        const measure::Response& changed = *tuned;
        report::ReportCandidate shown;
        shown.name = candidate.name;
        for (const std::string& id : job.candidates[index].allStateIds()) {
            const auto state = std::ranges::find(job.states, id, &JobState::id);
            const NamedResponse& of = states[static_cast<std::size_t>(state - job.states.begin())];
            shown.stateMark +=
                (shown.stateMark.empty() ? "" : " + ") + (of.mark.empty() ? state->id : of.mark);
            if (shown.radioProfile.empty())
                shown.radioProfile = of.response.state.radioProfile;
        }
        shown.tuning = candidate.tuning;
        shown.settings = report::tuningWords(candidate.tuning);
        shown.notes = audition::candidateNotes(candidate);
        shown.isGroupEstimate =
            candidate.groups != nullptr && candidate.groups->sum == measure::GroupSum::power;
        findLargestBoost(candidate, shown);
        shown.evenness = measure::flatnessOf(changed, evenFromHz, evenToHz);
        shown.curve = curveOf(changed);
        shown.curve.label = candidate.name;
        shown.curve.mark = std::to_string(index + 1);
        shown.levelSource = scene->candidates[index].level.source;

        shown.octaveLevels.label = candidate.name;
        shown.octaveLevels.mark = shown.curve.mark;
        shown.octaveLevels.frequenciesHz.assign(centresHz.begin(), centresHz.end());
        const auto levelsDbfs = programmeOctavesDbfs(audition::candidateAtSpeed(candidate, 0.0),
                                                     request->ride.parameters.helmet,
                                                     engine.layout().maxTaps(), octaves);
        if (!levelsDbfs)
            return levelsDbfs.unexpected();
        for (const double levelDbfs : *levelsDbfs)
            shown.octaveLevels.levelsDb.push_back(
                levelDbfs + scene->candidates[index].level.splAtFullScaleDb);
        content.candidates.push_back(std::move(shown));
    }

    addRides(job, *request, *scene, speedsKmh, octaves, content);
    for (const JobReportFile& file : options.files) {
        const auto& candidate =
            scene->candidates[std::min(file.parameters.candidate, scene->candidates.size() - 1)];
        report::ReportAuditionFile shown {
            .name = file.name,
            .words = fileWords(file.parameters, *scene, content.speedUnits),
            .belowRoadDb = {}};
        if (file.parameters.monitor != audition::Monitor::untouched)
            shown.belowRoadDb = audition::levelsOf(*scene, candidate, {}).scaleDb
                                - audition::levelsOf(*scene, candidate, file.parameters).scaleDb;
        content.auditionFiles.push_back(std::move(shown));
    }
    return {};
}

dsp::Result<void> addBlindRuns(const Job& job, report::ReportContent& content)
{
    const auto runs = blindRunsOf(job);
    if (!runs)
        return dsp::fail(runs.error().code, runs.error().message);
    std::size_t numComplete = 0;
    bool anyAbandoned = false;
    for (const audition::BlindRun& run : *runs) {
        report::ReportBlindRun entry;
        entry.question = report::blindQuestion(run);
        for (const audition::BlindCandidate& candidate : run.candidates)
            entry.candidates += (entry.candidates.empty() ? "" : "; ") + candidate.name;
        entry.outcome = report::blindOutcome(run);
        entry.conditions = report::conditionWords(run, content.speedUnits);
        entry.isAbandoned = run.isAbandoned;
        content.blindRuns.push_back(std::move(entry));
        numComplete += run.isAbandoned ? 0U : 1U;
        anyAbandoned = anyAbandoned || run.isAbandoned;
    }
    if (runs->empty())
        return {};
    content.blindNotes = {
        "Names were hidden and the order was drawn by lot. p is how often guessing alone does as "
        "well; up to "
            + numberText(audition::blindSignificance, 2)
            + " counts as a result, for one listener with one piece of music. A run that says "
              "nothing does not show that candidates sound the same.",
    };
    if (anyAbandoned)
        content.blindNotes.emplace_back("An abandoned run has no result, whatever it had got to.");
    if (numComplete > 1)
        content.blindNotes.emplace_back(
            "Each p is of its run alone: the more runs are made, the more often one of them comes "
            "out by chance.");
    return {};
}

/** What the bike takes at least, and what the proposal asks of its speakers. */
dsp::Result<void> addFindings(const Job& job, const std::vector<NamedResponse>& states,
                              report::ReportContent& content)
{
    std::vector<measure::Response> responses;
    for (const NamedResponse& state : states)
        responses.push_back(state.response);
    if (auto added = addNeed(job, responses, content); !added)
        return added;
    if (!content.proposal)
        return {};
    const auto state =
        std::ranges::find(job.states, job.candidates[*content.proposal].stateId, &JobState::id);
    return addCost(job, responses[static_cast<std::size_t>(state - job.states.begin())], content);
}

/** How the job is listened to over headphones; nothing for a job without a seat. */
dsp::Result<void> addSeat(const Job& job, report::ReportContent& content)
{
    if (job.seat == JobSeat {})
        return {};
    const auto listener = loadListenerSeat(job);
    if (!listener)
        return dsp::fail(listener.error().code, listener.error().message);
    const auto headphones = loadHeadphones(job);
    if (!headphones)
        return dsp::fail(headphones.error().code, headphones.error().message);
    std::string words = "What is heard over headphones in the shop.";
    for (const std::string& sentence : seat::seatSentences(listener->get(), *headphones))
        words += " " + sentence;
    content.estimated.push_back(std::move(words));
    return {};
}

void addCautions(report::ReportContent& content)
{
    content.cautions.emplace_back(
        "Loud sound harms hearing. Guidance, not medical advice: NIOSH recommends at most "
        "85 dB(A) for 8 hours a day, half the time for every 3 dB more.");
    content.cautions.emplace_back(
        "Headphones are for a parked listener, never for riding. Start quiet, then turn up.");
    content.cautions.emplace_back(
        "Test tones and boosts can damage loudspeakers and amplifiers: turn up slowly, stop "
        "when it sounds strained.");
    content.cautions.emplace_back("Levels are estimates unless they are marked as measured.");
    content.cautions.emplace_back(
        "Local law (sound on the road, ear protection) and licensed practice come before "
        "anything in this report.");
}

void addFoundations(const std::vector<NamedResponse>& states, report::ReportContent& content)
{
    double largestDb = 0.0;
    std::size_t numTrusted = 0;
    std::size_t numCalibrated = 0;
    for (const NamedResponse& state : states) {
        numCalibrated += state.response.hasCalibration ? 1 : 0;
        for (const measure::BandConfidence& band : state.response.bands)
            if (band.trusted) {
                largestDb = std::max(largestDb, 3.0 * band.uncertaintyDb);
                ++numTrusted;
            }
    }
    std::string curves = "The curves of the states, and how they differ.";
    if (numTrusted > 0)
        curves += " Noise leaves them uncertain by at most \xC2\xB1"
                  + numberText(std::max(0.1, largestDb), 1)
                  + " dB (three standard deviations). A moved head or microphone adds to that.";
    content.measured.push_back(std::move(curves));
    if (numCalibrated == states.size())
        content.measured.emplace_back("The levels, as exact as the calibrator and the microphone.");
    else if (numCalibrated > 0)
        content.measured.emplace_back(
            "The levels of states marked as calibrated, as exact as the calibrator and "
            "the microphone; the other levels are relative.");
    else
        content.estimated.emplace_back(
            "Music in dB(A): no state is calibrated, so it rests on an assumption and may be "
            "10 dB off.");

    if (content.candidates.empty())
        return;
    content.estimated.emplace_back(
        "Candidates with settings: calculated; true while nothing overloads.");
    if (content.cost)
        content.estimated.emplace_back("Amplifier and cone: from the speaker's data, \xC2\xB1"
                                       + numberText(content.cost->cost.uncertaintyDb, 0) + " dB.");
    if (std::ranges::any_of(content.candidates, &report::ReportCandidate::isGroupEstimate))
        content.estimated.emplace_back(
            "Candidates whose speaker groups were added in power: nobody measured when each group "
            "arrives, so dips and peaks between them are missing.");
    if (content.noiseIsMeasured)
        content.measured.emplace_back("The noise of the ride: recorded and calibrated.");
    else if (content.noiseIsRecorded)
        content.estimated.emplace_back(
            "The noise of the ride: its sound is recorded, its level is that of a model, \xC2\xB1"
            + numberText(ride::windSpreadDb, 0) + " dB.");
    else
        content.estimated.emplace_back(
            "The noise of the ride: wind from published measurements of other bikes and riders, "
            "\xC2\xB1"
            + numberText(ride::windSpreadDb, 0)
            + " dB; its spectrum, tyres and engine are judgement. The appendix says so figure by "
              "figure.");
    content.estimated.emplace_back(
        "What is heard in the noise: computed for steady sound and young, healthy ears.");
    if (content.helmet != ride::Helmet::none)
        content.estimated.emplace_back("What the helmet takes from the music: typical values.");
    content.estimated.emplace_back("Not included: traffic, and a loud exhaust.");
}

/** Those of the options, of the job, or what riders know: round figures of their units. */
std::vector<double> speedsOf(const Job& job, const JobReportOptions& options,
                             report::SpeedUnits units)
{
    if (!options.speedsKmh.empty())
        return options.speedsKmh;
    if (!job.report.speedsKmh.empty())
        return job.report.speedsKmh;
    if (units == report::SpeedUnits::kmh)
        return {0.0, 70.0, 120.0};
    return {0.0, dsp::mphToKmh(45.0), dsp::mphToKmh(75.0)};
}

/** What the job proposes; else the only candidate that sets anything. */
std::optional<std::size_t> proposalOf(const Job& job, const report::ReportContent& content)
{
    std::optional<std::size_t> only;
    std::size_t numWithSettings = 0;
    for (std::size_t index = 0; index < content.candidates.size(); ++index) {
        if (job.candidates[index].isProposed)
            return index;
        if (content.candidates[index].tuning.chains.empty())
            continue;
        only = index;
        ++numWithSettings;
    }
    return numWithSettings == 1 ? only : std::nullopt;
}

/** Tells how far it is; fails where it is to stop. */
dsp::Result<void> tell(const ReportProgress& progress, double share)
{
    if (progress && !progress(share))
        return dsp::fail(dsp::ErrorCode::cannotWrite, reportCancelledMessage);
    return {};
}

} // namespace

dsp::Result<report::ReportContent>
makeReportContent(const Job& job, const JobReportOptions& options, const ReportProgress& progress)
{
    report::ReportContent content;
    content.speedUnits = options.speedUnits.value_or(job.report.speedUnits);
    const std::vector<double> speedsKmh = speedsOf(job, options, content.speedUnits);
    if (const auto checked = checkReportSpeeds(speedsKmh); !checked)
        return dsp::fail(checked.error().code, checked.error().message);
    const auto states = loadStates(job);
    if (!states)
        return states.unexpected();
    if (const auto told = tell(progress, 0.1); !told)
        return dsp::fail(told.error().code, told.error().message);

    content.title = job.title.empty() ? "How this bike sounds" : job.title;
    content.question = !options.question.empty() ? options.question : job.question;
    if (content.question.empty())
        content.question =
            "Does this radio play the same curve with the engine running as parked, and which "
            "setting leaves most of the music audible on the road?";
    content.shop = job.shop;
    content.bike = job.bike;
    content.dateText = options.dateText;
    content.invented = job.invented || std::ranges::any_of(*states, [](const NamedResponse& state) {
                           return state.response.invented;
                       });
    content.helmet = job.ride.helmet;
    content.assumedProgrammeSplDba = job.ride.assumedProgrammeSplDba;
    for (const NamedResponse& state : *states)
        content.states.push_back(describeState(state));
    addComparisons(*states, content);
    content.remarks = collectRemarks(*states);
    if (!job.candidates.empty())
        if (const auto added = addRoad(job, options, speedsKmh, *states, content); !added)
            return dsp::fail(added.error().code, added.error().message);
    if (const auto told = tell(progress, 0.5); !told)
        return dsp::fail(told.error().code, told.error().message);

    content.proposal = proposalOf(job, content);
    if (const auto added = addFindings(job, *states, content); !added)
        return dsp::fail(added.error().code, added.error().message);
    if (const auto told = tell(progress, 0.9); !told)
        return dsp::fail(told.error().code, told.error().message);
    if (const auto added = addBlindRuns(job, content); !added)
        return dsp::fail(added.error().code, added.error().message);
    auto events = loadEvents(job.folder);
    if (!events)
        return events.unexpected();
    content.events = *std::move(events);
    addCautions(content);
    addFoundations(*states, content);
    if (const auto added = addSeat(job, content); !added)
        return dsp::fail(added.error().code, added.error().message);
    return content;
}

WrittenReport reportFilesFor(const std::filesystem::path& htmlFile)
{
    WrittenReport names {htmlFile, htmlFile, htmlFile};
    names.appendix.replace_extension(".appendix.html");
    names.curves.replace_extension(".curves.csv");
    return names;
}

dsp::Result<WrittenReport> writeJobReport(const Job& job, const std::filesystem::path& htmlFile,
                                          const JobReportOptions& options,
                                          const ReportProgress& progress)
{
    auto content = makeReportContent(job, options, progress);
    if (!content)
        return content.unexpected();
    WrittenReport written = reportFilesFor(htmlFile);
    content->appendixFile = written.appendix.filename().string();
    content->curvesFile = written.curves.filename().string();
    for (const auto& [file, text] :
         std::array {std::pair {&written.curves, report::curvesCsv(*content)},
                     std::pair {&written.appendix, report::renderAppendix(*content)},
                     std::pair {&written.html, report::renderHtml(*content)}})
        if (const auto saved = files::writeTextFile(*file, text); !saved)
            return saved.unexpected();
    return written;
}

dsp::Result<WrittenReport> writeJobReport(const std::filesystem::path& jobFolder,
                                          const std::filesystem::path& htmlFile,
                                          const JobReportOptions& options,
                                          const ReportProgress& progress)
{
    const auto job = loadJob(jobFolder);
    if (!job)
        return job.unexpected();
    return writeJobReport(*job, htmlFile, options, progress);
}

} // namespace saddletone::job
