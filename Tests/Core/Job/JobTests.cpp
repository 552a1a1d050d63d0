#include "Core/Job/Job.h"

#include "Core/Files/AtomicFile.h"
#include "Core/Files/AudioFile.h"
#include "Core/Files/JsonReader.h"
#include "Core/Measure/HammersteinModel.h"
#include "Core/Tuning/TuningFile.h"
#include "Support/AuditionFixtures.h"
#include "Support/TemporaryFolder.h"

#include <catch2/catch.hpp>

#include <filesystem>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

using namespace saddletone;
using dsp::ErrorCode;
using job::Job;
using nlohmann::json;
using test::TemporaryFolder;

namespace {

json goodDocument()
{
    return {{"kind", "saddletone-job"},
            {"schemaVersion", 1},
            {"title", "First try"},
            {"shop", "A shop"},
            {"bike", "A tourer"},
            {"invented", true},
            {"states",
             {{{"id", "parked"}, {"file", "states/parked.json"}},
              {{"id", "night_2-b"}, {"file", "night.json"}}}},
            {"candidates",
             {{{"name", "As it is"}, {"stateId", "parked"}},
              {{"name", "Tuned"}, {"stateId", "night_2-b"}, {"tuningFile", "tuned.json"}}}},
            {"programmes", {"music/one.wav"}},
            {"ride",
             {{"speedKmh", 90.5},
              {"helmet", "open"},
              {"assumedProgrammeSplDba", 88.0},
              {"screen", "none"},
              {"earPlugs", "none"},
              {"engineNoise", "riding"},
              {"bike", "touring-twin"},
              {"engine", "v-twin-45"}}}};
}

void writeDocument(const TemporaryFolder& folder, const json& document)
{
    test::writeBytes(folder / "job.json", document.dump());
}

/** What is said of a document; it must be refused. */
dsp::Error refusalOf(const json& document)
{
    const TemporaryFolder folder;
    writeDocument(folder, document);
    const auto loaded = job::loadJob(folder.path());
    REQUIRE_FALSE(loaded);
    CAPTURE(loaded.error().message);
    // Every message names the file.
    CHECK(loaded.error().message.find((folder / "job.json").string()) != std::string::npos);
    return loaded.error();
}

bool mentions(const dsp::Error& error, const std::string& words)
{
    return error.message.find(words) != std::string::npos;
}

measure::Response madeUpResponse(std::uint64_t seed)
{
    measure::Response response;
    response.name = "made up";
    response.impulse = test::decayingNoise(4000, seed);
    response.arrivalFrame = 100;
    return response;
}

/** A whole job on the disk: the files of goodDocument(). */
Job writeJob(const TemporaryFolder& folder)
{
    REQUIRE(measure::saveResponse(madeUpResponse(1), folder / "states/parked.json"));
    REQUIRE(measure::saveResponse(madeUpResponse(2), folder / "night.json"));
    tuning::Tuning tuning;
    tuning.name = "more bass";
    tuning.chains = {{tuning::OutputGroup::all, {tuning::Element {}}}};
    tuning.chains[0].elements[0].gainDb = 2.0;
    REQUIRE(tuning::saveTuning(tuning, folder / "tuned.json"));
    REQUIRE(files::writeAudioFile({48000.0, {test::gaussianNoise(480, 0.1, 3)}},
                                  folder / "music/one.wav", files::SampleFormat::pcm24));
    writeDocument(folder, goodDocument());
    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    return std::move(*loaded);
}

} // namespace

