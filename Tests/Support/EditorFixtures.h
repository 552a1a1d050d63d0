#pragma once

#include "Gui/AuditionModel.h"
#include "Gui/BenchModel.h"
#include "Gui/ParameterAccess.h"
#include "Gui/ParameterIds.h"
#include "Plugin/Parameters.h"

#include <cstddef>
#include <memory>
#include <vector>

namespace saddletone::test {

/** A model without a processor behind it: it remembers what it was asked for. */
class RecordingModel final : public gui::AuditionModel {
public:
    juce::AudioProcessorValueTreeState& parameters() override { return values; }
    gui::AuditionSnapshot snapshot() override
    {
        current.choice.speedKmh = gui::parameterValue(values, gui::parameterIds::speedKmh);
        return current;
    }
    void openJob(const juce::File& folder) override { openedJob = folder; }
    void openProgramme(const juce::File& file) override { openedProgramme = file; }
    void cancelOpening() override
    {
        ++numOpeningsCancelled;
        current.opening = {};
    }
    void play() override { current.player.playing = true; }
    void pause() override { current.player.playing = false; }
    void setLooping(bool shouldLoop) override { current.player.looping = shouldLoop; }
    void setPositionSeconds(double seconds) override { current.player.positionSeconds = seconds; }
    void dismissProblem() override { current.problem.clear(); }
    bool usesLightLook() const override { return light; }
    void setUsesLightLook(bool newLight) override { light = newLight; }
    void setSpeedUnit(gui::SpeedUnit unit) override { current.speedUnit = unit; }
    bool hasAudioSettings() const override { return true; }
    void showAudioSettings() override {}

    void openMadeUpJob(std::size_t numCandidates)
    {
        auto job = std::make_shared<gui::JobView>();
        job->title = "Made-up job";
        job->bike = "Made-up tourer";
        job->invented = true;
        for (double frequencyHz = 20.0; frequencyHz < 20000.0; frequencyHz *= 1.1)
            job->frequenciesHz.push_back(frequencyHz);
        for (std::size_t index = 0; index < numCandidates; ++index) {
            gui::CandidateView candidate;
            candidate.name = "Candidate with a rather long name " + juce::String(index + 1);
            candidate.octaveSplDb.assign(job->frequenciesHz.size(),
                                         70.0 + 2.0 * static_cast<double>(index));
            job->candidates.push_back(std::move(candidate));
        }
        current.job = std::move(job);
        current.levels.programmeSplDba = 90.0;
        current.levels.noise.totalDba = 106.0;
        current.levels.outputDbfsA = -36.0;
        current.player.available = true;
        current.player.loaded = true;
        current.player.durationSeconds = 60.0;
    }

    gui::AuditionSnapshot current;
    juce::File openedJob;
    juce::File openedProgramme;
    int numOpeningsCancelled = 0; ///< Calls of cancelOpening().
    bool light = false;

private:
    /** Parameters need a processor to live in; the screens never see it. */
    class Owner final : public juce::AudioProcessor {
    public:
        const juce::String getName() const override { return "owner"; }
        void prepareToPlay(double, int) override {}
        void releaseResources() override {}
        void processBlock(juce::AudioBuffer<float>&, juce::MidiBuffer&) override {}
        double getTailLengthSeconds() const override { return 0.0; }
        bool acceptsMidi() const override { return false; }
        bool producesMidi() const override { return false; }
        juce::AudioProcessorEditor* createEditor() override { return nullptr; }
        bool hasEditor() const override { return false; }
        int getNumPrograms() override { return 1; }
        int getCurrentProgram() override { return 0; }
        void setCurrentProgram(int) override {}
        const juce::String getProgramName(int) override { return {}; }
        void changeProgramName(int, const juce::String&) override {}
        void getStateInformation(juce::MemoryBlock&) override {}
        void setStateInformation(const void*, int) override {}
    };

    Owner owner;
    juce::AudioProcessorValueTreeState values {owner, nullptr, "parameters",
                                               plugin::makeParameterLayout()};
};

/** A bench without a device behind it: it remembers what it was asked for. */
class RecordingBench final : public gui::BenchModel {
public:
    RecordingBench();

    int numCancelled = 0; ///< Calls of cancelWork().

    gui::BenchSnapshot benchSnapshot() override { return current; }
    void enterPlace(gui::Place newPlace) override { place = newPlace; }
    void selectSignal(std::size_t index) override { current.output.selected = index; }
    void playSignal() override { current.output.playing = true; }
    void stopSignal() override { current.output.playing = false; }
    void setSignalLevelDbfs(double levelDbfs) override { current.output.levelDbfs = levelDbfs; }
    void setSignalSide(gui::OutputSide side) override { current.output.side = side; }
    void answerLoudQuestion(bool shouldBeLoud) override
    {
        current.output.asksForLoud = false;
        agreed = shouldBeLoud;
    }
    void writeTracks(const juce::File&) override {}
    void cancelWriting() override {}
    void cancelWork() override { ++numCancelled; }
    void chooseInput(int device, int channel) override
    {
        current.input.device = device;
        current.input.channel = channel;
    }
    void openInput() override { current.input.open = true; }
    void closeInput() override { current.input.open = false; }
    void resetClip() override { current.input.clipHeld = false; }
    void setAnalyserBands(int bandsPerOctave) override
    {
        analyserBands = bandsPerOctave;
        analyserFft = 0;
    }
    void setAnalyserFft(std::size_t fftSize) override { analyserFft = fftSize; }
    void setAnalyserParameters(const measure::AnalyserParameters& parameters) override
    {
        analyserParameters = parameters;
    }
    void restartAverage() override {}
    void resetPeakHold() override {}
    void storeTrace() override {}
    void clearTraces() override {}
    void setTakeWords(const gui::TakeWords& words) override { current.words = words; }
    void chooseTrack(const juce::File&) override {}
    void recordTake() override { current.capture.state = measure::CaptureState::recording; }
    void stopTake() override { current.capture.state = measure::CaptureState::listening; }
    void setTakeUsed(std::size_t index, bool shouldBeUsed) override
    {
        current.takes[index].used = shouldBeUsed;
    }
    void showMeasured(std::size_t index) override { current.shownMeasured = index; }
    void setCurveDisplay(const gui::CurveDisplay& display) override
    {
        current.curveDisplay = display;
    }
    void importMeasured(const juce::File&, gui::ImportKind) override {}
    void chooseMicrophoneCurve(measure::Incidence incidence, const juce::File& file) override
    {
        (incidence == measure::Incidence::zeroDegrees ? current.microphone.zeroDegreesFile
                                                      : current.microphone.ninetyDegreesFile) =
            file.getFileName();
    }
    void setMicrophoneIncidence(measure::Incidence incidence) override
    {
        current.microphone.incidence = incidence;
    }
    void addToJob(const juce::File&) override {}
    bool hasOpenJob() override { return true; }

    /** Takes of every kind and two measured states with a verdict. */
    void makeUpTakes();

    gui::BenchSnapshot current;
    gui::Place place = gui::Place::listen;
    bool agreed = false;
    int analyserBands = 3;
    std::size_t analyserFft = 0; ///< 0: bands are shown.
    measure::AnalyserParameters analyserParameters;
};

[[nodiscard]] juce::KeyPress characterKey(char character);

/** All components below one that a user can act on. */
void collectControls(juce::Component& component, std::vector<juce::Component*>& controls);

/** Colours of every third pixel. */
[[nodiscard]] std::size_t countColours(const juce::Image& image);

} // namespace saddletone::test
