#include "Core/Audition/TakeHome.h"

#include "Core/Audition/CandidateKernels.h"
#include "Core/Audition/CandidateNotes.h"
#include "Core/Audition/ProgrammeMatch.h"
#include "Core/Dsp/ScopedFlushDenormals.h"
#include "Core/Files/AtomicFile.h"
#include "Core/Files/TextTable.h"
#include "Core/Hearing/Loudness.h"
#include "Core/Hearing/TruePeak.h"
#include "Core/Seat/SeatWords.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <memory>
#include <optional>
#include <sstream>
#include <string>
#include <system_error>

namespace saddletone::audition {

namespace {

using files::fixedText;

constexpr std::size_t framesAtOnce = 4096;
constexpr const char* cardName = "card.txt";

/** Where files are made before all of them are moved to their places; removed with what is left. */
class Staging {
public:
    explicit Staging(const std::filesystem::path& target) : folder(target / ".take-home-part")
    {
        std::error_code reason;
        std::filesystem::remove_all(folder, reason);
        std::filesystem::create_directories(folder, reason);
    }
    ~Staging()
    {
        std::error_code reason;
        std::filesystem::remove_all(folder, reason);
    }
    Staging(const Staging&) = delete;
    Staging& operator=(const Staging&) = delete;

    const std::filesystem::path folder;
};

/** Letters, digits and '-' of a name. */
std::string fileStem(std::size_t number, const std::string& name)
{
    std::string stem = std::to_string(number);
    bool wasDash = false;
    stem += '-';
    for (const char c : name) {
        const bool isPlain =
            (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        if (isPlain)
            stem += c;
        else if (!wasDash)
            stem += '-';
        wasDash = !isPlain;
        if (stem.size() >= 60)
            break;
    }
    while (stem.ends_with('-'))
        stem.pop_back();
    return stem;
}

bool isAsMeasured(const CandidateRequest& candidate)
{
    return candidate.tuning.chains.empty();
}

/** The candidates, with the bike as measured in front where it is not among them. */
std::vector<CandidateRequest> candidatesOf(const SceneRequest& scene)
{
    std::vector<CandidateRequest> candidates = scene.candidates;
    if (std::ranges::none_of(candidates, isAsMeasured)) {
        CandidateRequest asItIs {"as it is now", scene.candidates.front().response, {}};
        asItIs.overdrive = scene.candidates.front().overdrive;
        asItIs.groups = scene.candidates.front().groups;
        candidates.insert(candidates.begin(), std::move(asItIs));
    }
    return candidates;
}

/** A candidate by itself, at the levels it has in the whole scene. */
dsp::Result<AuditionScene> sceneOfOne(const TakeHomeRequest& takeHome,
                                      const CandidateRequest& candidate, double sampleRate)
{
    const SceneRequest& whole = takeHome.scene;
    SceneRequest request = whole;
    request.reference = whole.reference ? *whole.reference : whole.candidates.front();
    request.candidates = {candidate};
    if (!takeHome.keepsCorrection)
        request.seat = seat::withoutCorrection(whole.seat);
    AuditionEngine engine(takeHome.settings);
    engine.prepare({.sampleRate = sampleRate});
    return buildScene(request, engine.layout(), sampleRate);
}

dsp::Result<dsp::AudioBuffer> render(AuditionScene scene, const TakeHomeRequest& request,
                                     const std::function<bool(double)>& progress)
{
    const dsp::AudioBuffer& programme = request.programme;
    AuditionEngine engine(request.settings);
    AuditionEngine::Parameters parameters = request.parameters;
    parameters.candidate = 0;
    engine.setParameters(parameters);
    engine.prepare({.sampleRate = programme.sampleRate,
                    .maxBlockFrames = framesAtOnce,
                    .numChannels = numEars});
    engine.publish(std::make_unique<AuditionScene>(std::move(scene)));
    engine.reset();

    dsp::AudioBuffer audio = dsp::makeSilence(programme.sampleRate, numEars, programme.numFrames());
    const dsp::ScopedFlushDenormals flushDenormals;
    for (std::size_t begin = 0; begin < programme.numFrames(); begin += framesAtOnce) {
        const std::size_t count = std::min(framesAtOnce, programme.numFrames() - begin);
        const std::array<const float*, numEars> input {programme.channels.front().data() + begin,
                                                       programme.channels.back().data() + begin};
        const std::array<float*, numEars> output {audio.channels[0].data() + begin,
                                                  audio.channels[1].data() + begin};
        engine.process({input.data(), numEars, count}, {output.data(), numEars, count});
        if (!progress(static_cast<double>(begin + count)
                      / static_cast<double>(programme.numFrames())))
            return dsp::fail(dsp::ErrorCode::cannotWrite, cancelledMessage);
    }
    return audio;
}

std::string signedText(double value, int decimals)
{
    std::string text = value >= 0.0 ? "+" : "";
    text += fixedText(value, decimals);
    return text;
}

/** Adds a paragraph with a dash in front, its lines broken between words. */
void addPoint(const std::string& words, std::string& card)
{
    constexpr std::size_t longestLine = 80;
    std::istringstream stream(words);
    std::string line = "-";
    for (std::string word; stream >> word;) {
        if (line.size() + 1 + word.size() > longestLine) {
            card += line + '\n';
            line = " ";
        }
        line += ' ' + word;
    }
    card += line + '\n';
}

/** What is done for headphones and head, and which headphones the files are for. */
void addSeat(const TakeHomeRequest& request, std::string& card)
{
    const seat::ListenerSeat* const listener = request.scene.seat.get();
    card += "\nHEADPHONES AND EARS\n\n";
    if (listener == nullptr || !listener->isCorrected())
        addPoint("The files are not corrected for any headphones: yours add their own colour, the "
                 "same to all files.",
                 card);
    else if (request.keepsCorrection)
        addPoint(seat::correctionWords(listener)
                     + " The files are for these headphones alone; over others they are coloured.",
                 card);
    else
        addPoint(
            "In the shop what is heard was corrected for its headphones; in the files it is not, "
            "as yours are others. They add their own colour, the same to all files.",
            card);
    if (listener == nullptr || !listener->isBinaural())
        addPoint("Left is heard at the left ear and right at the right one.", card);
    else
        addPoint(
            seat::placementWords(*listener)
                + " That is in the files, so they are for headphones and not for loudspeakers, "
                  "and left and right must not be exchanged. The ears are those of a measured "
                  "head ("
                + listener->head->description
                + "), not yours: where sounds come from is an estimate.",
            card);
}

} // namespace

std::string takeHomeCard(const TakeHomeRequest& request, const std::vector<TakeHomeFile>& files)
{
    const AuditionEngine::Parameters& parameters = request.parameters;
    const bool isEqual = parameters.match == LevelMatch::equalLoudness;
    std::string card = "WHAT THESE FILES ARE\n\n";
    if (request.invented)
        card += "INVENTED DEMO DATA: no such bike was measured.\n\n";
    const auto line = [&](const std::string& name, const std::string& value) {
        if (!value.empty())
            card += name + std::string(name.size() < 12 ? 12 - name.size() : 1, ' ') + value + "\n";
    };
    line("Job", request.title);
    line("Bike", request.bike);
    line("Shop", request.shop);
    line("Date", request.date);
    line("Music",
         request.programmeName + ", " + fixedText(request.programme.durationSeconds(), 1) + " s");
    const bool isParked = parameters.ride.speedKmh < 0.5;
    line("Ride", isParked ? std::string("parked")
                          : fixedText(parameters.ride.speedKmh, 0) + " km/h ("
                                + fixedText(dsp::kmhToMph(parameters.ride.speedKmh), 0) + " mph)");
    line("Helmet", std::string(ride::helmetLabel(request.scene.ride.parameters.helmet)));
    if (!isParked)
        line("Screen", std::string(ride::screenLabel(parameters.ride.screen)));
    if (const double lossDb = plugLossDb(request.scene.ride, parameters.ride); lossDb > 0.0)
        line("Ear plugs", "take " + fixedText(lossDb, 0) + " dB");
    if (std::abs(parameters.volumeDb) >= 0.05)
        line("Volume", signedText(parameters.volumeDb, 1) + " dB re the measurement");
    if (parameters.monitor == Monitor::programmeOnly)
        line("Heard", "the music alone, without ride noise");
    else if (parameters.monitor == Monitor::noiseOnly)
        line("Heard", "the ride noise alone, without the music");
    else
        line("Heard", isParked ? "the music" : "the music in the ride noise");
    if (std::abs(parameters.noiseTrimDb) >= 0.05)
        line("Noise",
             signedText(parameters.noiseTrimDb, 1) + " dB re what the road is taken to be");
    line("Levels",
         isEqual ? "equal loudness: each file's music is as loud as that of the first, so that "
                   "only the tone differs"
                 : "as on the road at the same volume step: differences in level are real");

    addSeat(request, card);
    card += "\nTHE FILES\n";
    for (const TakeHomeFile& file : files) {
        const bool isMeasured = file.levelSource == LevelSource::measured;
        card += '\n';
        card += file.file.filename().string();
        card += '\n';
        card += "  " + file.candidate
                + (file.isAsItIsNow ? " (the bike as it was measured, without any change)"
                                    : " (simulated from a measurement of the bike)")
                + "\n";
        // With equal loudness what is heard has a gain that the bike would not have.
        const double onTheBikeDba =
            file.levels.programmeSplDba - (isEqual ? file.matchGainDb : 0.0);
        card += "  On the bike, loud music: " + fixedText(onTheBikeDba, 0) + " dB(A) at the ear ("
                + (isMeasured ? "calibrated" : "assumed, an estimate") + ")\n";
        if (const double noiseDba = file.levels.noise.totalDba; noiseDba > dsp::silenceDb) {
            const double overNoiseDb = file.levels.programmeSplDba - noiseDba;
            card += "  Noise at the ear: " + fixedText(noiseDba, 0) + " dB(A)"
                    + (isNoiseMeasured(request.scene.ride)
                           ? std::string(" (recorded)")
                           : " +- " + fixedText(ride::windSpreadDb, 0) + " dB (an estimate)")
                    + "; in the file the music is " + fixedText(std::abs(overNoiseDb), 0) + " dB "
                    + (overNoiseDb < 0.0 ? "below" : "above") + " it\n";
        }
        card += "  Loudness at the same volume step: " + signedText(file.differenceDb, 1)
                + " dB re the first file"
                + (isEqual ? "; taken out here by " + signedText(file.matchGainDb, 1) + " dB"
                           : std::string())
                + "\n";
        card += "  The file: " + fixedText(file.loudnessLufs, 1) + " LUFS, true peak "
                + fixedText(file.truePeakDbtp, 1) + " dBTP\n";
        for (const std::string& note : file.notes)
            card += "  " + note + ".\n";
        if (file.hasLimiterLeftOut)
            card += "  The tuning's limiter is not in this file.\n";
    }
    card += "\nBEFORE YOU LISTEN\n\n"
            "- Over headphones, sitting at home. Never while riding; loudspeakers would add a\n"
            "  second room and a second set of speakers.\n"
            "- Start with the volume all the way down and raise it slowly. Loud sound harms\n"
            "  hearing, and headphones can be louder than they seem.\n"
            "- Keep the volume where it is from file to file, or the comparison is none.\n"
            "- The files are far quieter than the road is. How loud they are at your ears depends\n"
            "  on your player and headphones, which nobody has measured.\n"
            "- Levels marked as assumed or estimated may be wrong by several decibels. What is\n"
            "  heard is a simulation; no speaker has been changed yet.\n";
    return card;
}

dsp::Result<TakeHomeResult> writeTakeHome(const TakeHomeRequest& request,
                                          const std::function<bool(double)>& progress)
{
    if (request.scene.candidates.empty() || request.programme.numFrames() == 0
        || request.programme.numChannels() == 0)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "to take home there must be a candidate and a programme");
    if (request.parameters.monitor == Monitor::untouched)
        return dsp::fail(dsp::ErrorCode::outOfRange,
                         "with the bypass on every file would be the same; switch it off");
    if (request.fileType == files::FileType::mp3)
        return dsp::fail(dsp::ErrorCode::unsupported, "files to take home are WAV or FLAC");