TEST_CASE("A job loads as written", "[core][job]")
{
    const TemporaryFolder folder;
    writeDocument(folder, goodDocument());
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(loaded->folder == folder.path());
    CHECK(loaded->title == "First try");
    CHECK(loaded->shop == "A shop");
    CHECK(loaded->bike == "A tourer");
    CHECK(loaded->invented);
    CHECK(loaded->states
          == std::vector<job::JobState> {{"parked", "states/parked.json"},
                                         {"night_2-b", "night.json"}});
    CHECK(loaded->candidates
          == std::vector<job::JobCandidate> {{"As it is", "parked", ""},
                                             {"Tuned", "night_2-b", "tuned.json"}});
    CHECK(loaded->programmes == std::vector<std::string> {"music/one.wav"});
    job::JobRide ride;
    ride.speedKmh = 90.5;
    ride.helmet = ride::Helmet::openFace;
    ride.assumedProgrammeSplDba = 88.0;
    CHECK(loaded->ride == ride);
}

TEST_CASE("A job survives saving and loading", "[core][job]")
{
    const TemporaryFolder folder;
    Job job;
    job.folder = folder / "deep/down";
    job.title = "Größe, 文字, \"quotes\" and \\";
    job.states = {{"a", "a.json"}, {"b", "sub/b.json"}};
    job.candidates = {{"one", "a", "", "radio/volume.json"}, {"two", "b", "t.json"}};
    job.programmes = {"x.flac", "music/y.wav"};
    job.ride = {.speedKmh = 250.0,
                .helmet = ride::Helmet::none,
                .screen = ride::Screen::tall,
                .earPlugs = ride::EarPlugs::cautious,
                .engineNoise = audition::EngineNoise::alsoParked,
                .bike = "touring-six",
                .engine = "flat-six",
                .firingAnglesDegrees = {0.0, 270.0},
                .measuredRpm = 2400.0,
                .recordedNoiseFile = "ride/noise.json",
                .assumedProgrammeSplDba = 120.0};
    REQUIRE(job::saveJob(job));
    auto loaded = job::loadJob(job.folder);
    REQUIRE(loaded);
    CHECK(loaded->title == job.title);
    CHECK(loaded->states == job.states);
    CHECK(loaded->candidates == job.candidates);
    CHECK(loaded->programmes == job.programmes);
    CHECK(loaded->ride == job.ride);
    CHECK_FALSE(loaded->invented);

    // A second round changes no byte.
    const std::string text = test::bytesOf(job.folder / "job.json");
    REQUIRE(job::saveJob(*loaded));
    CHECK(test::bytesOf(job.folder / "job.json") == text);

    // Nothing needed is missing from a job with nothing in it.
    Job bare;
    bare.folder = folder / "bare";
    REQUIRE(job::saveJob(bare));
    REQUIRE(job::loadJob(bare.folder));
    CHECK(folder.numEntries()
          == 6); // Three folders and job.json twice, once with its previous one.
}

TEST_CASE("A job that says nothing of screen, plugs and engine has the usual ones", "[core][job]")
{
    const TemporaryFolder folder;
    json document = goodDocument();
    document["ride"] = {{"speedKmh", 90.5}};
    writeDocument(folder, document);
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    job::JobRide usual;
    usual.speedKmh = 90.5;
    CHECK(loaded->ride == usual);
}

TEST_CASE("What a job says of its ride is checked", "[core][job]")
{
    const auto refusal = [](const char* key, const json& value) {
        json document = goodDocument();
        document["ride"][key] = value;
        return refusalOf(document);
    };
    CHECK(mentions(refusal("screen", "high"), "none, low or tall"));
    CHECK(mentions(refusal("earPlugs", "wax"), "earPlugs"));
    CHECK(mentions(refusal("engineNoise", "loud"), "riding, parked or off"));
    CHECK(mentions(refusal("bike", "scooter"), "touring-twin"));
    CHECK(mentions(refusal("engine", "rotary"), "v-twin-45"));
    CHECK(mentions(refusal("firingAnglesDegrees", {0.0, 800.0}), "firingAnglesDegrees"));
    CHECK(mentions(refusal("recordedNoiseFile", "../noise.json"), "recordedNoiseFile"));
    CHECK(mentions(refusal("measuredRpm", 20.0), "measuredRpm"));
}

