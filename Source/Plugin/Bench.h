#pragma once

#include "Core/Signals/TrackSet.h"
#include "Gui/BenchModel.h"
#include "Plugin/BenchInput.h"
#include "Plugin/MicrophoneChoice.h"
#include "Plugin/TakeMeasuring.h"
#include "Plugin/WorkList.h"

#include <functional>
#include <mutex>

namespace saddletone::plugin {

/** The bench half of the standalone: test signals, the input, takes, and what was measured.

    Signals are made, tracks written, takes measured and files read on threads of the bench's own;
    update(), which a timer calls, takes up what has come of it. The measured states of the open job
    are shown beside those of the takes. */
class Bench final : public gui::BenchModel, private juce::Timer {
public:
    /** What the bench needs of the program around it; everything may be empty. */
    struct Surroundings {
        std::function<juce::File()> openJobFolder; ///< No file: no job is open.
        std::function<void(const juce::File&)> openJob;
        /** A state was added to the job in a folder, by its id; before openJob. */
        std::function<void(const juce::File&, const std::string&)> stateAdded {};
        std::function<void()> pauseAudition;
        juce::File takesFolder; ///< For takes while no job is open.
    };

    /** devices: opened by the caller, who adds device() to it as its callback and removes it before
        the bench goes. audition: plays on Listen; may be null. */
    Bench(juce::AudioDeviceManager& deviceManager, juce::AudioIODeviceCallback* audition,
          Surroundings surroundings);
    ~Bench() override;
    Bench(const Bench&) = delete;
    Bench& operator=(const Bench&) = delete;

    // Message thread
    [[nodiscard]] BenchDevice& device() noexcept { return audio; }
    /** Takes up what has been made, written or measured. */
    void update();
    /** Whether anything is still being made, written or measured. */
    [[nodiscard]] bool isBusy();
    /** Takes over a microphone from an earlier start; a table that cannot be read stays chosen, and
        the screen says that it is not used. */
    void restoreMicrophone(const MicrophoneChoice& choice);
    [[nodiscard]] const MicrophoneChoice& microphoneChoice() const noexcept
    {
        return microphone.choice;
    }
    /** The response of a measured state, as it would be saved; null if there is none. */
    [[nodiscard]] std::shared_ptr<const measure::Response>
    measuredResponse(std::size_t index) const;

    gui::BenchSnapshot benchSnapshot() override;
    void enterPlace(gui::Place place) override;
    void selectSignal(std::size_t index) override;
    void playSignal() override;
    void stopSignal() override;
    void setSignalLevelDbfs(double levelDbfs) override;
    void setSignalSide(gui::OutputSide side) override;
    void answerLoudQuestion(bool shouldBeLoud) override;
    void writeTracks(const juce::File& folder) override;
    void cancelWriting() override { cancelled.store(true); }
    void chooseInput(int deviceIndex, int channelIndex) override;
    void openInput() override;
    void closeInput() override;
    /** Lets the audition hear two channels of the input, or closes it; returns how many there are. */
    int setLive(bool shouldBeLive);
    void resetClip() override { input.recorder().resetClips(); }
    void setAnalyserBands(int bandsPerOctave) override { input.setBandsPerOctave(bandsPerOctave); }
    void setAnalyserFft(std::size_t fftSize) override { input.setFftSize(fftSize); }
    void setAnalyserParameters(const measure::AnalyserParameters& parameters) override;
    void restartAverage() override { input.restartAverage(); }
    void resetPeakHold() override { input.resetPeakHold(); }
    void storeTrace() override;
    void clearTraces() override;
    void setTakeWords(const gui::TakeWords& newWords) override { words = newWords; }
    void chooseTrack(const juce::File& file) override;
    void recordTake() override;
    void stopTake() override;
    void setTakeUsed(std::size_t index, bool shouldBeUsed) override;
    void showMeasured(std::size_t index) override;
    void setCurveDisplay(const gui::CurveDisplay& display) override { curveDisplay = display; }
    void importMeasured(const juce::File& file, gui::ImportKind kind) override;
    void chooseMicrophoneCurve(measure::Incidence incidence, const juce::File& file) override;
    void setMicrophoneIncidence(measure::Incidence incidence) override;
    void addToJob(const juce::File& folder) override;
    bool hasOpenJob() override;
    void cancelWork() override { works.cancelAll(); }

private:
    /** A signal made at a rate. */
    struct MadeSignal {
        std::size_t index = 0;
        double sampleRate = 0.0;
        std::shared_ptr<const dsp::AudioBuffer> audio; ///< Null: see problem.
        signals::SignalDescription description;
        std::string problem;
    };

