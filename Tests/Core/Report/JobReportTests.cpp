#include "Core/Dsp/MinimumPhase.h"
#include "Core/Dsp/OctaveBands.h"
#include "Core/Dsp/Units.h"
#include "Core/Dsp/Weighting.h"
#include "Core/Files/TextTable.h"
#include "Core/Job/JobReport.h"
#include "Core/Measure/StateOrigin.h"
#include "Core/Report/HtmlAppendix.h"
#include "Core/Report/HtmlReport.h"
#include "Core/Report/Wording.h"
#include "Core/Tuning/Speaker.h"
#include "Core/Tuning/TuningCost.h"
#include "Core/Tuning/TuningFile.h"
#include "Support/TemporaryFolder.h"
#include "Support/WellFormedXml.h"

#include <catch2/catch.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

using namespace saddletone;
using measure::EngineState;

namespace {

bool holds(const std::string& text, const std::string& part)
{
    return text.find(part) != std::string::npos;
}

/** A made-up response: flat but for a bell-shaped change of bass. */
measure::Response makeResponse(const std::string& name, EngineState engine, double bassDb)
{
    constexpr std::size_t fftSize = 16384;
    std::vector<double> magnitude(fftSize / 2 + 1);
    for (std::size_t bin = 0; bin < magnitude.size(); ++bin) {
        const double frequencyHz = std::max(1.0, static_cast<double>(bin) * 48000.0 / fftSize);
        const double distance = std::log2(frequencyHz / 80.0);
        magnitude[bin] = dsp::dbToAmplitude(-20.0 + bassDb * std::exp(-2.0 * distance * distance));
    }
    const auto taps = dsp::minimumPhaseImpulse(magnitude);
    measure::Response response;
    response.name = name;
    response.state = {"stock", engine, 0.0, "head", "18"};
    response.arrivalFrame = 50;
    response.impulse.assign(8192, 0.0F);
    for (std::size_t frame = 0; frame < 8000; ++frame)
        response.impulse[frame + response.arrivalFrame] = static_cast<float>(taps[frame]);
    response.clockPpm = 63.2;
    response.snrDb = 41.0;
    std::vector<double> centresHz;
    for (const dsp::Band& band : dsp::thirdOctaveBands())
        centresHz.push_back(band.centreHz);
    const auto levels = response.magnitudeDb(centresHz, 3);
    for (std::size_t band = 0; band < centresHz.size(); ++band)
        response.bands.push_back({.frequencyHz = centresHz[band],
                                  .levelDb = levels[band],
                                  .snrDb = 41.0,
                                  .uncertaintyDb = 0.05,
                                  .trusted = true});
    response.remarks = {"No calibration: levels are relative."};
    return response;
}

/** A job of a parked and a running state, the latter also with a tuning. */
job::Job makeJob(const std::filesystem::path& folder, double runningBassDb)
{
    job::Job job;
    job.folder = folder;
    job.title = "Made-up <job>";
    job.shop = "Made-up shop";
    job.bike = "Made-up bike";
    REQUIRE(measure::saveResponse(makeResponse("Parked", EngineState::off, 0.0),
                                  folder / "parked.json"));
    REQUIRE(measure::saveResponse(makeResponse("Running", EngineState::running, runningBassDb),
                                  folder / "running.json"));
    const tuning::Tuning tuning {
        "Bass up",
        {{tuning::OutputGroup::all,
          {{.type = tuning::ElementType::peaking, .frequencyHz = 80.0, .gainDb = 5.0, .q = 1.0}}}}};
    REQUIRE(tuning::saveTuning(tuning, folder / "bass.json"));
    job.states = {{"parked", "parked.json"}, {"running", "running.json"}};
    job.candidates = {{"As it is", "running", ""}, {"Bass up", "running", "bass.json"}};
    REQUIRE(job::saveJob(job));
    return job;
}

job::JobReportOptions dated()
{
    job::JobReportOptions options;
    options.dateText = "2026-01-31";
    return options;
}

} // namespace

