#pragma once

#include "Core/Measure/CaptureRecorder.h"
#include "Core/Measure/Comparison.h"
#include "Core/Measure/MicrophoneCurves.h"
#include "Core/Measure/Response.h"
#include "Core/Measure/StreamAnalyser.h"
#include "Gui/Place.h"
#include "Gui/TaskView.h"

#include <juce_core/juce_core.h>

#include <array>
#include <memory>
#include <optional>
#include <vector>

namespace saddletone::gui {

/** One test signal as the screens show it. */
struct SignalView {
    juce::String name;    ///< "03 Sweep".
    juce::String purpose; ///< What it is for and how it is used, in a few sentences.
    juce::String caution; ///< Empty where nothing beyond the usual needs care.
    juce::String length;
    std::optional<double> levelDbfs; ///< As on the track; missing where it means nothing.
};

/** Outputs that a test signal goes to. */
enum class OutputSide { both, left, right };

/** Where the user starts with live output, and above which level a question is asked. */
inline constexpr double quietestSignalDbfs = -80.0;
inline constexpr double startSignalDbfs = -40.0;
inline constexpr double askAboveDbfs = -12.0;

/** Sizes of the analyser's FFT that can be chosen: coarser ones tell nothing of the bass. */
inline constexpr std::array<std::size_t, 5> analyserFftChoices {4096, 8192, 16384, 32768, 65536};

/** Live output of test signals. */
struct SignalOutput {
    std::size_t selected = 0;
    bool playing = false;
    bool preparing = false; ///< The signal is being computed.
    bool repeats = false;   ///< It goes round until it is stopped.
    double positionSeconds = 0.0;
    double levelDbfs = startSignalDbfs; ///< AES17, of the signal at the output.
    double highestDbfs = 0.0;           ///< Above it the signal's peaks would clip.
    OutputSide side = OutputSide::both;
    double peakDbfs = -400.0; ///< Largest output sample since the last snapshot.
    bool hasDevice = false;
    bool asksForLoud = false; ///< A level above askAboveDbfs waits for an answer.
    double askedDbfs = 0.0;
};

/** Writing the tracks to a folder. */
struct TrackWriting {
    bool busy = false;
    double doneProportion = 0.0;
    juce::String message; ///< What came of it; empty before the first time.
    bool failed = false;
};

/** The input, which is closed until the user asks for it. */
struct InputView {
    juce::StringArray devices;
    int device = -1; ///< Index of the one to be used; -1 = there is none.
    juce::StringArray channels;
    int channel = 0;
    bool open = false;
    double sampleRate = 0.0;
    double peakDbfs = -400.0;
    double rmsDbfs = -400.0;
    bool clipHeld = false;
    juce::String problem; ///< Why it could not be opened.
};

/** What the user says of the next take. */
struct TakeWords {
    juce::String profile;
    measure::EngineState engine = measure::EngineState::off;
    measure::SpeakerGroup speakers = measure::SpeakerGroup::all;
    juce::String place {"rider's head"};
    /** sweep, noiseFloor or calibration. */
    measure::TakePurpose purpose = measure::TakePurpose::sweep;
    double calibratorSplDb = 94.0;
    bool playsHere = false; ///< The sweep comes from this computer and not from the bike.

    bool operator==(const TakeWords&) const = default;
};

enum class TakeState {
    measuring,
    unmeasured, ///< Its measurement was cancelled; to be used it is measured.
    usable,
    refused,
    noise,
    calibration
};

/** A take made since the program started. */
struct TakeView {
    juce::String name;
    juce::String profile;
    measure::EngineState engine = measure::EngineState::off;
    juce::String place;
    TakeState state = TakeState::measuring;
    bool used = true; ///< Counts in the average of its bike state.
    juce::String words;
    measure::SpeakerGroup speakers = measure::SpeakerGroup::all;

    bool operator==(const TakeView&) const = default;
};

/** How curves are averaged over frequency on the screen; asHeard: measure::psychoacousticDb(). */
enum class CurveSmoothing { none, twentyFourth, twelfth, sixth, third, asHeard };

/** What of a response the curves on the screen are made from. */
enum class CurveWindow { whole, milliseconds, cycles };

/** How curves are shown. What was measured, and what is saved of it, stays as it is. */
struct CurveDisplay {
    CurveSmoothing smoothing = CurveSmoothing::twelfth;
    CurveWindow window = CurveWindow::whole;
    double windowMs = 20.0;    ///< Of CurveWindow::milliseconds; 1 to 1000.
    double windowCycles = 8.0; ///< Of CurveWindow::cycles; 1 to 100.

