// Whole programs: how long they take to start, and what memory ten minutes in stereo take.
#include "Contests.h"
#include "Workshop.h"

#include "Core/Files/AudioFile.h"
#include "Core/Measure/Measurement.h"

#include <cstdio>

#include <nlohmann/json.hpp>

namespace saddletone::bench {

namespace {

constexpr double longSeconds = 600.0;
constexpr double mostMib = 1024.0;

void printUse(const std::string& work, const std::string& by, const ProgramUse& use)
{
    std::printf("| %s | %s | %.2f s | %.0f MiB |\n", work.c_str(), by.c_str(), use.seconds,
                use.peakMib);
    std::fflush(stdout);
}

/** scipy from the start of its process to its end, for one question. */
ProgramUse useOfScipy(const nlohmann::json& question)
{
    ProgramUse use;
    const double seconds = secondsOf([&] {
        ScipyPeer scipy;
        (void)scipy.ask(question);
        use = scipy.finish();
    });
    use.seconds = seconds;
    return use;
}

/** State and programme for `listen`. */
void writeListening(const Material& material, const std::filesystem::path& state,
                    const std::filesystem::path& programme)
{
    measure::MeasurementRequest request;
    request.track = material.track;
    request.recordings = {{"recording.wav", material.audio}};
    if (const auto saved = measure::saveResponse(valueOf(measure::measureResponse(request)), state);
        !saved)
        giveUp(saved.error().message);
    if (const auto written = files::writeAudioFile(makeProgramme(longSeconds), programme,
                                                   files::SampleFormat::pcm16);
        !written)
        giveUp(written.error().message);
}

} // namespace

void addStarting(Contests& contests, Workshop& workshop)
{
    const auto add = [&](const std::string& name, const std::vector<std::string>& command) {
        (void)runProgram(command);
        contests.add("start of a program", name, [command] { return runProgram(command).seconds; });
    };
    add("Saddletone, --version", {workshop.saddletone, "--version"});
    add("SoX, --version", {"sox", "--version"});
    add("Python, -c pass", {pythonProgram(), "-c", "pass"});
    add("Python, import of SciPy's signals",
        {pythonProgram(), "-c", "import numpy, scipy.fft, scipy.signal"});
}

void compareMemory(Contests& contests, Workshop& workshop)
{
    const auto state = workshop.folder / "state.json";
    const auto programme = workshop.folder / "programme.wav";
    const std::string out = workshop.folder / "listened.wav";
    const std::string recording = workshop.folder / "recording.wav";
    const std::string track = workshop.folder / "track.signal.json";
    inCopyOfThis([&] {
        writeListening(makeMaterial(workshop.folder.path(), longSeconds), state, programme);
    });
    std::printf("\nPrograms from start to end, ten minutes in stereo at 48 kHz:\n\n"
                "| work | by | time | highest resident memory |\n|---|---|---|---|\n");
    const auto compare = [&](const std::string& work, std::vector<std::string> arguments,
                             const nlohmann::json& question) {
        arguments.insert(arguments.begin(), workshop.saddletone);
        const ProgramUse ours = runProgram(arguments);
        printUse(work, "Saddletone", ours);
        printUse(work, "SciPy", useOfScipy(question));
        return ours.peakMib;
    };
    const double analysing =
        compare("levels of third octaves", {"analyse", "--recording", recording},
                {{"do", "readAndBands"}, {"file", recording}});
    const double measuring =
        compare("response",
                {"measure", "--recording", recording, "--signal", track, "--out",
                 workshop.folder / "measured.json"},
                {{"do", "readAndResponse"}, {"file", recording}, {"track", track}});
    const double listening = compare("audition",
                                     {"listen", "--measured", state, "--programme", programme,
                                      "--speed-kmh", "110", "--out", out},
                                     {{"do", "renderFile"},
                                      {"file", programme},
                                      {"taps", measure::impulsePath(state)},
                                      {"write", workshop.folder / "rendered.wav"}});
    std::printf("\n");
    contests.hold("memory of levels of ten minutes", analysing, mostMib, "MiB");
    contests.hold("memory of a response of ten minutes", measuring, mostMib, "MiB");
    contests.hold("memory of an audition of ten minutes", listening, mostMib, "MiB");
}

} // namespace saddletone::bench
