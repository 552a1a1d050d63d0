#pragma once

#include "Core/Audition/AuditionEngine.h"
#include "Core/Hearing/SessionExposure.h"
#include "Gui/AuditionModel.h"
#include "Gui/ProgrammeModel.h"
#include "Plugin/BlindDesk.h"
#include "Plugin/JobLoading.h"
#include "Plugin/MatchMeter.h"
#include "Plugin/Parameters.h"
#include "Plugin/ProgrammePlayer.h"
#include "Plugin/RoadMeter.h"
#include "Plugin/SeatDesk.h"
#include "Plugin/TakeHomeJob.h"

#include <array>
#include <atomic>
#include <cstdint>
#include <functional>
#include <mutex>
#include <optional>

namespace saddletone::plugin {

/** The audition engine as a plug-in, and what the screens see of it.

    Jobs are loaded and scenes built on a thread of the processor's own; update(), which a timer
    calls, hands them to the engine. What is heard stays until the next scene is ready, and for
    good if it cannot be made. In the standalone the programme comes from a file, else from the
    host. */
class AuditionProcessor final : public juce::AudioProcessor,
                                public gui::AuditionModel,
                                public gui::ProgrammeModel,
                                private juce::Timer {
public:
    AuditionProcessor();
    ~AuditionProcessor() override;
    AuditionProcessor(const AuditionProcessor&) = delete;
    AuditionProcessor& operator=(const AuditionProcessor&) = delete;

    // Setup (may allocate, not during process)
    void prepareToPlay(double sampleRate, int maxBlockFrames) override;
    void releaseResources() override {}
    bool isBusesLayoutSupported(const BusesLayout& layouts) const override;

    // Audio thread (bounded, no lock, no allocation, no I/O; but for a host that renders offline,
    // which waits until everything is built that the parameters ask for)
    void reset() override;
    void processBlock(juce::AudioBuffer<float>& buffer, juce::MidiBuffer& midi) override;
    void processBlockBypassed(juce::AudioBuffer<float>& buffer, juce::MidiBuffer& midi) override;

    // Message thread
    /** Takes up what has been loaded and frees what is no longer heard. */
    void update();
    /** Tells the user of something that went wrong outside the processor. */
    void reportProblem(const juce::String& message);

    /** A job as it was read from its folder. */
    struct OpenedJob {
        std::shared_ptr<const LoadedJob> loaded; ///< Null: none is open.
        std::uint64_t number = 0;                ///< Another one each time a job is read.
    };
    [[nodiscard]] OpenedJob openedJob();
    /** A job is being read from its folder. */
    [[nodiscard]] bool isOpeningJob();
    /** The job before stays. */
    void cancelOpeningJob();
    /** Nothing is heard any more. */
    void closeJob();
    /** What is heard, for a blind test: nothing of it changes by what the test plays. */
    struct Heard {
        std::shared_ptr<const KeptScene> scene; ///< Null: no job is open.
        bool isBuilding = false;                ///< Another one is on its way.
        audition::AuditionEngine::Parameters parameters;
        bool playsProgramme = false;
        ProgrammePlayer::State programme;
    };
    [[nodiscard]] Heard heard();
    [[nodiscard]] BlindDesk& blindTests() noexcept { return blindDesk; }
    /** Has the open job heard with a seat that has been kept in it. setsLevel: what the headphones
        make of full scale is taken from it. */
    void playSeat(const std::filesystem::path& folder, const job::StoredSeat& stored,
                  bool setsLevel);
    /** Has the scene built for the speakers of a bike that plays this candidate, as it is now, or
        for headphones. Ends with the job. */
    void listenOnThisBike(std::optional<std::size_t> candidate);
    /** The candidate that the bike plays now, where its speakers are listened to. */
    [[nodiscard]] std::optional<std::size_t> candidateOnThisBike();
    /** Plays a changed version of the open job: what is unchanged is kept, the rest is built in the
        background. Of versions given while one is being built only the newest is built next. */
    void playEdited(std::shared_ptr<const LoadedJob> edited);
    /** A version given to playEdited() is not heard yet. */
    [[nodiscard]] bool isBuildingEdited();
    /** Whether the bike stands still and the programme is heard through the candidate, whatever the
        parameters say. */
    void setParked(bool shouldBeParked) { isParked.store(shouldBeParked); }

    /** Opens or closes the input for live programme; set by the standalone. Returns how many of its
        channels there are: 0 = it could not be opened. */
    std::function<int(bool)> onSetLive;
    /** Shows the audio settings; set by the standalone. */
    std::function<void()> onShowAudioSettings;

    juce::AudioProcessorValueTreeState& parameters() override { return state; }
    gui::AuditionSnapshot snapshot() override;
    void openJob(const juce::File& folder) override;
    void openProgramme(const juce::File& file) override;
    void cancelOpening() override;
    void play() override { player.play(); }
    void pause() override { player.pause(); }
    void setLooping(bool shouldLoop) override { player.setLooping(shouldLoop); }
    void setPositionSeconds(double seconds) override { player.setPositionSeconds(seconds); }
    void dismissProblem() override;
    gui::ProgrammeModel* programmes() override { return playsProgramme ? this : nullptr; }
    gui::SeatModel* seat() override { return &seatDesk; }
    gui::ProgrammeListView programmeList() override;
    void addProgrammes(const std::vector<juce::File>& files, std::size_t before) override;
    void removeProgramme(std::size_t index) override { player.remove(index); }
    void moveProgramme(std::size_t from, std::size_t to) override { player.move(from, to); }
    void selectProgramme(std::size_t index) override { player.select(index); }
    void setLoopRegion(std::size_t index,
                       const std::optional<audition::LoopRegion>& region) override
    {
        player.setRegion(index, region);
    }
    void setAligned(bool shouldBeAligned) override { player.setAligned(shouldBeAligned); }
    void setRestartsOnSwitch(bool shouldRestart) override { restartsOnSwitch = shouldRestart; }
    void restart() override { player.restart(); }
    void setLive(bool shouldBeLive) override;
    void keepInJob() override;
    void takeHome(const juce::File& folder) override;
    void cancelTakeHome() override { takeHomeJob.cancel(); }
    bool usesLightLook() const override { return lightLook.load(); }
    void setUsesLightLook(bool light) override { lightLook.store(light); }
    void setSpeedUnit(gui::SpeedUnit unit) override { speedUnit.store(unit); }
    bool hasAudioSettings() const override { return playsProgramme; }
    /** Size of the last window in a host, or of the one in its session; logical pixels, whatever
        scale the host has, and 0 where there was none. */
    [[nodiscard]] juce::Point<int> windowSize() const
    {
        return {windowWidth.load(), windowHeight.load()};
    }
    void keepWindowSize(int width, int height)
    {
        windowWidth.store(width);
        windowHeight.store(height);
    }
    void showAudioSettings() override;

    juce::AudioProcessorEditor* createEditor() override;
    bool hasEditor() const override { return true; }

    // Any thread but the audio thread
    void getStateInformation(juce::MemoryBlock& destination) override;
    /** Anything that is not a whole state of a known version leaves everything as it is, and the
        user is told. */
    void setStateInformation(const void* data, int numBytes) override;

    const juce::String getName() const override { return "Saddletone"; }
    bool acceptsMidi() const override { return false; }
    bool producesMidi() const override { return false; }
    /** Without an end while the noise of a ride is heard, which needs no programme. */
    double getTailLengthSeconds() const override;
    juce::AudioProcessorParameter* getBypassParameter() const override;
    // Programs are rides, see ridePrograms. The current one is what was chosen last.
    int getNumPrograms() override;
    int getCurrentProgram() override { return currentProgram.load(); }
    void setCurrentProgram(int index) override;
    const juce::String getProgramName(int index) override;
    void changeProgramName(int, const juce::String&) override {} // hosts keep the names

private:
    /** What of the parameters a scene is built for. */
    struct RideSetting {
        ride::Helmet helmet = ride::Helmet::fullFace;
        double speedKmh = 0.0;
        std::shared_ptr<const audition::CandidateRequest> nowOnBike {};
    };

    /** What is to be loaded or built. */
    struct Order {
        std::uint64_t number = 0;
        std::filesystem::path folder {};
        std::shared_ptr<const LoadedJob> loaded {}; ///< Null: load it from folder.
        /** Nothing: that of the job, which then also sets the parameters. */
        std::optional<RideSetting> setting {};
        /** What the bike plays now, for a job that sets the parameters. */
        std::shared_ptr<const audition::CandidateRequest> nowOnBike {};
        std::shared_ptr<const KeptScene> kept {}; ///< Null: nothing to build on.
        bool isFromFolder = false;
        bool isEdited = false;
        audition::PartitionLayout layout {};
        double sampleRate = 48000.0;
    };

    /** An order carried out; on failure problem says why and the rest is empty. */
    struct Delivery {
        Order order;
        BuiltScene built;
        std::string problem;
    };

    void timerCallback() override { update(); }
    [[nodiscard]] static Delivery carryOut(Order order);
    /** Needs publishMutex. */
    [[nodiscard]] RideSetting setting() const noexcept;
    void leaveThisBike() noexcept;
    /** Of the job as the parameters are; needs publishMutex and a job. */
    [[nodiscard]] SceneChoice wantedChoice() const noexcept;
    /** Fills in number, layout and rate. Needs publishMutex. */
    void number(Order& order);
    /** Has it carried out in the background. Needs publishMutex. */
    void placeOrder(Order order);
    /** What is being built or waits for it; nothing: all is. Needs publishMutex. */
    [[nodiscard]] std::optional<Order> takeWaiting();
    /** Carries it out on this thread, in place of all before it. Returns the job whose ride is to
        be started, or null. Needs publishMutex. */
    [[nodiscard]] std::shared_ptr<const LoadedJob> carryOutNow(Order order);
    /** Builds what the parameters ask for, on this thread. */
    void catchUp();
    /** Of the job; needs publishMutex. */
    [[nodiscard]] gui::JobTaskView openingView() const;
    /** Needs publishMutex; edited must be there. */
    void placeEdited();
    /** Needs publishMutex. False: it is out of date or has failed. */
    bool takeUp(Delivery& made);
    void startRide(const LoadedJob& loaded);
    void setRide(const job::JobRide& ride);
    void render(juce::AudioBuffer<float>& buffer, bool isBypassed) noexcept;
    void renderLive(dsp::ChannelView<float> programme) noexcept;
    /** Has the candidates compared over what is heard; needs publishMutex. */
    void compare();
    /** Counts what has reached the ears since the last time; needs publishMutex. */
    void countExposure();
    void savePlaylist(juce::XmlElement& xml);
    void restorePlaylist(const juce::XmlElement& xml);

    juce::AudioProcessorValueTreeState state;
    const ParameterReader reader;
    const bool playsProgramme;
    ProgrammePlayer player;
    std::atomic<bool> lightLook {false};
    std::atomic<gui::SpeedUnit> speedUnit {gui::SpeedUnit::mph};
    std::atomic<int> windowWidth {0}; ///< Of the window in a host; 0 = there was none yet.
    std::atomic<int> windowHeight {0};
    std::atomic<bool> isParked {false};
    std::atomic<int> currentProgram {0};
    std::atomic<int> liveChannels {0}; ///< 0: the programme comes from the player.
    static_assert(std::atomic<int>::is_always_lock_free);
    std::size_t liveFrames = 0; ///< Audio thread: of live programme since it began.
    bool restartsOnSwitch = false;
    juce::String keptWords;
    std::size_t switchedTo = 0;
    std::atomic<float> peakSinceUpdate {0.0F};
    static_assert(std::atomic<float>::is_always_lock_free);
    std::array<float, 3> recentPeaks {}; ///< Of the last updates, so that every reader sees each.
    std::size_t oldestPeak = 0;
    std::atomic<std::uint32_t> framesPlayed {0}; ///< Goes round.
    static_assert(std::atomic<std::uint32_t>::is_always_lock_free);
    std::uint32_t framesCounted = 0;
    hearing::SessionExposure exposure; ///< Since the program began.

    std::mutex publishMutex; // never taken by the audio thread
    const audition::AuditionEngine::Settings settings;
    audition::AuditionEngine engine;
    double engineRate = 48000.0;
    std::shared_ptr<const LoadedJob> job;
    std::shared_ptr<const KeptScene> scene; ///< Of the job, as published last.
    OpenedJob opened;
    std::shared_ptr<const LoadedJob> edited; ///< Waits until the one before has been built.
    SceneChoice orderedChoice;
    /** What the bike plays now, as it was when it was chosen; null: for headphones. */
    std::shared_ptr<const audition::CandidateRequest> nowOnBike;
    std::size_t indexOnBike = 0;
    std::optional<Order> waiting;
    juce::uint32 waitingSinceMs = 0; ///< By juce::Time::getMillisecondCounter().
    juce::String problem;
    std::filesystem::path unopenedFolder; ///< That a state names but that could not be opened.
    std::unique_ptr<juce::XmlElement> unknownState; ///< See unknownPart().
    TakeHomeJob takeHomeJob;
    MatchMeter matchMeter;
    RoadMeter roadMeter;
    RoadMeter momentMeter; ///< Of the last seconds of the programme alone.
    std::optional<audition::ProgrammeMatch> compared;
    std::vector<double> publishedGainsDb; ///< Match gains of the scene handed to the engine.

    std::mutex deliveryMutex;
    std::optional<Delivery> delivery;
    std::atomic<std::uint64_t> newestOrder {0};

    BlindDesk blindDesk {*this};
    SeatDesk seatDesk {*this};

    juce::ThreadPool loader {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