TEST_CASE("A job with another curve when the engine runs says so in its report", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    REQUIRE(content->comparisons.size() == 1);
    const auto& entry = content->comparisons[0];
    CHECK(entry.parkedName == "A");
    CHECK(entry.otherName == "B");
    CHECK(entry.comparison.significant);
    const auto parked = measure::loadResponse(folder / "parked.json");
    const auto running = measure::loadResponse(folder / "running.json");
    REQUIRE((parked && running));
    const auto expected = measure::compareResponses(*parked, *running);
    CHECK(entry.comparison.largestDifferenceDb == expected.largestDifferenceDb);
    CHECK(!entry.levelDifferenceDb.has_value()); // not calibrated
    const std::string html = report::renderHtml(*content);
    CHECK(holds(html, "Profile stock: with the engine running this radio plays another curve: "
                          + report::numberText(-expected.largestDifferenceDb, 1)
                          + " dB less at 80 Hz"));
    const auto flatness = measure::flatnessOf(*running, 80.0, 12000.0);
    CHECK(holds(html, report::signedText(flatness.largestDb, 1) + " dB at "
                          + report::frequencyWords(flatness.largestAtHz)));
    const std::string appendix = report::renderAppendix(*content);
    CHECK(holds(appendix, report::evennessWords(flatness)));
    CHECK(holds(appendix, "All states: No calibration: levels are relative."));
    CHECK(test::xmlProblem(html) == "");
}

TEST_CASE("A report says how the job is listened to over headphones", "[core][report][seat]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), 0.0);
    const auto without = job::makeReportContent(job, dated());
    REQUIRE(without);
    const std::string mark = "What is heard over headphones in the shop.";
    CHECK_FALSE(holds(report::renderHtml(*without), mark));
    test::writeBytes(folder / "phone.csv", "50,-3\n200,0\n1000,0\n5000,4\n15000,1\n");
    job.seat.headphoneResponseFile = "phone.csv";
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    const std::string html = report::renderHtml(*content);
    CHECK(holds(html, mark));
    CHECK(holds(html, "corrected for the headphones of"));
    CHECK(holds(html, "listening level is unknown"));
    CHECK(test::xmlProblem(html) == "");
}

TEST_CASE("A job with the same curve when the engine runs says that too", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto content = job::makeReportContent(makeJob(folder.path(), -0.4), dated());
    REQUIRE(content);
    REQUIRE(content->comparisons.size() == 1);
    CHECK(!content->comparisons[0].comparison.significant);
    CHECK(holds(report::renderHtml(*content), "this radio plays the same curve as parked"));
}

TEST_CASE("A running state is set against the parked state of its own radio profile only",
          "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    auto other = makeResponse("Vocal, running", EngineState::idle, 2.0);
    other.state.radioProfile = "vocal";
    REQUIRE(measure::saveResponse(other, folder / "vocal.json"));
    job.states.push_back({"vocal", "vocal.json"});
    // Of two parked states, the one with the microphone at the same place is the reference.
    auto elsewhere = makeResponse("Parked, passenger", EngineState::off, 3.0);
    elsewhere.state.microphonePlace = "passenger";
    REQUIRE(measure::saveResponse(elsewhere, folder / "passenger.json"));
    job.states.insert(job.states.begin(), {"passenger", "passenger.json"});
    auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    REQUIRE(content->comparisons.size() == 1);
    CHECK(content->comparisons[0].parkedName == "B");
    CHECK(content->comparisons[0].notes.empty());
    REQUIRE(content->comparisonNotes.size() == 1);
    CHECK(holds(content->comparisonNotes[0], "'vocal' was not measured parked"));

    job.states.erase(job.states.begin() + 1);
    content = job::makeReportContent(job, dated());
    REQUIRE(content);
    REQUIRE(content->comparisons.size() == 1);
    REQUIRE(content->comparisons[0].notes.size() == 1);
    CHECK(holds(content->comparisons[0].notes[0], "microphone"));
}

TEST_CASE("Calibrated states are compared in level too", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    auto parked = makeResponse("Parked", EngineState::off, 0.0);
    auto running = makeResponse("Running", EngineState::running, 0.0);
    parked.hasCalibration = running.hasCalibration = true;
    parked.calibration = {.toneSplDb = 94.0, .toneDbfs = -20.0};
    running.calibration = {.toneSplDb = 94.0, .toneDbfs = -26.0};
    REQUIRE(measure::saveResponse(parked, folder / "parked.json"));
    REQUIRE(measure::saveResponse(running, folder / "running.json"));
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    REQUIRE(content->comparisons[0].levelDifferenceDb.has_value());
    // The same digital level stands for 6 dB more sound.
    CHECK(*content->comparisons[0].levelDifferenceDb == Approx(6.0).margin(1e-6));
    CHECK(content->candidates[0].levelSource == audition::LevelSource::measured);
    CHECK(holds(report::renderHtml(*content), " measured</td>"));
}

