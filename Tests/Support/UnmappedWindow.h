#pragma once

namespace saddletone::test {

/** A window of the display that never appears; what wants one to set its cursor can have this. Where
    there is no X server it is none. */
class UnmappedWindow {
public:
    UnmappedWindow();
    ~UnmappedWindow();
    UnmappedWindow(const UnmappedWindow&) = delete;
    UnmappedWindow& operator=(const UnmappedWindow&) = delete;

    /** As juce::ComponentPeer::getNativeHandle() has it. */
    [[nodiscard]] void* handle() const noexcept { return window; }

private:
    void* display = nullptr;
    void* window = nullptr;
};

} // namespace saddletone::test
