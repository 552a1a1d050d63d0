#pragma once

#include "Core/Signals/Signal.h"

#include <cstdint>
#include <memory>
#include <optional>
#include <span>

namespace saddletone::measure {

/** Listens to a stream for both markers of a sweep track while it is being recorded.

    The stream is correlated with the ideal marker as findMarkers() does, piece by piece; a pair is
    two places of good correlation that stand as far apart as the track's markers, to 1000 ppm.
    It answers within a third of a second after a marker's end. For a worker thread: it
    computes FFTs of some ten thousand points. */
class LiveMarker {
public:
    /** track: with a sweep layout; its sample rate may differ from the recorder's. */
    LiveMarker(const signals::SignalDescription& track, double recorderRate);
    LiveMarker(LiveMarker&&) noexcept;
    LiveMarker& operator=(LiveMarker&&) noexcept;
    LiveMarker(const LiveMarker&) = delete;
    LiveMarker& operator=(const LiveMarker&) = delete;
    ~LiveMarker();

    /** Takes the next samples, of any number; the result does not depend on how they are cut. */
    void process(std::span<const float> samples);

    /** 0, 1 (a certain marker, the other not yet) or 2 (a pair). */
    [[nodiscard]] int numMarkersHeard() const noexcept;
    /** Frame of the stream at which the second marker of the pair ends; missing until it has been
        heard. */
    [[nodiscard]] std::optional<std::uint64_t> secondMarkerEndFrame() const noexcept;

private:
    struct Impl;
    std::unique_ptr<Impl> impl;
};

} // namespace saddletone::measure