TEST_CASE("The levels in a report are those the engine plays", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    const auto request = job::loadSceneRequest(job);
    REQUIRE(request);
    audition::AuditionEngine engine({});
    engine.prepare({.sampleRate = 48000.0, .maxBlockFrames = 512, .numChannels = 2});
    const auto scene = audition::buildScene(*request, engine.layout(), 48000.0);
    REQUIRE(scene);

    const std::string html = report::renderHtml(*content);
    REQUIRE(content->rides.size() == 3);
    CHECK(!content->rides[0].noiseSplDba.has_value());
    constexpr std::array speedsMph {0.0, 45.0, 75.0};
    for (std::size_t ride = 0; ride < speedsMph.size(); ++ride)
        for (std::size_t candidate = 0; candidate < 2; ++candidate) {
            audition::AuditionEngine::Parameters parameters;
            parameters.ride.speedKmh = dsp::mphToKmh(speedsMph[ride]);
            const auto levels =
                audition::levelsOf(*scene, scene->candidates[candidate], parameters);
            CHECK(content->candidates[candidate].programmeSplDba[ride] == levels.programmeSplDba);
            CHECK(holds(html, report::numberText(levels.programmeSplDba, 1) + " assumed"));
            if (ride == 0)
                continue;
            CHECK(content->rides[ride].noiseSplDba == levels.noise.totalDba);
            CHECK(holds(html, report::numberText(levels.noise.totalDba, 1) + " dB(A)"));
            CHECK(holds(html,
                        ">" + report::signedText(levels.programmeSplDba - levels.noise.totalDba, 1)
                            + "<"));
        }
    CHECK(holds(html, "45 mph (72 km/h)"));
    CHECK(holds(html, "75 mph (121 km/h)"));
}

TEST_CASE("The octaves of music add up to its A-weighted level", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto content = job::makeReportContent(makeJob(folder.path(), -5.0), dated());
    REQUIRE(content);
    for (const auto& candidate : content->candidates) {
        // Finely: pink noise has as much power in each part of an octave, and the kernel hardly
        // changes within one here but for the helmet.
        double power = 0.0;
        for (std::size_t octave = 0; octave < candidate.octaveLevels.frequenciesHz.size(); ++octave)
            power +=
                dsp::dbToPower(candidate.octaveLevels.levelsDb[octave]
                               + dsp::weightingDb(dsp::Weighting::a,
                                                  candidate.octaveLevels.frequenciesHz[octave]));
        // Weighting an octave by its middle, and leaving out 16 kHz, costs some tenths of a dB.
        CHECK(dsp::powerToDb(power) == Approx(candidate.programmeSplDba.front()).margin(0.5));
    }
    const auto& noise = content->rides.back().noiseOctaveLevels;
    REQUIRE_FALSE(noise.levelsDb.empty());
    double windPower = 0.0;
    for (std::size_t octave = 0; octave < noise.levelsDb.size(); ++octave)
        windPower +=
            dsp::dbToPower(noise.levelsDb[octave]
                           + dsp::weightingDb(dsp::Weighting::a, noise.frequenciesHz[octave]));
    CHECK(dsp::powerToDb(windPower) == Approx(*content->rides.back().noiseSplDba).margin(0.2));
}

TEST_CASE("A candidate's curve is its state's plus its tuning", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto content = job::makeReportContent(makeJob(folder.path(), -5.0), dated());
    REQUIRE(content);
    const auto& plain = content->candidates[0];
    const auto& tuned = content->candidates[1];
    CHECK(plain.curve.levelsDb == content->states[1].curve.levelsDb);
    CHECK(plain.largestBoostDb == 0.0);
    // A bell of 5 dB peaks at 5 dB; 9 points a third octave come within 0.05 dB of the peak.
    CHECK(tuned.largestBoostDb == Approx(5.0).margin(0.05));
    CHECK(report::frequencyWords(tuned.largestBoostAtHz) == "80 Hz");
    const auto bass = static_cast<std::size_t>(
        std::ranges::find_if(tuned.curve.frequenciesHz,
                             [](double frequencyHz) { return frequencyHz > 79.0; })
        - tuned.curve.frequenciesHz.begin());
    // Averaged over a third octave, a bell of Q 1 (2.1 octaves to half its dB, RBJ cookbook) is
    // within 0.2 dB of its peak; its skirt from 500 Hz to 2 kHz, which is set to 0, is below 0.1 dB.
    CHECK(tuned.curve.levelsDb[bass] - plain.curve.levelsDb[bass] == Approx(5.0).margin(0.3));
    CHECK(std::abs(tuned.evenness.largestDb) < std::abs(plain.evenness.largestDb));
    CHECK(tuned.settings == "bell 80 Hz +5.0 dB, Q 1.00");
    CHECK(holds(report::renderHtml(*content),
                "asks the amplifier for 3.2 times the power at 80 Hz")); // 10^0.5
}

