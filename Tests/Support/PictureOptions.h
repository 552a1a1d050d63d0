#pragma once

namespace saddletone::test {

/** What the test program is asked for on its command line. */
struct PictureOptions {
    bool areRenewed = false; ///< Pictures are written instead of compared with.
};

[[nodiscard]] const PictureOptions& pictureOptions() noexcept;

} // namespace saddletone::test