TEST_CASE("Keys that this version does not know survive loading and saving", "[core][job]")
{
    const TemporaryFolder folder;
    json document = goodDocument();
    document["colour"] = {{"paint", "green"}, {"shades", {1, 2, 3}}};
    document["states"][0]["remark"] = "before noon";
    document["states"][1]["extra"] = {1.5, nullptr};
    document["candidates"][1]["price"] = 120;
    document["ride"]["weather"] = "dry";
    writeDocument(folder, document);
    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    REQUIRE(job::saveJob(*loaded));
    CHECK(*files::loadJson(folder / "job.json") == document);

    // They stay with their entry when entries move, go with it, and others are not given them.
    std::swap(loaded->states[0], loaded->states[1]);
    loaded->candidates.erase(loaded->candidates.begin());
    loaded->candidates[0].tuningFile.clear();
    loaded->states.push_back({"new", "new.json"});
    REQUIRE(job::saveJob(*loaded));
    const auto saved = *files::loadJson(folder / "job.json");
    CHECK(saved["states"][0]["extra"] == document["states"][1]["extra"]);
    CHECK(saved["states"][1]["remark"] == "before noon");
    CHECK(saved["states"][2] == json {{"id", "new"}, {"file", "new.json"}});
    CHECK(saved["candidates"].size() == 1);
    CHECK(saved["candidates"][0]["price"] == 120);
    CHECK_FALSE(saved["candidates"][0].contains("tuningFile"));
    CHECK(saved["colour"] == document["colour"]);
}

TEST_CASE("Candidates of the same name keep their own unknown keys", "[core][job]")
{
    const TemporaryFolder folder;
    json document = goodDocument();
    document["candidates"][0]["name"] = "Plate";
    document["candidates"][1]["name"] = "Plate";
    document["candidates"][0]["price"] = 1;
    document["candidates"][1]["price"] = 2;
    writeDocument(folder, document);
    auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    REQUIRE(job::saveJob(*loaded));
    CHECK(*files::loadJson(folder / "job.json") == document);
}

TEST_CASE("The previous version of a job is kept", "[core][job]")
{
    const TemporaryFolder folder;
    Job job;
    job.folder = folder.path();
    job.title = "one";
    REQUIRE(job::saveJob(job));
    CHECK_FALSE(std::filesystem::exists(folder / "job.previous.json"));
    const std::string first = test::bytesOf(folder / "job.json");
    job.title = "two";
    REQUIRE(job::saveJob(job));
    CHECK(test::bytesOf(folder / "job.previous.json") == first);
    const std::string second = test::bytesOf(folder / "job.json");
    CHECK(second.find("two") != std::string::npos);
    job.title = "three";
    REQUIRE(job::saveJob(job));
    CHECK(test::bytesOf(folder / "job.previous.json") == second);
    CHECK(folder.numEntries() == 2);
}

TEST_CASE("A job that cannot be saved leaves the old one", "[core][job]")
{
    const TemporaryFolder folder;
    Job job;
    job.folder = folder.path();
    job.title = "old";
    REQUIRE(job::saveJob(job));
    const std::string before = test::bytesOf(folder / "job.json");
    job.title = "new";

    SECTION("the previous version cannot be written")
    {
        // A folder of that name stands in the way, for the superuser too.
        std::filesystem::create_directories(folder / "job.previous.json/in the way");
        const auto saved = job::saveJob(job);
        REQUIRE_FALSE(saved);
        CHECK(saved.error().code == ErrorCode::cannotWrite);
        CHECK(mentions(saved.error(), "job.previous.json"));
        CHECK(test::bytesOf(folder / "job.json") == before);
        CHECK(folder.numEntries() == 3);
    }
    SECTION("the folder is a file")
    {
        Job elsewhere = job;
        elsewhere.folder = folder / "job.json";
        const auto saved = job::saveJob(elsewhere);
        REQUIRE_FALSE(saved);
        CHECK(mentions(saved.error(), elsewhere.folder.string()));
        CHECK(test::bytesOf(folder / "job.json") == before);
        CHECK(folder.numEntries() == 1);
    }
    SECTION("job.json is a folder")
    {
        std::filesystem::remove(folder / "job.json");
        std::filesystem::create_directory(folder / "job.json");
        REQUIRE_FALSE(job::saveJob(job));
        CHECK(std::filesystem::is_directory(folder / "job.json"));
        CHECK(folder.numEntries() == 1);
    }
}