TEST_CASE("Sound files are set against the road by the engine's own scale", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    auto options = dated();
    audition::AuditionEngine::Parameters parked;
    audition::AuditionEngine::Parameters fast;
    fast.candidate = 1;
    fast.ride.speedKmh = dsp::mphToKmh(75.0);
    audition::AuditionEngine::Parameters untouched;
    untouched.monitor = audition::Monitor::untouched;
    options.files = {{"parked.wav", parked}, {"fast.wav", fast}, {"music.wav", untouched}};
    const auto content = job::makeReportContent(job, options);
    REQUIRE(content);
    REQUIRE(content->auditionFiles.size() == 3);
    CHECK(content->auditionFiles[0].words == "Candidate 1 parked");
    CHECK(*content->auditionFiles[0].belowRoadDb == 0.0);
    CHECK(content->auditionFiles[1].words
          == "Candidate 2 at 75 mph (121 km/h) with the noise of the ride");
    // The engine keeps the sum of music and wind at one level: as far as the sum has grown with
    // speed, by the first candidate, the file plays below the road.
    const double musicDba = content->candidates[0].programmeSplDba[0];
    const double sumDba = dsp::powerToDb(dsp::dbToPower(musicDba)
                                         + dsp::dbToPower(*content->rides.back().noiseSplDba));
    CHECK(*content->auditionFiles[1].belowRoadDb == Approx(sumDba - musicDba).margin(1e-9));
    CHECK(!content->auditionFiles[2].belowRoadDb.has_value());
    CHECK(holds(report::renderAppendix(*content), "fast.wav"));
}

TEST_CASE("A report of the same job is the same to the byte", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder / "job", -5.0);
    REQUIRE(job::writeJobReport(job, folder / "one" / "report.html", dated()));
    REQUIRE(job::writeJobReport(job, folder / "two" / "report.html", dated()));
    const std::string html = test::bytesOf(folder / "one" / "report.html");
    CHECK(html == test::bytesOf(folder / "two" / "report.html"));
    CHECK(test::bytesOf(folder / "one" / "report.curves.csv")
          == test::bytesOf(folder / "two" / "report.curves.csv"));
    CHECK(test::bytesOf(folder / "one" / "report.appendix.html")
          == test::bytesOf(folder / "two" / "report.appendix.html"));
    CHECK(test::xmlProblem(html) == "");
    CHECK(holds(html, "2026-01-31"));
    CHECK(!holds(html, "INVENTED"));
    CHECK(!holds(html, "http"));
    CHECK(!holds(html, folder.path().string()));
}

TEST_CASE("One invented state makes the whole report invented", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    auto invented = makeResponse("Running", EngineState::running, -5.0);
    invented.invented = true;
    REQUIRE(measure::saveResponse(invented, folder / "running.json"));
    auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    CHECK(content->invented);
    CHECK(holds(report::renderHtml(*content), "INVENTED DEMO DATA"));
}

TEST_CASE("The curves in the CSV come back through the table reader", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder / "job", -5.0);
    REQUIRE(job::writeJobReport(job, folder / "report.html", dated()));
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);

    // The first two columns: frequency and the first state.
    std::istringstream csv(test::bytesOf(folder / "report.curves.csv"));
    std::string cut;
    for (std::string line; std::getline(csv, line);) {
        const auto second = line.find(',', line.find(',') + 1);
        cut += line.substr(0, second) + "\n";
    }
    test::writeBytes(folder / "cut.csv", cut);
    const auto table = files::readFrequencyTable(folder / "cut.csv");
    REQUIRE(table);
    const auto& curve = content->states[0].curve;
    REQUIRE(table->frequenciesHz.size() == curve.frequenciesHz.size());
    for (std::size_t row = 0; row < curve.frequenciesHz.size(); ++row) {
        // Three decimals.
        CHECK(table->frequenciesHz[row] == Approx(curve.frequenciesHz[row]).margin(0.0006));
        CHECK(table->levelsDb[row] == Approx(curve.levelsDb[row]).margin(0.0006));
    }
}

