#include "ChildPrograms.h"

#include "Contests.h"

#include <array>
#include <chrono>
#include <cstdlib>
#include <fstream>

#include <nlohmann/json.hpp>

#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

namespace saddletone::bench {

namespace {

/** Starts a program with these files as its standard input and output. */
pid_t start(const std::vector<std::string>& command, int input, int output)
{
    std::vector<char*> arguments;
    for (const std::string& argument : command)
        arguments.push_back(const_cast<char*>(argument.c_str()));
    arguments.push_back(nullptr);
    posix_spawn_file_actions_t actions {};
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, input, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
    pid_t process = -1;
    if (posix_spawnp(&process, arguments.front(), &actions, nullptr, arguments.data(), environ)
        != 0)
        giveUp("cannot start " + command.front());
    posix_spawn_file_actions_destroy(&actions);
    return process;
}

ProgramUse waitFor(pid_t process, const std::string& name)
{
    int status = 0;
    rusage use {};
    if (wait4(process, &status, 0, &use) != process || !WIFEXITED(status)
        || WEXITSTATUS(status) != 0)
        giveUp(name + " failed");
    return {.peakMib = static_cast<double>(use.ru_maxrss) / 1024.0};
}

template <typename Number>
void writeRaw(const std::filesystem::path& file, std::span<const Number> numbers)
{
    std::ofstream stream(file, std::ios::binary);
    stream.write(reinterpret_cast<const char*>(numbers.data()),
                 static_cast<std::streamsize>(numbers.size_bytes()));
    if (!stream.flush())
        giveUp("cannot write " + file.string());
}

} // namespace

void inCopyOfThis(const std::function<void()>& work)
{
    std::fflush(nullptr);
    const pid_t child = fork();
    if (child < 0)
        giveUp("cannot make a copy of this process");
    if (child == 0) {
        work();
        _exit(0);
    }
    (void)waitFor(child, "making a recording");
}

ProgramUse runProgram(const std::vector<std::string>& command)
{
    static const int nothing = open("/dev/null", O_RDWR | O_CLOEXEC);
    ProgramUse use;
    const double seconds =
        secondsOf([&] { use = waitFor(start(command, nothing, nothing), command.front()); });
    use.seconds = seconds;
    return use;
}

std::string pythonProgram()
{
    const char* named = std::getenv("SADDLETONE_PYTHON");
    return named != nullptr ? named : "/usr/bin/python3";
}

ScipyPeer::ScipyPeer()
{
    std::array<int, 2> questions {};
    std::array<int, 2> answers {};
    if (pipe2(questions.data(), O_CLOEXEC) != 0 || pipe2(answers.data(), O_CLOEXEC) != 0)
        giveUp("cannot make a pipe");
    process = start({pythonProgram(), SADDLETONE_SCIPY_PEER}, questions[0], answers[1]);
    close(questions[0]);
    close(answers[1]);
    toPeer = fdopen(questions[1], "w");
    fromPeer = fdopen(answers[0], "r");
}

ScipyPeer::~ScipyPeer()
{
    if (process >= 0)
        finish();
}

nlohmann::json ScipyPeer::ask(const nlohmann::json& question)
{
    std::fprintf(toPeer, "%s\n", question.dump().c_str());
    std::fflush(toPeer);
    char* line = nullptr;
    std::size_t room = 0;
    const bool hasLine = getline(&line, &room, fromPeer) > 0;
    auto answer = hasLine ? nlohmann::json::parse(line, nullptr, false)
                          : nlohmann::json(nlohmann::json::value_t::discarded);
    std::free(line);
    if (answer.is_discarded())
        giveUp("scipy_peer.py failed; it needs python3 with numpy and scipy (SADDLETONE_PYTHON "
               "names another python3)");
    return answer;
}

double ScipyPeer::timed(const nlohmann::json& question)
{
    return ask(question).at("seconds").get<double>();
}

ProgramUse ScipyPeer::finish()
{
    std::fclose(toPeer);
    const ProgramUse use = waitFor(process, "scipy_peer.py");
    std::fclose(fromPeer);
    process = -1;
    return use;
}

void writeNumbers(const std::filesystem::path& file, std::span<const float> numbers)
{
    writeRaw(file, numbers);
}

void writeNumbers(const std::filesystem::path& file, std::span<const double> numbers)
{
    writeRaw(file, numbers);
}

std::vector<double> readNumbers(const std::filesystem::path& file)
{
    std::ifstream stream(file, std::ios::binary);
    std::error_code error;
    std::vector<double> numbers(std::filesystem::file_size(file, error) / sizeof(double));
    if (error
        || !stream.read(reinterpret_cast<char*>(numbers.data()),
                        static_cast<std::streamsize>(numbers.size() * sizeof(double))))
        giveUp("cannot read " + file.string());
    return numbers;
}

} // namespace saddletone::bench