TEST_CASE("Folders that hold no job are refused", "[core][job]")
{
    const TemporaryFolder folder;
    const auto empty = job::loadJob(folder.path());
    REQUIRE_FALSE(empty);
    CHECK(empty.error().code == ErrorCode::notFound);
    CHECK(mentions(empty.error(), "no job.json"));

    const auto nowhere = job::loadJob(folder / "nowhere");
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().code == ErrorCode::notFound);
    CHECK(mentions(nowhere.error(), "nowhere"));

    test::writeBytes(folder / "job.json", "{\"kind\": ");
    CHECK(job::loadJob(folder.path()).error().code == ErrorCode::malformed);
    test::writeBytes(folder / "job.json", "[]");
    CHECK(job::loadJob(folder.path()).error().code == ErrorCode::malformed);
    test::writeBytes(folder / "job.json", "");
    CHECK(job::loadJob(folder.path()).error().code == ErrorCode::malformed);
    std::filesystem::remove(folder / "job.json");
    std::filesystem::create_directory(folder / "job.json");
    CHECK_FALSE(job::loadJob(folder.path()).has_value());
}

TEST_CASE("Values of the wrong type are refused by their key", "[core][job]")
{
    const std::vector<std::pair<std::string, json>> cases {
        {"/title", 7},
        {"/shop", json::array()},
        {"/bike", true},
        {"/invented", "yes"},
        {"/states", json::object()},
        {"/states/0", "parked"},
        {"/states/0/id", 1},
        {"/states/0/file", nullptr},
        {"/candidates", "none"},
        {"/candidates/1", 3},
        {"/candidates/1/name", json::object()},
        {"/candidates/1/stateId", false},
        {"/candidates/1/tuningFile", 3.5},
        {"/programmes", "one.wav"},
        {"/programmes/0", 1},
        {"/ride", json::array()},
        {"/ride/speedKmh", "fast"},
        {"/ride/helmet", 2},
        {"/ride/assumedProgrammeSplDba", json::object()}};
    for (const auto& [pointer, value] : cases) {
        CAPTURE(pointer);
        json document = goodDocument();
        document[json::json_pointer(pointer)] = value;
        const auto error = refusalOf(document);
        CHECK(error.code == ErrorCode::malformed);
        // The message names the key, save that a list's element may be named by its list.
        std::string key = pointer.substr(pointer.rfind('/') + 1);
        if (key == "0" || key == "1")
            key = pointer.substr(1, pointer.rfind('/') - 1);
        CHECK(mentions(error, key));
    }
}

TEST_CASE("Values out of range are refused", "[core][job]")
{
    const std::vector<std::pair<std::string, json>> cases {{"/ride/speedKmh", -1.0},
                                                           {"/ride/speedKmh", 250.1},
                                                           {"/ride/assumedProgrammeSplDba", 49.0},
                                                           {"/ride/assumedProgrammeSplDba", 1e300},
                                                           {"/ride/helmet", "jet"},
                                                           {"/states/0/id", ""},
                                                           {"/states/0/id", "a b"},
                                                           {"/states/0/id", "a/b"},
                                                           {"/states/0/id", std::string(65, 'a')}};
    for (const auto& [pointer, value] : cases) {
        CAPTURE(pointer, value);
        json document = goodDocument();
        document[json::json_pointer(pointer)] = value;
        CHECK(mentions(refusalOf(document), pointer.substr(pointer.rfind('/') + 1)));
    }
}

