#include "Core/Job/JobReport.h"

#include "Core/Audition/BlindStatistics.h"
#include "Core/Audition/RoadAudibility.h"
#include "Core/Dsp/Fft.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Hearing/ProgrammeAtHead.h"
#include "Core/Job/BlindRuns.h"
#include "Core/Job/EventRecords.h"
#include "Core/Measure/Comparison.h"
#include "Core/Report/BlindWords.h"
#include "Core/Report/CurveTable.h"
#include "Core/Report/HtmlReport.h"
#include "Core/Report/Wording.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
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
constexpr double fastestMph = 155.0; // the engine's 250 km/h

/** A response and what the job calls it. */
struct NamedResponse {
    std::string name;
    std::string mark;
    measure::Response response;

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
        std::string name = response->name.empty() ? state.id : response->name;
        states.push_back({std::move(name), stateMark(states.size()), std::move(*response)});
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
    shown.numTakes = response.numTakes;
    shown.snrDb = response.snrDb;
    shown.clockPpm = response.clockPpm;
    if (response.hasCalibration)
        shown.calibration = response.calibration;
    shown.evenness = measure::flatnessOf(response, evenFromHz, evenToHz);
    shown.curve = curveOf(response);
    shown.curve.label = state.name;
    shown.curve.mark = state.mark;
    for (const measure::BandConfidence& band : response.bands)
        shown.uncertaintiesDb.push_back(band.trusted ? band.uncertaintyDb
                                                     : std::numeric_limits<double>::quiet_NaN());
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
    // A report is for two pages; the state files hold every remark.
    constexpr std::size_t mostShown = 6;
    std::vector<std::string> lines;
    for (const Remark& remark : remarks) {
        if (lines.size() == mostShown) {
            lines.push_back(std::to_string(remarks.size() - mostShown)
                            + " more remarks stand in the state files.");
            break;
        }
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

std::array<tuning::DesignedTuning, 2> designedSides(const tuning::Tuning& tuning)
{
    return {tuning::designTuning(tuning, tuning::OutputGroup::left, reportSampleRate),
            tuning::designTuning(tuning, tuning::OutputGroup::right, reportSampleRate)};
}

/** The response's bands as the tuning would leave them; its impulse is not touched. */
measure::Response withTuning(measure::Response response, const tuning::Tuning& tuning)
{
    const auto sides = designedSides(tuning);
    for (measure::BandConfidence& band : response.bands) {
        double power = 0.0;
        for (const double frequencyHz : pointsIn(band.frequencyHz))
            for (const tuning::DesignedTuning& side : sides)
                power += std::norm(side.response(frequencyHz));
        band.levelDb += dsp::powerToDb(power / (pointsPerBand * static_cast<double>(sides.size())));
    }
    return response;
}

void findLargestBoost(const tuning::Tuning& tuning, report::ReportCandidate& candidate)
{
    const auto sides = designedSides(tuning);
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
                      const audition::AuditionScene& scene)
{
    const std::size_t index = std::min(parameters.candidate, scene.candidates.size() - 1);
    const std::string candidate = "Candidate " + std::to_string(index + 1);
    const bool isRiding = parameters.ride.speedKmh > 0.0;
    const std::string where =
        isRiding ? " at " + report::speedWords(parameters.ride.speedKmh) : " parked";
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

/** What remains on the last ride, and what the ride does to the ears. */
void addAudibility(const Job& job, const audition::SceneRequest& request,
                   const audition::AuditionScene& scene, report::ReportContent& content)
{
    audition::AuditionEngine::Parameters parameters;
    parameters.ride = rideChoice(job.ride);
    parameters.ride.speedKmh = content.rides.back().speedKmh;
    content.noiseIsRecorded = request.ride.recorded != nullptr;
    content.noiseIsMeasured = audition::isNoiseMeasured(request.ride);
    content.noiseFigures = audition::noiseFigures(request.ride, parameters.ride);
    if (!content.rides.back().noiseSplDba)
        return;
    const auto music = hearing::pinkProgrammeDbfs(audition::referenceProgrammeDbfs);
    for (std::size_t index = 0; index < scene.candidates.size(); ++index) {
        const audition::SceneCandidate& candidate = scene.candidates[index];
        const auto road = audition::assessRoad(
            music,
            audition::candidateGainDb(request.candidates[index], request.ride.parameters.helmet,
                                      parameters.ride.speedKmh),
            candidate.level, audition::levelsOf(scene, candidate, parameters), request.ride,
            parameters, mostIsHeard);
        content.candidates[index].audibility =
            report::ReportAudibility {road.music.shareOfScale, road.music.loudness.share(),
                                      road.speech.index, road.music.overallGainDb, road.powerRatio};
        if (index == 0)
            content.exposureWords = hearing::exposureGuidance(road.exposure, road.dose);
    }
}

dsp::Result<void> addRoad(const Job& job, const JobReportOptions& options,
                          report::ReportContent& content)
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
        const measure::Response changed = withTuning(candidate.response, candidate.tuning);
        report::ReportCandidate shown;
        shown.name = candidate.name;
        const auto state =
            std::ranges::find(job.states, job.candidates[index].stateId, &JobState::id);
        shown.stateMark = stateMark(static_cast<std::size_t>(state - job.states.begin()));
        if (shown.stateMark.empty())
            shown.stateMark = state->id;
        shown.settings = report::tuningWords(candidate.tuning);
        findLargestBoost(candidate.tuning, shown);
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

    for (const double speedMph : options.speedsMph) {
        audition::AuditionEngine::Parameters parameters;
        parameters.ride = rideChoice(job.ride);
        parameters.ride.speedKmh = dsp::mphToKmh(speedMph);
        report::ReportRide ride {.speedKmh = parameters.ride.speedKmh, .noiseSplDba = {}};
        for (std::size_t index = 0; index < scene->candidates.size(); ++index) {
            const auto levels = audition::levelsOf(*scene, scene->candidates[index], parameters);
            content.candidates[index].programmeSplDba.push_back(levels.programmeSplDba);
            if (levels.noise.totalDba > dsp::silenceDb)
                ride.noiseSplDba = levels.noise.totalDba;
        }
        content.rides.push_back(ride);
    }
    if (!content.rides.empty() && content.rides.back().noiseSplDba) {
        audition::RideChoice choice = rideChoice(job.ride);
        choice.speedKmh = content.rides.back().speedKmh;
        content.noiseOctaveLevels =
            noiseOctavesOf(audition::noiseSpectrum(request->ride, choice)
                               .raisedBy(-audition::plugLossDb(request->ride, choice)),
                           octaves);
    }

    if (!content.rides.empty())
        addAudibility(job, *request, *scene, content);
    for (const JobReportFile& file : options.files) {
        const auto& candidate =
            scene->candidates[std::min(file.parameters.candidate, scene->candidates.size() - 1)];
        report::ReportAuditionFile shown {
            .name = file.name, .words = fileWords(file.parameters, *scene), .belowRoadDb = {}};
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
        entry.conditions = report::conditionWords(run.conditions);
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
    std::string curves = "The curves of the states.";
    if (numTrusted > 0)
        curves += " Noise leaves them uncertain by at most \xC2\xB1"
                  + numberText(std::max(0.1, largestDb), 1)
                  + " dB (three standard deviations). A moved head or microphone adds to that.";
    content.measured.push_back(std::move(curves));
    content.measured.emplace_back(
        "The difference between parked and engine running, to the same uncertainty.");
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
            + " dB; its spectrum, tyres and engine are judgement. The last table says so figure by "
              "figure.");
    content.estimated.emplace_back(
        "What is heard in the noise: computed for steady sound and young, healthy ears.");
    if (content.helmet != ride::Helmet::none)
        content.estimated.emplace_back("What the helmet takes from the music: typical values.");
    content.estimated.emplace_back("Not included: traffic, and a loud exhaust.");
}

dsp::Result<void> checkOptions(const JobReportOptions& options)
{
    for (std::size_t index = 0; index < options.speedsMph.size(); ++index) {
        const double speedMph = options.speedsMph[index];
        if (!(speedMph >= 0.0 && speedMph <= fastestMph)
            || (index > 0 && speedMph <= options.speedsMph[index - 1]))
            return dsp::fail(dsp::ErrorCode::outOfRange,
                             "the speeds of a report must rise and lie between 0 and "
                                 + numberText(fastestMph, 0) + " mph");
    }
    return {};
}

} // namespace

dsp::Result<report::ReportContent> makeReportContent(const Job& job,
                                                     const JobReportOptions& options)
{
    if (const auto checked = checkOptions(options); !checked)
        return dsp::fail(checked.error().code, checked.error().message);
    const auto states = loadStates(job);
    if (!states)
        return states.unexpected();

    report::ReportContent content;
    content.title = job.title.empty() ? "How this bike sounds" : job.title;
    content.question =
        !options.question.empty()
            ? options.question
            : "Does this radio play the same curve with the engine running as parked, and which "
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
        if (const auto added = addRoad(job, options, content); !added)
            return dsp::fail(added.error().code, added.error().message);
    if (const auto added = addBlindRuns(job, content); !added)
        return dsp::fail(added.error().code, added.error().message);
    auto events = loadEvents(job.folder);
    if (!events)
        return events.unexpected();
    content.events = *std::move(events);
    addCautions(content);
    addFoundations(*states, content);
    return content;
}

std::filesystem::path curvesFileFor(const std::filesystem::path& htmlFile)
{
    auto file = htmlFile;
    return file.replace_extension(".curves.csv");
}

dsp::Result<void> writeJobReport(const Job& job, const std::filesystem::path& htmlFile,
                                 const JobReportOptions& options)
{
    const auto content = makeReportContent(job, options);
    if (!content)
        return content.unexpected();
    if (const auto written =
            files::writeTextFile(curvesFileFor(htmlFile), report::curvesCsv(*content));
        !written)
        return written;
    return files::writeTextFile(htmlFile, report::renderHtml(*content));
}

} // namespace saddletone::job
