#pragma once

#include <array>
#include <atomic>

namespace saddletone::measure {

/** Hands the latest of a row of values from one thread to another; neither ever waits. Three
    values go round: one is being written, one is being read, one lies between them. */
template <typename Value>
class LatestValue {
public:
    // Setup (may allocate, not during use)
    /** Calls a function with each of the three, to size them. */
    template <typename Function>
    void forEach(Function&& function)
    {
        for (Value& value : values)
            function(value);
    }

    // Audio thread (bounded, no lock, no allocation, no I/O)
    /** Holds some older value, to be written over. */
    [[nodiscard]] Value& writable() noexcept { return values[written]; }
    void publish() noexcept
    {
        written = between.exchange(written | newBit, std::memory_order_acq_rel) & indexBits;
    }

    // One reading thread
    /** The last published; valid until the next call. */
    [[nodiscard]] const Value& latest() noexcept
    {
        if ((between.load(std::memory_order_relaxed) & newBit) != 0)
            shown = between.exchange(shown, std::memory_order_acq_rel) & indexBits;
        return values[shown];
    }

private:
    static constexpr unsigned indexBits = 3;
    static constexpr unsigned newBit = 4;

    std::array<Value, 3> values {};
    unsigned written = 0;
    std::atomic<unsigned> between {1};
    unsigned shown = 2;
    static_assert(std::atomic<unsigned>::is_always_lock_free);
};

} // namespace saddletone::measure