TEST_CASE("Another kind of file and a newer schema are told apart", "[core][job]")
{
    json document = goodDocument();
    document["schemaVersion"] = 2;
    const auto newer = refusalOf(document);
    CHECK(newer.code == ErrorCode::newerSchema);
    CHECK(mentions(newer, "newer Saddletone"));
    for (const json& version : {json(0), json(-1), json("1"), json(1.5), json(nullptr)}) {
        document["schemaVersion"] = version;
        CHECK(refusalOf(document).code != ErrorCode::newerSchema);
    }
    document = goodDocument();
    document["kind"] = "saddletone-tuning";
    CHECK(mentions(refusalOf(document), "another kind of file"));
    document.erase("kind");
    CHECK(mentions(refusalOf(document), "kind"));
}

TEST_CASE("No path leaves the job's folder", "[core][job]")
{
    const std::string path =
        GENERATE(as<std::string> {}, "/etc/passwd", "..", "../x.json", "a/../../x.json", "a/..",
                 "..\\x.json", "a\\b.json", "C:\\x.json", "", std::string("a\0b", 3));
    CAPTURE(path);
    CHECK_FALSE(job::resolveInside("/jobs/one", path).has_value());
    for (const std::string pointer :
         {"/states/0/file", "/candidates/1/tuningFile", "/programmes/0"}) {
        if (path.empty() && pointer == "/candidates/1/tuningFile")
            continue; // Means: no tuning.
        CAPTURE(pointer);
        json document = goodDocument();
        document[json::json_pointer(pointer)] = path;
        CHECK(mentions(refusalOf(document), "inside the folder"));
    }

    // Whoever fills a job by hand is stopped when its files are opened.
    const TemporaryFolder folder;
    Job job;
    job.folder = folder.path();
    job.states = {{"a", path}};
    job.candidates = {{"one", "a", ""}};
    CHECK_FALSE(job::loadSceneRequest(job).has_value());
    CHECK(job::checkJob(job).size() == 1);
}

TEST_CASE("Paths within the folder are resolved", "[core][job]")
{
    for (const std::string path : {"a.json", "a/b.json", "..a/b..json", "a b/ü.wav"}) {
        const auto resolved = job::resolveInside("/jobs/one", path);
        REQUIRE(resolved);
        CHECK(resolved->string() == "/jobs/one/" + path);
    }
}

TEST_CASE("Entries that contradict each other are refused", "[core][job]")
{
    json document = goodDocument();
    document["states"][1]["id"] = "parked";
    CHECK(mentions(refusalOf(document), "another state has already"));

    document = goodDocument();
    document["candidates"][0]["stateId"] = "gone";
    const auto error = refusalOf(document);
    CHECK(mentions(error, "candidates[0].stateId"));
    CHECK(mentions(error, "'gone'"));

    document = goodDocument();
    const json candidate = document["candidates"][0];
    document["candidates"] = std::vector<json>(8, candidate);
    {
        const TemporaryFolder folder;
        writeDocument(folder, document);
        CHECK(job::loadJob(folder.path()).has_value());
    }
    document["candidates"] = std::vector<json>(9, candidate);
    CHECK(mentions(refusalOf(document), "has 9 entries; at most 8"));

    for (const std::string pointer :
         {"/states/0/id", "/states/0/file", "/candidates/0/name", "/candidates/0/stateId"}) {
        CAPTURE(pointer);
        document = goodDocument();
        const json::json_pointer place(pointer);
        document[place.parent_pointer()].erase(place.back());
        CHECK(mentions(refusalOf(document), place.back()));
    }
}