TEST_CASE("Untrusted bands are gaps in the curve", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    auto response = makeResponse("Parked", EngineState::off, 0.0);
    response.bands[0].trusted = false;
    REQUIRE(measure::saveResponse(response, folder / "parked.json"));
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    CHECK(std::isnan(content->states[0].curve.levelsDb[0]));
    CHECK(std::isfinite(content->states[0].curve.levelsDb[1]));
    CHECK(test::xmlProblem(report::renderHtml(*content)) == "");
}

TEST_CASE("A job without candidates still reports its measurements", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    job.candidates.clear();
    const auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    CHECK(content->states.size() == 2);
    CHECK(holds(report::renderHtml(*content), "No candidates have been set up"));
}

TEST_CASE("What a report cannot be made from is refused with the reason", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder / "job", -5.0);
    auto options = dated();
    options.speedsKmh = {72.0, 0.0};
    CHECK(job::makeReportContent(job, options).error().code == dsp::ErrorCode::outOfRange);
    options.speedsKmh = {500.0};
    CHECK(job::makeReportContent(job, options).error().code == dsp::ErrorCode::outOfRange);

    options.speedsKmh = {0.0, 50.0, 80.0, 120.0};
    CHECK(job::makeReportContent(job, options).error().code == dsp::ErrorCode::outOfRange);

    auto missing = job;
    missing.states.push_back({"gone", "gone.json"});
    CHECK(!job::writeJobReport(missing, folder / "report.html", dated()));
    CHECK(!std::filesystem::exists(folder / "report.html"));
    CHECK(!std::filesystem::exists(folder / "report.curves.csv"));

    job.states.clear();
    job.candidates.clear();
    const auto empty = job::makeReportContent(job, dated());
    REQUIRE(!empty);
    CHECK(holds(empty.error().message, "no measured state"));
}

TEST_CASE("What a report says of a job is kept in the job", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    job.question = "Why is the bass gone?";
    job.report = {{0.0, 50.0, 130.0}, report::SpeedUnits::kmh};
    job.cost = {.amplifierWatts = 40.0, .plannedSplDb = 95.0, .distanceMetres = 0.7};
    job.candidates[0].isProposed = true;
    REQUIRE(job::saveJob(job));
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(loaded->question == job.question);
    CHECK(loaded->report == job.report);
    CHECK(loaded->cost == job.cost);
    CHECK(loaded->candidates == job.candidates);

    const auto content = job::makeReportContent(*loaded, dated());
    REQUIRE(content);
    CHECK(content->proposal == 0);
    const std::string html = report::renderHtml(*content);
    CHECK(holds(html, "Why is the bass gone?"));
    CHECK(holds(html, "130 km/h"));
    CHECK(!holds(html, "mph"));
    CHECK(holds(html, "No filter, gain or delay is to be set."));
    REQUIRE(content->rides.size() == 3);
    // What is asked of this report goes before what the job says.
    auto options = dated();
    options.question = "And now?";
    options.speedsKmh = {100.0};
    options.speedUnits = report::SpeedUnits::mph;
    const auto other = job::makeReportContent(*loaded, options);
    REQUIRE(other);
    CHECK(other->question == "And now?");
    CHECK(other->rides.size() == 1);
    CHECK(holds(report::renderHtml(*other), "At 62 mph</th>"));
}