    struct Take {
        gui::TakeView view;
        std::filesystem::path audioFile;
        signals::SignalDescription track;
    };

    /** A bike state that takes were made of, that was imported, or that the open job has. */
    struct Measured {
        juce::String profile;
        measure::EngineState engine = measure::EngineState::off;
        measure::SpeakerGroup speakers = measure::SpeakerGroup::all;
        gui::MeasuredOrigin origin = gui::MeasuredOrigin::takes;
        juce::String importedFile;
        std::string jobStateId;    ///< In the open job; empty = it is not there.
        std::string takenOutState; ///< Its id there before it was taken out; empty = it was not.
        std::shared_ptr<const measure::Response> response;
        measure::StateOrigin recorded; ///< Of the takes.
        std::shared_ptr<const gui::MeasuredView> view;
    };

    /** What a measurement came to. */
    struct MeasuredDelivery {
        std::shared_ptr<Work> work;
        std::optional<std::size_t> take; ///< The new take, and what was said of it.
        bool refused = false;
        bool isCancelled = false; ///< Nothing else came of it.
        std::string takeWords;
        Measured state; ///< Without a response: no usable take is left, or see problem.
        std::string problem;
        MicrophoneChoice microphone; ///< Whose curve was taken out.
    };

    /** A response drawn another way. */
    struct ViewDelivery {
        std::shared_ptr<const measure::Response> response;
        gui::MeasuredView view;
    };

    /** What an import came to. */
    struct ImportDelivery {
        std::shared_ptr<Work> work;
        Measured state; ///< Without a response: see words.
        std::string words;
    };

    /** The job's measured states. */
    struct JobStatesDelivery {
        std::shared_ptr<Work> work;
        std::uint64_t number = 0;
        std::vector<Measured> states;
        std::vector<std::string> ids; ///< Of all states, those too that cannot be read.
        std::string problem;
    };

    struct MicrophoneDelivery {
        std::shared_ptr<Work> work;
        LoadedMicrophone loaded;
        bool isRestored = false;
    };

    /** What a job's states were read from. */
    struct JobStamp {
        juce::File folder;
        juce::int64 changedMs = 0;
        juce::int64 numBytes = 0;

        bool operator==(const JobStamp&) const = default;
    };

    /** What a calibrator's take came to. */
    struct CalibrationDelivery {
        std::shared_ptr<Work> work;
        std::size_t take = 0;
        std::optional<measure::CalibrationRecord> record; ///< Nothing: refused, see words.
        std::string words;
    };

    struct WritingDelivery {
        std::string message;
        bool failed = false;
    };

    struct JobDelivery {
        std::shared_ptr<Work> work;
        std::filesystem::path folder;
        std::shared_ptr<const measure::Response> response;
        std::string stateId; ///< Empty: it was not added.
        std::string message;
    };