TEST_CASE("A job gives what a scene is built from", "[core][job]")
{
    const TemporaryFolder folder;
    const Job job = writeJob(folder);
    CHECK(job::checkJob(job).empty());
    const auto request = job::loadSceneRequest(job);
    REQUIRE(request);
    CHECK(request->ride.parameters.helmet == ride::Helmet::openFace);
    CHECK(request->assumedProgrammeSplDba == 88.0);
    REQUIRE(request->candidates.size() == 2);
    CHECK(request->candidates[0].name == "As it is");
    CHECK(request->candidates[0].response.impulse == madeUpResponse(1).impulse);
    CHECK(request->candidates[0].response.arrivalFrame == 100);
    CHECK(request->candidates[0].tuning.chains.empty());
    CHECK(request->candidates[1].response.impulse == madeUpResponse(2).impulse);
    CHECK(request->candidates[1].tuning.name == "more bass");
    CHECK(audition::buildScene(*request, audition::PartitionLayout::forTaps(8000), 48000.0)
              .has_value());

    Job none = job;
    none.candidates.clear();
    const auto refused = job::loadSceneRequest(none);
    REQUIRE_FALSE(refused);
    CHECK(mentions(refused.error(), "no candidates"));
    Job astray = job;
    astray.candidates[0].stateId = "gone";
    CHECK(mentions(job::loadSceneRequest(astray).error(), "'gone'"));
}

TEST_CASE("A candidate's overdrive model is kept, checked and loaded", "[core][job][overdrive]")
{
    const TemporaryFolder folder;
    Job job = writeJob(folder);
    measure::HammersteinModel model;
    model.name = "bench";
    model.arrivalFrame = 100;
    for (std::size_t power = 0; power < model.kernels.size(); ++power)
        model.kernels[power] = test::decayingNoise(4000, power + 1);
    model.takes = {{"loud", -6.0, false}, {"soft", -12.0, false}};
    for (int order = 2; order <= measure::highestHarmonic; ++order)
        model.orders.push_back({order, {}, 0.0, "left out"});
    model.orders.front() = {2, {{50.0, 2000.0}}, 0.4, "order 2 from 50 Hz to 2000 Hz"};
    REQUIRE(measure::saveHammersteinModel(model, folder / "overdrive/model.json"));
    job.candidates[1].overdriveFile = "overdrive/model.json";
    REQUIRE(job::saveJob(job));
    const auto loaded = job::loadJob(folder.path());
    REQUIRE(loaded);
    CHECK(loaded->candidates == job.candidates);
    CHECK(job::checkJob(*loaded).empty());
    const auto request = job::loadSceneRequest(*loaded);
    if (!request)
        FAIL(request.error().message);
    CHECK(request->candidates[0].overdrive == nullptr);
    REQUIRE(request->candidates[1].isOverdriven());
    CHECK(request->candidates[1].overdrive->kernels == model.kernels);
    const auto scene =
        audition::buildScene(*request, audition::PartitionLayout::forTaps(8000), 48000.0);
    REQUIRE(scene);
    CHECK(scene->candidates[0].nonlinear == nullptr);
    CHECK(scene->candidates[1].nonlinear != nullptr);

    job.candidates[1].overdriveFile.clear();
    REQUIRE(job::saveJob(job));
    CHECK(test::bytesOf(folder / "job.json").find("overdriveFile") == std::string::npos);
    auto document = goodDocument();
    document["candidates"][0]["overdriveFile"] = "../model.json";
    CHECK(mentions(refusalOf(document), "overdriveFile"));
    document["candidates"][0]["overdriveFile"] = 3;
    CHECK(mentions(refusalOf(document), "overdriveFile"));
    std::filesystem::remove(measure::kernelsPath(folder / "overdrive/model.json"));
    REQUIRE(job::checkJob(*loaded).size() == 1);
    CHECK_FALSE(job::loadSceneRequest(*loaded).has_value());
}

