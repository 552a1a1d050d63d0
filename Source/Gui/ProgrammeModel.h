#pragma once

#include "Core/Audition/ProgrammeList.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <optional>
#include <vector>

namespace saddletone::gui {

/** One file of the list as the screen shows it. */
struct ProgrammeRow {
    juce::String name;
    std::optional<double> durationSeconds;
    std::optional<double> loudnessLufs;
    double gainDb = 0.0; ///< What aligning does to it.
    std::optional<audition::LoopRegion> region;
    bool isUnreadable = false;
    bool isCancelled = false; ///< Reading it was.

    bool operator==(const ProgrammeRow&) const = default;
};

/** Files being written for the customer. */
struct TakeHomeView {
    bool isRunning = false;
    double progress = 0.0; ///< 0 to 1.
    juce::String words;    ///< How the last one ended; empty: there was none.

    bool operator==(const TakeHomeView&) const = default;
};

/** The list of what is heard, as the screen shows it. */
struct ProgrammeListView {
    std::vector<ProgrammeRow> rows;
    std::size_t current = 0;
    bool isAligned = false;
    bool restartsOnSwitch = false;
    juce::String keptWords; ///< What became of the last wish to keep it in the job.
    bool canBeLive = false; ///< There is an input that can be heard through the bike.
    bool isLive = false;
    TakeHomeView takeHome;

    bool operator==(const ProgrammeListView&) const = default;
};

/** What the screen does with the list. All of it is for the message thread. */
class ProgrammeModel {
public:
    virtual ~ProgrammeModel() = default;

    [[nodiscard]] virtual ProgrammeListView programmeList() = 0;
    /** before: index of the row they go in front of; past the end: behind all. */
    virtual void addProgrammes(const std::vector<juce::File>& files, std::size_t before) = 0;
    virtual void removeProgramme(std::size_t index) = 0;
    virtual void moveProgramme(std::size_t from, std::size_t to) = 0;
    virtual void selectProgramme(std::size_t index) = 0;
    virtual void setLoopRegion(std::size_t index,
                               const std::optional<audition::LoopRegion>& region) = 0;
    virtual void setAligned(bool shouldBeAligned) = 0;
    /** Each candidate that is switched to begins at the beginning of the part. */
    virtual void setRestartsOnSwitch(bool shouldRestart) = 0;
    virtual void restart() = 0;
    virtual void setLive(bool shouldBeLive) = 0;
    /** Has the open job name the files of the list that lie in its folder, in their order. */
    virtual void keepInJob() = 0;
    /** Writes every candidate, and the bike as it is now, with a card, into a folder. */
    virtual void takeHome(const juce::File& folder) = 0;
    virtual void cancelTakeHome() = 0;
};

} // namespace saddletone::gui