    const std::vector<CandidateRequest> candidates = candidatesOf(request.scene);
    const double sampleRate = request.programme.sampleRate;
    const std::size_t numFrames = request.programme.numFrames();
    const auto share = [&](std::size_t index, double part) {
        return (static_cast<double>(index) + part) / static_cast<double>(candidates.size());
    };

    std::vector<AuditionScene> scenes;
    std::vector<double> lufs;
    for (std::size_t index = 0; index < candidates.size(); ++index) {
        if (!progress(0.4 * share(index, 0.0)))
            return dsp::fail(dsp::ErrorCode::cannotWrite, cancelledMessage);
        auto scene = sceneOfOne(request, candidates[index], sampleRate);
        if (!scene)
            return scene.unexpected();
        const std::atomic<bool> stopped {false};
        const auto measured =
            programmeLoudnessLufs(*scene, 0, {request.programme, 0, numFrames}, stopped);
        // Too short or too quiet for a gated loudness: as with pink noise.
        lufs.push_back(measured && *measured > dsp::silenceDb ? *measured
                                                              : -scene->candidates[0].matchGainDb);
        scenes.push_back(*std::move(scene));
    }

    std::error_code reason;
    std::filesystem::create_directories(request.folder, reason);
    const Staging staging(request.folder);
    const std::string ending = "." + std::string(files::fileTypeName(request.fileType));
    TakeHomeResult result;
    for (std::size_t index = 0; index < candidates.size(); ++index) {
        TakeHomeFile file;
        file.candidate = candidates[index].name;
        file.isAsItIsNow = isAsMeasured(candidates[index]);
        file.hasLimiterLeftOut = hasLimiterLeftOut(candidates[index]);
        file.notes = candidateNotes(candidates[index]);
        file.differenceDb = lufs[index] - lufs.front();
        SceneCandidate& heard = scenes[index].candidates.front();
        heard.matchGainDb = scenes.front().candidates.front().matchGainDb - file.differenceDb;
        file.matchGainDb = heard.matchGainDb;
        file.levels = levelsOf(scenes[index], heard, request.parameters);
        file.levelSource = heard.level.source;
        file.file = request.folder / (fileStem(index + 1, file.candidate) + ending);

        auto audio = render(scenes[index], request,
                            [&](double part) { return progress(0.4 + 0.6 * share(index, part)); });
        if (!audio)
            return audio.unexpected();
        file.loudnessLufs = hearing::integratedLoudnessLufs(*audio);
        file.truePeakDbtp = hearing::truePeakDbtp(*audio);
        if (const auto written = files::writeAudioFile(
                *audio, staging.folder / file.file.filename(), request.format, index + 1);
            !written)
            return written.unexpected();
        result.files.push_back(std::move(file));
    }
    result.card = request.folder / cardName;
    if (const auto written =
            files::writeTextFile(staging.folder / cardName, takeHomeCard(request, result.files));
        !written)
        return written.unexpected();

    const auto moveToPlace = [&](const std::filesystem::path& file) {
        std::filesystem::rename(staging.folder / file.filename(), file, reason);
        return !reason;
    };
    for (const TakeHomeFile& file : result.files)
        if (!moveToPlace(file.file))
            return dsp::fail(dsp::ErrorCode::cannotWrite,
                             "cannot write '" + file.file.string() + "': " + reason.message());
    if (!moveToPlace(result.card))
        return dsp::fail(dsp::ErrorCode::cannotWrite,
                         "cannot write '" + result.card.string() + "': " + reason.message());
    return result;
}

} // namespace saddletone::audition
