#pragma once

#include "Core/Measure/CaptureRecorder.h"
#include "Core/Measure/StreamAnalyser.h"
#include "Gui/BenchModel.h"
#include "Plugin/BenchDevice.h"

#include <array>
#include <atomic>
#include <mutex>

namespace saddletone::plugin {

/** What is done with the input: it is metered, analysed and, on demand, recorded.

    One channel of the device is used. There is an analyser for each band width and each FFT size,
    all prepared, so that changing it needs no pause; only the chosen one runs. */
class BenchInput final : public BenchDevice::InputListener {
public:
    static constexpr std::array<int, 4> bandWidths {3, 6, 12, 24}; ///< Bands per octave.

    // Setup (may allocate, not during process)
    /** The channel of the device that is used from the next prepareInput() on, and its name. */
    void chooseChannel(std::size_t deviceChannel, std::string deviceName);
    /** numChannels 0: the input is closed, and a take under way ends. */
    void prepareInput(const dsp::ProcessSpec& spec) override;
    /** The device will give no more blocks. */
    void closeInput() override;

    // Audio thread (bounded, no lock, no allocation, no I/O)
    void processInput(dsp::ChannelView<const float> input, const Moment& moment) noexcept override;

    // Message thread
    [[nodiscard]] bool isOpen() const noexcept { return open.load(); }
    [[nodiscard]] double sampleRate() const;
    [[nodiscard]] measure::CaptureRecorder& recorder() noexcept { return capture; }
    [[nodiscard]] const measure::CaptureRecorder& recorder() const noexcept { return capture; }
    /** One of bandWidths; others change nothing. */
    void setBandsPerOctave(int bandsPerOctave) noexcept;
    /** One of gui::analyserFftChoices; others change nothing. */
    void setFftSize(std::size_t fftSize) noexcept;
    void setAnalyserParameters(const measure::AnalyserParameters& parameters) noexcept;
    void restartAverage() noexcept;
    void resetPeakHold() noexcept;
    [[nodiscard]] measure::AnalyserSnapshot analyserSnapshot();
    /** Why the recorder could not be opened; given once. */
    [[nodiscard]] std::optional<std::string> takeProblem();

private:
    mutable std::mutex setupMutex; // never taken by the audio thread
    measure::CaptureRecorder capture;
    /** One for each band width, then one for each FFT size. */
    std::array<measure::StreamAnalyser, bandWidths.size() + gui::analyserFftChoices.size()>
        analysers;
    std::size_t channel = 0;
    std::string device;
    dsp::ProcessSpec prepared;
    bool analysersReady = false;
    std::optional<std::string> problem;
    std::atomic<bool> open {false};
    std::atomic<std::size_t> chosenAnalyser {0};
    static_assert(std::atomic<std::size_t>::is_always_lock_free);

    std::size_t runningAnalyser = 0; // audio thread
};

} // namespace saddletone::plugin
