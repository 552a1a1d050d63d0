#pragma once

#include "Core/Job/EventRecords.h"
#include "Plugin/EventDesk.h"
#include "Plugin/Paths.h"
#include "Support/EditorFixtures.h"
#include "Support/TemporaryFolder.h"

#include <vector>

namespace saddletone::test {

/** An event over a model without a processor, and the clock that it is told of. */
struct EventRig {
    TemporaryFolder folder;
    RecordingModel model;
    double seconds = 5000.0; // a clock starts anywhere
    plugin::EventDesk desk {model, nullptr, [this] { return seconds; }};

    explicit EventRig(std::size_t numCandidates = 3) { openJob(numCandidates); }

    void openJob(std::size_t numCandidates)
    {
        model.openMadeUpJob(numCandidates);
        auto job = std::make_shared<gui::JobView>(*model.current.job);
        job->folder = plugin::toFile(folder.path());
        model.current.job = std::move(job);
    }

    double get(const char* id) { return gui::parameterValue(model.parameters(), id); }
    void set(const char* id, double value) { gui::setParameter(model.parameters(), id, value); }

    /** Lets time pass, in steps as short as those of the program's timer. */
    void pass(double durationSeconds)
    {
        const double end = seconds + durationSeconds;
        while (seconds + 0.02 < end) {
            seconds += 1.0 / 30.0;
            model.current.candidate =
                static_cast<std::size_t>(get(gui::parameterIds::candidate)) - 1;
            desk.update();
        }
    }

    /** A listener who hears two candidates, 1 and another one. */
    void listenTo(std::size_t other)
    {
        desk.touch();
        pass(8.0);
        desk.pick(other);
        pass(8.0);
    }

    std::vector<audition::EventRecord> stored()
    {
        const auto events = job::loadEvents(folder.path());
        return events ? *events : std::vector<audition::EventRecord> {};
    }
};

} // namespace saddletone::test
