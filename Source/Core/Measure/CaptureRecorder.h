#pragma once

#include "Core/Dsp/ChannelView.h"
#include "Core/Dsp/Result.h"
#include "Core/Files/AudioFile.h"
#include "Core/Measure/LevelMeter.h"
#include "Core/Measure/TakeRecord.h"
#include "Core/Signals/Signal.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace saddletone::measure {

/** The input that a recorder listens to. */
struct CaptureSpec {
    double sampleRate = 48000.0; ///< 8 to 384 kHz.
    /** Inputs of the device to be recorded, 0 = its first; 1 to 64 of them. */
    std::vector<std::size_t> deviceChannels {0};
    double preRollSeconds = 2.0; ///< 0 to 30.
    double bufferSeconds = 8.0;  ///< How long the disk may stall; 0.05 to 60.
    std::string device = "";     ///< Words for the record.

    bool operator==(const CaptureSpec&) const = default;
};

/** A take to be recorded. */
struct TakeRequest {
    std::filesystem::path folder; ///< Made if it does not exist.
    /** Of the files, before "-01.wav", "-02.wav": the first number whose files do not exist and
        that is above all that do. Letters, digits, blanks, '-', '_' and '.'. */
    std::string name = "take";
    TakePurpose purpose = TakePurpose::sweep;
    std::string place;
    std::string gainNote;
    files::SampleFormat format = files::SampleFormat::float32; ///< Or pcm24.
    /** Of the sweep track that is played: recording then stops by itself 0.7 s after its end
        marker. Without a sweep layout it has no effect. */
    std::optional<signals::SignalDescription> stopAfter;
    double maxSeconds = 1800.0; ///< What readAudioFile() accepts; 1 to 1800.
};

/** A take on the disk. */
struct FinishedTake {
    std::filesystem::path audioFile;
    TakeRecord record;
};

enum class CaptureState {
    closed,
    listening, ///< Meters run and the pre-roll is kept.
    recording,
    finished, ///< The take ended by itself (see TakeEnd); stop() hands it over.
};

/** What a screen shows of a recorder. */
struct CaptureStatus {
    CaptureState state = CaptureState::closed;
    TakeEnd end = TakeEnd::unfinished; ///< Why, once state is finished.
    double elapsedSeconds = 0.0;       ///< Of the take, its pre-roll included.
    double preRollSeconds = 0.0;       ///< Held now, or of the take.
    int numMarkersHeard = 0;           ///< 0, 1, 2 of the track in stopAfter.
    std::uint64_t numDropouts = 0;     ///< Of the take; of the listening since open() before it.
    std::uint64_t numLostFrames = 0;   ///< The same; as far as the device told.
    double bufferFillProportion = 0.0; ///< 0..1; at 1 audio is lost.
};

/** Records a device's input to disk.

    The audio thread pushes blocks into a ring; a thread of the recorder takes them out every few
    milliseconds, keeps the last seconds as pre-roll and, while recording, streams them to disk so
    that a crash loses at most a second. What does not fit into the ring or what the device lost is
    counted, put into the take's record with its time, and filled with silence where its length is
    known. Between takes the recorder goes on listening. */
class CaptureRecorder {
public:
    // Setup (may allocate, block and use the disk; one thread, not the audio thread)
    CaptureRecorder();
    ~CaptureRecorder(); ///< As close().
    CaptureRecorder(const CaptureRecorder&) = delete;
    CaptureRecorder& operator=(const CaptureRecorder&) = delete;

    /** Starts to listen; closes first if it was open, and forgets a take that was not fetched (it is
        on the disk). No push() may run meanwhile. */
    [[nodiscard]] dsp::Result<void> open(const CaptureSpec& spec);
    /** Ends a take under way (its record says deviceClosed) and stops to listen. No push() may run
        meanwhile. A take that had ended can still be fetched with stop(). */
    void close();
    [[nodiscard]] const CaptureSpec& spec() const noexcept;

    /** Begins a take with the pre-roll held now; returns its audio file. Fails if the recorder is
        not listening (closed, recording, or a finished take not yet fetched) or the file cannot be
        written. */
    [[nodiscard]] dsp::Result<std::filesystem::path> start(const TakeRequest& request);
    /** Ends the take, or fetches one that has ended by itself, and goes back to listening. A take
        whose writing failed comes back with record.problem set, not as an error. Fails if there is
        no take. */
    [[nodiscard]] dsp::Result<FinishedTake> stop();

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Takes a block of the device's input, of any length. Chosen channels that it lacks read as
        silence. Without effect while closed. */
    void push(dsp::ChannelView<const float> input) noexcept;
    /** The device lost so many frames in front of the next block; 0 = some, it cannot tell how
        many (an overrun count that rose, say). */
    void reportGap(std::uint64_t lostFrames) noexcept;
    /** Time at which the device took the first frame of the next block, by any clock that runs on.
        A lasting jump of at least three quarters of a block is noted as a dropout by the device
        within the next 8 blocks; jitter of single blocks is not. */
    void reportBlockTime(double timeSeconds) noexcept;

    // Any thread
    [[nodiscard]] CaptureStatus status() const noexcept;
    /** Meter of the chosen channel with this index, below spec().deviceChannels.size(). */
    [[nodiscard]] const LevelMeter& meter(std::size_t channel) const noexcept;
    /** Puts the clip lights of all channels out. */
    void resetClips() noexcept;

private:
    struct Impl;
    std::unique_ptr<Impl> impl;
};

} // namespace saddletone::measure
