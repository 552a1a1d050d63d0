#pragma once

#include "Gui/TuningModel.h"

#include <juce_core/juce_core.h>

#include <cstddef>
#include <optional>

namespace saddletone::gui {

/** What the screen shows of the listener's seat. */
struct SeatView {
    /** Why nothing can be changed now; empty if it can. */
    juce::String obstacle;
    bool isStoring = false;          ///< A change is being checked and kept in the job.
    juce::StringArray genericTables; ///< Names of tables that come with the program.
    int generic = -1;                ///< The one that is chosen; -1: none of them.
    juce::String headphoneTable;     ///< Name of the file; empty: not corrected.
    double headphoneSplDb = 0.0;     ///< dB SPL of full scale as the job has it; 0: not known.
    bool isBinaural = false;
    juce::String headSet; ///< Name of the SOFA file; empty: the packaged set.
    /** Names of the candidates, one of which the bike may play now. */
    juce::StringArray candidates;
    /** The candidate that the bike plays now, whose speakers are listened to; nothing: headphones
        are. */
    std::optional<std::size_t> nowOnBike;
    juce::String problem; ///< Why the last change was not made; empty: it was.
    FindingView finding;  ///< What is applied, and what of it is an estimate.

    bool operator==(const SeatView&) const = default;
};

/** What the screen sees of the seat. All of it is for the message thread. Changes are kept in the
    open job and heard as soon as they have been worked out; they take effect when the view has no
    obstacle. */
class SeatModel {
public:
    virtual ~SeatModel() = default;

    [[nodiscard]] virtual SeatView seatView() = 0;
    /** table: of the headphones' response; an empty file: they are not corrected. */
    virtual void chooseHeadphones(const juce::File& table) = 0;
    /** index: into SeatView::genericTables. */
    virtual void chooseGenericHeadphones(int index) = 0;
    /** Above 80 to 140; 80 or less: not known. */
    virtual void setHeadphoneSplDb(double splDb) = 0;
    virtual void setBinaural(bool shouldBeBinaural) = 0;
    /** file: SOFA; an empty one: the packaged set. */
    virtual void chooseHeadSet(const juce::File& file) = 0;
    /** Listens over the speakers of a bike that plays this candidate now, or over headphones. Is not
        kept in the job. The caller turns the output down first. */
    virtual void listenOnThisBike(std::optional<std::size_t> candidate) = 0;
};

} // namespace saddletone::gui
