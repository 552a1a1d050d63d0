#pragma once

#include <cstdint>

namespace saddletone::test {

/** How long and with which seed the plug-in is stressed: the test program's own arguments. */
struct StressOptions {
    double minutes = 10.0; ///< Of audio.
    std::uint64_t seed = 1;
};

/** As the arguments of the program say. */
[[nodiscard]] const StressOptions& stressOptions() noexcept;

} // namespace saddletone::test
