#pragma once

#include "Core/Job/SeatStore.h"
#include "Gui/SeatModel.h"

#include <filesystem>
#include <mutex>
#include <optional>
#include <vector>

namespace saddletone::plugin {

class AuditionProcessor;

/** Changes the seat of the open job: checked and kept in the job in the background, then given to
    the processor to be heard. One change at a time. For the message thread. */
class SeatDesk final : public gui::SeatModel {
public:
    explicit SeatDesk(AuditionProcessor& auditionProcessor);
    ~SeatDesk() override;
    SeatDesk(const SeatDesk&) = delete;
    SeatDesk& operator=(const SeatDesk&) = delete;

    /** Takes up what has been kept; call it now and then. */
    void update();
    [[nodiscard]] bool isStoring() const noexcept { return isRunning; }

    gui::SeatView seatView() override;
    void chooseHeadphones(const juce::File& table) override;
    void chooseGenericHeadphones(int index) override;
    void setHeadphoneSplDb(double splDb) override;
    void setBinaural(bool shouldBeBinaural) override;
    void chooseHeadSet(const juce::File& file) override;
    void listenOnThisBike(std::optional<std::size_t> candidate) override;

private:
    /** A change that has been carried out. */
    struct Outcome {
        std::filesystem::path folder;
        bool setsLevel = false;
        std::optional<job::StoredSeat> stored; ///< Nothing: it failed.
        std::string problem;
    };

    /** Why nothing can be changed; empty if it can. */
    [[nodiscard]] juce::String obstacle();
    void store(job::SeatChange change);
    [[nodiscard]] gui::FindingView findingOnThisBike();

    AuditionProcessor& processor;
    std::vector<juce::File> genericFiles;
    bool isRunning = false;
    juce::String problem;
    std::filesystem::path problemOf; ///< Folder of the job that it was about.

    std::mutex outcomeMutex; // never taken by the audio thread
    std::optional<Outcome> outcome;

    juce::ThreadPool worker {1}; // last: its tasks use the rest
};

} // namespace saddletone::plugin
