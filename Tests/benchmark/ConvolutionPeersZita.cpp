#include "ConvolutionPeers.h"

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <set>
#include <stdexcept>
#include <thread>

#include <ctime>

#include <sched.h>
#include <zita-convolver.h>

namespace saddletone::benchmark {

namespace {

std::set<int> threadsOfProcess()
{
    std::set<int> threads;
    for (const auto& entry : std::filesystem::directory_iterator("/proc/self/task"))
        threads.insert(std::stoi(entry.path().filename().string()));
    return threads;
}

class ZitaConvolver final : public Contestant {
public:
    ZitaConvolver(const StereoTaps& taps, std::size_t blockFrames, std::size_t longestPartition,
                  std::uint32_t options)
        : numFrames(blockFrames)
    {
        isUniform = longestPartition == blockFrames;
        name = isUniform ? "zita uniform" : "zita up to " + std::to_string(longestPartition);
        if ((options & Convproc::OPT_VECTOR_MODE) == 0)
            name += " plain";
        const auto length = static_cast<std::uint32_t>(taps.left.size());
        const auto quantum = static_cast<std::uint32_t>(blockFrames);
        std::vector<float> left = taps.left;
        std::vector<float> right = taps.right;
        convolver.set_options(options);
        const std::set<int> before = threadsOfProcess();
        if (convolver.configure(2, 2, length, quantum, quantum,
                                static_cast<std::uint32_t>(longestPartition), 0.0F)
                != 0
            || convolver.impdata_create(0, 0, 1, left.data(), 0, static_cast<std::int32_t>(length))
                   != 0
            || convolver.impdata_create(1, 1, 1, right.data(), 0, static_cast<std::int32_t>(length))
                   != 0
            || convolver.start_process(0, SCHED_OTHER) != 0)
            throw std::runtime_error("zita-convolver refuses " + name);
        // Its threads take a moment to be ready; a block given before that is lost.
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
        for (const int thread : threadsOfProcess())
            if (!before.contains(thread))
                // The kernel's number of a thread's processor-time clock; see clock_gettime(2) and
                // pthread_getcpuclockid(3). The library keeps the handles of its threads to itself.
                clocks.push_back(
                    static_cast<clockid_t>((~static_cast<unsigned>(thread) << 3U) | 6U));
    }

    ~ZitaConvolver() override
    {
        convolver.stop_process();
        while (!convolver.check_stop())
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        convolver.cleanup();
    }

    void process(const float* const* input, float* const* output) override
    {
        for (std::uint32_t channel = 0; channel < 2; ++channel)
            std::copy_n(input[channel], numFrames, convolver.inpdata(channel));
        convolver.process(true);
        for (std::uint32_t channel = 0; channel < 2; ++channel)
            std::copy_n(convolver.outdata(channel), numFrames, output[channel]);
    }

    [[nodiscard]] double otherThreadsSeconds() const override
    {
        double sum = 0.0;
        for (const clockid_t clock : clocks) {
            std::timespec time {};
            clock_gettime(clock, &time);
            sum += static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
        }
        return sum;
    }

private:
    Convproc convolver;
    std::size_t numFrames;
    std::vector<clockid_t> clocks;
};

} // namespace

void addZita(std::vector<std::unique_ptr<Contestant>>& contestants, const StereoTaps& taps,
             std::size_t blockFrames)
{
    constexpr std::uint32_t fast = Convproc::OPT_VECTOR_MODE | Convproc::OPT_FFTW_MEASURE;
    contestants.push_back(std::make_unique<ZitaConvolver>(taps, blockFrames, blockFrames, fast));
    contestants.push_back(std::make_unique<ZitaConvolver>(
        taps, blockFrames, blockFrames, static_cast<std::uint32_t>(Convproc::OPT_FFTW_MEASURE)));
    for (const std::size_t longest : {1024U, std::uint32_t {Convproc::MAXPART}})
        contestants.push_back(std::make_unique<ZitaConvolver>(taps, blockFrames, longest, fast));
}

} // namespace saddletone::benchmark