    void timerCallback() override { update(); }
    void orderSignal();
    void startPlaying();
    void applyLevel();
    void say(const juce::String& text, bool isProblem);
    void beginTake();
    void finishTake();
    /** newTake: index of a take that has just been recorded. */
    void orderMeasurement(const juce::String& profile, measure::EngineState engine,
                          measure::SpeakerGroup group, std::optional<std::size_t> newTake);
    void orderCalibration(std::size_t take);
    void takeUpCalibration(CalibrationDelivery made);
    [[nodiscard]] juce::String calibrationWords() const;
    [[nodiscard]] std::string chainName() const;
    void takeUpMeasurement(MeasuredDelivery made);
    void takeUpCancelled(const MeasuredDelivery& delivery);
    /** Notes in a take's record what its measurement alone came to; returns why it failed. */
    [[nodiscard]] static std::string noteTake(const std::filesystem::path& file,
                                              const dsp::Result<measure::Response>& single,
                                              MeasuredDelivery& result);
    void compareStates();
    void compareSpeakers();
    /** Gives a state its view, which says where the state is from. */
    static void dress(Measured& state, gui::MeasuredView view);
    void replaceState(Measured& old, Measured state);
    void orderViews();
    void takeUpImport(ImportDelivery delivery);
    void watchJob();
    void takeUpJobStates(JobStatesDelivery delivery);
    /** Notes which of the states from here were taken out of the job or put back. */
    void followJob(const std::vector<std::string>& ids);
    void orderMicrophone(const MicrophoneChoice& choice, bool isRestored);
    void takeUpMicrophone(MicrophoneDelivery delivery);
    void takeUpAddedState(const JobDelivery& delivery);
    /** Shows the state of a response, or the first one if there is no such state. */
    void showResponse(const measure::Response* response);
    [[nodiscard]] juce::AudioIODeviceType* deviceType() const;
    [[nodiscard]] std::filesystem::path takesFolder() const;
    [[nodiscard]] double levelLimitDbfs() const;

    juce::AudioDeviceManager& devices;
    const Surroundings around;
    BenchInput input;
    BenchDevice audio;

    std::vector<signals::Track> tracks;
    std::shared_ptr<const std::vector<gui::SignalView>> signalViews;
    gui::SignalOutput output;
    bool loudAllowed = false;
    bool wantsToPlay = false;
    MadeSignal made;
    std::uint64_t signalOrder = 0;
    gui::Place place = gui::Place::listen;

    gui::InputView inputView;
    bool opensPair = false; ///< The input is opened to be heard.
    std::shared_ptr<const std::vector<measure::AnalyserTrace>> traces;
    int numTracesStored = 0;
    measure::AnalyserParameters analyserParameters;
    /** Made since the program started; an older one may have been made with the gain elsewhere. */
    std::optional<measure::CalibrationRecord> calibration;
    std::string calibratedChain;

    gui::TakeWords words;
    std::optional<signals::SignalDescription> chosenTrack;
    juce::String trackName;
    signals::SignalDescription recordedTrack; // of the take under way
    gui::TakeWords recordedWords;
    bool wantsToRecord = false; // once the signal has been made
    bool isRecording = false;
    std::vector<Take> takes;
    std::vector<Measured> measured;
    std::size_t shownMeasured = 0;
    std::shared_ptr<const gui::ComparisonView> comparison;
    std::shared_ptr<const gui::SpeakersView> speakers;
    gui::CurveDisplay curveDisplay;
    bool isDrawing = false; // views are being made
    JobStamp jobStamp;
    std::uint64_t jobOrder = 0;
    LoadedMicrophone microphone;
    MicrophoneChoice wantedMicrophone; // ordered last
    juce::String message;
    bool messageIsProblem = false;

    gui::TrackWriting writing;
    std::atomic<bool> cancelled {false};
    std::atomic<double> writtenProportion {0.0};
    WorkList works {gui::JobTask::bench}; // measuring, reading, adding

    std::mutex deliveryMutex; // never taken by the audio thread
    std::optional<std::pair<std::uint64_t, MadeSignal>> signalDelivery;
    std::vector<MeasuredDelivery> measuredDeliveries;
    std::vector<CalibrationDelivery> calibrationDeliveries;
    std::optional<WritingDelivery> writingDelivery;
    std::optional<JobDelivery> jobDelivery;
    std::vector<ViewDelivery> viewDeliveries;
    bool viewsDone = false;
    std::vector<ImportDelivery> importDeliveries;
    std::vector<JobStatesDelivery> jobStatesDeliveries;
    std::vector<MicrophoneDelivery> microphoneDeliveries;

    juce::ThreadPool signalWorker {1}; // last: their tasks use the rest
    juce::ThreadPool worker {1};
    juce::ThreadPool writer {1};
    juce::ThreadPool reader {1}; // reads files and draws: a take must not keep these waiting
};

} // namespace saddletone::plugin
