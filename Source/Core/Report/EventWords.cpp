#include "Core/Report/EventWords.h"

#include "Core/Report/BlindWords.h"

namespace saddletone::report {

using audition::EventRecord;

std::string listenerWords(std::size_t numListeners)
{
    return std::to_string(numListeners) + (numListeners == 1 ? " listener" : " listeners");
}

std::string likedWords(const EventRecord& record)
{
    std::string words;
    for (std::size_t index = 0; index < record.candidates.size(); ++index) {
        const std::size_t times = record.candidates[index].timesPreferred;
        words += (index == 0 ? "" : "; ") + std::to_string(index + 1) + " "
                 + record.candidates[index].name + ": "
                 + (times == 0   ? std::string("never")
                    : times == 1 ? std::string("once")
                                 : std::to_string(times) + " times");
    }
    return words;
}

std::string eventConditionWords(const EventRecord& record)
{
    return std::to_string(record.numListeners - record.numAnswers()) + " of "
           + std::to_string(record.numListeners) + " gave no answer; " + matchWords(record.match);
}

std::string eventCaution()
{
    return "Counts of what people said at an event are not a blind test: names and numbers were in "
           "sight, everybody began with candidate 1, and some may have listened twice or not "
           "answered. They do not show that candidates can be told apart. Candidates that were as "
           "loud as on the bike may have been liked for their level alone. Nothing is kept of who "
           "listened.";
}

} // namespace saddletone::report