    bool operator==(const CurveDisplay&) const = default;
};

/** Where a measured state comes from. */
enum class MeasuredOrigin { takes, imported, job };

/** A measured bike state: the average of the used takes of one profile, engine state and speaker
    group, a table or an impulse response from elsewhere, or a state of the open job. */
struct MeasuredView {
    juce::String name;
    MeasuredOrigin origin = MeasuredOrigin::takes;
    juce::String source; ///< "2 takes", "imported from left.csv", "in the job as stock-parked".
    bool isInJob = false;
    measure::EngineState engine = measure::EngineState::off;
    measure::SpeakerGroup speakers = measure::SpeakerGroup::all;
    std::size_t numTakes = 0;
    double snrDb = 0.0;
    CurveDisplay display; ///< Which the curve was made by.
    std::vector<double> frequenciesHz;
    std::vector<double> levelsDb; ///< One a frequency, by display.
    double referenceDb = 0.0;     ///< Mean of the curve's bands from 500 Hz to 2 kHz.
    double lowestHz = 0.0; ///< Below it the display's window can tell nothing; 0 = no window.
    std::vector<measure::BandConfidence> bands; ///< As measured, whatever the display.
    std::vector<measure::HarmonicOrder> distortion;
    juce::String words;           ///< SNR, trust and remarks.
    juce::String displayWords;    ///< How the curve was smoothed and windowed.
    juce::String distortionWords; ///< Harmonics in dB and per cent.
    juce::String confidenceWords; ///< Trust, interval, spread, arrival and polarity.
};

/** What other instruments write. */
enum class ImportKind {
    table,        ///< Frequency, level and perhaps phase.
    thirdOctaves, ///< Third-octave levels of pink noise.
    impulse       ///< Impulse response, an audio file.
};

/** The microphone's tables and which of them is taken out of takes. */
struct MicrophoneView {
    juce::String zeroDegreesFile; ///< Name of the table; empty: none was chosen.
    juce::String ninetyDegreesFile;
    measure::Incidence incidence = measure::Incidence::zeroDegrees;
    /** Null: none could be read. */
    std::shared_ptr<const measure::MicrophoneCurves> curves;
    juce::String shortWords {"No microphone curve."};
    juce::String words; ///< What is done with it, or why nothing can be.
    bool isProblem = false;
};

/** Engine off against engine running, for one profile. */
struct ComparisonView {
    measure::Comparison comparison;
    juce::String verdict;
};

/** The shown state's speaker group against the others of its profile and engine state. */
struct SpeakersView {
    juce::String groupWords; ///< Polarity and arrival of each group; empty where there is but one.
    juce::String matchWords; ///< Right against left; empty where one side is missing.
    juce::String warning;    ///< Sides that move against each other; empty: nothing to warn of.
};

/** Everything the bench places need to know, at one moment. */
struct BenchSnapshot {
    std::shared_ptr<const std::vector<SignalView>> signals;
    SignalOutput output;
    TrackWriting writing;
    InputView input;
    measure::CaptureStatus capture;
    measure::AnalyserSnapshot analyser;
    std::shared_ptr<const std::vector<measure::AnalyserTrace>> traces;
    TakeWords words;
    juce::String calibrationWords; ///< Date and age of the calibration, or that there is none.
    juce::String trackName;        ///< Whose sweep is listened for.
    std::vector<TakeView> takes;
    std::vector<std::shared_ptr<const MeasuredView>> measured;
    std::size_t shownMeasured = 0;
    std::shared_ptr<const ComparisonView> comparison; ///< Null: the other state is missing.
    std::shared_ptr<const SpeakersView> speakers;     ///< Null: nothing is measured.
    CurveDisplay curveDisplay; ///< Asked for; a view says which it was made by.
    MicrophoneView microphone;
    JobTaskView work;     ///< What takes longer than a moment, unless it was cancelled.
    juce::String message; ///< What the last command led to; empty = nothing to say.
    bool messageIsProblem = false;
};

/** What the screens see of the bench. All of it is for the message thread. */
class BenchModel {
public:
    virtual ~BenchModel() = default;

    [[nodiscard]] virtual BenchSnapshot benchSnapshot() = 0;

    /** The audition is heard on Listen only, and test signals everywhere else. */
    virtual void enterPlace(Place place) = 0;

    virtual void selectSignal(std::size_t index) = 0;
    virtual void playSignal() = 0;
    virtual void stopSignal() = 0;
    /** Above askAboveDbfs the level stays there until the user has agreed, once a session. */
    virtual void setSignalLevelDbfs(double levelDbfs) = 0;
    virtual void setSignalSide(OutputSide side) = 0;
    virtual void answerLoudQuestion(bool shouldBeLoud) = 0;
    virtual void writeTracks(const juce::File& folder) = 0;
    virtual void cancelWriting() = 0;

    virtual void chooseInput(int device, int channel) = 0;
    virtual void openInput() = 0;
    virtual void closeInput() = 0;
    virtual void resetClip() = 0;

    /** bandsPerOctave: 3, 6, 12 or 24. */
    virtual void setAnalyserBands(int bandsPerOctave) = 0;
    /** fftSize: one of analyserFftChoices; the bands are third octaves then. */
    virtual void setAnalyserFft(std::size_t fftSize) = 0;
    virtual void setAnalyserParameters(const measure::AnalyserParameters& parameters) = 0;
    virtual void restartAverage() = 0;
    virtual void resetPeakHold() = 0;
    virtual void storeTrace() = 0;
    virtual void clearTraces() = 0;

    virtual void setTakeWords(const TakeWords& words) = 0;
    /** file: NAME.signal.json of a sweep track; no file: the sweep of the shop's set. */
    virtual void chooseTrack(const juce::File& file) = 0;
    virtual void recordTake() = 0;
    virtual void stopTake() = 0;
    virtual void setTakeUsed(std::size_t index, bool shouldBeUsed) = 0;
    virtual void showMeasured(std::size_t index) = 0;
    virtual void setCurveDisplay(const CurveDisplay& display) = 0;
    /** The bike state is what the take words say. */
    virtual void importMeasured(const juce::File& file, ImportKind kind) = 0;
    /** file: a text table of the microphone's level at an incidence; no file: forget it. */
    virtual void chooseMicrophoneCurve(measure::Incidence incidence, const juce::File& file) = 0;
    /** How the microphone stands to the speakers. */
    virtual void setMicrophoneIncidence(measure::Incidence incidence) = 0;
    /** folder: of a job, made if it is not there; no file: the job that is open. */
    virtual void addToJob(const juce::File& folder) = 0;
    [[nodiscard]] virtual bool hasOpenJob() = 0;
    /** Ends what is measured, imported, added or read of the job; nothing is left half-written. A
        take whose measurement is cancelled stays and can be measured later. */
    virtual void cancelWork() = 0;
};

} // namespace saddletone::gui