TEST_CASE("A tuning of front or rear alone cannot be heard on both together", "[core][job]")
{
    const TemporaryFolder folder;
    const Job job = writeJob(folder);
    const auto tunedFile = job.folder / job.candidates[1].tuningFile;
    auto tuning = tuning::loadTuning(tunedFile);
    REQUIRE(tuning);
    tuning->chains[0].group = tuning::OutputGroup::rear;
    REQUIRE(tuning::saveTuning(*tuning, tunedFile));
    const auto refused = job::loadSceneRequest(job);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().code == dsp::ErrorCode::unsupported);
    CHECK(mentions(refused.error(), tunedFile.filename().string()));
    CHECK(mentions(refused.error(), "'rear'"));
    REQUIRE(job::checkJob(job).size() == 1);
    CHECK(job::checkJob(job)[0] == refused.error().message);
}

TEST_CASE("A check finds what is missing or changed, one line each", "[core][job]")
{
    const TemporaryFolder folder;
    const Job job = writeJob(folder);
    const auto onlyProblem = [&] {
        const auto problems = job::checkJob(job);
        REQUIRE(problems.size() == 1);
        return problems.front();
    };

    SECTION("an impulse response is missing")
    {
        std::filesystem::remove(folder / "night.impulse.wav");
        CHECK(onlyProblem().find("night.impulse.wav") != std::string::npos);
        CHECK_FALSE(job::loadSceneRequest(job).has_value());
    }
    SECTION("an impulse response has changed by one bit")
    {
        std::string bytes = test::bytesOf(folder / "night.impulse.wav");
        bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
        test::writeBytes(folder / "night.impulse.wav", bytes);
        CHECK(onlyProblem().find("checksum") != std::string::npos);
        CHECK_FALSE(job::loadSceneRequest(job).has_value());
    }
    SECTION("a state is missing")
    {
        std::filesystem::remove(folder / "night.json");
        CHECK(onlyProblem().find("night.json") != std::string::npos);
    }
    SECTION("a tuning is broken")
    {
        test::writeBytes(folder / "tuned.json", "{}");
        CHECK(onlyProblem().find("tuned.json") != std::string::npos);
        CHECK_FALSE(job::loadSceneRequest(job).has_value());
    }
    SECTION("a programme is no audio file")
    {
        test::writeBytes(folder / "music/one.wav", "no sound in here");
        CHECK(onlyProblem().find("one.wav") != std::string::npos);
        // Candidates can be heard all the same.
        CHECK(job::loadSceneRequest(job).has_value());
    }
    SECTION("everything is missing")
    {
        for (const auto& name : {"states", "night.json", "tuned.json", "music"})
            std::filesystem::remove_all(folder / name);
        CHECK(job::checkJob(job).size() == 4);
    }
}

TEST_CASE("States are added under names of their own, and past the eighth without a candidate",
          "[core][job]")
{
    const test::TemporaryFolder folder;
    job::Job job;
    job.folder = folder.path() / "job";
    measure::Response response;
    response.impulse.assign(100, 0.0F);
    response.impulse[10] = 1.0F;
    response.arrivalFrame = 10;
    tuning::Tuning tuning {"Less bass!", {{tuning::OutputGroup::all, {}}}};

    const auto first = job::addState(job, response, "Stock, engine off", "Stock", tuning);
    REQUIRE(first);
    CHECK(first->id == "Stock--engine-off");
    CHECK(first->isCandidate);
    const auto second = job::addState(job, response, "Stock, engine off", "Again");
    REQUIRE(second);
    CHECK(second->id == "Stock--engine-off-2");
    for (int number = 3; number <= 8; ++number)
        REQUIRE(job::addState(job, response, "more", "more"));
    const auto ninth = job::addState(job, response, "", "ninth");
    REQUIRE(ninth);
    CHECK(ninth->id == "state");
    CHECK_FALSE(ninth->isCandidate);

    const auto loaded = job::loadJob(job.folder);
    REQUIRE(loaded);
    CHECK(loaded->states.size() == 9);
    CHECK(loaded->candidates.size() == 8);
    CHECK(loaded->candidates.front().tuningFile == "tunings/Less-bass-.json");
    CHECK(job::checkJob(*loaded).empty());
}
