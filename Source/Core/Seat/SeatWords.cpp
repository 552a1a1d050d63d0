#include "Core/Seat/SeatWords.h"

#include "Core/Files/TextTable.h"

#include <cassert>
#include <cmath>
#include <filesystem>

namespace saddletone::seat {

namespace {

std::string nameOf(const std::string& source)
{
    return "'" + std::filesystem::path(source).filename().string() + "'";
}

/** "25 degrees from straight ahead, 30 below the ears". */
std::string directionWords(const Direction& direction, const std::optional<double>& metres)
{
    std::string words =
        files::fixedText(direction.azimuthDegrees, 0) + " degrees from straight ahead, ";
    const auto elevation = std::lround(direction.elevationDegrees);
    words += elevation == 0 ? "at the height of the ears"
                            : std::to_string(std::abs(elevation))
                                  + (elevation > 0 ? " above the ears" : " below the ears");
    if (metres)
        words += ", " + files::fixedText(*metres, 2) + " m away";
    return words;
}

} // namespace

std::string correctionWords(const ListenerSeat* seat)
{
    if (seat == nullptr || !seat->isCorrected())
        return "The headphones are not corrected: their own colour is heard.";
    std::string words = "What is heard is corrected for the headphones of "
                        + nameOf(seat->headphoneSource) + ", to "
                        + (seat->target ? "the target of " + nameOf(seat->targetSource)
                                        : std::string("a flat response"))
                        + ".";
    if (seat->isHeadphoneInvented)
        words += " That table is generic: it is of no headphone that there is, so it shows what a "
                 "correction does and corrects nothing.";
    return words;
}

std::string placementWords(const ListenerSeat& seat)
{
    assert(seat.isBinaural());
    const SpeakerPlaces& places = seat.places;
    return "Speakers are heard from where they stand: front ones "
           + directionWords(places.front, places.frontMetres) + ", rear ones "
           + directionWords(places.rear, places.rearMetres) + ".";
}

std::vector<std::string> seatSentences(const ListenerSeat* seat,
                                       const std::optional<HeadphoneCalibration>& calibration)
{
    std::vector<std::string> sentences {correctionWords(seat)};
    if (calibration)
        sentences.push_back("Full scale makes "
                            + files::fixedText(calibration->splAtFullScaleDb(), 1)
                            + " dB SPL in the headphones ('" + calibration->headphone + "', "
                            + calibration->date + ", " + calibration->source
                            + "), so the level at the ear is shown and kept. It holds for one "
                              "volume of one output.");
    else
        sentences.push_back(
            "What full scale makes in the headphones is not known, so the listening "
            "level is unknown and the ceiling a digital one.");
    if (seat == nullptr || !seat->isBinaural()) {
        sentences.push_back("The left channel is heard at the left ear and the right one at the "
                            "right, as if the speakers stood at the ears.");
        return sentences;
    }
    sentences.push_back(placementWords(*seat));
    sentences.push_back(
        "An estimate: the ears are those of the set ("
        + (seat->head->description.empty() ? nameOf(seat->headSource) : seat->head->description)
        + "), not the listener's, the head does not turn, and "
        + (seat->places == SpeakerPlaces {} ? "the places are judgement for a touring bike."
                                            : "the places are as somebody has set them."));
    return sentences;
}

} // namespace saddletone::seat
