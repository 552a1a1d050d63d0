#include "Core/Demo/Demo.h"

#include "Core/Audition/OfflineRender.h"
#include "Core/Demo/DemoBike.h"
#include "Core/Demo/DemoProgramme.h"
#include "Core/Dsp/Units.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/Job.h"
#include "Core/Job/JobReport.h"
#include "Core/Measure/Measurement.h"
#include "Core/Measure/StateOrigin.h"
#include "Core/Signals/TrackSet.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/TuningFile.h"

#include <algorithm>
#include <array>

namespace saddletone::demo {

namespace {

constexpr double trackRate = 48000.0;

/** An audition to be rendered: which candidate of the job, at which speed, and its file name. */
struct PlannedAudition {
    std::size_t candidate = 0;
    double speedMph = 0.0;
    std::string_view fileName;
};

// The stock profile is heard with the curve it has in that situation: another one once the engine
// runs. The alternative keeps its curve.
constexpr std::array plannedAuditions {
    PlannedAudition {0, 0.0, "audition-stock-0-mph.wav"},
    PlannedAudition {1, 45.0, "audition-stock-45-mph.wav"},
    PlannedAudition {1, 75.0, "audition-stock-75-mph.wav"},
    PlannedAudition {2, 0.0, "audition-alternative-0-mph.wav"},
    PlannedAudition {2, 45.0, "audition-alternative-45-mph.wav"},
    PlannedAudition {2, 75.0, "audition-alternative-75-mph.wav"},
};

/** Bass turned down by hand on the stock profile: a tuning to listen to, not a fitted one. */
tuning::Tuning bassTurnedDown()
{
    tuning::Element shelf;
    shelf.type = tuning::ElementType::lowShelf;
    shelf.frequencyHz = 130.0;
    shelf.gainDb = -6.0;
    return {"Bass turned down by 6 dB", {{tuning::OutputGroup::all, {shelf}}}};
}

/** What the invented shop proposes: set by hand, not fitted. */
tuning::Tuning setForTheRoad()
{
    tuning::Element highPass;
    highPass.type = tuning::ElementType::highPass;
    highPass.frequencyHz = 60.0;
    highPass.order = 4;
    tuning::Element voices;
    voices.type = tuning::ElementType::peaking;
    voices.frequencyHz = 1600.0;
    voices.gainDb = 5.0;
    voices.q = 0.7;
    tuning::Element treble;
    treble.type = tuning::ElementType::highShelf;
    treble.frequencyHz = 5000.0;
    treble.gainDb = 3.0;
    return {"Set for the road", {{tuning::OutputGroup::all, {highPass, voices, treble}}}};
}

/** The bike's speakers; invented like the rest. */
tuning::Speaker inventedSpeaker()
{
    tuning::Speaker speaker;
    speaker.name = "6.5-inch speaker of the demo (invented)";
    speaker.invented = true;
    speaker.fsHz = 85.0;
    speaker.qts = 0.75;
    speaker.qms = 4.5;
    speaker.vasLitres = 8.0;
    speaker.xmaxMm = 3.0;
    speaker.reOhm = 3.4;
    speaker.enclosure = {.kind = tuning::EnclosureKind::sealed, .volumeLitres = 5.0};
    return speaker;
}

dsp::Result<measure::Response> measureState(const DemoState& state, const signals::Signal& sweep,
                                            const std::filesystem::path& recordingFile,
                                            const DemoRecorder& recorder)
{
    const auto recording = recordOnDemoBike(sweep.audio, state, recorder);
    if (const auto written = files::writeAudioFile(recording, recordingFile,
                                                   files::SampleFormat::pcm24, recorder.seed);
        !written)
        return written.unexpected();
    auto audio = files::readAudioFile(recordingFile);
    if (!audio)
        return audio.unexpected();

    measure::MeasurementRequest request;
    request.recordings.push_back({recordingFile.string(), std::move(*audio)});
    request.track = sweep.description;
    request.name = state.profile.name + ", engine "
                   + std::string(measure::engineStateName(state.state.engine));
    request.state = state.state;
    auto response = measure::measureResponse(request);
    if (!response)
        return response;
    response->invented = true;
    response->remarks.emplace_back(
        "Invented demo data: a simulated bike, recorded by a simulated recorder.");
    return response;
}

job::Job demoJob(const std::filesystem::path& folder)
{
    job::Job job;
    job.folder = folder;
    job.title = "Demo: is another radio profile enough?";
    job.shop = "The Example Workshop (invented)";
    job.bike = "Touring bike, two 6.5-inch speakers (invented)";
    job.question = "The stock profile booms in the garage and turns thin on the road. Is another "
                   "profile enough, and what has to be set?";
    job.invented = true;
    job.cost.amplifierWatts = 25.0;
    for (const DemoState& state : demoStates())
        job.states.push_back({state.id, "states/" + state.id + ".json"});
    job.candidates = {
        {"Stock profile, parked", "stock-parked", ""},
        {"Stock profile, engine running", "stock-running", ""},
        {"Alternative profile", "alternative-running", ""},
        {"Stock, running, bass down", "stock-running", "tunings/bass-down.json"},
        {"Alternative, set for the road", "alternative-running", "tunings/set-for-the-road.json"},
    };
    job.candidates.back().isProposed = true;
    job.programmes = {"programme/demo-music.wav"};
    job.ride.helmet = ride::Helmet::fullFace;
    return job;
}

} // namespace

dsp::Result<DemoResult> runDemo(const std::filesystem::path& folder, const std::string& dateText,
                                const DemoProgress& progress)
{
    // Tracks, music and report beside the states and the auditions.
    const auto numSteps = static_cast<double>(3 + demoStates().size() + plannedAuditions.size());
    double numDone = 0.0;
    const auto goesOn = [&](const std::string& step) {
        return progress(step, numDone++ / numSteps);
    };
    const auto cancelled = [] {
        return dsp::fail(dsp::ErrorCode::cannotWrite, demoCancelledMessage);
    };
    DemoResult result;
    result.jobFolder = folder / "job";
    result.report = folder / "report.html";

    if (!goesOn("making test tracks"))
        return cancelled();
    if (const auto tracks = signals::writeTrackSet(folder / "tracks", trackRate); !tracks)
        return tracks.unexpected();
    const auto tracks = signals::shopTracks(trackRate);
    const auto sweepTrack = std::ranges::find_if(tracks, [](const signals::Track& track) {
        return track.request.type == signals::SignalType::sweep;
    });
    const auto sweep = signals::makeSignal(sweepTrack->request);
    if (!sweep)
        return sweep.unexpected();

    DemoRecorder recorder;
    for (const DemoState& state : demoStates()) {
        if (!goesOn("recording and measuring " + state.id))
            return cancelled();
        const auto response =
            measureState(state, *sweep, folder / "recordings" / (state.id + ".wav"), recorder);
        if (!response)
            return response.unexpected();
        if (const auto saved = measure::saveResponse(*response, result.jobFolder / "states"
                                                                    / (state.id + ".json"));
            !saved)
            return saved.unexpected();
        if (const auto noted =
                measure::noteOrigin({dateText, "simulated microphone and recorder (invented)"},
                                    result.jobFolder / "states" / (state.id + ".json"));
            !noted)
            return noted.unexpected();
        ++recorder.seed;
        recorder.startSeconds += 0.37;
    }

    if (!goesOn("making music"))
        return cancelled();
    const dsp::AudioBuffer music = makeDemoProgramme(trackRate, 1);
    job::Job job = demoJob(result.jobFolder);
    if (const auto saved = files::writeAudioFile(music, result.jobFolder / job.programmes.front(),
                                                 files::SampleFormat::pcm16);
        !saved)
        return saved.unexpected();
    if (const auto saved =
            tuning::saveTuning(bassTurnedDown(), result.jobFolder / "tunings" / "bass-down.json");
        !saved)
        return saved.unexpected();
    if (const auto saved = tuning::saveTuning(setForTheRoad(), result.jobFolder / "tunings"
                                                                   / "set-for-the-road.json");
        !saved)
        return saved.unexpected();
    if (const auto saved =
            tuning::saveSpeaker(inventedSpeaker(), result.jobFolder / "speakers" / "demo.json");
        !saved)
        return saved.unexpected();
    // The demo starts afresh each time.
    if (const auto saved = job::saveJob(job, job::SaveRule::overwriteChanged); !saved)
        return saved.unexpected();

    const auto scene = job::loadSceneRequest(job);
    if (!scene)
        return scene.unexpected();
    job::JobReportOptions reportOptions;
    reportOptions.dateText = dateText;
    for (const PlannedAudition& planned : plannedAuditions) {
        if (!goesOn("rendering " + std::string(planned.fileName)))
            return cancelled();
        audition::AuditionEngine::Parameters parameters;
        parameters.candidate = planned.candidate;
        parameters.ride.speedKmh = dsp::mphToKmh(planned.speedMph);
        const auto rendering = audition::renderAudition(*scene, music, {}, parameters);
        if (!rendering)
            return rendering.unexpected();
        const auto file = folder / "auditions" / planned.fileName;
        if (const auto saved =
                files::writeAudioFile(rendering->audio, file, files::SampleFormat::pcm16);
            !saved)
            return saved.unexpected();
        result.auditions.push_back({file,
                                    job.candidates[planned.candidate].name + " at "
                                        + files::fixedText(planned.speedMph, 0) + " mph",
                                    planned.speedMph, rendering->levels.programmeSplDba,
                                    rendering->levels.noise.totalDba});
        reportOptions.files.push_back({"auditions/" + std::string(planned.fileName), parameters});
    }

    if (!goesOn("writing the report"))
        return cancelled();
    if (const auto written = job::writeJobReport(job, result.report, reportOptions); !written)
        return written.unexpected();
    return result;
}

} // namespace saddletone::demo
