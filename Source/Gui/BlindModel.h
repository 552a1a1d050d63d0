#pragma once

#include "Core/Audition/BlindTest.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <vector>

namespace saddletone::gui {

enum class BlindStage {
    idle,
    running,
    over ///< The outcome of the last run is to be read.
};

/** What a blind test is to be about. */
struct BlindChoice {
    audition::BlindKind kind = audition::BlindKind::abx;
    std::vector<std::size_t> candidates; ///< Indexes into JobView::candidates.
    std::size_t numTrials = 16;
    audition::LevelMatch match = audition::LevelMatch::equalLoudness;

    bool operator==(const BlindChoice&) const = default;
};

/** Everything the screen needs to know of a blind test. While it runs that is nothing of which
    candidate is where, and nothing of how the answers so far turned out. */
struct BlindView {
    BlindStage stage = BlindStage::idle;
    /** Of how the test would be, or is, listened to. */
    juce::String conditions;
    /** Idle: why no test can begin; empty if one can. */
    juce::String obstacle;

    audition::BlindKind kind = audition::BlindKind::abx;
    std::size_t numTrials = 0;
    std::size_t numAnswered = 0;
    std::size_t place = 0;      ///< That is listened to.
    std::vector<bool> hasHeard; ///< In this trial, one a place.
    bool canAnswer = false;
    juce::String silence; ///< Running: why nothing is heard, which nobody can answer to; or empty.

    juce::String headline; ///< Over: the outcome.
    juce::StringArray sentences;
    bool isStored = false;
    juce::String storeWords; ///< Over: where the run is kept, or why it is not.

    bool operator==(const BlindView&) const = default;
};

/** What the screen sees of blind testing. All of it is for the message thread. */
class BlindModel {
public:
    virtual ~BlindModel() = default;

    [[nodiscard]] virtual BlindView blindView() = 0;
    /** Takes effect when the view has no obstacle and the choice is one that can be tested. */
    virtual void begin(const BlindChoice& choice) = 0;
    virtual void listenTo(std::size_t place) = 0;
    /** place: with ABX 0 (X is A) or 1 (X is B). There is no way back. */
    virtual void answer(std::size_t place) = 0;
    virtual void abandon() = 0;
    /** Over: tries once more to keep the run in the job. */
    virtual void storeAgain() = 0;
    /** Over: the outcome has been read. */
    virtual void dismiss() = 0;
};

} // namespace saddletone::gui