TEST_CASE("A job refuses what its report could not show", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    const auto refusalOf = [&](const nlohmann::json& changes) {
        nlohmann::json changed = *job.document;
        changed.merge_patch(changes);
        test::writeBytes(folder / "job.json", changed.dump());
        const auto loaded = job::loadJob(folder.path());
        return loaded ? std::string() : loaded.error().message;
    };
    REQUIRE(job::saveJob(job));
    job.document = job::loadJob(folder.path())->document;
    CHECK(refusalOf(nlohmann::json::object()).empty());
    CHECK(holds(refusalOf({{"report", {{"speedsKmh", {90, 60}}}}}), "report.speedsKmh"));
    CHECK(holds(refusalOf({{"report", {{"speedsKmh", {0, 1, 2, 3}}}}}), "report.speedsKmh"));
    CHECK(holds(refusalOf({{"report", {{"speedUnits", "knots"}}}}), "report.speedUnits"));
    CHECK(holds(refusalOf({{"cost", {{"amplifierWatts", 0}}}}), "cost.amplifierWatts"));
    auto both = (*job.document)["candidates"];
    for (auto& candidate : both)
        candidate["isProposed"] = true;
    CHECK(holds(refusalOf({{"candidates", both}}), "candidates[1].isProposed"));
}

TEST_CASE("A proposal is costed where the job has a speaker", "[core][report]")
{
    const test::TemporaryFolder folder;
    auto job = makeJob(folder.path(), -5.0);
    CHECK(!job::makeReportContent(job, dated())->cost);
    tuning::Speaker speaker;
    speaker.name = "Made-up <speaker>";
    REQUIRE(tuning::saveSpeaker(speaker, folder / "speakers" / "a.json"));
    auto content = job::makeReportContent(job, dated());
    REQUIRE(content);
    REQUIRE(content->cost);
    CHECK(content->cost->amplifierIsAssumed);
    const auto shown = content->cost->cost;
    // The mean power is that of the bands, each times its boost: worked out from the bands alone.
    double after = 0.0;
    for (const tuning::CostBand& band : shown.bands)
        after += band.wattsBefore * dsp::dbToPower(band.boostDb);
    CHECK(shown.after.wattsPerSpeaker == Approx(after).epsilon(1e-6));
    const std::string html = report::renderHtml(*content);
    CHECK(holds(html, report::numberText(after, 2) + " W"));
    CHECK(holds(html, "Made-up &lt;speaker&gt;"));
    CHECK(holds(html, "the amplifier&#39;s power is assumed"));
    CHECK(holds(report::renderAppendix(*content), "Cone: peaks of"));

    job.cost.amplifierWatts = 100.0;
    content = job::makeReportContent(job, dated());
    REQUIRE(content);
    CHECK(content->cost->amplifierWatts == 100.0);
    // Five times the power is 7 dB more room.
    CHECK(content->cost->cost.after.clipMarginDb - shown.after.clipMarginDb
          == Approx(dsp::powerToDb(5.0)).margin(1e-9));
    // A candidate that sets nothing costs nothing.
    job.candidates[0].isProposed = true;
    CHECK(!job::makeReportContent(job, dated())->cost);

    test::writeBytes(folder / "speakers" / "a.json", "{}");
    job.candidates[0].isProposed = false;
    CHECK(holds(job::makeReportContent(job, dated()).error().message, "a.json"));
}

TEST_CASE("A report says when and with what a state was measured", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder.path(), -5.0);
    CHECK(holds(report::renderHtml(*job::makeReportContent(job, dated())), "day not noted"));
    for (const std::string name : {"parked.json", "running.json"})
        REQUIRE(measure::noteOrigin({"2026-01-30", "Microphone 7"}, folder / name));
    const std::string html = report::renderHtml(*job::makeReportContent(job, dated()));
    CHECK(holds(html, "day 2026-01-30"));
    CHECK(holds(html, "microphone and recorder Microphone 7"));
}

TEST_CASE("A report that is cancelled leaves no file", "[core][report]")
{
    const test::TemporaryFolder folder;
    const auto job = makeJob(folder / "job", -5.0);
    std::vector<double> shares;
    const auto stopped = job::writeJobReport(folder / "job", folder / "out" / "report.html",
                                             dated(), [&](double share) {
                                                 shares.push_back(share);
                                                 return shares.size() < 2;
                                             });
    REQUIRE(!stopped);
    CHECK(stopped.error().message == job::reportCancelledMessage);
    CHECK(shares.size() == 2);
    CHECK(!std::filesystem::exists(folder / "out"));
    const auto written = job::writeJobReport(folder / "job", folder / "out" / "report.html",
                                             dated(), [](double) { return true; });
    REQUIRE(written);
    for (const auto& file : {written->html, written->appendix, written->curves})
        CHECK(std::filesystem::exists(file));
}
